"""Filing a fresh card: look at the proposal, shift a run that slipped, accept with one key."""

from __future__ import annotations

from typing import Any

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical

from borelog.text import BorelogError
from borelog.tui.ask import Question
from borelog.tui.chosen import Choices
from borelog.tui.painted import Bar
from borelog.tui.views.card import group_entries
from borelog.tui.views.words import Span


class CardPage(Question):
    """Groups by cylinder; answers the card to be filed, or None."""

    DEFAULT_CSS = """
    CardPage > Vertical { width: 92; height: 80%; }
    CardPage #groups { height: 1fr; max-height: 100%; }
    """
    BINDINGS = [
        Binding("enter", "accept", show=False), Binding("ctrl+j", "accept", show=False),
        Binding("right", "shift(1)", show=False), Binding("left", "shift(-1)", show=False),
    ]  # fmt: skip

    def __init__(self, bench: Any, inspection: str, card: Any) -> None:
        super().__init__()
        self.bench, self.inspection, self.card = bench, inspection, card

    def compose(self) -> ComposeResult:
        """Title, groups, keys."""
        with Vertical():
            yield Bar(id="head", panel=False)
            yield Choices(id="groups")
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Show the proposal."""
        self.query_one("#groups").focus()
        self.show()

    def on_resize(self) -> None:
        """Fold anew."""
        self.call_after_refresh(self.show)

    def show(self) -> None:
        """All groups as they stand."""
        groups = self.query_one("#groups", Choices)
        words = f"{len(self.card.kept)} stills, in order {self.card.proposal.order_by}: which belong to which cylinder?"
        self.query_one("#head", Bar).set_lines((Span(words, "ink", "strong"),))
        groups.set_entries(group_entries(self.card, max(30, groups.size.width)))
        self.query_one("#how", Bar).set_lines(
            (
                Span(
                    "Enter files them so · Right, Left shift this run and those after it · Esc files nothing",
                    "quiet",
                ),
            )
        )

    def action_shift(self, by: int) -> None:
        """Move the group in hand, and those after it, on by one cylinder."""
        from borelog.acts.cards import shifted

        index = self.query_one("#groups", Choices).index
        if index < len(self.card.proposal.groups):
            try:
                self.card = shifted(self.card, by, index)
            except BorelogError as error:
                self.query_one("#how", Bar).set_lines((Span(str(error), "bad"),))
                return
            self.show()

    def on_choices_opened(self) -> None:
        """A second click accepts nothing: too much hangs on it."""

    def action_accept(self) -> None:
        """File it so."""
        self.dismiss(self.card)
