"""Every key that works here, from the action table; with the cautions of the step in hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical

from borelog.tui.ask import Question
from borelog.tui.painted import Bar, Painted
from borelog.tui.views.helping import help_lines
from borelog.tui.views.words import Span, pieces

if TYPE_CHECKING:
    from borelog.tui.base import Room


class HelpPage(Question):
    """A page to read; any of the usual keys goes back."""

    DEFAULT_CSS = """
    HelpPage > Vertical { width: 92; height: 92%; }
    HelpPage #page { height: 1fr; max-height: 100%; }
    """
    BINDINGS = [
        Binding("f1", "leave", show=False), Binding("question_mark", "leave", show=False), Binding("enter", "leave", show=False),
        Binding("ctrl+j", "leave", show=False), Binding("down", "down", show=False), Binding("up", "up", show=False),
        Binding("pagedown", "page_down", show=False), Binding("pageup", "page_up", show=False), Binding("space", "page_down", show=False),
    ]  # fmt: skip

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.where, self.test = room.where, getattr(getattr(room, "grid", None), "row", None)

    def compose(self) -> ComposeResult:
        """The page and how to leave it."""
        with Vertical():
            yield Painted(id="page")
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Fill the page."""
        self.show()
        self.query_one("#page").focus()

    def on_resize(self) -> None:
        """Fold anew."""
        self.call_after_refresh(self.show)

    def show(self) -> None:
        """The lines for this width."""
        page = self.query_one("#page", Painted)
        test = self.test.test if self.test is not None else ""
        inspection = self.screens.desk.inspection
        facts = inspection.facts if inspection else None
        page.set_lines(help_lines(self.where, self.screens.keys, test, max(30, page.size.width - 1), facts))
        self.query_one("#how", Bar).set_lines(
            (Span(pieces("arrows and pages scroll · Enter, Esc or F1 goes back", page.size.width), "quiet"),)
        )

    def action_down(self) -> None:
        """A line down."""
        self.query_one("#page", Painted).scroll_down(animate=False)

    def action_up(self) -> None:
        """A line up."""
        self.query_one("#page", Painted).scroll_up(animate=False)

    def action_page_down(self) -> None:
        """A page down."""
        self.query_one("#page", Painted).scroll_page_down(animate=False)

    def action_page_up(self) -> None:
        """A page up."""
        self.query_one("#page", Painted).scroll_page_up(animate=False)
