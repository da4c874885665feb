"""One line a cylinder: every test side by side, blanks said aloud. For 'show', the demo and the plain-text verdict."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from borelog.acts.words import finding_term
from borelog.charts.bars import Bar, text_bars
from borelog.knowledge.airs import air_words
from borelog.knowledge.procedures import procedures
from borelog.logbook.coverage import coverage_of
from borelog.logbook.described import engine_of
from borelog.logbook.entries import Finding, Looked, Reading, Seen, StillPlaced
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import readings_of
from borelog.marks.places import Looked as State
from borelog.quantity import Quantity, plain_number
from borelog.readings.repeats import counted
from borelog.text import one_line
from borelog.verdict.judged import Verdict

BLANK = "not noted"


@dataclass(frozen=True, slots=True)
class CylinderRow:
    """What is known of one cylinder, in words; 'not noted' where there is nothing."""

    cylinder: int
    compression: str
    wet: str
    leak: str
    plug: str
    finding: str
    looked: str
    stills: int
    verdict: str
    level: str


def cylinders_of(inspection: Inspection) -> tuple[int, ...]:
    """The engine's cylinders, or those that anything was recorded of while the layout is not known."""
    engine = engine_of(inspection)
    if engine:
        return engine.cylinders
    kinds: tuple[type[Any], ...] = (Reading, Seen, Finding, Looked, StillPlaced)
    found = {c for kind in kinds for r in inspection.of(kind) if (c := r.body.cylinder) is not None}
    return tuple(sorted(found))


def rows(inspection: Inspection, verdict: Verdict | None = None) -> tuple[CylinderRow, ...]:
    """The lines of all cylinders in number order."""
    judged = {c.cylinder: c for c in verdict.cylinders} if verdict else {}
    top = _highest(inspection)
    out = []
    for c in cylinders_of(inspection):
        call = judged.get(c)
        out.append(
            CylinderRow(
                c,
                _compression(inspection, "compression_dry", c, top),
                _compression(inspection, "compression_wet", c, None),
                _leak(inspection, c),
                _plug(inspection, c),
                _finding(inspection, c),
                _coverage(inspection, c),
                sum(r.body.cylinder == c and not r.body.aside for r in inspection.of(StillPlaced)),
                call.words if call else "",
                call.level if call else "open",
            )
        )
    return tuple(out)


def _latest(inspection: Inspection, test: str, cylinder: int) -> Reading | None:
    mine = [r.body for r in readings_of(inspection, test) if r.body.cylinder == cylinder]
    return mine[-1] if mine else None


def compression_bars(inspection: Inspection, width: int) -> tuple[str, ...]:
    """Dry compression as bars of text, from zero, in the unit of the dial; nothing under two figures."""
    bodies = [b for c in cylinders_of(inspection) if (b := _latest(inspection, "compression_dry", c))]
    good = [b for b in bodies if not b.doubt]
    if len(good) < 2:
        return ()
    unit = Counter(b.unit for b in good).most_common(1)[0][0]
    kpa = {b.cylinder: Quantity(counted(b.values), b.unit).to("kPa") for b in good}
    top = max(kpa.values())
    bars = [
        Bar(
            str(c),
            Quantity(v, "kPa").to(unit),
            f"{plain_number(Quantity(v, 'kPa').to(unit), 3)} {unit}",
            "sound" if v >= 0.85 * top else "watch" if v >= 0.70 * top else "bad",
        )
        for c, v in kpa.items()
    ]
    return ("", f"dry compression from 0, {unit}:", *text_bars(bars, unit=unit, width=min(width, 78)))


_COLUMNS = ("compression_dry", "compression_wet", "leakdown", "plug_gap")


