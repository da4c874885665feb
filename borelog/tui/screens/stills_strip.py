"""One place over its dates on the screen: the strip can be panned and zoomed like a still, and written as a picture."""

from __future__ import annotations

from typing import Any

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical

from borelog.tui.ask import Question
from borelog.tui.painted import Bar
from borelog.tui.picture import Look, Picture
from borelog.tui.sampling import Source
from borelog.tui.views.folding import folded


class StripPage(Question):
    """A strip; answers 'write' where it is to be written as a file, else None."""

    DEFAULT_CSS = """
    StripPage > Vertical { width: 100%; max-width: 100%; height: 100%; max-height: 100%; border: none; padding: 0; }
    """
    BINDINGS = [
        Binding("plus", "zoom(1.5)", show=False), Binding("equals_sign", "zoom(1.5)", show=False),
        Binding("minus", "zoom(0.6667)", show=False), Binding("0", "whole", show=False),
        Binding("left", "pan(-1,0)", show=False), Binding("right", "pan(1,0)", show=False),
        Binding("up", "pan(0,-1)", show=False), Binding("down", "pan(0,1)", show=False),
        Binding("w", "write", show=False), Binding("enter", "leave", show=False), Binding("ctrl+j", "leave", show=False),
    ]  # fmt: skip

    def __init__(self, strip: Any, source: Source, look: Look) -> None:
        super().__init__()
        self.strip, self.source, self.look = strip, source, look

    def compose(self) -> ComposeResult:
        """What it shows, the strip, remarks, keys."""
        with Vertical():
            yield Bar(id="head")
            yield Picture(id="strip", palette=self.screens.palette)
            yield Bar(id="where", panel=False)
            yield Bar(id="how")

    @property
    def picture(self) -> Picture:
        """The strip's own picture."""
        return self.query_one("#strip", Picture)

    def on_mount(self) -> None:
        """Show it whole."""
        self.picture.look = self.look
        self.picture.show(self.source)
        self.picture.focus()
        self.show()

    def on_resize(self) -> None:
        """Fold the words anew."""
        self.call_after_refresh(self.show)

    def show(self) -> None:
        """Words and scale."""
        room = self.size.width
        view = self.picture.view
        where = [f"{view.says()} of the strip" if view else "", *self.strip.remarks]
        keys = ["arrows move", "+ - nearer, farther", "0 whole", "w writes it as a picture", "Esc goes back"]
        for name, parts in (("#head", self.strip.words.split(", ", 1)), ("#where", where), ("#how", keys)):
            bar, lines = self.query_one(name, Bar), folded(parts, room)
            bar.styles.height = len(lines)
            bar.set_lines(*lines)

    def on_picture_moved(self) -> None:
        """The scale is always shown."""
        self.show()

    def action_zoom(self, factor: float) -> None:
        """Nearer or farther about the middle."""
        self.picture.zoom(factor)

    def action_whole(self) -> None:
        """All of it."""
        self.picture.fit_view()

    def action_pan(self, right: float, down: float) -> None:
        """A quarter of the area on."""
        columns, rows = self.picture.cells
        self.picture.pan(right * columns / 4, down * rows / 4)

    def action_write(self) -> None:
        """Have it written."""
        self.dismiss("write")
