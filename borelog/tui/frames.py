"""One frame of the picture widget: samples, marks, cross hair, magnifier and tags, as strips."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.color import Color
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from borelog.marks.shapes import Pair
from borelog.tui.cells import DOTS, CellGrid, strips, to_cells, with_dots, with_text
from borelog.tui.overlay import Drawn, rasterise, tags
from borelog.tui.sampling import Source, sample
from borelog.tui.themes import Palette
from borelog.tui.viewport import Viewport

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from borelog.tui.picture import Compose, Look

_CROSS = 255


def rgb(colour: str) -> tuple[int, int, int]:
    """'#rrggbb' as three numbers."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def frame(
    source: Source,
    view: Viewport,
    size: tuple[int, int],
    look: Look,
    drawn: tuple[Drawn, ...],
    at: Pair,
    palette: Palette,
    compose: Compose | None = None,
) -> list[Strip]:
    """All rows of the picture's area, ready for the terminal."""
    grid = cells_of(source, view, size, look, drawn, at, palette, compose)
    return strips(grid, look.depth)


_BLOCK = 8
"""Columns of a block behind a question."""


def blocks(source: Source, view: Viewport, size: tuple[int, int], palette: Palette) -> list[Strip]:
    """A picture out of focus: blocks of even colour, few enough to be tinted in a few milliseconds."""
    columns, rows = size
    samples = sample(source, view, size, (1, 1), rgb(palette.ground))
    pad = -columns % _BLOCK
    wide = np.pad(samples, ((0, 0), (0, pad), (0, 0)), mode="edge").reshape(rows, -1, _BLOCK, 3)
    colours = wide.mean(axis=2).astype(int).tolist()
    out = []
    for row in colours:
        segments = [
            Segment(" " * min(_BLOCK, columns - k * _BLOCK), Style(bgcolor=Color.from_rgb(*colour)))
            for k, colour in enumerate(row)
        ]
        out.append(Strip(segments, columns))
    return out


def cells_of(
    source: Source,
    view: Viewport,
    size: tuple[int, int],
    look: Look,
    drawn: tuple[Drawn, ...],
    at: Pair,
    palette: Palette,
    compose: Compose | None = None,
) -> CellGrid:
    """The same as a grid of cells."""
    dots, ground = DOTS[look.glyphs], rgb(palette.ground)
    samples = compose(view, size, dots, ground) if compose else sample(source, view, size, dots, ground)
    grid = to_cells(samples, look.glyphs)
    shown = list(drawn) if look.marks else []
    letters = look.glyphs == "letters"
    canvas = rasterise(shown, view, size)
    if look.cross:
        _cross(canvas, view.to_cells(*at, size))
    if canvas.any():
        grid = with_dots(grid, canvas, _colours(shown, palette))
        if letters:
            _letters_for_dots(grid)
    ink = {role: rgb(getattr(palette, role)) for role in ("watch", "good", "bad", "ink", "quiet", "pick")}
    for tag in tags(shown, view, size):
        colours = (rgb(palette.pick_ink), ink["pick"]) if tag.held else (ink[tag.role], ground)
        with_text(grid, tag.column, tag.row, tag.text, *colours)
    if look.magnifier:
        _magnify(grid, source, view, size, look, at, palette, compose)
    return grid


def _colours(drawn: list[Drawn], palette: Palette) -> NDArray[np.uint8]:
    table = np.zeros((256, 3), np.uint8)
    for k, item in enumerate(drawn[:254]):
        table[k + 1] = rgb(palette.pick if item.held else getattr(palette, item.role))
    table[_CROSS] = rgb(palette.pick if palette.dark else palette.ground)
    return table


def _cross(canvas: NDArray[np.uint8], at: Pair) -> None:
    """Four short arms that leave the middle free, so that nothing under the cross hair is hidden."""
    x, y = int(round(at[0] * 2)), int(round(at[1] * 4))
    height, width = canvas.shape
    for start, stop in ((-9, -3), (4, 10)):
        if 0 <= y < height:
            canvas[y, max(0, x + start) : max(0, min(width, x + stop))] = _CROSS
        if 0 <= x < width:
            canvas[max(0, y + start) : max(0, min(height, y + stop)), x] = _CROSS


def _letters_for_dots(grid: CellGrid) -> None:
    """Braille dots as a plus sign where only letters may be used."""
    braille = (grid.code >= 0x2800) & (grid.code <= 0x28FF)
    grid.code[braille] = ord("+")


def _magnify(
    grid: CellGrid,
    source: Source,
    view: Viewport,
    size: tuple[int, int],
    look: Look,
    at: Pair,
    palette: Palette,
    compose: Compose | None,
) -> None:
    """A box with the picture's own pixels, one to a dot, in the corner away from the cross hair."""
    columns, rows = size
    wide, high = min(columns - 2, max(20, columns // 3)), min(rows - 2, max(8, rows // 3))
    if wide < 8 or high < 4:
        return
    dots = DOTS[look.glyphs]
    near = Viewport(*at, min(float(dots[0]), view.px), view.turn, view.mirror, view.tall)
    ground = rgb(palette.ground)
    inner = (wide, high)
    samples = compose(near, inner, dots, ground) if compose else sample(source, near, inner, dots, ground)
    part = to_cells(samples, look.glyphs)
    column, row = view.to_cells(*at, size)
    left = columns - wide - 2 if column < columns / 2 else 0
    top = 0 if row > rows / 2 else rows - high - 2
    ink = rgb(palette.ink)
    letters = look.glyphs == "letters"
    across, down = ("-", "|") if letters else ("─", "│")
    words = f" {near.says()} "
    edge = ("+" if letters else "┌") + words + across * max(0, wide - len(words)) + ("+" if letters else "┐")
    with_text(grid, left, top, edge[: wide + 2], ink, ground)
    for k in range(high):
        y = top + 1 + k
        with_text(grid, left, y, down, ink, ground)
        with_text(grid, left + wide + 1, y, down, ink, ground)
        grid.code[y, left + 1 : left + 1 + wide] = part.code[k]
        grid.ink[y, left + 1 : left + 1 + wide] = part.ink[k]
        grid.ground[y, left + 1 : left + 1 + wide] = part.ground[k]
    with_text(
        grid,
        left,
        top + high + 1,
        ("+" if letters else "└") + across * wide + ("+" if letters else "┘"),
        ink,
        ground,
    )
    with_text(grid, left + 1 + wide // 2, top + 1 + high // 2, "+", rgb(palette.pick), ground)
