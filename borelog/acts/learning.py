"""Closing the loop: what it really was, how often the calls were right, and tables learned from opened cylinders."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.filing import check_cylinder
from borelog.acts.judging import own_tables_folder, tables_of
from borelog.acts.overview import cylinders_of
from borelog.knowledge import faults as fault_tables
from borelog.knowledge.faults import FaultTables
from borelog.logbook.entries import CallTaken, Stored, Truth
from borelog.logbook.inspection import Inspection
from borelog.logbook.saying.opened import measured_words
from borelog.text import BorelogError, one_line
from borelog.verdict.network.learning import (
    Bin,
    Called,
    Opened,
    brier,
    hit_rate,
    reliability,
    rows_text,
    update_rows,
)
from borelog.verdict.signs.all import signs
from borelog.verdict.wording import short_name

KNOWN = {"opened": "opened", "ran": "ran after the repair", "told": "told"}


class TruthError(BorelogError):
    """A truth that cannot be recorded as said; the text lists the names there are."""

    exit_code = 2


def fault_named(name: str, tables: FaultTables) -> str:
    """The id of a fault by id or label; '' for sound.

    Raises
    ------
    TruthError
        If none is called so.
    """
    key = re.sub(r"[\s_-]+", " ", name.strip().lower())
    if key in ("sound", "nothing", "ok"):
        return ""
    named = [f for f in tables.faults.values() if f.scope in ("cylinder", "pair", "engine")]
    exact = [f.id for f in named if key in (f.id.replace("_", " "), f.label.lower())]
    begun = exact or [f.id for f in named if key in f.label.lower() or key in f.id.replace("_", " ")]
    if len(begun) == 1:
        return begun[0]
    raise TruthError(
        f"{one_line(name, 40)!r} {'fits several faults' if begun else 'is no fault'}: "
        + ", ".join(begun or (f.id for f in named))
    )


def _places(where: str) -> tuple[int | None, ...]:
    """'3', '1,4', '1-3' as cylinders, or None alone for 'engine'."""
    key = where.strip().lower()
    if key in ("engine", "e"):
        return (None,)
    if span := re.fullmatch(r"(\d{1,3})\s*-\s*(\d{1,3})", key):
        ends = sorted((int(span[1]), int(span[2])))
        return tuple(range(ends[0], ends[1] + 1))
    if not re.fullmatch(r"\d{1,3}(\s*[,+&]\s*\d{1,3})*", key):
        raise TruthError(f"{one_line(where, 20)!r} is no cylinder; write its number, or 'engine'")
    return tuple(int(n) for n in re.findall(r"\d+", key))


def truths_from(said: Sequence[str], known: str, words: str, tables: FaultTables) -> tuple[Truth, ...]:
    """'3=exh_valve_leak', '2=sound', 'engine=overheated', '1,4=sound', '1-3=sound' as truths, one a cylinder."""
    found: dict[int | None, list[str]] = {}
    for part in said:
        where, sign, name = part.partition("=")
        if not sign:
            raise TruthError(
                f"{one_line(part, 40)!r}: say where, for example 3=exh_valve_leak, 2=sound or engine=overheated"
            )
        fault = fault_named(name, tables)
        for place in _places(where):
            scope = tables.faults[fault].scope if fault else ""
            if fault and (place is None) != (scope == "engine"):
                whose = (
                    "the engine: write engine="
                    if scope == "engine"
                    else "one cylinder: write its number, as 3="
                )
                raise TruthError(f"{tables.faults[fault].label} is a fault of {whose}{fault}")
            faults = found.setdefault(place, [])
            if fault and fault not in faults:
                faults.append(fault)
    return tuple(Truth(cylinder=c, faults=tuple(f), known=KNOWN[known], note=words) for c, f in found.items())


def record_truth(
    bench: Bench, inspection_id: str, said: Sequence[str], known: str, words: str = ""
) -> tuple[Truth, ...]:
    """Enter what it really was and how that is known; parts measured beyond their limits are written beside it.

    Raises
    ------
    TruthError
        With the faults there are.
    """
    inspection = bench.inspection(inspection_id)
    if not said:
        found = " and ".join(
            f"{_on(c)} {m}" for c in (*cylinders_of(inspection), None) if (m := measured_words(inspection, c))
        )
        measured = f" ({found})" if found else ""
        raise TruthError(
            f"what was it{measured}? For example: borelog truth last 3=exh_valve_leak 1,2,4=sound --known opened"
        )
    bodies = tuple(
        msgspec.structs.replace(
            b, note="; ".join(w for w in (b.note, measured_words(inspection, b.cylinder)) if w)
        )
        for b in truths_from(said, known, words, tables_of(bench))
    )
    for b in bodies:
        check_cylinder(inspection, b.cylinder)
    bench.append(
        inspection_id,
        [(b, "opened" if known == "opened" else "told" if known == "told" else "seen") for b in bodies],
    )
    return bodies


def _on(cylinder: int | None) -> str:
    return "the engine" if cylinder is None else f"cylinder {cylinder}"


def called_before(inspection: Inspection, entries: Sequence[Stored]) -> list[Called]:
    """For each cylinder whose truth is known: the last call frozen before that truth was written."""
    order = {s.entry.id: s.order for s in entries}
    calls = sorted(inspection.of(CallTaken), key=lambda r: order[r.id])
    out = []
    for r in inspection.of(Truth):
        before = [c.body.verdict for c in calls if order[c.id] < order[r.id]]
        if before and r.body.cylinder is not None:
            believed = _believed(before[-1], r.body.cylinder)
            if believed:
                out.append(Called(believed, frozenset(r.body.faults)))
    return out


def _believed(verdict: dict[str, Any], cylinder: int) -> dict[str, float]:
    """Leader and runner-up of one cylinder in a frozen verdict, where anything was recorded of it."""
    for c in verdict.get("cylinders", ()):
        if c.get("cylinder") == cylinder and c.get("level") != "blank":
            found = [c[k] for k in ("leader", "runner_up") if c.get(k)]
            return {h["fault"]: float(h["probability"]) for h in found}
    return {}


@dataclass(frozen=True, slots=True)
class Score:
    """How the calls of a logbook held: cylinders scored, hit rate, Brier score, and reliability by bin (None: none)."""

    cylinders: int
    hits: int
    hit_rate: float | None
    brier: float | None
    bins: tuple[Bin, ...]


def score(bench: Bench) -> Score:
    """This person's own record over the whole logbook; demo engines are left out unless there is nothing else."""
    real: list[Called] = []
    demo: list[Called] = []
    for s in bench.journal.summaries():
        found = called_before(bench.inspection(s.id), bench.journal.entries(s.id))
        (demo if s.demo else real).extend(found)
    calls = real or demo
    if not calls:
        return Score(0, 0, None, None, ())
    return Score(len(calls), sum(c.hit for c in calls), hit_rate(calls), brier(calls), reliability(calls))


