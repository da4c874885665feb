"""The record's rows as the document tells them: readings, findings, coverage, words and decisions, each clean to show."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from borelog.knowledge import tables
from borelog.knowledge.airs import air_words
from borelog.knowledge.procedures import procedures
from borelog.logbook import entries as e
from borelog.logbook.coverage import places_of
from borelog.logbook.coverage import states as states_of_places
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection, Recorded, Version
from borelog.logbook.saying.all import remarks as what_readings_say
from borelog.marks.places import Looked, Place, grid_places, place_words, views
from borelog.marks.vocabulary import SEVERITY, terms
from borelog.pack.document import (
    By,
    CallRow,
    CodesRow,
    ConditionRow,
    ConsentRow,
    CoverageRow,
    Earlier,
    FindingRow,
    MarkRow,
    NoteRow,
    ReadingRow,
    RemarkRow,
    SeenRow,
    TestRow,
    ToldRow,
    TruthRow,
    WithdrawnRow,
)
from borelog.quantity import Quantity, QuantityError, plain_number
from borelog.readings.conditions import conditions_of as asked_of
from borelog.readings.repeats import counted
from borelog.text import clean, one_line
from borelog.verdict.judged import Level

if TYPE_CHECKING:
    from borelog.engine.engine import Engine

_STANDARD = {
    "pressure": "kPa", "length": "mm", "volume": "ml", "temperature": "degC", "current": "A",
    "voltage": "V", "time": "s",
}  # fmt: skip


def by(recorded: Recorded[Any]) -> By:
    """Who, when and how of what stands now."""
    v = recorded.version
    return By(entry=recorded.id, who=one_line(v.who, 80), at=one_line(v.at, 40), how=one_line(v.how, 120))


def long(text: str) -> str:
    """Text in own words: clean, its line breaks kept, never longer than a document allows."""
    return clean(text.replace("\r\n", "\n").replace("\r", "\n"))[:19_000]


def _earlier(recorded: Recorded[Any], words: Any, keep: bool) -> tuple[Earlier, ...]:
    def row(version: Version[Any], rival: bool) -> Earlier:
        return Earlier(
            words=one_line(words(version.body), 200),
            who=one_line(version.who, 80),
            at=version.at,
            rival=rival,
        )

    old = [row(v, False) for v in recorded.earlier] if keep else []
    return tuple(old + [row(v, True) for v in recorded.rivals])


def test_label(test: str) -> str:
    """The test's name, or its id in words where the table does not know it."""
    known = procedures().get(test)
    return known.label if known else one_line(test.replace("_", " "), 60)


def _standard(values: tuple[float, ...], unit: str) -> tuple[float | None, str]:
    if not values:
        return None, ""
    try:
        figure = Quantity(counted(values), unit)
        wanted = _STANDARD.get(figure.dimension, unit)
        standard = figure.to(wanted)
        return (standard if math.isfinite(standard) else None), wanted
    except QuantityError:
        return counted(values), one_line(unit, 20)


def readings(inspection: Inspection, still_ids: dict[str, str], keep_earlier: bool) -> tuple[ReadingRow, ...]:
    """All readings that stand, in test order, then cylinder; re-tests beside first tests."""
    photos: dict[str, list[str]] = {}
    for placed in inspection.of(e.StillPlaced):
        if placed.body.reading and placed.body.still in still_ids:
            photos.setdefault(placed.body.reading, []).append(still_ids[placed.body.still])
    order = {test: i for i, test in enumerate(procedures())}
    rows = []
    for r in inspection.of(e.Reading):
        b = r.body
        standard, unit = _standard(b.values, b.unit)
        rows.append(
            ReadingRow(
                by=by(r), test=one_line(b.test, 60), label=test_label(b.test), cylinder=b.cylinder,
                typed=one_line(b.typed, 120), values=b.values, unit=one_line(b.unit, 20), standard=standard,
                standard_unit=unit, about=b.about, puffs=b.puffs, supply=b.supply,
                air=tuple(air_words(a) for a in b.air), part=one_line(b.part, 80), series=one_line(b.series, 60),
                doubt=one_line(b.doubt, 200), note=long(b.note),
                earlier=_earlier(r, lambda x: x.typed, keep_earlier), stills=tuple(photos.get(r.id, ())),
            )
        )  # fmt: skip
    return tuple(
        sorted(rows, key=lambda r: (order.get(r.test, 99), r.series, r.part, r.cylinder or 0, r.by.at))
    )


