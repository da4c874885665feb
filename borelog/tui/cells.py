"""Pictures as terminal cells: samples to glyphs and two colours, whole rows of terminal text made by NumPy at once.

Quadrant blocks by default (2 x 2 samples a cell), half blocks and sextants by setting, letters for plain terminals.
Every cell is split in two at the middle of its brightness range; each part gets its mean colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

DOTS = {"quadrants": (2, 2), "half": (1, 2), "sextants": (2, 3), "letters": (1, 1)}
"""Glyph set -> samples across and down a cell."""

_QUADRANTS = "█▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
_HALF = "█▀▄█"
_LETTERS = " .:-=+*#%@"
BRAILLE = 0x2800


def _sextants() -> str:
    """U+1FB00 to U+1FB3B in bit order; patterns 0, 21, 42 and 63 are older blocks (Unicode 13, block 1FB00)."""
    out = ["█"]
    code = 0x1FB00
    for pattern in range(1, 63):
        if pattern in (21, 42):
            out.append("▌" if pattern == 21 else "▐")
        else:
            out.append(chr(code))
            code += 1
    return "".join([*out, "█"])


@dataclass(frozen=True, slots=True)
class CellGrid:
    """A picture as cells: code points (rows, columns), colours (rows, columns, 3) of glyph and of ground, uint8."""

    code: NDArray[np.uint32]
    ink: NDArray[np.uint8]
    ground: NDArray[np.uint8]


def to_cells(samples: NDArray[np.uint8], glyphs: str = "quadrants") -> CellGrid:
    """Samples (rows * down, columns * across, 3) uint8 RGB as a grid of cells.

    With 'letters' a sample is a cell; darker is a blank.
    """
    import numpy as np

    kx, ky = DOTS[glyphs]
    rows, columns = samples.shape[0] // ky, samples.shape[1] // kx
    if glyphs == "letters":
        grey = _light(samples).astype(np.uint16)
        table = np.array([ord(c) for c in _LETTERS], np.uint32)
        black = np.zeros_like(samples)
        return CellGrid(table[(grey * len(_LETTERS)) >> 8], np.maximum(samples, 60), black)
    part = [samples[j::ky, i::kx][:rows, :columns] for j in range(ky) for i in range(kx)]
    light_all = _light(samples)
    light = [light_all[j::ky, i::kx][:rows, :columns] for j in range(ky) for i in range(kx)]
    low, high = light[0], light[0]
    for one in light[1:]:
        low, high = np.minimum(low, one), np.maximum(high, one)
    middle = low + (high - low) // 2
    total = np.zeros((rows, columns, 3), np.uint16)
    upper = np.zeros((rows, columns, 3), np.uint16)
    count = np.zeros((rows, columns), np.uint16)
    index = np.zeros((rows, columns), np.uint8)
    for bit, (colour, one) in enumerate(zip(part, light, strict=True)):
        above = one > middle
        total += colour
        upper += colour * above[..., None]
        count += above
        index |= above.astype(np.uint8) << bit
    n = kx * ky
    few = count == 0
    ink = np.where(few[..., None], total // n, upper // np.maximum(count, 1)[..., None])
    ground = (total - upper) // np.maximum(n - count, 1)[..., None]
    names = {"quadrants": _QUADRANTS, "half": _HALF, "sextants": _sextants()}[glyphs]
    table = np.array([ord(c) for c in names], np.uint32)
    return CellGrid(table[index], ink.astype(np.uint8), ground.astype(np.uint8))


def _light(samples: NDArray[np.uint8]) -> NDArray[np.uint8]:
    import cv2

    return cv2.cvtColor(samples, cv2.COLOR_RGB2GRAY)  # type: ignore[return-value]


def with_dots(grid: CellGrid, dots: NDArray[np.uint8], colours: NDArray[np.uint8]) -> CellGrid:
    """The grid with lines drawn over it as braille dots.

    ``dots`` (rows * 4, columns * 2) holds 0 for nothing or the number of a row of ``colours`` (n, 3); a cell takes the
    colour of its highest number.
    """
    import numpy as np

    rows, columns = grid.code.shape
    weights = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
    pattern = np.zeros((rows, columns), np.uint32)
    owner = np.zeros((rows, columns), np.uint8)
    for j in range(4):
        for i in range(2):
            plane = dots[j::4, i::2][:rows, :columns]
            pattern |= np.where(plane > 0, np.uint32(weights[j][i]), np.uint32(0))
            owner = np.maximum(owner, plane)
    hit = pattern > 0
    mean = ((grid.ink[hit].astype(np.uint16) + grid.ground[hit]) // 2).astype(np.uint8)
    code, ink, ground = grid.code.copy(), grid.ink.copy(), grid.ground.copy()
    code[hit] = pattern[hit] + BRAILLE
    ink[hit] = colours[owner[hit]]
    # A darker ground under the dots keeps a light line readable on a bright metal wall.
    ground[hit] = mean // 2
    return CellGrid(code, ink, ground)


def with_text(
    grid: CellGrid, column: int, row: int, text: str, ink: tuple[int, int, int], ground: tuple[int, int, int]
) -> None:
    """Write one-cell characters into the grid in place; what falls outside is cut off."""
    rows, columns = grid.code.shape
    if not 0 <= row < rows:
        return
    for k, char in enumerate(text):
        if 0 <= column + k < columns:
            grid.code[row, column + k] = ord(char)
            grid.ink[row, column + k] = ink
            grid.ground[row, column + k] = ground


_depth_tables: dict[str, Any] = {}


def _digits() -> NDArray[np.uint8]:
    """(256, 3) ASCII digits of 000 to 255: fixed width spares a loop over cells."""
    import numpy as np

    if "digits" not in _depth_tables:
        n = np.arange(256)
        _depth_tables["digits"] = (np.stack([n // 100, n // 10 % 10, n % 10], 1) + 48).astype(np.uint8)
    table: NDArray[np.uint8] = _depth_tables["digits"]
    return table


def _template(depth: str) -> tuple[NDArray[np.uint8], int, int]:
    """Bytes of one cell with room for its numbers, and where the glyph's three to four bytes begin."""
    import numpy as np

    head = {"full": b"\x1b[38;2;000;000;000;48;2;000;000;000m", "256": b"\x1b[38;5;000;48;5;000m"}[depth]
    return np.frombuffer(head + b"\0\0\0\0", np.uint8), len(head), len(head) + 4


