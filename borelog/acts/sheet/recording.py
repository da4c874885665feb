"""Recording a sheet: only what differs from the record goes in, as new entries or as corrections, and is listed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.sheet.context import Context, LineError, Said
from borelog.acts.sheet.doubting import unit_doubts
from borelog.acts.sheet.grammar import read_line
from borelog.acts.sheet.lines import Line, flat, read_lines
from borelog.acts.words import body_words
from borelog.logbook.described import engine_from_facts, engine_of
from borelog.logbook.entries import (
    Body,
    Codes,
    Conditions,
    Consent,
    Correct,
    Facts,
    Finding,
    Looked,
    Note,
    Opened,
    Prices,
    Reading,
    Seen,
    Told,
)
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection, Recorded
from borelog.text import BorelogError


@dataclass(frozen=True, slots=True)
class Change:
    """One thing the sheet adds ('new') or corrects ('corrected'), with the words before and after."""

    kind: str
    words: str
    before: str
    line: int


@dataclass(frozen=True, slots=True)
class Trouble:
    """A line that was not taken ('left out') or was taken but is asked about ('doubtful'), and what to do."""

    kind: str
    line: int
    words: str


@dataclass(frozen=True, slots=True)
class SheetResult:
    """What recording a sheet did, or with ``dry_run`` would do."""

    changes: tuple[Change, ...]
    troubles: tuple[Trouble, ...]
    same: int

    @property
    def clean(self) -> bool:
        """Whether every line was taken without a question."""
        return not self.troubles


# What makes two bodies the same thing said twice; the fields not named are what a correction changes.
_KEYS: dict[type[Body], tuple[str, ...]] = {
    Reading: ("test", "cylinder", "part", "series"),
    Seen: ("item", "cylinder", "series"),
    Looked: ("cylinder", "place", "test"),
    Finding: ("term", "own", "cylinder", "place"),
    Told: ("by", "on", "text"),
    Note: ("cylinder", "text"),
    Consent: ("by",),
    Codes: (),
    Opened: (),
}


def _key(body: Any) -> tuple[Any, ...]:
    return (type(body), *(getattr(body, f) for f in _KEYS[type(body)]))


def _gathered(said: Iterable[Said]) -> list[Said]:
    """One body for the lines that together describe one thing: codes, consent, the conditions of one test."""
    out: list[Said] = []
    for s in said:
        body, last = s.body, next((o for o in reversed(out) if _joins(o.body, s.body)), None)
        if last is None:
            out.append(s)
            continue
        joined = _joined(last.body, body)
        out[out.index(last)] = Said(joined, last.how or s.how, last.line)
    return out


def _joins(a: Body, b: Body) -> bool:
    if isinstance(a, Conditions) and isinstance(b, Conditions):
        return (a.test, a.cylinder, a.series) == (b.test, b.cylinder, b.series)
    return type(a) is type(b) and isinstance(a, Facts | Prices | Codes | Consent)


def _joined(a: Any, b: Any) -> Any:
    if isinstance(a, Facts | Prices | Conditions):
        return msgspec.structs.replace(a, values={**a.values, **b.values})
    fresh = {f: v for f in a.__struct_fields__ if (v := getattr(b, f)) not in ("", None)}
    if isinstance(a, Codes) and a.text and b.text:
        fresh["text"] = f"{a.text}; {b.text}"
    return msgspec.structs.replace(a, **fresh)


def _differing(body: Any, inspection: Inspection) -> Any | None:
    """For bodies of id-value pairs: only the pairs that differ from what stands; None if all stand."""
    if isinstance(body, Facts):
        now = inspection.facts
    elif isinstance(body, Prices):
        now = inspection.prices
    else:
        now = conditions_of(inspection, body.test, body.cylinder, body.series)
    fresh = {k: v for k, v in body.values.items() if now.get(k, "") != v}
    return msgspec.structs.replace(body, values=fresh) if fresh else None


def _standing(
    said: Said, inspection: Inspection, by_key: dict[tuple[Any, ...], Recorded[Any]]
) -> Recorded[Any] | None:
    if said.line.id:
        for group in inspection.things.values():
            for r in group:
                if r.id.startswith(said.line.id) and type(r.body) is type(said.body):
                    return r
    return by_key.get(_key(said.body))


def _carried(new: Any, old: Any) -> Any:
    """The new body with what a sheet cannot say (marks, method) carried over from the old one."""
    if isinstance(new, Finding):
        return msgspec.structs.replace(new, marks=old.marks, method=old.method)
    if isinstance(new, Codes | Consent):
        kept = {f: getattr(old, f) for f in new.__struct_fields__ if getattr(new, f) in ("", None)}
        return msgspec.structs.replace(new, **kept)
    return new


def read_sheet(
    lines: Iterable[Line], cylinders: tuple[int, ...], recorded: Iterable[Reading] = ()
) -> tuple[list[Said], list[Trouble]]:
    """Everything the lines say, and those that could not be taken; ``recorded`` readings tell in which unit a test is."""
    context = Context(cylinders)
    said: list[Said] = []
    troubles: list[Trouble] = []
    first: dict[tuple[Any, ...], Line] = {}
    passed_over: list[tuple[tuple[Any, ...], Line]] = []
    # 'rest' means the cylinders that no other line of the section names, wherever it stands.
    ordered = sorted(lines, key=lambda x: flat(x.key) in ("rest", "others", "the rest"))
    for line in ordered:
        try:
            found = read_line(line, context)
            for s in found:
                if isinstance(s.body, Reading | Seen | Finding | Looked):
                    twice = first.setdefault(_key(s.body), line)
                    if twice is not line and _is_all(twice) != _is_all(line):
                        # 'all' speaks of the cylinders that no line of their own names
                        loser = twice if _is_all(twice) else line
                        first[_key(s.body)] = line if loser is twice else twice
                        passed_over.append((_key(s.body), loser))
                    elif twice is not line:
                        mend = (
                            f"put repeats on one line, a re-test under [{line.section} 2]"
                            if isinstance(s.body, Reading | Seen)
                            else "leave one of the two out"
                        )
                        raise LineError(f"said already in line {twice.number}: {mend}")
        except BorelogError as error:
            troubles.append(Trouble("left out", line.number, str(error)))
            continue
        said.extend(found)
    kept = [s for s in said if not any(s.line is line and _keyed(s.body) == key for key, line in passed_over)]
    kept = unit_doubts(kept, recorded)
    troubles.extend(
        Trouble("doubtful", s.line.number, s.body.doubt)
        for s in kept
        if isinstance(s.body, Reading) and s.body.doubt
    )
    return _gathered(kept), sorted(troubles, key=lambda t: t.line)


def _is_all(line: Line) -> bool:
    return flat(line.key).split(" ")[0] in ("all", "every")


def _keyed(body: Any) -> tuple[Any, ...] | None:
    return _key(body) if isinstance(body, Reading | Seen | Finding | Looked) else None


# Facts that describe one engine together, in the order in which a contradiction is laid at their door.
_TOGETHER = ("firing_order", "intervals", "banks", "bridges", "heads", "numbering", "layout")


def _fitting(
    said: list[Said], lines: Iterable[Line], now: dict[str, str]
) -> tuple[list[Said], list[Trouble]]:
    """Without the facts that no engine can have together; each is named with the reason."""
    troubles: list[Trouble] = []
    for k, s in enumerate(said):
        if not isinstance(s.body, Facts):
            continue
        values = dict(s.body.values)
        while (problem := _problem({**now, **values})) and values:
            guilty = next(
                (f for f in _TOGETHER if f in values and not _problem(_without(now, values, f))), ""
            )
            guilty = guilty or next((f for f in _TOGETHER if f in values), "")
            if not guilty:
                break
            del values[guilty]
            troubles.append(Trouble("left out", _line_of(lines, guilty, s), problem))
        said[k] = Said(msgspec.structs.replace(s.body, values=values), s.how, s.line)
    return said, troubles


def _without(now: dict[str, str], values: dict[str, str], fact: str) -> dict[str, str]:
    return {**now, **{k: v for k, v in values.items() if k != fact}}


def _problem(facts: dict[str, str]) -> str:
    try:
        engine_from_facts({k: v for k, v in facts.items() if v})
    except (BorelogError, ValueError) as error:
        return str(error)
    return ""


def _line_of(lines: Iterable[Line], fact: str, said: Said) -> int:
    mine = (x.number for x in lines if flat(x.key) == flat(fact) and x.value)
    return next(mine, said.line.number)


def record_text(
    bench: Bench, inspection_id: str, text: str, source: str = "sheet", *, dry_run: bool = False
) -> SheetResult:
    """Enter a whole sheet into an inspection; see `record`."""
    return record(bench, inspection_id, read_lines(text, source), dry_run=dry_run)


def record_lines(bench: Bench, inspection_id: str, section: str, values: dict[str, str]) -> SheetResult:
    """Enter single lines of one section, as typed on a command line."""
    lines = [Line(section, key, value, number) for number, (key, value) in enumerate(values.items(), 1)]
    return record(bench, inspection_id, lines)


def record(bench: Bench, inspection_id: str, lines: Iterable[Line], *, dry_run: bool = False) -> SheetResult:
    """Enter the lines of a sheet into an inspection.

    Lines that cannot be taken are left out and listed; doubtful values are kept as typed and listed; lines that say
    what is already recorded add nothing; lines that say it differently become corrections.
    """
    inspection = bench.inspection(inspection_id)
    engine = engine_of(inspection)
    lines = tuple(lines)
    already = [r.body for r in inspection.of(Reading)]
    said, troubles = read_sheet(lines, engine.cylinders if engine else (), already)
    said, unfit = _fitting(said, lines, inspection.facts)
    troubles = sorted([*troubles, *unfit], key=lambda t: t.line)
    by_key = {_key(r.body): r for kind in _KEYS for r in inspection.of(kind)}  # type: ignore[type-var]
    bodies: list[tuple[Any, str]] = []
    changes: list[Change] = []
    same = 0
    for s in said:
        body = s.body
        if isinstance(body, Facts | Prices | Conditions):
            fresh = _differing(body, inspection)
            if fresh is None:
                same += 1
                continue
            bodies.append((fresh, s.how))
            changes.append(Change("new", body_words(fresh), "", s.line.number))
            continue
        standing = _standing(s, inspection, by_key)
        if standing is None:
            bodies.append((body, s.how))
            changes.append(Change("new", body_words(body), "", s.line.number))
            continue
        if isinstance(body, Opened):
            body = msgspec.structs.replace(standing.body, name=body.name)
        body = _carried(body, standing.body)
        if body == standing.body:
            same += 1
            continue
        bodies.append((Correct(target=standing.version.entry, body=body), s.how or standing.how))
        changes.append(Change("corrected", body_words(body), body_words(standing.body), s.line.number))
    if bodies and not dry_run:
        bench.append(inspection_id, bodies)
    return SheetResult(tuple(changes), tuple(troubles), same)