def conditions(inspection: Inspection) -> tuple[ConditionRow, ...]:
    """How each test with a reading was done; what was asked and not noted stands as a blank."""
    out: list[ConditionRow] = []
    sessions = dict.fromkeys((r.body.test, r.body.series) for r in inspection.of(e.Reading))
    order = {test: i for i, test in enumerate(procedures())}
    for test, series in sorted(sessions, key=lambda s: (order.get(s[0], 99), s[1])):
        whole = conditions_of(inspection, test, None, series)
        own = [
            (c.body.cylinder, c.body.values)
            for c in inspection.of(e.Conditions)
            if c.body.test == test and c.body.series == series and c.body.cylinder is not None
        ]
        asked = {c.id: c.label for c in asked_of(test)}
        names = list(dict.fromkeys([*asked, *whole]))
        rows: list[tuple[int | None, str, str]] = [(None, n, whole.get(n, "")) for n in names]
        rows += [(cylinder, n, v) for cylinder, values in own for n, v in values.items()]
        out += [
            ConditionRow(
                test=one_line(test, 60), label=test_label(test), cylinder=cylinder, series=one_line(series, 60),
                condition=asked.get(name, one_line(name.replace("_", " "), 60)), value=one_line(value, 160),
            )
            for cylinder, name, value in rows
        ]  # fmt: skip
    return tuple(out)


def seen(inspection: Inspection) -> tuple[SeenRow, ...]:
    """Answers to the questions of the evidence table."""
    labels = {r["id"]: r["question"] for r in tables.rows("items.csv", "id", "question")}
    states = {
        (r["item"], r["state"]): r["wording"]
        for r in tables.rows("item_states.csv", "item", "state", "wording")
    }
    return tuple(
        SeenRow(
            by=by(r), item=one_line(r.body.item, 60),
            label=labels.get(r.body.item, one_line(r.body.item.replace("_", " "), 80)), cylinder=r.body.cylinder,
            state=states.get((r.body.item, r.body.state), one_line(r.body.state.replace("_", " "), 80)),
            note=long(r.body.note),
        )
        for r in inspection.of(e.Seen)
    )  # fmt: skip


_REMARK_LEVEL: dict[str, Level] = {"note": "blank", "watch": "watch", "ask": "open"}


def remarks(inspection: Inspection) -> tuple[RemarkRow, ...]:
    """What the readings say together; the numbering stands on the plan, codes are explained beside the paste."""
    return tuple(
        RemarkRow(
            topic=one_line(r.topic, 60), kind=one_line(r.kind, 60), level=_REMARK_LEVEL[r.level], words=one_line(r.words, 600),
            cylinders=r.cylinders, source=one_line(r.source, 200), entries=r.entries,
        )
        for r in what_readings_say(inspection)
        if r.topic != "codes" and r.kind != "numbering"
    )  # fmt: skip


def mark_rows(
    marks: Iterable[e.Mark], still_ids: dict[str, str], counts: dict[str, int]
) -> tuple[MarkRow, ...]:
    """Marks numbered on from ``counts``, which holds the last number used on each still."""
    out = []
    for mark in marks:
        still = still_ids.get(mark.still)
        if still is None:
            continue
        counts[still] = counts.get(still, 0) + 1
        measured = mark.measured
        measure = ""
        if mark.measure:
            value = measured.get("value")
            unit = one_line(str(measured.get("unit", "")), 20)
            told = plain_number(value) if isinstance(value, int | float) else ""
            measure = " ".join(p for p in (one_line(mark.measure, 60), told, unit if told else "") if p)
        look = ", ".join(f"{one_line(k, 30)} {one_line(str(v), 30)}" for k, v in sorted(mark.look.items()))
        out.append(
            MarkRow(
                still=still, number=counts[still], shape=mark.shape, words=_mark_words(mark), measure=measure,
                shown_with=look,
            )
        )  # fmt: skip
    return tuple(out)


