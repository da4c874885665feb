"""A list of entries of one or more lines, one of them in hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from textual import events
from textual.geometry import Size
from textual.message import Message
from textual.strip import Strip

from borelog.tui.painted import Painted, strip_of
from borelog.tui.views.words import Line, Span


class Choices(Painted):
    """Entries with an index in hand; arrows move, a click picks, a second click opens."""

    class Opened(Message):
        """An entry was opened by mouse."""

        def __init__(self, index: int) -> None:
            self.index = index
            super().__init__()

    class Picked(Message):
        """Another entry is in hand."""

        def __init__(self, index: int) -> None:
            self.index = index
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.index = 0
        self._starts: list[int] = []

    def set_entries(self, entries: Sequence[tuple[Line, ...]], index: int | None = None) -> None:
        """Show other entries; keeps the index where it can."""
        starts: list[int] = []
        lines: list[Line] = []
        for entry in entries:
            starts.append(len(lines))
            lines.extend(entry)
        self._starts = starts
        self.index = min(max(0, self.index if index is None else index), max(0, len(starts) - 1))
        self.lines = lines
        self.virtual_size = Size(0, len(lines))
        self._keep()
        self.refresh()

    def _keep(self) -> None:
        if self._starts:
            self.keep_in_view(self._end() - 1, 0)
            self.keep_in_view(self._starts[self.index], 1 if self.index == 1 else 0)

    def _end(self) -> int:
        return self._starts[self.index + 1] if self.index + 1 < len(self._starts) else len(self.lines)

    def move(self, by: int) -> None:
        """Take another entry in hand."""
        if self._starts:
            self.index = min(max(0, self.index + by), len(self._starts) - 1)
            self._keep()
            self.refresh()
            self.post_message(self.Picked(self.index))

    def on_key(self, event: events.Key) -> None:
        """Arrows, pages, ends."""
        page = max(1, self.size.height // 4)
        steps = {"up": -1, "down": 1, "pageup": -page, "pagedown": page, "home": -(10**6), "end": 10**6}
        if event.key in steps:
            self.move(steps[event.key])
            event.stop()
            event.prevent_default()

    def on_click(self, event: events.Click) -> None:
        """Pick; open what is in hand already."""
        row = event.y + round(self.scroll_y)
        at = max((k for k, start in enumerate(self._starts) if start <= row), default=None)
        if at is None:
            return
        if at == self.index:
            self.post_message(self.Opened(at))
        else:
            self.move(at - self.index)

    def render_line(self, y: int) -> Strip:
        """One row; the first line of the entry in hand is reversed, the rest marked at the edge."""
        row = y + round(self.scroll_y)
        app = self.screens
        line: Any = self.lines[row] if row < len(self.lines) else ()
        if not self._starts or not self._starts[self.index] <= row < self._end() or not line:
            return strip_of(line, self.room, app.palette, app.letters)
        if row == self._starts[self.index]:
            return strip_of(line, self.room, app.palette, app.letters, picked=True)
        first = line[0]
        edge = (
            (Span("┃", "ink", "bold"), first._replace(text=first.text[1:]))
            if first.text.startswith(" ")
            else (first,)
        )
        return strip_of((*edge, *line[1:]), self.room, app.palette, app.letters)
