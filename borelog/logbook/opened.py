"""From readings of opened parts to figures held against their limits: the manual's where it is noted, else the published."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.logbook.described import engine_of
from borelog.logbook.entries import Reading
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection, Recorded
from borelog.logbook.measured import number
from borelog.quantity import Quantity, QuantityError, plain_number
from borelog.readings import opened as places
from borelog.readings.errors import ReadingError
from borelog.readings.opened import Figure
from borelog.readings.parts import (
    Limit,
    PartOutcome,
    clearance,
    figure_name,
    judge_part,
    manual_limit,
    standing,
    worth_rebuilding,
)

# fact id -> part, quantity, sense of the limit
_MANUAL = {
    "spec_bore_max": ("bore", "diameter", "max"),
    "spec_bore_taper": ("bore", "taper", "max"),
    "spec_bore_ovality": ("bore", "ovality", "max"),
    "spec_ring_gap": ("ring_gap", "gap", "max"),
    "spec_clearance": ("piston", "clearance", "max"),
    "spec_deck_flat": ("deck", "flatness", "max"),
    "spec_head_flat": ("head", "flatness", "max"),
    "spec_head_height": ("head", "height", "min"),
    "spec_rod_journal": ("journal", "rod diameter", "min"),
    "spec_main_journal": ("journal", "main diameter", "min"),
}


@dataclass(frozen=True, slots=True)
class OpenedPart:
    """One measured part.

    Attributes
    ----------
    test : str
        Row of the tests table.
    name : str
        'bore 3', 'head of bank 2', 'main journal 2'.
    cylinder : int or None
        None for parts of the whole engine.
    figures : tuple of Figure
        Derived figures, mm.
    outcomes : tuple of PartOutcome
        Each figure against each limit; the manual's before the published ones.
    assumed : tuple of str
        What was not noted and had to be assumed.
    entries : tuple of str
        The readings it rests on.
    words : str
        All figures on one line.
    call : str
        'within limits', 'beyond limits (...): rebuild', 'no limit known', ...
    """

    test: str
    name: str
    cylinder: int | None
    figures: tuple[Figure, ...]
    outcomes: tuple[PartOutcome, ...]
    assumed: tuple[str, ...]
    entries: tuple[str, ...]
    words: str
    call: str

    @property
    def failed(self) -> tuple[tuple[str, str], ...]:
        """The (part, quantity) pairs that are beyond their limit."""
        return tuple(k for k, result in standing(self.outcomes).items() if result == "fail")


def manual_limits(inspection: Inspection) -> tuple[Limit, ...]:
    """The service manual's limits for opened parts, as the facts give them."""
    found: list[Limit] = []
    for fact, (part, quantity, sense) in _MANUAL.items():
        value = number(inspection.facts.get(fact, ""), "mm")
        if value is not None and value > 0:
            found.append(manual_limit(part, quantity, value, sense))
    return tuple(found)


def opened_parts(inspection: Inspection) -> tuple[OpenedPart, ...]:
    """Every part that was measured after opening, in test order, then by cylinder and place.

    Figures with an open question (a likely slip, an odd number of diameters) are left out until it is answered.
    """
    taken: dict[tuple[str, int | None, str], dict[str, list[Recorded[Reading]]]] = {}
    for r in inspection.of(Reading):
        b = r.body
        if b.test not in places.opened_tests() or not b.values or b.doubt:
            continue
        # the last session of a test stands; an earlier one stays beside it in the record
        spot = "" if b.test in ("bore_diameter", "piston_clearance") else b.part
        group = taken.setdefault((b.test, b.cylinder, spot), {})
        known = group.get(b.part, [])
        group[b.part] = [*(k for k in known if k.body.series == b.series), r]
    order = {test: k for k, test in enumerate(places.opened_tests())}
    keys = sorted(taken, key=lambda k: (order[k[0]], k[1] is not None, k[1] or 0, k[2]))
    manual = manual_limits(inspection)
    nominal = engine.bore_mm if (engine := engine_of(inspection)) else None
    bores = {c: by for (test, c, _), by in taken.items() if test == "bore_diameter"}
    return tuple(p for k in keys if (p := _part(inspection, k, taken[k], manual, nominal, bores)) is not None)


def _mm(group: list[Recorded[Reading]]) -> list[float]:
    found: list[float] = []
    for r in group:
        try:
            found += [Quantity(v, r.body.unit).to("mm") for v in r.body.values]
        except QuantityError:
            continue
    return found