def score_lines(scored: Score) -> list[str]:
    """The score in words."""
    if not scored.cylinders:
        return [
            "nothing to score yet: take a call ('borelog call'), open the engine, then write the truth ('borelog truth')"
        ]
    lines = [
        f"{scored.hits} of {scored.cylinders} cylinders were as called; Brier score {scored.brier:.3f} (0 is best, 0.25 is a coin)"
    ]
    lines += [
        f"said {100 * b.low:.0f} to {100 * b.high:.0f} %: {b.count} cylinders, {100 * b.believed:.0f} % sure on average, right {100 * b.right:.0f} %"
        for b in scored.bins
    ]
    if scored.cylinders < 30:
        lines.append("fewer than 30 cylinders: this says little yet")
    return lines


def opened_cylinders(bench: Bench) -> list[Opened]:
    """Every cylinder of the logbook that was opened, with what had been seen on it. Demo engines teach nothing."""
    out = []
    for s in bench.journal.summaries():
        if s.demo:
            continue
        inspection = bench.inspection(s.id)
        truths = [
            r.body
            for r in inspection.of(Truth)
            if r.body.known == KNOWN["opened"] and r.body.cylinder is not None
        ]
        if not truths:
            continue
        said = signs(inspection, fault_tables.shipped())
        for t in truths:
            seen = tuple(x.seen for x in said.signs if x.seen.cylinder == t.cylinder)
            out.append(Opened(seen, t.faults, t.known))
    return out


LEARNED = "rows.csv"
MOST_LINES = 40
"""Changed rows that are said one by one."""


def learn(bench: Bench, *, dry_run: bool = False) -> list[str]:
    """Update the logbook's own rows from opened cylinders, the shipped row as prior; returns what was done, in words."""
    tables = fault_tables.shipped()
    opened = opened_cylinders(bench)
    rows = update_rows(tables, opened)
    lines = [
        f"opened cylinders: {len(opened)}; rows that {'would change' if dry_run else 'changed'}: {len(rows)}"
    ]
    for (cause, item), row in sorted(rows.items())[:MOST_LINES]:
        states = tables.items[item].states
        shipped = tables.rows[cause, item].probabilities
        moved = max(range(len(states)), key=lambda k: abs(row.probabilities[k] - shipped[k]))
        said = tables.items[item]
        lines.append(
            f"{tables.faults[cause].label}: {short_name(item)}, {said.wording.get(states[moved], states[moved])}: "
            f"{shipped[moved]:.2f} to {row.probabilities[moved]:.2f}"
        )
    if len(rows) > MOST_LINES:
        lines.append(f"and {len(rows) - MOST_LINES} rows more; tables/{LEARNED} holds them all")
    folder = own_tables_folder(bench)
    target = folder / LEARNED
    if target.exists() and "learned from" not in target.read_text(encoding="utf-8", errors="replace"):
        raise TruthError(
            f"tables/{LEARNED} holds rows of your own; rename the file before learning, so that they are not lost"
        )
    if rows and not dry_run:
        folder.mkdir(exist_ok=True)
        part = folder / f".{LEARNED}.part"
        part.write_text(rows_text(tables, rows), encoding="utf-8")
        part.replace(target)
        lines.append("'borelog learn --shipped' goes back to the shipped tables")
    return lines


def back_to_shipped(bench: Bench) -> list[str]:
    """Set the logbook's own tables aside; nothing is deleted."""
    folder = own_tables_folder(bench)
    files = sorted(folder.glob("*.csv")) if folder.is_dir() else []
    if not files:
        return ["the shipped tables are in use"]
    stamp = datetime.now().strftime("%Y%m%d-%H%M%S-%f")
    for f in files:
        f.rename(f.with_name(f"{f.name}.aside-{stamp}"))
    return [
        f"the shipped tables are in use; {len(files)} own tables were set aside in the logbook's folder 'tables'"
    ]
