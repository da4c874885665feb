"""The verdict: sentences, each with one key to what it rests on; what-if on a price; calls and truth."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, ClassVar

from textual import work
from textual.app import ComposeResult

from borelog.logbook.inspection import Inspection
from borelog.text import BorelogError, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import ByNumber
from borelog.tui.chosen import Choices
from borelog.tui.desk import At
from borelog.tui.screens import questions
from borelog.tui.views import verdict as view
from borelog.tui.views.words import Span
from borelog.verdict.calls import CALL_WORDS

_PICKS = "123456789abcdef"
"""The keys that pick a course."""


class VerdictRoom(ByNumber):
    """One list of sentences; the parts are reached with one key."""

    where: ClassVar[str] = "verdict"
    AUTO_FOCUS = "#page"
    DEFAULT_CSS = "VerdictRoom #page { padding: 0 0; }"

    def __init__(self) -> None:
        super().__init__()
        self.sentences: list[view.Sentence] = []
        self.tried: tuple[str, Any] | None = None
        self._tried_at: At | None = None
        self._cylinder: int | None = None
        self._left_at: tuple[int | None, int] | None = None

    def middle(self) -> ComposeResult:
        """The sentences."""
        yield Choices(id="page")

    def on_screen_resume(self) -> None:
        """Whoever followed a sentence to its reading comes back to that sentence."""
        if self._left_at is not None:
            self.desk.pick(self._left_at[0])
            self._cylinder = self._left_at[0]
            self.query_one("#page", Choices).index = self._left_at[1]
            self._left_at = None

    def paint(self, room: int) -> None:
        """All sentences for the cylinder in hand."""
        desk = self.desk
        page = self.query_one("#page", Choices)
        if not desk.inspection:
            return
        if self._tried_at != desk.at:
            self.tried = None
        shown = self.tried[1] if self.tried else desk.verdict
        if shown is None:
            self.sentences = []
            page.set_entries([((Span(" the verdict is being worked out ...", "quiet"),),)])
            return
        index = page.index if self._cylinder == desk.cylinder else 0
        self._cylinder = desk.cylinder
        self.sentences = view.sentences(
            desk.inspection, shown, desk.cylinder, min(room - 2, 118), self.screens.keys
        )
        if self.tried:
            words = f" WHAT IF {self.tried[0]} - nothing of this is noted; {self.key('what_if')} tries another, {self.key('back')} goes back to what is"
            self.sentences.insert(0, view.Sentence("call", ((Span(words, "watch", "loud"),),)))
        first = next((k for k, s in enumerate(self.sentences) if not view.is_title(s)), 0)
        page.set_entries([s.lines for s in self.sentences], max(first, index))
        # A hint never takes the place of what somebody has to know.
        if index < first and self.message_role == "quiet":
            self.on_choices_picked()

    def _land(self, way: int) -> None:
        """Never stay on a title."""
        page = self.query_one("#page", Choices)
        while 0 <= page.index < len(self.sentences) and view.is_title(self.sentences[page.index]):
            before = page.index
            page.move(way)
            if page.index == before:
                way = -way
                if before in (0, len(self.sentences) - 1) and len(self.sentences) < 2:
                    return

    def on_choices_picked(self) -> None:
        """Say where the sentence in hand leads."""
        s = self._in_hand()
        if self.tried:
            self.say(
                f"WHAT IF {self.tried[0]}: nothing of this is noted · {self.key('back')} goes back to what is",
                "watch",
            )
        elif s is not None and not view.is_title(s):
            self.say(view.lead_words(s, self.screens.keys))

    def on_choices_opened(self) -> None:
        """A second click follows."""
        self.act_follow()

    def _in_hand(self) -> view.Sentence | None:
        page = self.query_one("#page", Choices)
        return self.sentences[page.index] if page.index < len(self.sentences) else None

    def act_line_down(self) -> None:
        """Next."""
        self.query_one("#page", Choices).move(1)
        self._land(1)

    def act_line_up(self) -> None:
        """Before."""
        self.query_one("#page", Choices).move(-1)
        self._land(-1)

    def act_page_down(self) -> None:
        """A page down."""
        self.query_one("#page", Choices).move(8)
        self._land(1)

    def act_page_up(self) -> None:
        """A page up."""
        self.query_one("#page", Choices).move(-8)
        self._land(-1)

    def _part(self, way: int) -> None:
        page = self.query_one("#page", Choices)
        titles = [k for k, s in enumerate(self.sentences) if view.is_title(s)]
        if not titles:
            return
        here = max((k for k in titles if k <= page.index), default=titles[0])
        target = titles[(titles.index(here) + way) % len(titles)]
        page.move(target - page.index)
        self._land(1)

    def act_next_part(self) -> None:
        """Next part."""
        self._part(1)

    def act_previous_part(self) -> None:
        """Part before."""
        self._part(-1)

    def act_back(self) -> None:
        """Leave a what-if; else one step back."""
        if self.tried:
            self.tried = None
            self.say("back to what is noted")
            self.show()
        else:
            self.screens.act("back")

    # --- to the source -------------------------------------------------------------------------------------------

    def act_follow(self) -> None:
        """Go to the reading or still on which the sentence rests; ask which where there are several."""
        s = self._in_hand()
        if s is None or view.is_title(s):
            return
        self._left_at = (self.desk.cylinder, self.query_one("#page", Choices).index)
        if s.test:
            self.screens.show_test(s.test, s.cylinder)
        elif s.entries:
            questions.rests_on(self, s.entries)
        elif s.ask == "prices":
            self.act_prices()
        elif s.cylinder is not None or s.ask == "blank":
            self.screens.show_blank(s.cylinder)
        else:
            self.say(view.lead_words(s, self.screens.keys), "watch")

    # --- money ---------------------------------------------------------------------------------------------------

    def act_prices(self) -> None:
        """Enter a price."""
        self._price("Enter a price", self._enter_price)

    def act_what_if(self) -> None:
        """Try a price."""
        self._price("What if ...", self._try_price)

    def _price(self, title: str, then: Any) -> None:
        noted = self.desk.inspection.prices if self.desk.inspection else {}
        options = [
            (id_, label, f"{noted[id_]} · {why}" if id_ in noted else why)
            for id_, label, why in view.price_options()
        ]

        def chosen(id_: str | None) -> None:
            if id_:
                label = next(text for name, text, _ in options if name == id_)
                self.app.push_screen(
                    Ask(
                        f"{title} {label}",
                        [Field("value", label, "one number, or low likely high", noted.get(id_, ""))],
                        check=lambda v: self.price_fault(id_, v["value"]),
                    ),
                    lambda v: then(id_, label, v["value"].strip()) if v else None,
                )

        self.app.push_screen(Choose(title, options, typing=True), chosen)

    @staticmethod
    def price_fault(id_: str, value: str) -> str:
        """What is wrong with a price, '' if nothing."""
        from borelog.acts.prices import checked_price

        try:
            checked_price(id_, value)
        except BorelogError as error:
            return str(error)
        return ""

    def _enter_price(self, id_: str, label: str, value: str) -> None:
        from borelog.acts.pricing import set_prices

        bench, inspection = self.desk.bench, self.desk.id
        self.tried = None
        self.screens.do(
            lambda: set_prices(bench, inspection, {id_: value}), f"{label}: {value or 'taken back'}"
        )

    def _try_price(self, id_: str, label: str, value: str) -> None:
        self.say("working it out ...")
        if self.desk.inspection is not None:
            self._try(self.desk.at, self.desk.inspection, id_, f"{label} were {value}", value)

    @work(thread=True, exclusive=True, group="what-if", exit_on_error=False)
    def _try(self, at: At, inspection: Inspection, id_: str, words: str, value: str) -> None:
        from borelog.acts.judging import verdict_on
        from borelog.acts.prices import checked_price

        key, checked = checked_price(id_, value)
        other = replace(inspection, prices={**inspection.prices, key: checked})
        try:
            verdict = verdict_on(at.bench, other).verdict
        except BorelogError as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        self.app.call_from_thread(self._tried, at, words, verdict)

    def _tried(self, at: At, words: str, verdict: Any) -> None:
        if at != self.desk.at:
            return
        self.tried, self._tried_at = (words, verdict), at
        self.say("")
        self.show()
        titles = [k for k, s in enumerate(self.sentences) if s.part == "money"]
        if titles:
            page = self.query_one("#page", Choices)
            page.move(titles[0] - page.index)
            self._land(1)

    # --- calls and truth -----------------------------------------------------------------------------------------

    def act_decide(self) -> None:
        """Freeze the verdict with the course chosen."""
        from borelog.acts.judging import take_call

        options = [
            (course, words, key) for key, (course, words) in zip(_PICKS, CALL_WORDS.items(), strict=False)
        ]
        bench, id_ = self.desk.bench, self.desk.id

        def chosen(course: str | None) -> None:
            if course:
                self.app.push_screen(
                    Ask(
                        "The call in your words",
                        [Field("words", "Words", value=CALL_WORDS[course])],
                        words="The verdict as it stands, and the tables it used, are frozen with it.",
                    ),
                    lambda v: (
                        self.screens.do(
                            lambda: take_call(bench, id_, course, v["words"].strip()),
                            f"call taken: {CALL_WORDS[course]}",
                        )
                        if v
                        else None
                    ),
                )

        self.app.push_screen(Choose("Which course?", options), chosen)

    def act_score(self) -> None:
        """How past calls held."""
        questions.past_calls(self)

    def act_truth(self) -> None:
        """Write what a cylinder really had."""
        from borelog.acts.judging import tables_of
        from borelog.acts.learning import KNOWN, record_truth

        desk = self.desk
        tables, bench, id_ = tables_of(desk.bench), desk.bench, desk.id
        where: list[tuple[Any, str, str]] = [
            (c, f"cylinder {c}", str(c) if c < 10 else "") for c in desk.cylinders
        ]
        where.append((0, "the engine as a whole", "e"))

        def at(cylinder: int | None) -> None:
            if cylinder is None:
                return
            wanted = ("cylinder", "pair") if cylinder else ("engine",)
            faults = [("sound", "sound: nothing wrong", "")] + [
                (f.id, f.label, "") for f in tables.faults.values() if f.scope in wanted
            ]
            self.app.push_screen(
                Choose("What was it?", faults, typing=True),
                lambda fault: known(cylinder, fault) if fault else None,
            )

        def known(cylinder: int, fault: str) -> None:
            ways = [(key, words, str(k)) for k, (key, words) in enumerate(KNOWN.items(), 1)]
            said = f"{cylinder or 'engine'}={fault}"
            label = tables.faults[fault].label.lower() if fault in tables.faults else "nothing wrong"
            noted = f"noted: {f'cylinder {cylinder}' if cylinder else 'the engine'} had {label}"
            self.app.push_screen(
                Choose("How is that known?", ways),
                lambda way: (
                    self.screens.do(
                        lambda: record_truth(bench, id_, [said], way),
                        noted,
                    )
                    if way
                    else None
                ),
            )

        self.app.push_screen(Choose("Where?", where), at)
