"""How one cylinder stands, in one glance: its figures against their limits, plug, worst finding, coverage, leader."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from borelog.acts.sheet.items import questions
from borelog.acts.words import finding_term
from borelog.knowledge.airs import air_words
from borelog.logbook.coverage import coverage_of
from borelog.logbook.entries import Finding, Looked, Reading, Seen
from borelog.logbook.inspection import Inspection, Recorded
from borelog.marks.places import Looked as State
from borelog.quantity import plain_number
from borelog.readings.repeats import counted
from borelog.text import one_line
from borelog.tui.views.judging import judge_compression
from borelog.verdict.signs.leaks import leaks

RANKING = ("blank", "good", "not possible", "doubt", "watch", "bad")
"""From least to most telling: what the one glyph of a cylinder shows."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One reading as shown: ``text`` with unit, what it means, and the entry it comes from."""

    text: str
    status: str
    word: str
    entry: str = ""
    value: float | None = None
    share: float | None = None
    error: float | None = None
    limit: float | None = None
    short: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """One cylinder. A `Figure` with status 'missing' is a blank that must be seen."""

    cylinder: int
    compression: Figure
    wet: Figure
    leak: Figure
    plug: Figure
    finding: Figure
    coverage: Figure
    leader: Figure

    @property
    def rows(self) -> tuple[tuple[str, Figure], ...]:
        """Every figure with its short label, in the order of the plan."""
        return (
            ("squeeze", self.compression), ("wet", self.wet), ("leak", self.leak), ("plug", self.plug),
            ("found", self.finding), ("looked", self.coverage), ("verdict", self.leader),
        )  # fmt: skip

    @property
    def worst(self) -> str:
        """The most telling status of its measured and seen things."""
        shown = [f.status for _, f in self.rows[:5] if f.status != "missing"]
        return max(shown, key=RANKING.index, default="blank")


_kept: list[tuple[Inspection, Any, dict[int, Standing]]] = []


def standing_of(inspection: Inspection, cylinder: int, verdict: Any = None) -> Standing:
    """How a cylinder stands; worked out once for each state of the record."""
    if not (_kept and _kept[0][0] is inspection and _kept[0][1] is verdict):
        _kept[:] = [(inspection, verdict, {})]
    known = _kept[0][2]
    if cylinder not in known:
        known[cylinder] = _standing(inspection, cylinder, verdict)
    return known[cylinder]


def _standing(inspection: Inspection, cylinder: int, verdict: Any) -> Standing:
    return Standing(
        cylinder,
        _compression(inspection, cylinder, "compression_dry"),
        _compression(inspection, cylinder, "compression_wet"),
        _leak(inspection, cylinder),
        _plug(inspection, cylinder),
        _finding(inspection, cylinder),
        _coverage(inspection, cylinder),
        _leader(verdict, cylinder),
    )


def latest_reading(inspection: Inspection, test: str, cylinder: int | None) -> Recorded[Reading] | None:
    """The reading shown for a test: of the last session entered."""
    found = [
        r
        for r in inspection.of(Reading)
        if r.body.test == test and r.body.cylinder == cylinder and not r.body.part
    ]
    return found[-1] if found else None


def absent_figure(inspection: Inspection, test: str, cylinder: int | None) -> Figure:
    """The figure for a test without a reading: not possible, not done, or not noted."""
    for r in inspection.of(Looked):
        if r.body.test == test and r.body.cylinder in (cylinder, None) and not r.body.place:
            why = f": {one_line(r.body.why, 30)}" if r.body.why else ""
            if r.body.state == State.NOT_POSSIBLE:
                return Figure("not possible", "not possible", f"not possible{why}", r.id)
            if r.body.state == State.NOT_LOOKED:
                return Figure("not done", "missing", f"not done{why}", r.id)
    return Figure("not noted", "missing", "not noted")


def _compression(inspection: Inspection, cylinder: int, test: str) -> Figure:
    reading = latest_reading(inspection, test, cylinder)
    judged = judge_compression(inspection, test).get(cylinder) if reading else None
    if reading is None or judged is None:
        return absent_figure(inspection, test, cylinder)
    b = reading.body
    shown = f"{b.about}{plain_number(counted(b.values), 3)} {b.unit}"
    return Figure(
        shown, judged.status, judged.word, reading.id, judged.value, judged.share, judged.error, judged.limit
    )


_LEAK_STATUS = ((20.0, "good"), (40.0, "watch"))
"""Per cent lost on a standard tester, and its status: the bins of the evidence table, common practice."""


