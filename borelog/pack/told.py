"""A document without a journal, turned back into entries that count as told: for reading, judging and comparing only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import msgspec

from borelog.knowledge import tables
from borelog.knowledge.airs import air_named
from borelog.logbook import entries as e
from borelog.logbook.coverage import ANSWERED, STILL_ONLY
from borelog.marks.places import Looked
from borelog.pack.document import By, Document, FindingRow, MarkRow
from borelog.readings.conditions import conditions_of


@dataclass(frozen=True, slots=True)
class Arrived:
    """A still as it came in: the digest of the file here, and what its bytes turned out to be."""

    sha256: str
    size: int
    format: str
    width: int
    height: int
    orientation: int = 1


Bodies = Iterator[tuple[e.Known, str]]


def teller(document: Document) -> str:
    """Whose word it is: the people who recorded it."""
    groups = (document.readings, document.findings, document.stills)
    who = dict.fromkeys(row.by.who for rows in groups for row in rows if row.by.who)
    return ", ".join(who) or "a pack without names"


def bodies(document: Document, stills: Mapping[str, Arrived]) -> list[tuple[e.Known, str]]:
    """The document's record as (body, how), each how beginning with 'told by'.

    Parameters
    ----------
    document
        A checked document.
    stills
        By still id, those whose files came in.
    """
    ids = {k: v.sha256 for k, v in stills.items()}
    out: list[tuple[e.Known, str]] = []
    for make in (_facts, _readings, _seen, _coverage, _words):
        out += make(document)
    out += _stills(document, stills)
    out += _findings(document, ids)
    return out


def _how(by: By) -> str:
    return f"told by {by.who or 'somebody'}" + (f", {by.how}" if by.how else "")


def _facts(document: Document) -> Bodies:
    values = {f.id: f.value for f in document.engine.facts}
    if values:
        yield e.Facts(values), f"told by {teller(document)}"


def _readings(document: Document) -> Bodies:
    for r in document.readings:
        body = e.Reading(
            test=r.test, cylinder=r.cylinder, typed=r.typed, values=r.values, unit=r.unit, about=r.about, puffs=r.puffs,
            supply=r.supply, air=tuple(air_named(a) for a in r.air), part=r.part, series=r.series, doubt=r.doubt,
            note=r.note,
        )  # fmt: skip
        yield body, _how(r.by)
    groups: dict[tuple[str, int | None, str], dict[str, str]] = {}
    for c in document.conditions:
        names = {k.label: k.id for k in conditions_of(c.test)}
        if c.value:
            groups.setdefault((c.test, c.cylinder, c.series), {})[names.get(c.condition, c.condition)] = (
                c.value
            )
    for (test, cylinder, series), values in groups.items():
        yield e.Conditions(test, values, cylinder, series), f"told by {teller(document)}"


def _seen(document: Document) -> Bodies:
    states = {
        (r["item"], r["wording"]): r["state"]
        for r in tables.rows("item_states.csv", "item", "state", "wording")
    }
    for s in document.seen:
        yield e.Seen(s.item, s.cylinder, states.get((s.item, s.state), s.state), s.note), _how(s.by)


def _coverage(document: Document) -> Bodies:
    from borelog.marks.places import Place

    how = f"told by {teller(document)}"
    answered = {s.by.entry for s in document.seen}
    for c in document.coverage:
        if c.state not in (Looked.NOT_LOOKED, STILL_ONLY, ANSWERED) and c.entry not in answered:
            yield (
                e.Looked(c.state, cylinder=c.cylinder, place=Place(c.view, c.side, c.height), why=c.why),
                how,
            )
    for t in document.tests:
        if t.state != "done" and (t.why or t.state != "not done"):
            state = Looked.NOT_LOOKED if t.state == "not done" else t.state
            yield e.Looked(str(state), cylinder=t.cylinder, test=t.test, why=t.why), how


def _words(document: Document) -> Bodies:
    for c in document.codes:
        yield e.Codes(c.text, c.battery_disturbed, c.frozen), _how(c.by)
    for t in document.told:
        yield e.Told(t.told_by, t.text, t.on), _how(t.by)
    for k in document.consent:
        yield e.Consent(k.given_by, k.put_back_price, k.stop_price, k.text, k.on), _how(k.by)
    for n in document.notes:
        yield e.Note(n.text, n.cylinder), _how(n.by)
    for x in document.truth:
        yield e.Truth(x.cylinder, tuple(f.replace(" ", "_") for f in x.faults), x.known, x.note), _how(x.by)


def _mark(mark: MarkRow, ids: Mapping[str, str]) -> e.Mark:
    words = " - ".join(w for w in (mark.words, mark.measure) if w)
    return e.Mark(ids[mark.still], mark.shape, label=words)


def _stills(document: Document, stills: Mapping[str, Arrived]) -> Bodies:
    ids = {k: v.sha256 for k, v in stills.items()}
    for s in document.stills:
        if not (file := stills.get(s.id)):
            continue
        how = _how(s.by)
        yield (
            e.StillFiled(
                sha256=file.sha256, name=s.name or s.id, size=file.size, format=file.format, width=file.width,
                height=file.height, orientation=file.orientation, taken=s.taken, camera=s.camera,
                source=f"copy of the original {s.original}",
            ),
            how,
        )  # fmt: skip
        yield (
            e.StillPlaced(
                file.sha256, cylinder=s.cylinder, place=s.place, mirror=s.mirror, roll=s.roll, probe=s.probe,
                aside=s.aside, caption=s.caption,
            ),
            how,
        )  # fmt: skip
        for mark in s.marks:
            yield e.Marked(_mark(mark, ids)), how


def _findings(document: Document, ids: Mapping[str, str]) -> Bodies:
    for f in document.findings:
        yield _finding(f, ids), _how(f.by)


def _finding(f: FindingRow, ids: Mapping[str, str]) -> e.Finding:
    from borelog.marks.vocabulary import terms

    own = "" if f.term in terms() else f.words
    marks = tuple(_mark(m, ids) for m in f.marks if m.still in ids)
    return e.Finding(
        term=f.term, cylinder=f.cylinder, place=f.place, component=f.component, own=own, severity=f.severity,
        certainty=f.certainty, age=f.age, marks=marks, fake_checked=f.fake_checked, method=f.method, note=f.note,
    )  # fmt: skip


def as_told(document: Document, digest: str) -> e.TakenIn:
    """The entry that makes an inspection read-only and keeps the document as it came."""
    return e.TakenIn(by=teller(document), digest=digest, document=msgspec.to_builtins(document))
