"""Signs from figures: gauges, testers, gaps and the starter's current. The same figures are never counted twice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median, median_high

from borelog.logbook.entries import Reading
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection, Recorded
from borelog.logbook.measured import number
from borelog.quantity import Quantity, QuantityError
from borelog.readings.patterns import build_shape, good_level
from borelog.readings.plugs import judge_gap
from borelog.readings.repeats import counted
from borelog.verdict.network import types as net
from borelog.verdict.signs.value import Sign, way

DEAD_KPA = 500.0
"""Under this the middle of the group is no yardstick: very low on any petrol engine (common practice)."""


@dataclass(frozen=True, slots=True)
class Figure:
    """The reading that counts for one cylinder of one test: the mean of its repeats, in ``unit`` of the caller."""

    value: float
    how: str
    entry: str
    body: Reading


def figures(inspection: Inspection, test: str, unit: str) -> dict[int, Figure]:
    """The latest figure of each cylinder for a test, in ``unit``; a doubtful one waits for its question to be answered."""
    found: dict[int, Figure] = {}
    for r in inspection.of(Reading):
        if r.body.test != test or r.body.cylinder is None or not r.body.values or r.body.part or r.body.doubt:
            continue
        try:
            value = Quantity(counted(r.body.values), r.body.unit).to(unit)
        except QuantityError:
            continue
        found[r.body.cylinder] = Figure(value, _how(r), r.id, r.body)
    return found


def _how(r: Recorded[Reading]) -> str:
    base = way(r.how, "measured")
    if base != "measured":
        return base
    if r.body.about:
        return "about"
    return "repeated" if len(r.body.values) > 1 and spread(r.body.values) <= 0.05 else "measured"


def spread(values: tuple[float, ...]) -> float:
    """Largest difference of repeats as a share of their mean; 0 for all-zero repeats."""
    mean = counted(values)
    return (max(values) - min(values)) / mean if mean else 0.0


def _mixed(group: dict[int, Figure], how: str) -> str:
    """Two units in one test mean two gauges: then figures compare less well."""
    units = {f.body.unit for f in group.values()}
    return "mixed_testers" if len(units) > 1 and how in ("measured", "repeated") else how


_REL = ((0.35, "dead_under_35"), (0.70, "low_35_69"), (0.85, "soft_70_84"), (1.15, "like_group"))


def relative(inspection: Inspection) -> Iterator[Sign]:
    """Each cylinder's dry figure against the middle of the group, and the middle against the book.

    Of an even number the upper of the two middle figures: on a four with a low pair, their average would be pulled half way
    down by the pair itself.
    """
    dry = figures(inspection, "compression_dry", "kPa")
    if not dry:
        return
    middle = median_high(f.value for f in dry.values())
    yard = max(middle, DEAD_KPA)
    if len(dry) > 1:
        for cylinder, f in dry.items():
            ratio = f.value / yard
            state = next((s for edge, s in _REL if ratio < edge), "above_group")
            yield Sign(
                net.Seen("comp_rel", cylinder, state, _mixed(dry, f.how)),
                (f.entry,),
                f"{ratio:.0%} of the middle",
            )
    yield from _level(inspection, dry, middle)
    yield from climbs(inspection, dry)
    for cylinder, f in dry.items():
        if len(f.body.values) > 1:
            state = "repeats" if spread(f.body.values) <= 0.05 else "differs"
            yield Sign(net.Seen("comp_repeat", cylinder, state, "measured"), (f.entry,))


def _level(inspection: Inspection, dry: dict[int, Figure], middle: float) -> Iterator[Sign]:
    """Only where the manual or the user gives a figure, or where the middle is next to nothing."""
    how = "told" if all(f.how == "told" for f in dry.values()) else "measured"
    entries = tuple(f.entry for f in dry.values())
    least = number(inspection.facts.get("spec_min", ""), "kPa")
    if least:
        share = middle / least
        state = (
            "very_low"
            if share < 0.70
            else "low"
            if share < 0.90
            else "well_over"
            if share > 1.6
            else "normal"
        )
        yield Sign(
            net.Seen("comp_level", None, state, how), entries, f"middle at {share:.0%} of the least allowed"
        )
        return
    if middle < DEAD_KPA and len(dry) > 1:
        yield Sign(net.Seen("comp_level", None, "very_low", how), entries, "next to nothing all round")


_SHAPES = {
    "quick and even": "quick_even",
    "builds slow": "builds_slow",
    "low, does not build": "low_no_build",
}


def climbs(inspection: Inspection, dry: dict[int, Figure]) -> Iterator[Sign]:
    """How the needle climbs, against the good cylinders."""
    if len(dry) < 2:
        return
    reference = good_level([f.value for f in dry.values()])
    for cylinder, f in dry.items():
        if len(f.body.puffs) < 2 or reference <= 0:
            continue
        puffs = [Quantity(p, f.body.unit).to("kPa") for p in f.body.puffs]
        state = _SHAPES.get(build_shape(puffs, reference).shape)
        if state:
            yield Sign(net.Seen("comp_build", cylinder, state, f.how), (f.entry,))


def wet(inspection: Inspection) -> Iterator[Sign]:
    """Gain with oil over the same cylinder's dry figure."""
    dry, oiled = figures(inspection, "compression_dry", "kPa"), figures(inspection, "compression_wet", "kPa")
    for cylinder, f in oiled.items():
        if cylinder in dry and dry[cylinder].value > 0:
            gain = f.value / dry[cylinder].value - 1
            state = "none_under_10" if gain < 0.10 else "some_10_25" if gain <= 0.25 else "big_over_25"
            yield Sign(
                net.Seen("wet_gain", cylinder, state, f.how),
                (dry[cylinder].entry, f.entry),
                f"gain {gain:.0%}",
            )


