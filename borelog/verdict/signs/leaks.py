"""Signs from leak-down: how much, where the air goes, and what oil, height and a tap on the valve change."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from borelog.logbook.entries import Reading
from borelog.logbook.inspection import Inspection, Recorded
from borelog.logbook.measured import leak_reading, readings_of
from borelog.readings.leakdown import SAME_WITHIN, on_reference
from borelog.verdict.network import types as net
from borelog.verdict.signs.value import Sign, way

_BINS = ((10.0, "under_10"), (20.0, "p10_20"), (40.0, "p20_40"), (70.0, "p40_70"))
_STRONG = {
    "intake": ("air_intake", "strong"), "exhaust": ("air_exhaust", "strong"), "crankcase": ("air_crankcase", "strong"),
    "coolant": ("air_coolant", "bubbles"), "neighbour": ("air_neighbour", "hiss"), "thread": ("air_outside", "hiss"),
}  # fmt: skip
_SILENT = {
    "air_intake": "none",
    "air_exhaust": "none",
    "air_crankcase": "slight",
    "air_coolant": "none",
    "air_neighbour": "none",
}


@dataclass(frozen=True, slots=True)
class Leak:
    """One cylinder's leak in per cent of the supply, as a 0.040 in orifice at 80 psi would show it where that can be said."""

    percent: float
    how: str
    entry: str
    body: Reading


def leaks(inspection: Inspection, test: str) -> dict[int, Leak]:
    """The latest leak of each cylinder for one test; one that cannot be (more held than fed in) says nothing."""
    found: dict[int, Leak] = {}
    for r in readings_of(inspection, test):
        reading = leak_reading(inspection, r)
        if reading is not None:
            figure = on_reference(reading)
            known = figure.converted or reading.orifice_mm is not None
            found[reading.cylinder] = Leak(figure.loss, _how(r, known), r.id, r.body)
    return found


def _how(r: Recorded[Reading], tester_known: bool) -> str:
    base = way(r.how, "measured")
    if base in ("told", "inferred", "old", "part"):
        return base
    if not tester_known:
        return "unknown_orifice"
    return "about" if r.body.about else base


def leak_signs(inspection: Inspection) -> Iterator[Sign]:
    """Everything leak-down says, cylinder by cylinder."""
    dry = leaks(inspection, "leakdown")
    for cylinder, leak in dry.items():
        state = next((s for edge, s in _BINS if leak.percent < edge), "over_70")
        yield Sign(net.Seen("leak_pct", cylinder, state, leak.how), (leak.entry,), f"{leak.percent:.0f} %")
        yield from _air(cylinder, leak)
    yield from _changed(dry, leaks(inspection, "leakdown_wet"), "leak_wet_change", "unchanged", "drops", None)
    yield from _changed(dry, leaks(inspection, "leakdown_mid"), "leak_mid_stroke", "same", "less", "more")
    yield from _changed(dry, leaks(inspection, "leakdown_tap"), "leak_after_tap", "unchanged", "drops", None)


def _air(cylinder: int, leak: Leak) -> Iterator[Sign]:
    """Where air was heard; the other places of one listening count as silent, but only as inferred."""
    heard = leak.body.air
    if not heard:
        return
    base = (
        "seen" if leak.how in ("measured", "unknown_orifice", "about", "compared", "repeated") else leak.how
    )
    loud: set[str] = set()
    for place in heard:
        name, _, other = place.partition(":")
        if name == "neighbour" and other.isdigit():
            loud.add("air_neighbour")
            yield Sign(net.Seen("air_to_neighbour", cylinder, "hiss", base, int(other)), (leak.entry,))
        elif name in _STRONG:
            item, state = _STRONG[name]
            loud.add(item)
            yield Sign(net.Seen(item, cylinder, state, base), (leak.entry,))
    quiet = base if heard == ("none",) else "inferred" if base == "seen" else base
    for item, state in _SILENT.items():
        if item not in loud:
            yield Sign(net.Seen(item, cylinder, state, quiet), (leak.entry,))


def _changed(
    dry: dict[int, Leak], again: dict[int, Leak], item: str, same: str, less: str, more: str | None
) -> Iterator[Sign]:
    """A repeat under another condition: changed only by more than five points and a fifth of the first figure."""
    for cylinder, leak in again.items():
        first = dry.get(cylinder)
        if first is None:
            continue
        change = leak.percent - first.percent
        clear = abs(change) > max(SAME_WITHIN, 0.2 * first.percent)
        state = (less if change < 0 else more or same) if clear else same
        yield Sign(
            net.Seen(item, cylinder, state, leak.how), (first.entry, leak.entry), f"{change:+.0f} points"
        )
