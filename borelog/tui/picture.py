"""The picture widget: cells for pixels, marks as dots, cross hair, magnifier; mouse by part of a cell where it can be had.

The widget shows and reports; it records nothing. What it is told to show lives in its `Look` (a frozen value), so every
key and every mouse act ends in the same few methods.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.message import Message
from textual.strip import Strip

from borelog.marks.shapes import Pair
from borelog.tui.framed import Framed
from borelog.tui.overlay import Drawn
from borelog.tui.themes import NIGHT, Palette
from borelog.tui.viewport import Viewport, fit
from borelog.tui.views.words import wrapped

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from borelog.tui.sampling import Source

Compose = Callable[[Viewport, tuple[int, int], tuple[int, int], tuple[int, int, int]], "NDArray[np.uint8]"]
"""Makes the samples of a view where more than one picture takes part: (view, size, dots, ground) -> samples."""


@dataclass(frozen=True, slots=True)
class Look:
    """How the picture is shown: glyph set, colours, cross hair, magnifier, with or without marks."""

    glyphs: str = "quadrants"
    depth: str = "full"
    cross: bool = True
    magnifier: bool = False
    marks: bool = True


class Picture(Framed, can_focus=True):
    """A picture in cells. ``size`` below is always (columns, rows)."""

    ALLOW_SELECT = False
    DEFAULT_CSS = "Picture { width: 1fr; height: 1fr; }"

    class Moved(Message):
        """The view or the cross hair changed."""

        def __init__(self, picture: Picture) -> None:
            self.picture = picture
            super().__init__()

        def can_replace(self, message: Message) -> bool:
            """Only the latest counts."""
            return isinstance(message, Picture.Moved)

    class Pressed(Message):
        """A mouse button went down, moved or came up at a picture place; ``phase`` is 'down', 'move' or 'up'."""

        def __init__(self, picture: Picture, phase: str, place: Pair) -> None:
            self.picture, self.phase, self.place = picture, phase, place
            super().__init__()

    def __init__(self, *, id: str | None = None, palette: Palette = NIGHT) -> None:
        super().__init__(id=id)
        self.palette = palette
        self.look = Look()
        self.source: Source | None = None
        self.compose_view: Compose | None = None
        self.view: Viewport | None = None
        self.at: Pair = (0.0, 0.0)
        self.drawn: tuple[Drawn, ...] = ()
        self.words = "no picture"
        self.pans = True
        self.hovers = False
        self._fitted = True
        self._begin: tuple[float, bool] = (0.0, False)
        self._frame: list[Strip] | None = None
        self._blocks: tuple[tuple[object, ...], list[Strip]] | None = None
        self._drag: tuple[float, float] | None = None

    # --- what is shown -------------------------------------------------------------------------------------------

    def show(self, source: Source | None, words: str = "", keep_view: bool = False) -> None:
        """Show another picture, whole unless ``keep_view``; None shows ``words`` alone."""
        self.source, self.words = source, words
        self.compose_view = None
        if source and not (keep_view and self.view):
            self.at = (source.size[0] / 2, source.size[1] / 2)
            self._fitted = True
        self._fit_if_wanted()
        self.repaint()

    def set_look(self, look: Look) -> None:
        """Change how it is shown."""
        self.look = look
        self.repaint()

    def set_marks(self, drawn: tuple[Drawn, ...]) -> None:
        """Change the marks laid over it."""
        self.drawn = drawn
        self.repaint()

    def repaint(self) -> None:
        """Make the frame anew at the next refresh."""
        self._frame = None
        self.refresh()

    @property
    def cells(self) -> tuple[int, int]:
        """Columns and rows of the area."""
        return max(1, self.size.width), max(1, self.size.height)

    def _fit_if_wanted(self) -> None:
        if self.source and (self._fitted or self.view is None):
            turn, mirror = (self.view.turn, self.view.mirror) if self.view else self._begin
            self.view = fit(self.source.size, self.cells, turn, mirror, self.tall())

    def begin_view(self, turn: float, mirror: bool) -> None:
        """The next picture is shown whole, turned clockwise and mirrored so."""
        self._begin = (turn % 360.0, mirror)
        self.view, self._fitted = None, True

    def turn_to(self, turn: float, mirror: bool) -> None:
        """Show the whole picture turned clockwise and mirrored so."""
        self.begin_view(turn, mirror)
        self.fit_view()

    def keep_shape(self) -> None:
        """Take over a cell size that became known after the picture was shown: round things are to look round."""
        if self.view and self.view.tall != self.tall():
            self.view = replace(self.view, tall=self.tall())
            self._fit_if_wanted()
            self.repaint()
            self.post_message(self.Moved(self))

    def tall(self) -> float:
        """How many times as tall as wide a cell is here."""
        pixels = getattr(self.app, "cell_pixels", None)
        return pixels[1] / pixels[0] if pixels else 2.0

    def on_resize(self) -> None:
        """A whole picture stays whole; whoever states its scale is told."""
        self._fit_if_wanted()
        self.repaint()
        if self.view:
            self.post_message(self.Moved(self))

    # --- moving about --------------------------------------------------------------------------------------------

    def go(self, view: Viewport) -> None:
        """Show this view."""
        if self.source:
            self.view = view.kept_inside(self.source.size)
            self._fitted = False
            self.repaint()
            self.post_message(self.Moved(self))

    def fit_view(self) -> None:
        """Show the whole picture."""
        self._fitted = True
        self._fit_if_wanted()
        self.repaint()
        self.post_message(self.Moved(self))

    def pan(self, columns: float, rows: float) -> None:
        """Move the view by cells."""
        if self.view:
            self.go(self.view.panned(columns, rows))

    def zoom(self, factor: float, place: Pair | None = None) -> None:
        """Look nearer about a picture place, the cross hair if none is given."""
        if self.view:
            self.go(
                self.view.zoomed(factor, *self.view.to_cells(*(place or self.at), self.cells), self.cells)
            )

    def zoom_pixels(self) -> None:
        """One picture pixel to a dot of the glyph set."""
        from borelog.tui.cells import DOTS

        if self.view:
            self.zoom(self.view.px / DOTS[self.look.glyphs][0])

    def turn(self, degrees: float) -> None:
        """Turn the view."""
        if self.view:
            view = self.view.turned(degrees)
            if self._fitted and self.source:
                view = fit(self.source.size, self.cells, view.turn, view.mirror, view.tall)
            self.view = view
            self.repaint()
            self.post_message(self.Moved(self))

    def mirror(self) -> None:
        """Swap left and right in the view."""
        if self.view:
            self.view = replace(self.view, mirror=not self.view.mirror)
            self.repaint()
            self.post_message(self.Moved(self))

    def set_cross(self, place: Pair) -> None:
        """Put the cross hair on a picture place; the view follows when it would leave the area."""
        if not self.source or not self.view:
            return
        width, height = self.source.size
        self.at = (min(max(place[0], 0.0), float(width)), min(max(place[1], 0.0), float(height)))
        column, row = self.view.to_cells(*self.at, self.cells)
        columns, rows = self.cells
        dx = min(0.0, column - 2) + max(0.0, column - columns + 2)
        dy = min(0.0, row - 1) + max(0.0, row - rows + 1)
        if (dx or dy) and not self._fitted:
            self.view = self.view.panned(dx, dy).kept_inside(self.source.size)
        self.repaint()
        self.post_message(self.Moved(self))

    def step_cross(self, columns: float, rows: float) -> None:
        """Move the cross hair by cells of the view."""
        if self.view:
            column, row = self.view.to_cells(*self.at, self.cells)
            self.set_cross(self.view.to_picture(column + columns, row + rows, self.cells))

    def step_cross_pixels(self, right: float, down: float) -> None:
        """Move the cross hair by picture pixels, in the direction seen on the screen."""
        if self.view:
            self.step_cross(right / self.view.px, down / (self.view.px * self.view.tall))

    # --- mouse ---------------------------------------------------------------------------------------------------

    def place_of(self, event: events.MouseEvent) -> Pair | None:
        """The picture place under the pointer; by part of a cell where the terminal says so."""
        if not self.view:
            return None
        offset = self.content_offset_of(event)
        # Whole numbers mean the terminal reports cells only: take the cell's middle.
        half = 0.5 if event.pointer_x == event.x and event.pointer_y == event.y else 0.0
        return self.view.to_picture(offset[0] + half, offset[1] + half, self.cells)

    def content_offset_of(self, event: events.MouseEvent) -> tuple[float, float]:
        """Pointer in cell places of the content area."""
        return event.pointer_x - self.gutter.left, event.pointer_y - self.gutter.top

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """Left button: the cross hair goes there; a drag follows."""
        place = self.place_of(event)
        if place is None or event.button != 1:
            return
        self.focus()
        self.capture_mouse()
        self._drag = (event.pointer_x, event.pointer_y)
        self.set_cross(place)
        self.post_message(self.Pressed(self, "down", place))
        event.stop()

    def on_mouse_move(self, event: events.MouseMove) -> None:
        """A drag moves the view, or whatever the screen makes of it."""
        if self._drag is None or not self.view:
            if self.hovers and self.view and (over := self.place_of(event)):
                self.set_cross(over)
            return
        place = self.place_of(event)
        if self.pans:
            dx, dy = event.pointer_x - self._drag[0], event.pointer_y - self._drag[1]
            self._drag = (event.pointer_x, event.pointer_y)
            if dx or dy:
                self.pan(-dx, -dy)
        elif place:
            self.set_cross(place)
            self.post_message(self.Pressed(self, "move", place))
        event.stop()

    def on_mouse_up(self, event: events.MouseUp) -> None:
        """The drag ends."""
        if self._drag is None:
            return
        self._drag = None
        self.release_mouse()
        place = self.place_of(event)
        if place:
            self.post_message(self.Pressed(self, "up", place))
        event.stop()

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """Nearer about the pointer."""
        self.zoom(1.25, self.place_of(event))
        event.stop()

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """Farther about the pointer."""
        self.zoom(0.8, self.place_of(event))
        event.stop()

    # --- painting ------------------------------------------------------------------------------------------------

    def _behind(self) -> list[Strip]:
        """The picture in blocks a few cells wide, for the ground of a question; kept while nothing changes."""
        key = (self._frame is None, self.source, self.view, self.size, self.palette.name)
        if self._blocks is None or self._blocks[0] != key:
            from borelog.tui.frames import blocks

            shown = self.source is not None and self.view is not None
            strips = blocks(self.source, self.view, self.cells, self.palette) if shown else self._paint()  # type: ignore[arg-type]
            self._blocks = (key, strips)
        return self._blocks[1]

    def _paint(self) -> list[Strip]:
        columns, rows = self.size.width, self.size.height
        if not columns or not rows:
            return []
        if not self.source or not self.view:
            style = Style(color=self.palette.quiet, bgcolor=self.palette.ground)
            words = wrapped(self.words, columns)[:rows]
            above = (rows - len(words)) // 2
            lines = [*[""] * above, *words, *[""] * (rows - above - len(words))]
            return [Strip([Segment(text.center(columns), style)], columns) for text in lines]
        from borelog.tui.frames import frame

        return frame(
            self.source,
            self.view,
            self.cells,
            self.look,
            self.drawn,
            self.at,
            self.palette,
            self.compose_view,
        )
