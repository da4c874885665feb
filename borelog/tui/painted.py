"""A widget that paints lines of spans, and the small lines around every screen: title, cylinders, message, keys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Size
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.widget import Widget

from borelog.text import one_line
from borelog.tui.themes import Palette
from borelog.tui.views.words import Line, Span, fitted, plain, width

if TYPE_CHECKING:
    from borelog.tui.app import Screens


_styles: dict[tuple[str, str, str, bool], Style] = {}


def style_of(palette: Palette, span: Span, picked: bool = False) -> Style:
    """The colours of a span; what is in hand is ink on paper, whatever its status, so its glyph and word carry it."""
    key = (palette.name, span.role, span.weight, picked)
    held = _styles.get(key)
    if held is None:
        held = _styles[key] = _style(palette, span, picked)
    return held


def _style(palette: Palette, span: Span, picked: bool) -> Style:
    if picked or span.weight == "pick":
        return Style(color=palette.pick_ink, bgcolor=palette.pick, bold=True)
    if span.weight == "loud":
        return Style(color=palette.ground, bgcolor=getattr(palette, span.role), bold=True)
    ground = palette.panel if span.weight.startswith("panel") else palette.ground
    return Style(
        color=getattr(palette, span.role),
        bgcolor=ground,
        bold="bold" in span.weight or "strong" in span.weight,
    )


def strip_of(
    line: Line, room: int, palette: Palette, letters: bool, picked: bool = False, panel: bool = False
) -> Strip:
    """A line as a strip of exactly ``room`` cells."""
    segments = []
    safe = tuple(s if s.text.isprintable() else s._replace(text=one_line(s.text)) for s in line)
    for span in fitted(safe, room):
        text = plain(span.text) if letters else span.text
        if panel and span.weight in ("", "bold"):
            span = span._replace(weight=f"panel {span.weight}")
        segments.append(Segment(text, style_of(palette, span, picked)))
    return Strip(segments, room)


class _Themed(Widget):
    @property
    def screens(self) -> Screens:
        """The application."""
        return cast("Screens", self.app)


class Painted(ScrollView, _Themed, can_focus=True, inherit_bindings=False):
    """Lines of spans that scroll; ``cursor`` is the line in hand, None where lines are only read."""

    ALLOW_SELECT = False
    DEFAULT_CSS = "Painted { width: 1fr; height: 1fr; scrollbar-size-vertical: 1; scrollbar-size-horizontal: 1; overflow-x: hidden; background: $ground; }"

    def __init__(self, *, id: str | None = None, panel: bool = False, reads: bool = True) -> None:
        super().__init__(id=id)
        self.can_focus = reads
        self.lines: Sequence[Line] = ()
        self._shown: tuple[str, int, int | None] = ("", 0, None)
        self.cursor: int | None = None
        self.panel = panel

    def set_lines(self, lines: Sequence[Line], cursor: int | None = None) -> None:
        """Show other lines; the scroll position stays unless the cursor would leave the view."""
        shown = (self.screens.theme, self.size.width, cursor)
        if lines == self.lines and shown == self._shown:
            return
        self._shown = shown
        self.lines = lines
        self.cursor = cursor
        self.virtual_size = Size(0, len(lines))
        if cursor is not None:
            self.keep_in_view(cursor)
        self.refresh()

    @property
    def room(self) -> int:
        """Columns for the lines, without the scroll bar's."""
        return self.size.width - (self.scrollbar_size_vertical if self.show_vertical_scrollbar else 0)

    def keep_in_view(self, row: int, margin: int = 1) -> None:
        """Scroll so that a line is seen."""
        top, high = round(self.scroll_y), max(1, self.size.height)
        if row - margin < top:
            self.scroll_to(y=max(0, row - margin), animate=False, force=True, immediate=True)
        elif row + margin >= top + high:
            self.scroll_to(y=row + margin - high + 1, animate=False, force=True, immediate=True)

    def render_line(self, y: int) -> Strip:
        """One row."""
        row = y + round(self.scroll_y)
        line = self.lines[row] if row < len(self.lines) else ()
        picked = self.cursor is not None and row == self.cursor and self.has_focus
        return strip_of(line, self.room, self.screens.palette, self.screens.letters, picked, self.panel)

    def on_focus(self) -> None:
        """What is in hand shows."""
        self.refresh()

    def on_blur(self) -> None:
        """What is in hand no longer shows."""
        self.refresh()


class Bar(_Themed):
    """A few fixed lines on the raised ground."""

    DEFAULT_CSS = "Bar { width: 1fr; height: 1; }"

    def __init__(self, *, id: str | None = None, panel: bool = True) -> None:
        super().__init__(id=id)
        self.lines: tuple[Line, ...] = ()
        self._theme = ""
        self.panel = panel

    def set_lines(self, *lines: Line) -> None:
        """Show other lines."""
        if lines != self.lines or self._theme != self.screens.theme:
            self.lines, self._theme = lines, self.screens.theme
            self.refresh()

    def render_line(self, y: int) -> Strip:
        """One row."""
        line = self.lines[y] if y < len(self.lines) else ()
        return strip_of(line, self.size.width, self.screens.palette, self.screens.letters, panel=self.panel)


def whole_entries(entries: list[Line], room: int, gap: int = 2) -> Line:
    """As many whole entries as fit, in order; none is ever cut."""
    out: list[Span] = []
    left = room
    for entry in entries:
        need = width(entry) + (gap if out else 0)
        if need > left:
            break
        if out:
            out.append(Span(" " * gap))
        out.extend(entry)
        left -= need
    return tuple(out)
