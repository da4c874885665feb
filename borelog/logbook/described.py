"""The engine that an inspection's facts describe."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from borelog.engine.engine import Engine, EngineError, make_engine, parse_layout
from borelog.logbook.inspection import Inspection
from borelog.quantity import QuantityError, parse

_BRIDGE = re.compile(r"(\d{1,3})-(\d{1,3})")

# fact id -> (argument of make_engine, unit)
_NUMBERS = {
    "bore": ("bore_mm", "mm"),
    "stroke": ("stroke_mm", "mm"),
    "rod": ("rod_mm", "mm"),
    "intake_closing": ("intake_closing_deg", "deg"),
    "altitude": ("altitude_m", "m"),
    "air_pressure": ("air_pressure_kpa", "kPa"),
    "bank_angle": ("bank_angle_deg", "deg"),
}


def engine_from_facts(facts: dict[str, str]) -> Engine | None:
    """The engine for facts as typed; None while the layout is not known.

    Raises
    ------
    EngineError
        If facts contradict each other, for example a firing order of another length.
    """
    layout = facts.get("layout")
    if not layout:
        return None
    kind, count = parse_layout(layout)
    values: dict[str, Any] = {}
    for fact, (name, unit) in _NUMBERS.items():
        if fact in facts:
            default = "hPa" if fact == "air_pressure" else unit
            values[name] = parse(facts[fact], default).to(unit)
    if "compression_ratio" in facts:
        values["compression_ratio"] = parse(facts["compression_ratio"].removesuffix(":1").strip(), ":1").value
    for name in ("first_bank", "timing_at", "intake_side", "intervals"):
        if name in facts:
            values[name] = facts[name]
    if "banks" in facts:
        values["banks"] = _rows(facts["banks"])
    if "heads" in facts:
        heads = facts["heads"]
        values["heads"] = _rows(heads) if any(c.isdigit() for c in heads) else heads
    if "bridges" in facts:
        pairs = [_BRIDGE.fullmatch(p) for p in facts["bridges"].replace(",", " ").split()]
        if not all(pairs):
            raise EngineError("gasket bridges are pairs of cylinders, for example 1-3 2-4")
        values["neighbours"] = [(int(p[1]), int(p[2])) for p in pairs if p]
    numbering = "custom" if "banks" in facts and "numbering" not in facts else facts.get("numbering", "")
    return make_engine(kind, count, numbering, facts.get("firing_order"), **values)


def _rows(text: str) -> list[list[int]]:
    try:
        return [[int(n) for n in row.replace(",", " ").split()] for row in text.split("/")]
    except ValueError as error:
        raise EngineError(
            "rows of cylinders are numbers with a / between the rows, as 1 2 3 / 4 5 6"
        ) from error


@lru_cache(maxsize=256)
def _cached(items: tuple[tuple[str, str], ...]) -> tuple[Engine | None, str]:
    try:
        return engine_from_facts(dict(items)), ""
    except (EngineError, QuantityError, ValueError) as error:
        return None, str(error)


def engine_of(inspection: Inspection) -> Engine | None:
    """The engine of an inspection, or None while its layout is not known or its facts contradict each other."""
    return _cached(tuple(sorted(inspection.facts.items())))[0]


def engine_problem(inspection: Inspection) -> str:
    """Why there is no engine although facts are given; '' when all is well or nothing is known yet."""
    return _cached(tuple(sorted(inspection.facts.items())))[1]
