"""Filing a fresh card: look at the proposal with its pictures, shift what slipped, accept with one key."""

from __future__ import annotations

from typing import Any

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.worker import get_current_worker

from borelog.acts import cards
from borelog.text import BorelogError
from borelog.tui.ask import Question
from borelog.tui.chosen import Choices
from borelog.tui.painted import Bar
from borelog.tui.thumbs import Thumb, Thumbs
from borelog.tui.views.card import card_keys, group_entries, group_thumbs
from borelog.tui.views.words import Span, cut


class CardPage(Question):
    """Groups by cylinder with the pictures of the one in hand; answers (card, with views or not), or None."""

    DEFAULT_CSS = """
    CardPage > Vertical { width: 130; height: 94%; }
    CardPage #groups { height: 1fr; max-height: 100%; }
    """
    BINDINGS = [
        Binding("enter", "accept(False)", show=False), Binding("ctrl+j", "accept(False)", show=False),
        Binding("v", "accept(True)", show=False),
        Binding("right", "shift(1)", show=False), Binding("left", "shift(-1)", show=False),
        Binding("plus", "border(1)", show=False), Binding("equals_sign", "border(1)", show=False),
        Binding("minus", "border(-1)", show=False),
        Binding("full_stop", "still(1)", show=False), Binding("comma", "still(-1)", show=False),
        Binding("x", "out", show=False), Binding("s", "slate", show=False),
    ]  # fmt: skip

    def __init__(self, card: cards.Card) -> None:
        super().__init__()
        self.card = card
        self.still = 0
        self.fault = ""

    def compose(self) -> ComposeResult:
        """Title, groups, pictures, keys."""
        with Vertical():
            yield Bar(id="head", panel=False)
            yield Choices(id="groups")
            yield Thumbs(id="pictures", palette=self.screens.palette)
            yield Bar(id="fault", panel=False)
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Show the proposal."""
        self.query_one("#groups").focus()
        self.show()

    def on_resize(self) -> None:
        """Fold anew."""
        self.call_after_refresh(self.show)

    @property
    def group(self) -> int:
        """The group in hand; past the last one stands what belongs to no cylinder."""
        return self.query_one("#groups", Choices).index

    def show(self) -> None:
        """All groups as they stand."""
        groups, room = self.query_one("#groups", Choices), max(30, self.size.width - 8)
        words = f"{len(self.card.kept)} stills, in order {self.card.proposal.order_by}: which belong to which cylinder?"
        self.query_one("#head", Bar).set_lines((Span(cut(words, room), "ink", "strong"),))
        groups.set_entries(group_entries(self.card, max(30, groups.size.width)))
        self.show_group()
        self.query_one("#fault", Bar).set_lines((Span(cut(self.fault, room), "watch"),))
        keys = card_keys(room, any(v for v, _ in self.card.views))
        how = self.query_one("#how", Bar)
        how.styles.height = len(keys)
        how.set_lines(*keys)

    def show_group(self) -> None:
        """The pictures of the group in hand, where there is room."""
        row = self.query_one("#pictures", Thumbs)
        thumbs = group_thumbs(self.card, self.group)
        row.display = bool(thumbs) and self.size.height >= 22
        if not row.display:
            return
        self.still = min(self.still, len(thumbs) - 1)
        app = self.screens
        glyphs = "letters" if app.letters or app.color_depth == "none" else app.settings.cells
        pixels = app.cell_pixels
        row.palette = app.palette
        shown = [Thumb(path, f"{k} {name}") for k, (path, name) in enumerate(thumbs, 1)]
        row.set_thumbs(shown, self.still, (glyphs, app.color_depth), pixels[1] / pixels[0] if pixels else 2.0)
        if row.missing():
            self._pictures(row.missing())

    @work(thread=True, exclusive=True, group="thumbs", exit_on_error=False)
    def _pictures(self, paths: list[str]) -> None:
        from borelog.tui.loading import file_thumb

        worker, row = get_current_worker(), self.query_one("#pictures", Thumbs)
        for path in paths:
            if worker.is_cancelled:
                return
            self.app.call_from_thread(row.arrived, path, file_thumb(path))

    def _change(self, make: Any) -> None:
        self.fault = ""
        try:
            self.card = make()
        except BorelogError as error:
            self.fault = str(error)
        self.show()

    def action_shift(self, by: int) -> None:
        """Move the group in hand, and those after it, on by one cylinder."""
        if self.group < len(self.card.proposal.groups):
            self._change(lambda: cards.shifted(self.card, by, self.group))

    def action_border(self, by: int) -> None:
        """Move the beginning of the group in hand, and of those after it, by one still."""
        if self.group < len(self.card.proposal.groups):
            self._change(lambda: cards.border_moved(self.card, by, self.group))

    def action_still(self, by: int) -> None:
        """Another still of the group in hand."""
        count = len(group_thumbs(self.card, self.group))
        if count:
            self.still = (self.still + by) % count
            self.show_group()

    def action_out(self) -> None:
        """Take the still in hand out of its group: it is filed without a cylinder."""
        groups = self.card.proposal.groups
        if self.group < len(groups) and self.still < len(groups[self.group].stills):
            index = groups[self.group].stills[self.still]
            self._change(lambda: cards.still_moved(self.card, index, None))

    def action_slate(self) -> None:
        """Say that the still in hand is a slate picture, or is none; the card is cut anew."""
        groups = self.card.proposal.groups
        if self.group < len(groups) and self.still < len(groups[self.group].stills):
            index = groups[self.group].stills[self.still]
            self._change(lambda: cards.slate_marked(self.card, index))

    def on_thumbs_taken(self, message: Thumbs.Taken) -> None:
        """A picture was clicked."""
        self.still = message.index
        self.show_group()

    def on_choices_picked(self) -> None:
        """Another group is in hand."""
        self.still = 0
        self.show_group()

    def on_choices_opened(self) -> None:
        """A second click accepts nothing: too much hangs on it."""

    def action_accept(self, with_views: bool) -> None:
        """File it so."""
        self.dismiss((self.card, with_views))
