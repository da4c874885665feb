"""Rows for parts measured once the engine is open: one for every place on a part, held against its limit at once."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.knowledge.procedures import Procedure
from borelog.logbook.described import engine_of
from borelog.logbook.entries import Reading
from borelog.logbook.inspection import Inspection, Recorded
from borelog.logbook.opened import opened_parts
from borelog.quantity import plain_number
from borelog.readings.opened import spots
from borelog.text import one_line
from borelog.tui.views.rows import ENGINE, Cell, Row

_SHORT = {
    "bore_diameter": "bore", "ring_gap": "ring gap", "piston_clearance": "clearance", "deck_flatness": "deck",
    "head_flatness": "head flat", "head_height": "head height", "journal_diameter": "journal",
}  # fmt: skip
_PLACES = {"": "", "thrust": "thrust axis", "pin": "pin axis", "rod": "rod", "main": "mains"}

_kept: list[tuple[Inspection, dict[str, str]]] = []


def _statuses(inspection: Inspection) -> dict[str, str]:
    """Entry -> status of the part it belongs to; worked out once for each state of the record."""
    if not (_kept and _kept[0][0] is inspection):
        found: dict[str, str] = {}
        for part in opened_parts(inspection):
            status = "doubt" if part.call == "question" else "bad" if part.failed else "good"
            found |= dict.fromkeys(part.entries, status)
        _kept[:] = [(inspection, found)]
    return _kept[0][1]


def part_rows(
    inspection: Inspection, p: Procedure, group: str, cylinders: tuple[int, ...], unit: str
) -> Iterator[Row]:
    """A row for every place of a part that this engine has, then for every other place that was written."""
    engine = engine_of(inspection)
    banks = len(engine.banks) if engine else 1
    taken = [r for r in inspection.of(Reading) if r.body.test == p.id]
    statuses = _statuses(inspection) if taken else {}
    mine = [s for s in spots() if s.test == p.id and not (s.id.startswith("bank") and banks < 2)]
    known = {s.id for s in mine}
    for spot in mine:
        span = (spot.scope == "engine" and p.scope == "engine") or spot.id == "main"
        hint = f"{p.label}, {spot.label}" + (f": {spot.order}" if spot.order else "")
        yield _row(
            p, group, unit, cylinders, span, spot.id, _PLACES.get(spot.id, spot.id), hint, taken, statuses
        )
    for place in dict.fromkeys(r.body.part for r in taken if r.body.part not in known):
        span = all(r.body.cylinder is None for r in taken if r.body.part == place)
        words = one_line(place, 20)
        yield _row(p, group, unit, cylinders, span, place, words, f"{p.label}, {words}", taken, statuses)


def _row(
    p: Procedure, group: str, unit: str, cylinders: tuple[int, ...], span: bool, place: str, words: str, hint: str,
    taken: list[Recorded[Reading]], statuses: dict[str, str],
) -> Row:  # fmt: skip
    columns = (ENGINE,) if span else cylinders
    cells = {}
    for c in columns:
        here = [r for r in taken if r.body.part == place and r.body.cylinder == (None if c == ENGINE else c)]
        # Only the plain row of a part shouts while it is blank: a place more is a choice, not a duty.
        cells[c] = _cell(here[-1], statuses) if here else Cell("", "blank" if place else "missing")
    label = f"{_SHORT.get(p.id, p.label)} {words}".strip()
    return Row(
        (p.id, "reading", "", place), "reading", label, group, unit, span, p.id, "", place, cells, hint=hint
    )


def _cell(r: Recorded[Reading], statuses: dict[str, str]) -> Cell:
    b = r.body
    figures = [plain_number(v, 5) for v in b.values]
    text = (
        figures[0]
        if len(figures) == 1
        else f"{plain_number(min(b.values), 5)}-{plain_number(max(b.values), 5)}"
    )
    status = "doubt" if b.doubt or r.rivals else statuses.get(r.id, "good")
    return Cell(f"{b.about}{text}", status, b.typed, r.id)