def warm(inspection: Inspection) -> Iterator[Sign]:
    """A low cylinder tested again warm: comes up near the rest, the same, or worse."""
    dry, again = figures(inspection, "compression_dry", "kPa"), figures(inspection, "compression_warm", "kPa")
    if not dry:
        return
    middle = max(median_high(f.value for f in dry.values()), DEAD_KPA)
    ran = conditions_of(inspection, "compression_warm").get("ran_before", "")
    item = "retest_run" if ran else "retest_warm"
    for cylinder, f in again.items():
        first = dry.get(cylinder)
        if first is None or first.value >= 0.85 * middle:
            continue
        if f.value >= 0.85 * middle or f.value >= first.value + 0.6 * (middle - first.value):
            state = "recovers"
        else:
            state = "worse" if f.value < 0.9 * first.value else "same"
        yield Sign(net.Seen(item, cylinder, state, f.how), (first.entry, f.entry))


_CURRENT = ((40.0, "no_hump"), (85.0, "low_hump"))


def current(inspection: Inspection) -> Iterator[Sign]:
    """Each cylinder's share of the strongest hump in the starter's current, in per cent."""
    for cylinder, f in figures(inspection, "crank_current", "%").items():
        state = next((s for edge, s in _CURRENT if f.value < edge), "like_rest")
        yield Sign(net.Seen("crank_current", cylinder, state, f.how), (f.entry,))


def gap(inspection: Inspection) -> Iterator[Sign]:
    """Plug gaps against the manual's figure; without one only a gap under 0.3 mm, closed on any plug, says something."""
    book = number(inspection.facts.get("spec_gap", ""), "mm")
    for cylinder, f in figures(inspection, "plug_gap", "mm").items():
        if book:
            state = judge_gap(f.value, book).state
        elif f.value < 0.3:
            state = "closed_hammered"
        else:
            continue
        yield Sign(net.Seen("plug_gap", cylinder, state, f.how), (f.entry,))


def height(inspection: Inspection) -> Iterator[Sign]:
    """Piston height at top: over 0.5 mm under the middle of the others is measurably low (rule and rod: common practice)."""
    tops = figures(inspection, "piston_height", "mm")
    if len(tops) < 2:
        return
    middle = median(f.value for f in tops.values())
    for cylinder, f in tops.items():
        state = "low" if f.value < middle - 0.5 else "same"
        yield Sign(net.Seen("piston_height", cylinder, state, f.how), (f.entry,))