def _to_256(colour: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The nearest of the 6 x 6 x 6 colours of a 256-colour terminal."""
    import numpy as np

    steps = np.array([0, 95, 135, 175, 215, 255])
    if "256" not in _depth_tables:
        _depth_tables["256"] = np.abs(np.arange(256)[:, None] - steps[None]).argmin(1).astype(np.uint8)
    nearest = _depth_tables["256"][colour]
    out: NDArray[np.uint8] = (16 + 36 * nearest[..., 0] + 6 * nearest[..., 1] + nearest[..., 2]).astype(
        np.uint8
    )
    return out


def row_texts(grid: CellGrid, depth: str = "full") -> list[str]:
    """Terminal text of every row: colour codes and glyphs, ending in a reset.

    ``depth``: 'full', '256', 'grey' (full codes, greys alone) or 'none' (glyphs alone).
    """
    import numpy as np

    code = grid.code
    if depth == "none":
        return ["".join(map(chr, row)) for row in code.tolist()]
    ink, ground = grid.ink, grid.ground
    if depth == "grey":
        ink, ground, depth = greyed(ink), greyed(ground), "full"
    template, at, length = _template(depth)
    rows, columns = code.shape
    out = np.empty((rows, columns, length), np.uint8)
    out[:] = template
    digits = _digits()
    if depth == "full":
        for k in range(3):
            out[..., 7 + 4 * k : 10 + 4 * k] = digits[ink[..., k]]
            out[..., 24 + 4 * k : 27 + 4 * k] = digits[ground[..., k]]
    else:
        out[..., 7:10] = digits[_to_256(ink)]
        out[..., 16:19] = digits[_to_256(ground)]
    _write_utf8(out, at, code)
    text = out.reshape(rows, columns * length)
    return [row.tobytes().translate(None, b"\0").decode() + "\x1b[0m" for row in text]


def _write_utf8(out: NDArray[np.uint8], at: int, code: NDArray[np.uint32]) -> None:
    """Code points as UTF-8 in four bytes, shorter ones padded with zeros that are taken out of the row later."""
    import numpy as np

    one = code < 0x80
    four = code >= 0x10000
    three = (code >= 0x800) & ~four
    mask = np.uint32(0x3F)
    spot = out[..., at : at + 4]
    spot[...] = 0
    if one.any():
        spot[one, 0] = code[one]
    if three.any():
        c = code if three.all() else code[three]
        pieces = np.stack([0xE0 | (c >> 12), 0x80 | ((c >> 6) & mask), 0x80 | (c & mask)], -1).astype(
            np.uint8
        )
        if three.all():
            spot[..., :3] = pieces
        else:
            spot[three, :3] = pieces
    if four.any():
        c = code[four]
        spot[four] = np.stack(
            [0xF0 | (c >> 18), 0x80 | ((c >> 12) & mask), 0x80 | ((c >> 6) & mask), 0x80 | (c & mask)], -1
        ).astype(np.uint8)
    two = (code >= 0x80) & (code < 0x800)
    if two.any():
        c = code[two]
        zero = np.zeros_like(c)
        spot[two] = np.stack([0xC0 | (c >> 6), 0x80 | (c & mask), zero, zero], -1).astype(np.uint8)


def greyed(colour: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Colours (..., 3) as greys of the same brightness."""
    import numpy as np

    light = (colour.astype(np.uint16) @ np.array([77, 150, 29], np.uint16)) >> 8
    return np.repeat(light.astype(np.uint8)[..., None], 3, axis=-1)


class TextStrip(Strip):
    """A row that already is terminal text; segments are made only when somebody crops, tints or exports it."""

    __slots__ = ("_grid", "_made", "_row")

    def __init__(self, text: str, grid: CellGrid, row: int) -> None:
        self._grid = grid
        self._row = row
        self._made: list[Segment] | None = None
        super().__init__((), grid.code.shape[1])
        self._made = None
        self._render_cache = text

    @property
    def _segments(self) -> list[Segment]:
        if self._made is None:
            self._made = _segments(self._grid, self._row)
        return self._made

    @_segments.setter
    def _segments(self, value: list[Segment]) -> None:
        self._made = value

    def __bool__(self) -> bool:
        return True


def _segments(grid: CellGrid, row: int) -> list[Segment]:
    out: list[Segment] = []
    cells = zip(grid.code[row].tolist(), grid.ink[row].tolist(), grid.ground[row].tolist(), strict=True)
    last: tuple[list[int], list[int]] | None = None
    run = ""
    for code, ink, ground in cells:
        if last == (ink, ground):
            run += chr(code)
            continue
        if last is not None:
            out.append(Segment(run, _style(*last)))
        last, run = (ink, ground), chr(code)
    if last is not None:
        out.append(Segment(run, _style(*last)))
    return out


def _style(ink: list[int], ground: list[int]) -> Style:
    return Style(color=Color.from_rgb(*ink), bgcolor=Color.from_rgb(*ground))


def strips(grid: CellGrid, depth: str = "full") -> list[Strip]:
    """Every row as a strip ready for `Widget.render_lines`."""
    return [TextStrip(text, grid, row) for row, text in enumerate(row_texts(grid, depth))]
