"""What compression and leak-down figures mean beside each other, for the plan and the grid; the rules are the readings room's."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.logbook.entries import Reading
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import readings_of
from borelog.quantity import Quantity, QuantityError, parse, plain_number
from borelog.readings.compression import CompressionReading, CompressionTest, compare
from borelog.readings.conditions import appraise
from borelog.readings.gauge import gauge_from
from borelog.readings.rules import published_rules

_KINDS = {"compression_dry": "dry", "compression_wet": "wet", "compression_warm": "warm"}


@dataclass(frozen=True, slots=True)
class Judged:
    """A figure judged: ``value`` and ``limit`` in kPa, ``error`` its standard uncertainty, ``share`` of the highest."""

    status: str
    word: str
    value: float
    share: float | None = None
    error: float | None = None
    limit: float | None = None


def limit_share(inspection: Inspection) -> tuple[float, str]:
    """The lowest share of the highest that is allowed: the manual's where noted, else the published 75 per cent."""
    try:
        own = parse(inspection.facts["spec_ratio"], "%").value
        return own / 100.0, f"manual {plain_number(own)} %"
    except (KeyError, QuantityError):
        rule = next(r for r in published_rules() if r.id == "ratio75")
        return rule.value / 100.0, f"{plain_number(rule.value)} % rule"


def limit_floor(inspection: Inspection) -> float | None:
    """The manual's lowest compression in kPa, None where not noted."""
    try:
        return parse(inspection.facts["spec_min"], "kPa").to("kPa")
    except (KeyError, QuantityError):
        return None


def compression_test(inspection: Inspection, test: str) -> CompressionTest:
    """The last figure of every cylinder for one kind of compression test, with gauge and conditions as noted."""
    last: dict[int, Reading] = {}
    for r in readings_of(inspection, test):
        if r.body.cylinder is not None and not r.body.part:
            last[r.body.cylinder] = r.body
    readings = tuple(
        CompressionReading(
            c, tuple(Quantity(v, b.unit).to("kPa") for v in b.values), (), b.about == "~", b.doubt
        )
        for c, b in last.items()
    )
    answers = conditions_of(inspection, test)
    units = [b.unit for b in last.values()]
    unit = max(set(units), key=units.count) if units else "psi"
    return CompressionTest(_KINDS[test], readings, unit, gauge_from(answers), appraise(test, answers))


_kept: dict[str, tuple[Inspection, dict[int, Judged]]] = {}


def judge_compression(inspection: Inspection, test: str) -> dict[int, Judged]:
    """Every cylinder of one compression test: status, words, share of the highest, error and limit."""
    held = _kept.get(test)
    if held is None or held[0] is not inspection:
        held = _kept[test] = (inspection, _judge(inspection, test))
    return held[1]


def _judge(inspection: Inspection, test: str) -> dict[int, Judged]:
    session = compression_test(inspection, test)
    least, rule = limit_share(inspection)
    floor = limit_floor(inspection)
    compared = {c.cylinder: c for c in compare(session)}
    highest = max((c.mean_kpa for c in compared.values()), default=0.0)
    limit = max(least * highest if len(compared) > 1 else 0.0, floor or 0.0) or None
    out: dict[int, Judged] = {}
    for reading in session.readings:
        c = compared.get(reading.cylinder)
        value = reading.mean_kpa
        if c is None:
            out[reading.cylinder] = Judged("doubt", "unit or slip? not judged", value, limit=limit)
            continue
        under_share = c.to_highest is not None and c.to_highest < least
        under_floor = floor is not None and value < floor
        words = f"{c.to_highest:.0%} of highest" if c.to_highest is not None else "nothing to compare with"
        if under_share:
            words += f", under the {rule}"
        elif under_floor:
            words += ", under the manual's least"
        near = limit is not None and abs(value - limit) < 2 * c.u_kpa
        status = (
            "bad"
            if under_share or under_floor
            else "blank"
            if c.to_highest is None and floor is None
            else "good"
        )
        if near:
            status, words = "doubt", f"{words} - too close to the limit for this gauge"
        out[reading.cylinder] = Judged(status, words, value, c.to_highest, c.u_kpa, limit)
    return out
