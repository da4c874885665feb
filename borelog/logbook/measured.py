"""From recorded readings to the values that the readings room judges."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from borelog.knowledge.procedures import procedures
from borelog.logbook.entries import Reading
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection, Recorded
from borelog.quantity import Quantity, QuantityError, dimension_of, parse
from borelog.readings.compression import CompressionReading, CompressionTest, make_test, reading_from
from borelog.readings.conditions import appraise
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import Gauge
from borelog.readings.leakdown import LeakReading, make_leak
from borelog.readings.repeats import counted
from borelog.readings.rules import Rule, manual_rules

_KIND = {"compression_dry": "dry", "compression_wet": "wet", "compression_warm": "warm"}


def series_of(inspection: Inspection, test: str) -> tuple[str, ...]:
    """The sessions of a test that have readings, in order of entry ('' is the first)."""
    return tuple(dict.fromkeys(r.body.series for r in inspection.of(Reading) if r.body.test == test))


def readings_of(inspection: Inspection, test: str, series: str | None = None) -> Iterator[Recorded[Reading]]:
    """Standing readings of a test that hold a value in a unit of that test, of one session or of all."""
    for r in inspection.of(Reading):
        b = r.body
        if b.part or b.test != test or not b.values:
            continue
        if series in (None, b.series) and _unit_fits(test, b.unit):
            yield r


@cache
def _unit_fits(test: str, unit: str) -> bool:
    """Whether a unit can be one of a test's: what was taken in from elsewhere may hold any."""
    procedure = procedures().get(test)
    try:
        dimension = dimension_of(unit)
    except QuantityError:
        return False
    if procedure is None or not procedure.unit:
        return True
    return dimension == dimension_of(procedure.unit) or (test in _LEAK_KIND and dimension == "pressure")


def number(text: str, unit: str, to: str | None = None) -> float | None:
    """A typed condition or fact as a number in ``to`` (default ``unit``); None where it is blank or no number."""
    try:
        return parse(text, unit).to(to or unit) if text else None
    except QuantityError:
        return None


def compression_test(
    inspection: Inspection, test: str = "compression_dry", series: str = ""
) -> CompressionTest | None:
    """One session of a compression test; None where it has no reading of a cylinder."""
    noted = conditions_of(inspection, test, None, series)
    rows: dict[int, CompressionReading] = {}
    unit = "psi"
    for r in readings_of(inspection, test, series):
        b = r.body
        if b.cylinder is None:
            continue
        unit = b.unit
        typed = [Quantity(v, b.unit, mark=b.about) for v in b.values]
        rows[b.cylinder] = reading_from(b.cylinder, typed, [Quantity(v, b.unit) for v in b.puffs], b.doubt)
    if not rows:
        return None
    gauge = Gauge(
        number(noted.get("gauge_class", ""), "%"),
        number(noted.get("gauge_full_scale", ""), "psi", "kPa"),
        number(noted.get("graduation", ""), "psi", "kPa"),
    )
    order = tuple(
        int(n) for n in noted.get("order", "").replace(",", " ").replace("-", " ").split() if n.isdigit()
    )
    try:
        return make_test(
            _KIND[test],
            tuple(rows.values()),
            unit,
            gauge,
            standing=appraise(test, noted),
            order=order if sorted(order) == sorted(rows) else (),
            oil_ml=number(noted.get("oil_ml", ""), "ml"),
            series=series,
        )
    except ReadingError:
        return None


def book_rules(inspection: Inspection) -> tuple[Rule, ...]:
    """The service manual's own limits, as the facts give them."""
    least = number(inspection.facts.get("spec_min", ""), "kPa")
    share = number(inspection.facts.get("spec_ratio", ""), "%")
    drop = number(inspection.facts.get("spec_drop", ""), "kPa")
    try:
        return manual_rules(least, share, drop)
    except ReadingError:
        return ()


_LEAK_KIND = {"leakdown": "dry", "leakdown_wet": "wet", "leakdown_mid": "mid", "leakdown_tap": "tap"}


def leak_reading(inspection: Inspection, recorded: Recorded[Reading]) -> LeakReading | None:
    """One recorded leak-down with its tester; None where it cannot be one (more held than fed in, no supply)."""
    body = recorded.body
    if body.cylinder is None or not body.values:
        return None
    noted = conditions_of(inspection, body.test, body.cylinder, body.series)
    value = counted(body.values)
    supply = body.supply
    if supply is None and body.unit == "%":
        fed = number(noted.get("supply", ""), "psi", "kPa")
        held = fed * (1 - value / 100) if fed is not None else None
    else:
        fed = (
            Quantity(supply, body.unit).to("kPa")
            if supply is not None
            else number(noted.get("supply", ""), body.unit, "kPa")
        )
        held = Quantity(value, body.unit).to("kPa")
    by_dial = noted.get("dial", "") == "per cent only"
    percent_only = body.unit == "%" and (by_dial or fed is None)
    try:
        return make_leak(
            LeakReading(
                body.cylinder,
                _LEAK_KIND[body.test],
                None if percent_only else held,
                None if percent_only else fed,
                value if percent_only else None,
                number(noted.get("orifice", ""), "in", "mm"),
                tuple(a.partition(":")[0] for a in body.air),
                noted.get("tester", ""),
                appraise(body.test, noted),
            )
        )
    except ReadingError:
        return None
