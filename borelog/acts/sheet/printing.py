"""Printing a sheet for one engine in test order: blank for paper, or filled with what is recorded.

A filled line ends in ``#=`` and the beginning of the id of what it says, so that recording the sheet again after
mending a line corrects that very thing.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from borelog.acts.facts import published_orders
from borelog.acts.sheet.context import LineError
from borelog.acts.sheet.items import Question, questions, section_items
from borelog.acts.words import finding_term
from borelog.engine.engine import Engine
from borelog.engine.orders import OVERSHOT, turning_plan
from borelog.engine.plan import where_is_one
from borelog.knowledge.facts import facts
from borelog.knowledge.procedures import cautions_of, procedures
from borelog.logbook.described import engine_of
from borelog.logbook.entries import (
    Codes,
    Consent,
    Finding,
    Looked,
    Note,
    Reading,
    Seen,
    Told,
)
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Place, views
from borelog.marks.vocabulary import SEVERITY
from borelog.readings.conditions import conditions_of as conditions_for
from borelog.readings.leakdown import FAA_STEPS
from borelog.readings.opened import opened_tests, spots
from borelog.text import one_line

# The order of work: codes before the battery is touched, dry tests and camera before oil.
_GROUPS = (
    "story",
    "sounds",
    "codes seen",
    "fluids",
    "bottom end",
    "plugs",
    "camera",
    "compression",
    "leak-down",
    "swap test",
    "vacuum",
)
_DERIVED = ("Asked only where there are no figures: with figures these are worked out from them.",)
_TESTS_AFTER = {
    "codes seen": ("crank_current",),
    "plugs": ("plug_gap",),
    "camera": ("compression_dry",),
    "compression": (
        "leakdown",
        "leakdown_mid",
        "leakdown_tap",
        "compression_wet",
        "leakdown_wet",
        "compression_warm",
    ),
    "leak-down": ("piston_height", "vacuum", "oil_pressure_gauge"),
}
_OPENED = (
    "bore_diameter",
    "ring_gap",
    "piston_clearance",
    "deck_flatness",
    "head_flatness",
    "head_height",
    "journal_diameter",
)
_WHOLE = (0,)


def sheet_text(inspection: Inspection, *, blank: bool = False, sections: Sequence[str] = ()) -> str:
    """The sheet of an inspection as text.

    Parameters
    ----------
    blank
        Leaves out what is recorded but keeps the engine's facts.
    sections
        Only the sections whose name begins so ('compression', 'leak-down dry'); all where there are none.

    Raises
    ------
    LineError
        For a section that the sheet does not have.
    """
    lines = "\n".join(_lines(inspection, blank)).split("\n")
    return "\n".join(_only(lines, sections) if sections else lines) + "\n"


def _only(lines: Sequence[str], sections: Sequence[str]) -> list[str]:
    wanted = [one_line(s).strip("[]").lower() for s in sections]
    names = [line[1:-1] for line in lines if line.startswith("[")]
    for word in wanted:
        if not any(name.startswith(word) for name in names):
            raise LineError(
                f"the sheet has no section {one_line(word, 40)!r}; it has {', '.join(dict.fromkeys(names))}"
            )
    first = next(k for k, line in enumerate(lines) if line.startswith("["))
    kept, on = [line for line in lines[:first] if line], False
    for line in lines[first:]:
        if line.startswith("["):
            on = any(line[1:-1].startswith(word) for word in wanted)
            kept += [""] * on
        if on and line:
            kept.append(line)
    return kept


def _unplaced() -> tuple[str, ...]:
    """Tests with figures that have no place of their own in the order: a row added to the table is on the sheet."""
    placed = {*_OPENED, *(t for tests in _TESTS_AFTER.values() for t in tests)}
    return tuple(id_ for id_, p in procedures().items() if p.unit and id_ not in placed)


def _comment(text: str, width: int = 96) -> list[str]:
    return textwrap.wrap(one_line(text), width, initial_indent="# ", subsequent_indent="#   ")


def _line(
    key: str, value: str, id_: str = "", how: str = "", usual: tuple[str, ...] = ("", "seen", "measured")
) -> str:
    said = f"{key}: {one_line(value)}" if value else f"{key}:"
    if how and how not in usual and value:
        said += f" ({how})"
    return f"{said}   #={id_[:8]}" if id_ else said


def _lines(inspection: Inspection, blank: bool) -> Iterator[str]:
    engine = engine_of(inspection)
    cylinders = engine.cylinders if engine else ()
    yield f"# borelog sheet: {one_line(inspection.name, 70)}" + (f", {engine.name}" if engine else "")
    yield "# One 'name: value' a line; a blank means 'not noted'; '#' begins a remark. Repeats stand side by side: 178 176."
    yield "# Behind a value, in brackets, how it was taken if not measured or seen clearly: (in part), (told by seller)."
    yield "# 'n/a', 'not done' and 'not possible: why' are answers. A re-test is a section of its own: [compression dry 2]."
    if not cylinders:
        yield "# Set the layout first (borelog set INSPECTION layout='inline 4'): the sheet then has a line for each cylinder."
    yield from _engine(inspection)
    yield from _talk(inspection, blank)
    for group in _GROUPS:
        yield from _group(inspection, group, cylinders, blank)
        for test in _TESTS_AFTER.get(group, ()):
            yield from _test(inspection, test, cylinders, blank)
    for test in _unplaced():
        yield from _test(inspection, test, cylinders, blank)
    yield from _findings(inspection, blank)
    yield "\n# After teardown"
    for test in _OPENED:
        yield from _test(inspection, test, cylinders, blank)
    yield from _rest(inspection, blank)


def _engine(inspection: Inspection) -> Iterator[str]:
    yield f"\nname: {one_line(inspection.name)}\n\n[engine]"
    for f in facts().values():
        hint = (
            f"   # {' | '.join(f.choices) or f.unit}"
            if (f.choices or f.unit) and not inspection.facts.get(f.id)
            else ""
        )
        yield _line(f.id.replace("_", " "), inspection.facts.get(f.id, "")) + hint
        if f.id == "firing_order" and not inspection.facts.get(f.id):
            for words in published_orders(inspection.facts.get("layout", "")):
                yield from _comment(f"published: {words}")


def _turning(engine: Engine | None) -> Iterator[str]:
    """Which cylinder comes to its top next and how far to turn, beside the leak-down of paper and screen."""
    yield from _comment("In steps, as the aviation form has it:")
    for step in FAA_STEPS:
        yield from _comment(step)
    if engine is None or engine.firing_order is None:
        yield "# Turning plan: needs layout and firing order."
        return
    yield f"# Turning plan, by hand, plugs out, in running direction. {where_is_one(engine)}."
    for turn in turning_plan(engine):
        yield from _comment(f"[ ] {turn.words}")
    yield from _comment(OVERSHOT)


def _talk(inspection: Inspection, blank: bool) -> Iterator[str]:
    yield "\n[told]\n# who date: their words, for example   seller 2026-03-02: ran fine when parked"
    for r in () if blank else inspection.of(Told):
        yield _line(f"{r.body.by} {r.body.on}".strip(), r.body.text, r.id)
    consent = None if blank else next(iter(inspection.of(Consent)), None)
    yield "\n[consent]\n# to open the engine; the price of putting it back together; the price at which to stop"
    b = consent.body if consent else Consent(by="")
    for key, value in (
        ("by", b.by),
        ("on", b.on),
        ("put back price", b.put_back_price),
        ("stop price", b.stop_price),
        ("text", b.text),
    ):
        yield _line(key, value, consent.id if consent and value else "")
    yield "\n[codes]"
    yield from _comment(" ".join(cautions_of("codes", inspection.facts)))
    code = None if blank else next(iter(inspection.of(Codes)), None)
    c = code.body if code else Codes(text="")
    disturbed = "" if c.battery_disturbed is None else "yes" if c.battery_disturbed else "no"
    for key, value in (("codes", c.text), ("battery disturbed", disturbed), ("freeze frame", c.frozen)):
        yield _line(key, value, code.id if code and value else "")


def _answers(questions_: Iterable[Question]) -> Iterator[str]:
    for q in questions_:
        yield from _comment(f"{q.label}: {' | '.join(w for _, w in q.states)}")


def _group(inspection: Inspection, group: str, cylinders: tuple[int, ...], blank: bool) -> Iterator[str]:
    items = tuple(q for q in section_items(group) if q.scope != "pair")
    if not items:
        return
    yield f"\n[{group}]"
    if group in ("compression", "leak-down"):
        yield f"# {_DERIVED[0]}"
    yield from _answers(items)
    ids = {q.id for q in items}
    seen = [] if blank else [r for r in inspection.of(Seen) if r.body.item in ids]
    said = {(r.body.item, r.body.cylinder) for r in seen}
    for r in seen:
        q = questions()[r.body.item]
        wording = dict(q.states).get(r.body.state, r.body.state)
        key = f"{r.body.cylinder} {q.label}" if r.body.cylinder is not None else q.label
        yield _line(key, wording + (f"; {r.body.note}" if r.body.note else ""), r.id, r.how)
    for q in items:
        if q.scope == "engine" and (q.id, None) not in said:
            yield _line(q.label, "")
    if any(q.scope != "engine" for q in items):
        for c in cylinders:
            yield _line(str(c), "")


def _test(inspection: Inspection, test: str, cylinders: tuple[int, ...], blank: bool) -> Iterator[str]:
    procedure = procedures()[test]
    readings = [] if blank else [r for r in inspection.of(Reading) if r.body.test == test]
    looked = {} if blank else {r.body.cylinder: r for r in inspection.of(Looked) if r.body.test == test}
    for series in sorted({r.body.series for r in readings} | {""}):
        yield f"\n[{procedure.label.lower()}{' ' + series if series else ''}]"
        if not series:
            for caution in cautions_of(test, inspection.facts):
                yield from _comment(caution)
            if test == "leakdown":
                yield from _turning(engine_of(inspection))
        yield f"# a bare number is {procedure.unit}" if procedure.unit else "# numbers with their unit"
        noted = {} if blank else conditions_of(inspection, test, None, series)
        for c in conditions_for(test):
            hint = " | ".join(c.choices) or c.unit
            yield _line(c.label.lower(), noted.get(c.id, "")) + (
                f"   # {hint}" if hint and c.id not in noted else ""
            )
        if test in opened_tests() and not series:
            yield from _places(test)
        where = cylinders if procedure.scope == "cylinder" else _WHOLE
        if procedure.scope == "cylinder" and any(r.body.cylinder is None for r in readings):
            where = (*where, 0)
        for cylinder in where:
            mine = [r for r in readings if (r.body.cylinder or 0) == cylinder and r.body.series == series]
            label = str(cylinder) if cylinder else "reading"
            for r in mine:
                key = f"{label} {r.body.part}" if cylinder and r.body.part else r.body.part or label
                typed = r.body.typed
                yield _line(key, typed, r.id, r.how)
            if not mine and (r2 := looked.get(cylinder or None)) and not series:
                yield _line(label, f"{r2.body.state}: {r2.body.why}" if r2.body.why else r2.body.state, r2.id)
            elif not mine and (cylinder or where == _WHOLE):
                yield from (
                    _line(key, "") for key in _BLANK.get(test, ("{}",)) for key in (key.format(label),)
                )


# What a blank sheet asks of one part where one line is not enough.
_BLANK = {"bore_diameter": ("{} thrust", "{} pin"), "ring_gap": ("{} top", "{} second")}


def _places(test: str) -> Iterator[str]:
    """Where on the part a figure may be taken, as it is written beside the cylinder."""
    named = [s for s in spots() if s.test == test and s.id]
    if named:
        yield from _comment("places: " + "; ".join(f"'{s.id}' {s.label}" for s in named))
    for order in dict.fromkeys(s.order for s in spots() if s.test == test and s.order):
        yield from _comment(order)


def _findings(inspection: Inspection, blank: bool) -> Iterator[str]:
    yield "\n[findings]"
    yield "# cylinder: term @ place, severity 0 to 4, seen clearly | seen in part | inferred, old | fresh; own words"
    yield "# severity: " + ", ".join(f"{k} {s}" for k, s in enumerate(SEVERITY))
    yield "# a term of your own: '3: own words here @ crown'"
    for r in () if blank else inspection.of(Finding):
        b = r.body
        name = f"own {finding_term(b)}" if b.term == "own" else b.term
        place = f" @ {_place_key(b.place)}" if b.place else ""
        age = f", {b.age}" if b.age != "not said" else ""
        checked = f", {b.fake_checked}" if b.fake_checked else ""
        note = f"; {b.note}" if b.note else ""
        value = f"{name}{place}, severity {b.severity}, {b.certainty}{age}{checked}{note}"
        yield _line(str(b.cylinder or "engine"), value, r.id, r.how)
    yield "\n[coverage]"
    yield "# '3 bore exhaust top: looked, nothing', '3: looked, nothing' for all views, '4 crown: could not see - oil'"
    for r2 in () if blank else inspection.of(Looked):
        if r2.body.test and r2.body.test in procedures():
            continue
        what = _place_key(r2.body.place) if r2.body.place else ""
        key = " ".join(x for x in (str(r2.body.cylinder or ""), what) if x) or "engine"
        yield _line(key, r2.body.state + (f" - {r2.body.why}" if r2.body.why else ""), r2.id)


def _place_key(place: Place) -> str:
    view = views().get(place.view)
    return " ".join(x for x in (view.label if view else place.view, place.side, place.height) if x)


def _rest(inspection: Inspection, blank: bool) -> Iterator[str]:
    yield "\n[prices]\n# value running, value as parts, own hour, paid hour, used engine, currency ... ('borelog price INSPECTION' lists them)"
    for key, value in () if blank else inspection.prices.items():
        yield _line(key.replace("_", " "), value)
    yield "\n[notes]\n# a cylinder or 'engine', then own words"
    for r in () if blank else inspection.of(Note):
        yield _line(str(r.body.cylinder or "engine"), r.body.text, r.id)