def _mark_words(mark: e.Mark) -> str:
    label = one_line(mark.label, 160)
    written = one_line(getattr(mark.shape, "text", ""), 160)
    return " - ".join(dict.fromkeys(w for w in (label, written) if w))


def clean_shape(row: MarkRow) -> MarkRow:
    """The mark with the words inside a label shape clean."""
    import msgspec

    written = getattr(row.shape, "text", None)
    if written is None:
        return row
    shape = msgspec.structs.replace(row.shape, text=one_line(written, 160))
    return msgspec.structs.replace(row, shape=shape)


def clean_place(place: Place | None) -> Place | None:
    """The place with clean words."""
    if place is None:
        return None
    return Place(one_line(place.view, 40), one_line(place.side, 20), one_line(place.height, 20))


def findings(
    inspection: Inspection, still_ids: dict[str, str], counts: dict[str, int], keep_earlier: bool
) -> tuple[FindingRow, ...]:
    """Findings by cylinder, worst first."""
    rows = []
    for r in inspection.of(e.Finding):
        b = r.body
        known = terms().get(b.term)
        severity = min(4, max(0, b.severity))
        rows.append(
            FindingRow(
                by=by(r), term=one_line(b.term, 60), words=known.term if known else one_line(b.own or b.term, 160),
                component=known.component if known else one_line(b.component, 60), cylinder=b.cylinder,
                where=place_words(b.place) if b.place else "", place=clean_place(b.place),
                severity=severity, severity_words=SEVERITY[severity],
                certainty=one_line(b.certainty, 40), age=one_line(b.age, 40), means=known.means if known else "",
                faked_by="" if not known or known.faked_by == "-" else known.faked_by,
                fake_checked=long(b.fake_checked), method=one_line(b.method, 120), note=long(b.note),
                marks=tuple(clean_shape(m) for m in mark_rows(b.marks, still_ids, counts)),
                earlier=_earlier(r, lambda x: terms()[x.term].term if x.term in terms() else x.own, keep_earlier),
            )
        )  # fmt: skip
    return tuple(sorted(rows, key=lambda f: (f.cylinder is None, f.cylinder or 0, -f.severity, f.by.at)))


def coverage(inspection: Inspection, cylinders: tuple[int, ...]) -> tuple[CoverageRow, ...]:
    """Every place of every cylinder and of the engine: what was looked at and what was not."""
    states = states_of_places(inspection)
    wanted: list[tuple[int | None, Place]] = [(c, p) for c in cylinders for p in places_of(inspection)]
    wanted += [(None, p) for p in grid_places("engine")]
    wanted += [k for k in states if k not in set(wanted)]
    order = {v: i for i, v in enumerate(views())}
    out = []
    for cylinder, place in sorted(wanted, key=lambda k: (k[0] is None, k[0] or 0, order.get(k[1].view, 99))):
        state, why, entry = states.get((cylinder, place), (str(Looked.NOT_LOOKED), "", ""))
        out.append(
            CoverageRow(
                cylinder=cylinder, where=place_words(place), view=one_line(place.view, 40),
                side=one_line(place.side, 20), height=one_line(place.height, 20), state=one_line(str(state), 40),
                why=long(why), entry=entry,
            )
        )  # fmt: skip
    return tuple(out)


