"""An entry in a few plain words, for undo messages, the journal list and the lists of differences."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from borelog.acts.sheet.items import questions
from borelog.knowledge import tables
from borelog.knowledge.facts import facts
from borelog.knowledge.procedures import procedures
from borelog.logbook import entries as e
from borelog.marks.places import place_words
from borelog.marks.vocabulary import terms
from borelog.readings.conditions import conditions
from borelog.text import one_line


def _on(cylinder: int | None) -> str:
    return f"cylinder {cylinder}" if cylinder is not None else "engine"


def _test(test: str) -> str:
    procedure = procedures().get(test)
    return procedure.label.lower() if procedure else test.replace("_", " ")


def _values(values: dict[str, str]) -> str:
    return ", ".join(f"{_name(k)} {v or 'taken back'}" for k, v in values.items())


def _name(key: str) -> str:
    """A fact's or condition's label, a price's id in words."""
    known = facts().get(key) or conditions().get(key)
    return known.label if known else key.replace("_", " ")


def _looked(b: e.Looked) -> str:
    what = _test(b.test) if b.test else place_words(b.place) if b.place else "everything"
    return f"{_on(b.cylinder)}, {what}: {b.state}"


def _seen(b: e.Seen) -> str:
    """The question's short name and the answer in the words of the trade."""
    q = questions().get(b.item)
    if q is None:
        return f"{b.item.replace('_', ' ')}, {_on(b.cylinder)}: {b.state.replace('_', ' ')}"
    return f"{q.label}, {_on(b.cylinder)}: {dict(q.states).get(b.state, b.state.replace('_', ' '))}"


def _fault(id_: str) -> str:
    rows = tables.rows("faults.csv", "id", "label")
    return next((r["label"].lower() for r in rows if r["id"] == id_), id_.replace("_", " "))


def finding_term(b: e.Finding) -> str:
    """The finding's name: the vocabulary's term, or the person's own words."""
    known = terms().get(b.term)
    return known.term if known else (b.own or b.term)


_WORDS: dict[type[Any], Callable[[Any], str]] = {
    e.Opened: lambda b: f"inspection {b.name}",
    e.Facts: lambda b: _values(b.values),
    e.Conditions: lambda b: f"{_test(b.test)}: {_values(b.values)}",
    e.Reading: lambda b: f"{_test(b.test)}, {_on(b.cylinder)}{f' {b.part}' if b.part else ''}: {b.typed}",
    e.Seen: _seen,
    e.Looked: _looked,
    e.Codes: lambda b: f"codes {b.text}",
    e.Told: lambda b: f"{b.by} said: {b.text}",
    e.Consent: lambda b: f"consent to open by {b.by}",
    e.Note: lambda b: f"note, {_on(b.cylinder)}: {b.text}",
    e.StillFiled: lambda b: f"still {b.name}",
    e.StillPlaced: lambda b: (
        f"still {b.still[:8]} " + (f"set aside: {b.aside}" if b.aside else f"to {_on(b.cylinder)}")
        + (f", {place_words(b.place)}" if b.place else "")
    ),
    e.Marked: lambda b: f"mark on still {b.mark.still[:8]}",
    e.Finding: lambda b: f"finding, {_on(b.cylinder)}: {finding_term(b)}",
    e.Scaled: lambda b: f"scale of still {b.still[:8]}",
    e.Probe: lambda b: f"probe {b.name}",
    e.MaskDrawn: lambda b: f"mask on still {b.still[:8]}",
    e.Prices: lambda b: f"prices: {_values(b.values)}",
    e.CallTaken: lambda b: f"call: {b.course.replace('_', ' ')}",
    e.Truth: lambda b: f"truth, {_on(b.cylinder)}: {', '.join(_fault(f) for f in b.faults) or 'sound'} ({b.known})",
    e.HandedOver: lambda b: f"pack {b.number} for the {b.reader}",
    e.TakenIn: lambda b: f"taken in from {b.by}",
    e.Correct: lambda b: f"correction: {body_words(b.body)}",
    e.Withdraw: lambda b: "withdrawal" + (f": {b.why}" if b.why else ""),
    e.Undo: lambda b: "undo",
    e.Redo: lambda b: "redo",
    e.Forgotten: lambda b: f"still {b.still[:8]} removed for good: {b.why}",
}  # fmt: skip


def body_words(body: Any, width: int = 100) -> str:
    """What an entry says, cleaned, on one line of at most ``width`` characters."""
    if isinstance(body, e.Unknown):
        return f"an entry of kind {one_line(body.kind, 30)} from a newer version"
    return one_line(_WORDS[type(body)](body), width)
