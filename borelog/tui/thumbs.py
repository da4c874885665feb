"""Small pictures of the stills of a run in a row of cells; made once each on a thread, painted from memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rich.style import Style
from textual import events
from textual.message import Message
from textual.strip import Strip

from borelog.tui.framed import Framed
from borelog.tui.themes import NIGHT, Palette

if TYPE_CHECKING:
    from borelog.tui.sampling import Source

WIDE, HIGH, GAP = 15, 5, 1
"""Columns and rows of one, and columns between two."""
KEPT = 400


@dataclass(frozen=True, slots=True)
class Thumb:
    """One still of the row: its digest, what stands in its corner, whether it was set aside."""

    sha256: str
    tag: str
    aside: bool = False


class Thumbs(Framed):
    """A row of thumbnails, the one in hand framed and kept in view; a click takes one in hand."""

    ALLOW_SELECT = False
    DEFAULT_CSS = f"Thumbs {{ width: 1fr; height: {HIGH + 1}; display: none; }}"

    class Taken(Message):
        """A thumbnail was clicked."""

        def __init__(self, index: int) -> None:
            self.index = index
            super().__init__()

    def __init__(self, *, id: str | None = None, palette: Palette = NIGHT) -> None:
        super().__init__(id=id)
        self.palette = palette
        self.look: tuple[str, str] = ("quadrants", "full")
        self.thumbs: tuple[Thumb, ...] = ()
        self.index = 0
        self.tall = 2.0
        self._sources: dict[str, Source | None] = {}
        self._cells: dict[tuple[Any, ...], Any] = {}
        self._frame: list[Strip] | None = None

    def set_thumbs(self, thumbs: Sequence[Thumb], index: int, look: tuple[str, str], tall: float) -> None:
        """Show another run, or another still of it in hand."""
        new = (tuple(thumbs), index, look, tall)
        if new != (self.thumbs, self.index, self.look, self.tall):
            self.thumbs, self.index, self.look, self.tall = new
            self.again()

    def again(self) -> None:
        """Paint anew."""
        self._frame = None
        self.refresh()

    def missing(self) -> list[str]:
        """Digests of stills in the row whose picture is not there yet, those in view first."""
        first, count = self._window()
        order = [*self.thumbs[first : first + count], *self.thumbs]
        return list(dict.fromkeys(t.sha256 for t in order if t.sha256 not in self._sources))

    def arrived(self, sha256: str, source: Source | None) -> None:
        """A thumbnail was made (None: it cannot be shown)."""
        while len(self._sources) >= KEPT:
            self._sources.pop(next(iter(self._sources)))
        self._sources[sha256] = source
        self.again()

    def _window(self) -> tuple[int, int]:
        count = max(1, (self.size.width + GAP) // (WIDE + GAP))
        first = min(max(0, self.index - count // 2), max(0, len(self.thumbs) - count))
        return first, count

    def on_resize(self) -> None:
        """Another width."""
        self.again()

    def on_click(self, event: events.Click) -> None:
        """Take one in hand."""
        first, _ = self._window()
        at = first + event.x // (WIDE + GAP)
        if at < len(self.thumbs):
            self.post_message(self.Taken(at))
        event.stop()

    def _behind(self) -> list[Strip]:
        return [Strip.blank(self.size.width, Style(bgcolor=self.palette.ground))] * self.size.height

    def _paint(self) -> list[Strip]:
        import numpy as np

        from borelog.tui.cells import CellGrid, strips, with_text
        from borelog.tui.frames import rgb

        columns, rows = self.size.width, self.size.height
        if not columns or not rows:
            return []
        p, ground = self.palette, rgb(self.palette.ground)
        grid = CellGrid(
            np.full((rows, columns), ord(" "), np.uint32),
            np.full((rows, columns, 3), rgb(p.ink), np.uint8),
            np.full((rows, columns, 3), ground, np.uint8),
        )
        first, count = self._window()
        letters = self.look[0] == "letters"
        for place, thumb in enumerate(self.thumbs[first : first + count]):
            left = place * (WIDE + GAP)
            wide = min(WIDE, columns - left)
            if (cells := self._cells_of(thumb.sha256)) is not None:
                for mine, its in (
                    (grid.code, cells.code),
                    (grid.ink, cells.ink),
                    (grid.ground, cells.ground),
                ):
                    mine[:HIGH, left : left + wide] = its[:, :wide]
            held = first + place == self.index
            colours = (rgb(p.pick_ink), rgb(p.pick)) if held else (rgb(p.quiet), ground)
            with_text(grid, left, HIGH, thumb.tag[:WIDE].ljust(WIDE), *colours)
            if held:
                with_text(grid, left, 0, ">" if letters else "▶", rgb(p.pick_ink), rgb(p.pick))
            if thumb.aside:
                with_text(grid, left + wide - 1, 0, "x" if letters else "✗", rgb(p.watch), ground)
        if first:
            with_text(grid, 0, HIGH - 1, "<" if letters else "◂", rgb(p.pick_ink), rgb(p.pick))
        if first + count < len(self.thumbs):
            with_text(grid, columns - 1, HIGH - 1, ">" if letters else "▸", rgb(p.pick_ink), rgb(p.pick))
        return strips(grid, self.look[1])

    def _cells_of(self, sha256: str) -> Any:
        from borelog.tui.cells import DOTS, to_cells
        from borelog.tui.frames import rgb
        from borelog.tui.sampling import sample
        from borelog.tui.viewport import fit

        source = self._sources.get(sha256)
        if source is None:
            return None
        key = (sha256, self.look[0], self.palette.name, self.tall)
        if key not in self._cells:
            view = fit(source.size, (WIDE, HIGH), tall=self.tall)
            samples = sample(source, view, (WIDE, HIGH), DOTS[self.look[0]], rgb(self.palette.ground))
            while len(self._cells) >= KEPT:
                self._cells.pop(next(iter(self._cells)))
            self._cells[key] = to_cells(samples, self.look[0])
        return self._cells[key]