def tests(inspection: Inspection, cylinders: tuple[int, ...]) -> tuple[TestRow, ...]:
    """Every test of the table on every cylinder it applies to: done, not done, not possible, with why."""
    done = {(r.body.test, r.body.cylinder) for r in inspection.of(e.Reading)}
    if inspection.of(e.Codes):
        done.add(("codes", None))
    said = {
        (r.body.test, r.body.cylinder): (r.body.state, r.body.why)
        for r in inspection.of(e.Looked)
        if r.body.test
    }
    out = []
    for p in procedures().values():
        for cylinder in cylinders if p.scope == "cylinder" else (None,):
            state, why = said.get((p.id, cylinder)) or said.get((p.id, None)) or ("", "")
            if (p.id, cylinder) in done:
                state, why = "done", ""
            elif state in ("", Looked.NOT_LOOKED):
                state = "not done"
            out.append(
                TestRow(test=p.id, label=p.label, cylinder=cylinder, state=one_line(state, 40), why=long(why))
            )
    return tuple(out)


def codes(inspection: Inspection, engine: Engine | None = None) -> tuple[CodesRow, ...]:
    """Trouble codes as pasted, with what each means, and what they leave to be asked on this engine."""
    from borelog.readings.codes import read_codes

    out = []
    for r in inspection.of(e.Codes):
        found = read_codes(r.body.text, engine)
        lines = [f"{c.words}{f' ({c.status})' if c.status else ''}" for c in found.codes]
        out.append(
            CodesRow(
                by=by(r), text=long(r.body.text), battery_disturbed=r.body.battery_disturbed,
                frozen=long(r.body.frozen), explained=tuple(one_line(x, 300) for x in (*lines, *found.questions)),
            )
        )  # fmt: skip
    return tuple(out)


def told(inspection: Inspection) -> tuple[ToldRow, ...]:
    """What others said, with the date on which they said it."""
    return tuple(
        ToldRow(
            by=by(r), told_by=one_line(r.body.by, 120), text=long(r.body.text), on=one_line(r.body.on, 60)
        )
        for r in inspection.of(e.Told)
    )


def consents(inspection: Inspection) -> tuple[ConsentRow, ...]:
    """Consent to open, with its prices."""
    return tuple(
        ConsentRow(
            by=by(r), given_by=one_line(r.body.by, 120), text=long(r.body.text), on=one_line(r.body.on, 60),
            put_back_price=one_line(r.body.put_back_price, 60), stop_price=one_line(r.body.stop_price, 60),
        )
        for r in inspection.of(e.Consent)
    )  # fmt: skip


def notes(inspection: Inspection) -> tuple[NoteRow, ...]:
    """Own words."""
    return tuple(
        NoteRow(by=by(r), cylinder=r.body.cylinder, text=long(r.body.text)) for r in inspection.of(e.Note)
    )


def truths(inspection: Inspection) -> tuple[TruthRow, ...]:
    """What it really was."""
    return tuple(
        TruthRow(
            by=by(r), cylinder=r.body.cylinder,
            faults=tuple(one_line(f.replace("_", " "), 80) for f in r.body.faults),
            known=one_line(r.body.known, 80), note=long(r.body.note),
        )
        for r in inspection.of(e.Truth)
    )  # fmt: skip


def calls(inspection: Inspection) -> tuple[CallRow, ...]:
    """Decisions as taken."""
    return tuple(
        CallRow(
            by=by(r), course=one_line(r.body.course.replace("_", " "), 60), words=long(r.body.words),
            why=one_line(r.body.why, 120), tables=one_line(r.body.tables, 80),
        )
        for r in inspection.of(e.CallTaken)
    )  # fmt: skip


def withdrawn(inspection: Inspection) -> tuple[WithdrawnRow, ...]:
    """What no longer stands."""
    out = []
    for group in inspection.things.values():
        for r in group:
            if r.withdrawn is not None:
                words = one_line(_kind_words(r.body), 160)
                out.append(WithdrawnRow(entry=r.id, words=words, why=one_line(r.withdrawn, 160)))
    return tuple(out)


def _kind_words(body: Any) -> str:
    kind = type(body).__name__.lower()
    where = f", cylinder {body.cylinder}" if getattr(body, "cylinder", None) is not None else ""
    said = next(
        (str(v) for f in ("typed", "text", "term", "state", "name") if (v := getattr(body, f, ""))), ""
    )
    return f"{kind}{where}: {said}" if said else f"{kind}{where}"