def leak_status(percent: float) -> str:
    """Status of a leak on a standard tester."""
    return next((s for edge, s in _LEAK_STATUS if percent < edge), "bad")


def _leak(inspection: Inspection, cylinder: int) -> Figure:
    reading = latest_reading(inspection, "leakdown", cylinder)
    leak = leaks(inspection, "leakdown").get(cylinder) if reading else None
    if reading is None or leak is None:
        return absent_figure(inspection, "leakdown", cylinder)
    b = reading.body
    air = ", ".join(air_words(a) for a in b.air)
    shown = f"{b.about}{plain_number(counted(b.values), 3)}{f'/{plain_number(b.supply, 3)}' if b.supply else ''} {b.unit}"
    status = "doubt" if b.doubt else leak_status(leak.percent)
    words = f"{shown} {air}".strip()
    heard = "" if b.air in ((), ("none",)) else f" {air}"
    short = f"{leak.percent:.0f}%{heard}"
    return Figure(
        words, status, f"{leak.percent:.0f} % lost {air}".strip(), reading.id, leak.percent, short=short
    )


def _plug(inspection: Inspection, cylinder: int) -> Figure:
    seen = [r for r in inspection.of(Seen) if r.body.cylinder == cylinder and r.body.item.startswith("plug")]
    if not seen:
        return absent_figure(inspection, "plug_gap", cylinder)
    telling = [r for r in seen if not is_sound(r.body.item, r.body.state)] or seen
    words = ", ".join(one_line(state_words(r.body.item, r.body.state), 30) for r in telling)
    return Figure(
        words,
        "watch" if telling is not seen or not is_sound(seen[0].body.item, seen[0].body.state) else "good",
        words,
        telling[-1].id,
    )


def question_words(item: str) -> str:
    """A question in the words of the sheet."""
    question = questions().get(item)
    return question.label if question else one_line(item.replace("_", " "), 40)


def state_words(item: str, state: str) -> str:
    """An answer in the words of the table."""
    question = questions().get(item)
    return (
        next((words for id_, words in question.states if id_ == state), state.replace("_", " "))
        if question
        else state.replace("_", " ")
    )


def is_sound(item: str, state: str) -> bool:
    """Whether an answer is the least telling one of its question."""
    question = questions().get(item)
    return bool(question and question.states and question.states[0][0] == state)


def severity_status(severity: int) -> str:
    """Status of a finding of severity 0 to 4."""
    return "good" if severity == 0 else "watch" if severity <= 2 else "bad"


def term_words(finding: Finding) -> str:
    """The finding's name on one line."""
    return one_line(finding_term(finding), 60)


def _finding(inspection: Inspection, cylinder: int) -> Figure:
    found = [r for r in inspection.of(Finding) if r.body.cylinder == cylinder]
    if not found:
        noted, total = coverage_of(inspection, cylinder)
        return (
            Figure("nothing found", "good", "nothing found")
            if noted == total
            else Figure("none noted", "missing", "none noted")
        )
    worst = max(found, key=lambda r: r.body.severity)
    words = term_words(worst.body)
    more = f" +{len(found) - 1}" if len(found) > 1 else ""
    return Figure(words + more, severity_status(worst.body.severity), words + more, worst.id)


def _coverage(inspection: Inspection, cylinder: int) -> Figure:
    noted, total = coverage_of(inspection, cylinder)
    text = f"{noted} of {total} places"
    status = "missing" if noted == 0 else "good" if noted == total else "blank"
    return Figure(text, status, "places looked at" if noted else "not looked", share=noted / total)


STANDING_OF_LEVEL = {"sound": "good", "watch": "watch", "bad": "bad", "open": "doubt", "blank": "missing"}


def _short_cause(one: Any) -> str:
    """The cause in two or three words, where its whole name has no room."""
    if not one.enough or one.leader is None:
        return "not enough yet"
    words = one_line(one.leader.fault.replace("_", " "))
    return words.replace("exh ", "exhaust ").replace("int ", "intake ")


def _leader(verdict: Any, cylinder: int) -> Figure:
    if verdict is None:
        return Figure("verdict: working ...", "blank", "being worked out")
    for one in verdict.cylinders:
        if one.cylinder == cylinder:
            words = one_line(one.words)
            return Figure(words, STANDING_OF_LEVEL[one.level], words, short=_short_cause(one))
    return Figure("nothing recorded", "missing", "nothing recorded")
