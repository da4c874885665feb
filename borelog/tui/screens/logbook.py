"""The logbook: which inspections there are, and what was found by search."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.widgets import Input

from borelog.tui.base import Room
from borelog.tui.chosen import Choices
from borelog.tui.desk import Outcome
from borelog.tui.views import logbook as view


class LogbookRoom(Room):
    """The list of inspections with a search line above it."""

    where: ClassVar[str] = "logbook"
    shows_rail: ClassVar[bool] = False
    AUTO_FOCUS = "#list"
    DEFAULT_CSS = """
    LogbookRoom #search { height: 1; border: none; background: $panel; padding: 0 1; margin: 1 1 1 1; }
    LogbookRoom #search:focus { border: none; text-style: underline; }
    LogbookRoom #list { margin: 0 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[Any] | None = None
        self.found: list[Any] | None = None
        self.entries: list[view.Entry] = []
        self.order = 0

    def middle(self) -> ComposeResult:
        """Search line and list."""
        yield Input(placeholder=f"{self.key('search')}: search everything recorded", id="search")
        yield Choices(id="list")

    def on_screen_resume(self) -> None:
        """The list may have changed."""
        self.reload()

    def reload(self) -> None:
        """Ask for the list anew, off the screens' thread; the first time as last said, so that it is there at once."""
        from borelog.acts.keeping import listed, listed_at_once

        bench = self.desk.bench
        lister = listed if self.screens.warm else listed_at_once

        def done(outcome: Outcome) -> None:
            if not outcome.failed:
                self.rows = outcome.value
                self.show()

        self.screens.do(lambda: lister(bench), then=done)

    def paint(self, room: int) -> None:
        """The list, the hits, or the three offers of an empty logbook."""
        if self.rows is None:
            return
        if self.found is not None:
            self.entries = view.hits(self.found, room - 2)
        elif self.rows:
            self.entries = view.entries(view.ordered(self.rows, view.ORDERS[self.order]), room - 2)
        else:
            keys = {name: self.key(name) for name, _, _ in view.EMPTY}
            self.entries = view.empty_entries(room - 2, keys)
        self.query_one("#list", Choices).set_entries([e.lines for e in self.entries])

    def on_choices_opened(self) -> None:
        """A second click opens."""
        self.act_open()

    def act_open(self) -> None:
        """Open what is in hand."""
        if self.focused is self.query_one("#search"):
            self.query_one("#list").focus()
            return
        if not self.entries:
            return
        entry = self.entries[self.query_one("#list", Choices).index]
        if entry.inspection:
            self.screens.open_inspection(entry.inspection)
        else:
            getattr(self, f"act_{entry.entry}")()

    def act_search(self) -> None:
        """Go to the search line."""
        self.query_one("#search").focus()

    def act_sort(self) -> None:
        """Next order."""
        self.order = (self.order + 1) % len(view.ORDERS)
        self.say(f"in order of {view.ORDERS[self.order]}")
        self.show()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Search as one types, off the screens' thread."""
        from borelog.acts.keeping import search

        words, bench = event.value, self.desk.bench
        if not words.strip():
            self.found = None
            self.show()
            return

        def done(outcome: Outcome) -> None:
            if not outcome.failed and self.query_one("#search", Input).value == words:
                self.found = outcome.value
                self.say(f"{len(outcome.value)} found")
                self.show()

        self.screens.do(lambda: search(bench, words), then=done)

    def on_input_submitted(self) -> None:
        """To the list."""
        self.query_one("#list").focus()

    def act_back(self) -> None:
        """Leave search."""
        self.query_one("#search", Input).value = ""
        self.query_one("#list").focus()

    def act_new(self) -> None:
        """Ask for a name and, if one likes, the layout."""
        self._begin({})

    def act_copy_setup(self) -> None:
        """The same engine facts as the inspection in hand, under a new name."""
        entry = self.entries[self.query_one("#list", Choices).index] if self.entries else None
        if not entry or not entry.inspection:
            self.say("no inspection is in hand whose engine facts could be taken over", "watch")
            return
        from borelog.knowledge.facts import facts

        id_, bench = entry.inspection, self.desk.bench

        def done(outcome: Outcome) -> None:
            if not outcome.failed:
                groups = {f.id: f.group for f in facts().values()}
                kept = {k: v for k, v in outcome.value.facts.items() if groups.get(k) in view.SAME_AGAIN}
                self._begin(kept)

        self.screens.do(lambda: bench.inspection(id_), then=done)

    def _begin(self, kept: dict[str, str]) -> None:
        from borelog.acts.entering import open_inspection
        from borelog.tui.ask import Ask, Field

        fields = [
            Field("name", "Name", "a plate, a place, a nickname"),
            Field("layout", "Layout (may come later)", "in-line 4, V8, flat 6", kept.get("layout", "")),
        ]
        bench = self.desk.bench

        def answered(values: dict[str, str] | None) -> None:
            if not values:
                return
            given = {**kept, "layout": values["layout"].strip()}
            facts = {k: v for k, v in given.items() if v}
            self.screens.do(
                lambda: open_inspection(bench, values["name"], facts=facts or None),
                opens=True,
                then=lambda outcome: None if outcome.failed else self.screens.go("plan"),
            )

        self.app.push_screen(Ask("Begin an inspection", fields, check=check_new), answered)

    def act_score(self) -> None:
        """How past calls held."""
        from borelog.tui.screens import questions

        questions.past_calls(self)

    def act_demo(self) -> None:
        """Change to the demo's own logbook."""
        self.screens.open_demo()

    def act_take_in(self) -> None:
        """Ask for a pack and take it in."""
        from borelog.acts.taking import take_in
        from borelog.tui.ask import Ask, Field

        bench = self.desk.bench

        def answered(values: dict[str, str] | None) -> None:
            if values:
                path = Path(values["path"].strip()).expanduser()
                self.screens.do(
                    lambda: take_in(bench, path),
                    lambda taken: "taken in as told: " + "; ".join(taken.lines),
                    then=lambda _: self.reload(),
                )

        self.app.push_screen(
            Ask(
                "Take in a findings pack",
                [Field("path", "Folder or zip", "/media/card/pack.zip")],
                words="It is checked first. What it holds counts as told by whoever made it.",
                check=lambda v: (
                    ""
                    if Path(v["path"].strip()).expanduser().exists() and v["path"].strip()
                    else "there is no such file or folder"
                ),
            ),
            answered,
        )


def check_new(values: dict[str, str]) -> str:
    """What is wrong with a new inspection's fields, '' if nothing."""
    from borelog.engine.engine import parse_layout
    from borelog.text import BorelogError

    if not values["name"].strip():
        return "a name, please: a plate, a place or a nickname will do"
    if values["layout"].strip():
        try:
            parse_layout(values["layout"])
        except BorelogError as error:
            return str(error)
    return ""