def _part(
    inspection: Inspection,
    key: tuple[str, int | None, str],
    group: dict[str, list[Recorded[Reading]]],
    manual: tuple[Limit, ...],
    nominal: float | None,
    bores: dict[int | None, dict[str, list[Recorded[Reading]]]],
) -> OpenedPart | None:
    test, cylinder, spot = key
    values = {place: _mm(rows) for place, rows in group.items()}
    every = [v for found in values.values() for v in found]
    if not every:
        return None
    series = next(reversed([r.body.series for rows in group.values() for r in rows]))
    tool = conditions_of(inspection, test, cylinder, series).get("instrument", "")
    u, assumed = places.tool_u(test, tool)
    entries = tuple(r.id for rows in group.values() for r in rows)
    name, part = _named(test, cylinder, spot)
    try:
        figures = _figures(test, spot, values, every, nominal, _bore_of(bores.get(cylinder, {})))
        outcomes = tuple(
            o
            for f in figures
            for o in judge_part(
                part, f.quantity, f.value_mm, u * (2**0.5 if f.differences else 1), manual, nominal
            )
            if not (test == "ring_gap" and spot in ("second", "oil") and o.limit.status == "entered")
        )
    except ReadingError as error:
        return OpenedPart(test, name, cylinder, (), (), (), entries, str(error), "question")
    words = ", ".join(
        f"{short_name(name, part, f.quantity)} {plain_number(f.value_mm, 5)} mm" for f in figures
    )
    call = worth_rebuilding(outcomes) if outcomes else "no limit known: write the manual's under the facts"
    if call == "within limits" and test == "bore_diameter" and not any(f.quantity == "wear" for f in figures):
        call = "within limits as far as it was measured, which is not at three heights by two axes"
    said = (assumed,) if assumed and outcomes else ()
    return OpenedPart(test, name, cylinder, figures, outcomes, said, entries, words, call)


def short_name(name: str, part: str, quantity: str) -> str:
    """A figure's name without the words that the part's own name says already: 'wear' beside 'bore 3'."""
    words = figure_name(part, quantity).split()
    while len(words) > 1 and words[0] in name.split():
        words = words[1:]
    return " ".join(words)


def together(parts: tuple[OpenedPart, ...]) -> str:
    """All measured parts in one line: which are beyond their limits and what that leads to."""
    if not parts:
        return "nothing measured"
    failed = [p for p in parts if p.failed]
    if failed:
        courses = {o.course for p in failed for o in p.outcomes if o.course}
        course = "rebuild" if "rebuild" in courses else "head off"
        return (
            f"beyond the limits: {', '.join(dict.fromkeys(p.name for p in failed))}; that asks for: {course}"
        )
    open_ones = [p.name for p in parts if not p.call.startswith(("within limits", "no limit"))]
    if open_ones:
        return f"too close to call, or the published limits differ: {', '.join(open_ones)}"
    return "within the limits that are known"


def _bore_of(group: dict[str, list[Recorded[Reading]]]) -> float | None:
    return places.bore_at_skirt({place: _mm(rows) for place, rows in group.items()})


def _named(test: str, cylinder: int | None, spot: str) -> tuple[str, str]:
    """The part as a person names it, and its name in the limits table."""
    on = f" {cylinder}" if cylinder is not None else ""
    bank = f" of {spot}" if spot.startswith("bank") else ""
    return {
        "bore_diameter": (f"bore{on}", "bore"),
        "ring_gap": (f"{spot or 'top'} ring{on}", "ring_gap"),
        "piston_clearance": (f"piston{on}", "piston"),
        "deck_flatness": (f"deck{bank}", "deck"),
        "head_flatness": (f"head{bank}", "head"),
        "head_height": (f"head{bank}", "head"),
        "journal_diameter": (
            f"main journal{spot.removeprefix('main')}{on}" if spot.startswith("main") else f"rod journal{on}",
            "journal",
        ),
    }[test]


def _figures(
    test: str,
    spot: str,
    values: dict[str, list[float]],
    every: list[float],
    nominal: float | None,
    bore: float | None,
) -> tuple[Figure, ...]:
    if test == "bore_diameter":
        return places.bore_figures(values, nominal)
    if test == "journal_diameter":
        return places.journal_figures(every, "main" if spot.startswith("main") else "rod")
    if test == "piston_clearance":
        direct, piston = values.get("", []), values.get("piston", [])
        if direct:
            return (Figure("clearance", max(direct)),)
        if not piston:
            raise ReadingError("what was measured here is no place of a piston: write 'piston', or nothing")
        size = nominal if bore is None else bore
        if size is None:
            raise ReadingError("the piston is measured, its bore is not: measure the bore too")
        return (Figure("clearance", clearance(size, min(piston)), True),)
    if test == "head_height":
        return (Figure("height", min(every)),)
    return (Figure("gap" if test == "ring_gap" else "flatness", max(every)),)


def measured_bills(parts: tuple[OpenedPart, ...]) -> dict[str, frozenset[int] | None]:
    """What measured parts beyond their limit make certain, as bills of the cost tables: bill to cylinders, None for all.

    A bore, piston, ring gap or rod journal puts its cylinder's bottom end on the bill; a main journal or the deck the
    whole of it; a head the head.
    """
    found: dict[str, set[int] | None] = {}
    for part in parts:
        for name, _ in part.failed:
            bill = "head" if name == "head" else "bottom"
            if part.cylinder is None:
                found[bill] = None
            elif (there := found.setdefault(bill, set())) is not None:
                there.add(part.cylinder)
    return {bill: None if c is None else frozenset(c) for bill, c in found.items()}