def other_readings(inspection: Inspection) -> tuple[str, ...]:
    """Readings that no column of the table holds, one line a session: other tests, and the sessions before a re-test."""
    sessions: dict[tuple[str, str], list[Reading]] = {}
    for r in inspection.of(Reading):
        sessions.setdefault((r.body.test, r.body.series), []).append(r.body)
    last = dict(sessions.keys())
    out = []
    for test in (t for t in procedures() if any(t == key[0] for key in sessions)):
        for (name, series), bodies in sessions.items():
            if name != test or (test in _COLUMNS and last[test] == series):
                continue
            label = f"{procedures()[test].label.lower()}{' ' + (series or '1') if test in _COLUMNS or series else ''}"
            unit = procedures()[test].unit
            figures = ", ".join(
                f"{f'{b.cylinder} ' if b.cylinder is not None else ''}{f'{b.part} ' if b.part else ''}{b.typed}"
                + (f" {unit}" if b.typed and b.typed.replace(" ", "").replace(".", "").isdigit() else "")
                for b in sorted(bodies, key=lambda b: b.cylinder or 0)
            )
            out.append(f"{label}: {figures}")
    return tuple(out)


def _missing(inspection: Inspection, test: str, cylinder: int) -> str:
    for r in inspection.of(Looked):
        if r.body.test == test and r.body.cylinder in (cylinder, None):
            word = "not done" if r.body.state == State.NOT_LOOKED else r.body.state
            return one_line(f"{word}: {r.body.why}" if r.body.why else word, 30)
    return BLANK


def _highest(inspection: Inspection) -> float:
    values = [
        Quantity(counted(b.values), b.unit).to("kPa")
        for c in cylinders_of(inspection)
        if (b := _latest(inspection, "compression_dry", c)) and not b.doubt
    ]
    return max(values, default=0.0)


def _compression(inspection: Inspection, test: str, cylinder: int, top: float | None) -> str:
    body = _latest(inspection, test, cylinder)
    if body is None:
        return _missing(inspection, test, cylinder)
    mean = counted(body.values)
    text = f"{body.about}{plain_number(mean)} {body.unit}"
    if body.doubt:
        return f"{text} ?"
    if top:
        text += f" {100 * Quantity(mean, body.unit).to('kPa') / top:.0f} %"
    return text


def _leak(inspection: Inspection, cylinder: int) -> str:
    body = _latest(inspection, "leakdown", cylinder)
    if body is None:
        return _missing(inspection, "leakdown", cylinder)
    mean = plain_number(counted(body.values))
    text = f"{mean} %" if body.unit == "%" else f"{mean}/{plain_number(body.supply or 0)} {body.unit}"
    heard = ", ".join(air_words(a) for a in body.air)
    return one_line(f"{text} {heard}".strip(), 40)


def _plug(inspection: Inspection, cylinder: int) -> str:
    from borelog.acts.sheet.items import questions

    words = []
    for r in inspection.of(Seen):
        q = questions().get(r.body.item)
        if q and r.body.cylinder == cylinder and q.section == "plugs":
            plain = r.body.state in (q.states[0][0], "like_others")
            if not plain or r.body.item == "plug_deposit":
                words.append(dict(q.states).get(r.body.state, r.body.state))
    gap = _latest(inspection, "plug_gap", cylinder)
    if gap:
        words.append(f"gap {plain_number(counted(gap.values))} {gap.unit}")
    return one_line(", ".join(words), 40) or _missing(inspection, "plugs", cylinder)


def _finding(inspection: Inspection, cylinder: int) -> str:
    mine = [r.body for r in inspection.of(Finding) if r.body.cylinder == cylinder]
    if not mine:
        return "-"
    worst = max(mine, key=lambda b: b.severity)
    more = f" +{len(mine) - 1}" if len(mine) > 1 else ""
    return one_line(f"{finding_term(worst)} (severity {worst.severity}){more}", 40)


def _coverage(inspection: Inspection, cylinder: int) -> str:
    noted, total = coverage_of(inspection, cylinder)
    return f"{noted} of {total} places" if noted else "not looked"
