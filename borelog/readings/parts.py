"""What is measured once the engine is open: bores, rings, decks, heads, journals, pistons - and what the limits say.

The manual's figure stands first; the published ones stay beside it with their source. All lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.quantity import plain_number
from borelog.readings.chance import conformance
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import accuracy

HEIGHTS = ("top", "middle", "bottom")
AXES = ("thrust", "pin")


@dataclass(frozen=True, slots=True)
class BoreMeasure:
    """A bore at three heights by two axes.

    ``thrust`` and ``pin`` are diameters in mm at top (below the ridge), middle and bottom; ``nominal_mm`` the
    bore when new, None when not known; ``u_mm`` the standard uncertainty of one diameter (bore gauge set with
    a micrometer: 0.005, from memory).
    """

    cylinder: int
    thrust: tuple[float, float, float]
    pin: tuple[float, float, float]
    nominal_mm: float | None = None
    u_mm: float = 0.005


@dataclass(frozen=True, slots=True)
class BoreResult:
    """Figures of a bore, mm.

    ``taper`` largest less smallest along one axis; ``ovality`` largest difference between the axes at one
    height; ``wear`` largest diameter less the smallest anywhere (top against bottom); ``oversize`` largest
    over nominal, None without one; ``largest_at`` in words.
    """

    cylinder: int
    taper: float
    ovality: float
    wear: float
    oversize: float | None
    largest_at: str


def bore_result(bore: BoreMeasure) -> BoreResult:
    """Taper, ovality, wear and oversize of a bore; `ReadingError` for diameters that cannot belong together."""
    every = (*bore.thrust, *bore.pin)
    for value in every:
        if not math.isfinite(value) or not 20 <= value <= 250:
            raise ReadingError(f"cylinder {bore.cylinder}: {value:g} mm is no bore: type six diameters in mm")
    if max(every) - min(every) > 3:
        raise ReadingError(
            f"cylinder {bore.cylinder}: diameters from {min(every):g} to {max(every):g} mm: one is mistyped"
        )
    largest = max(range(6), key=lambda i: every[i])
    return BoreResult(
        bore.cylinder,
        max(max(axis) - min(axis) for axis in (bore.thrust, bore.pin)),
        max(abs(a - b) for a, b in zip(bore.thrust, bore.pin, strict=True)),
        max(every) - min(every),
        None if bore.nominal_mm is None else max(every) - bore.nominal_mm,
        f"{HEIGHTS[largest % 3]}, {AXES[largest // 3]} axis",
    )


@dataclass(frozen=True, slots=True)
class Limit:
    """A row of the limits table: ``sense`` 'max' or 'min'; ``value`` in mm, or per cent of the bore when
    ``per`` is 'bore'.
    """

    id: str
    part: str
    quantity: str
    sense: str
    value: float
    unit: str
    per: str
    words: str
    course: str
    source: str
    status: str

    def in_mm(self, bore_mm: float | None = None) -> float | None:
        """The limit in mm; None when it goes by the bore and the bore is not known."""
        if self.per != "bore":
            return self.value
        return None if bore_mm is None else self.value / 100 * bore_mm


@dataclass(frozen=True, slots=True)
class PartOutcome:
    """A measured figure against one limit: ``probability`` that it truly keeps it, ``result`` as for readings; ``course`` is
    what overstepping leads to ('rebuild', 'head_off'), '' when it passes.
    """

    limit: Limit
    value_mm: float
    probability: float
    result: str
    course: str
    words: str


@lru_cache(maxsize=1)
def limits() -> tuple[Limit, ...]:
    """All published limits for opened engines."""
    columns = (
        "id",
        "part",
        "quantity",
        "sense",
        "value",
        "unit",
        "per",
        "words",
        "course",
        "source",
        "status",
    )
    return tuple(
        Limit(
            r["id"],
            r["part"],
            r["quantity"],
            r["sense"],
            float(r["value"]),
            *(r[c] for c in columns[5:]),
        )
        for r in tables.rows("limits.csv", *columns)
    )


_NAMES = {
    ("ring_gap", "gap"): "ring gap", ("piston", "clearance"): "piston clearance to the wall",
    ("bore", "diameter"): "bore at its widest",
    ("bore", "oversize"): "bore over its size when new", ("bore", "ovality"): "bore out of round",
    ("journal", "ovality"): "journal out of round", ("journal", "rod diameter"): "rod journal diameter",
    ("journal", "main diameter"): "main journal diameter",
}  # fmt: skip


def figure_name(part: str, quantity: str) -> str:
    """What a figure is called in the trade: 'bore out of round', 'piston to wall', 'head flatness'."""
    return _NAMES.get((part, quantity), f"{part} {quantity}".replace("_", " "))


def manual_limit(part: str, quantity: str, value_mm: float, sense: str = "max") -> Limit:
    """The service manual's own figure as a limit, mm."""
    if sense not in ("max", "min") or not (math.isfinite(value_mm) and value_mm > 0):
        raise ReadingError("a manual's limit is a number of mm above 0, with max or min")
    course = "head_off" if part == "head" else "rebuild"
    words = "the service manual's figure"
    return Limit(
        "manual",
        part,
        quantity,
        sense,
        value_mm,
        "mm",
        "",
        words,
        course,
        "service manual, as entered",
        "entered",
    )


def judge_part(
    part: str,
    quantity: str,
    value_mm: float,
    u_mm: float,
    manual: Sequence[Limit] = (),
    bore_mm: float | None = None,
) -> tuple[PartOutcome, ...]:
    """Hold one measured figure against the manual's limit, else the published ones.

    Parameters
    ----------
    part, quantity
        As in the limits table: 'bore' with 'wear', 'taper', 'ovality', 'oversize'; 'ring_gap' 'gap'; 'deck'
        and 'head' 'flatness'; 'head' 'height' (manual only); 'journal' 'taper', 'ovality', 'wear'; 'piston'
        'clearance'.
    value_mm, u_mm
        The figure and its standard uncertainty, mm.
    manual
        Limits from the service manual; those for this part and quantity come first, published ones follow for
        context.
    bore_mm
        For limits that go by the bore.
    """
    if not math.isfinite(value_mm) or value_mm < 0 or u_mm < 0:
        raise ReadingError(f"{part} {quantity}: type a number of mm, 0 or more")
    sure = float(accuracy()["calling"]["sure"])
    outcomes: list[PartOutcome] = []
    for limit in (*manual, *limits()):
        border = limit.in_mm(bore_mm)
        if (limit.part, limit.quantity) != (part, quantity) or border is None:
            continue
        low, high = (border, None) if limit.sense == "min" else (None, border)
        chance = conformance(value_mm, u_mm, low, high)
        result = "pass" if chance >= sure else "fail" if chance <= 1 - sure else "cannot tell"
        course = limit.course if result == "fail" else ""
        side = "at most" if limit.sense == "max" else "at least"
        said = f"{figure_name(part, quantity)} {plain_number(value_mm, 5)} mm, {side} {plain_number(border, 5)} mm: {result}"
        words = f"{said} - {limit.words}"
        outcomes.append(PartOutcome(limit, value_mm, chance, result, course, words))
    return tuple(outcomes)


def judge_bore(bore: BoreMeasure, manual: Sequence[Limit] = ()) -> tuple[PartOutcome, ...]:
    """All figures of a bore against all limits; a difference of two diameters carries sqrt(2) times one's
    uncertainty.
    """
    result = bore_result(bore)
    u = math.sqrt(2) * bore.u_mm
    figures = [("wear", result.wear), ("taper", result.taper), ("ovality", result.ovality)]
    if result.oversize is not None:
        figures.append(("oversize", max(0.0, result.oversize)))
    return tuple(o for name, value in figures for o in judge_part("bore", name, value, u, manual))


def clearance(bore_mm: float, piston_mm: float) -> float:
    """Piston to wall, mm: bore less piston, both diameters; `ReadingError` when the piston is larger."""
    if not bore_mm > piston_mm > 0:
        raise ReadingError(f"a piston of {piston_mm:g} mm does not go into a bore of {bore_mm:g} mm")
    return bore_mm - piston_mm


def standing(outcomes: Sequence[PartOutcome]) -> dict[tuple[str, str], str]:
    """What holds of each (part, quantity): 'pass', 'fail', 'cannot tell' or 'limits differ'.

    The manual's figure alone decides where it is given; else the published limits, which must agree. Limits for
    contrast (diesel) never decide.
    """
    groups: dict[tuple[str, str], list[PartOutcome]] = {}
    for o in outcomes:
        groups.setdefault((o.limit.part, o.limit.quantity), []).append(o)
    found: dict[tuple[str, str], str] = {}
    for key, group in groups.items():
        own = [o for o in group if o.limit.status == "entered"] or [
            o for o in group if o.limit.status != "contrast"
        ]
        results = {o.result for o in own}
        if not own:
            continue
        if {"pass", "fail"} <= results:
            sides = {o.limit.sense for o in own if o.result == "fail"}
            both = any(o.limit.sense in sides and o.result == "pass" for o in own)
            found[key] = "limits differ" if both else "fail"
        else:
            found[key] = "fail" if results == {"fail"} else "pass" if results == {"pass"} else "cannot tell"
    return found


def worth_rebuilding(outcomes: Sequence[PartOutcome]) -> str:
    """One line for the courses and the truth record: what the measured parts ask for, the manual before the rest.

    Returns
    -------
    str
        'nothing measured', 'within limits', 'too close to call', or which course the failed limits lead to.
    """
    if not outcomes:
        return "nothing measured"
    held = standing(outcomes)
    failed = [k for k, result in held.items() if result == "fail"]
    differ = [figure_name(*k) for k, result in held.items() if result == "limits differ"]
    if failed:
        course = {o.limit.course for o in outcomes if (o.limit.part, o.limit.quantity) in failed and o.course}
        parts = ", ".join(sorted(figure_name(*k) for k in failed))
        return f"beyond limits ({parts}): {' and '.join(sorted(course)).replace('_', ' ')}"
    if differ:
        return f"published limits differ ({', '.join(differ)}): the service manual's figure decides"
    return "too close to call" if "cannot tell" in held.values() else "within limits"


def hatch_included(axial_over_round: float) -> float:
    """Included cross-hatch angle in degrees from axial over circumferential honing speed: tan(angle/2)."""
    if axial_over_round < 0:
        raise ReadingError("a speed ratio is 0 or more")
    return math.degrees(2 * math.atan(axial_over_round))


def hatch_words(included_deg: float) -> str:
    """Too flat, usual or too steep: 30 to 60 degrees included are usual (ring makers, machine shops)."""
    if not 0 < included_deg < 180:
        raise ReadingError("an included angle lies between 0 and 180 degrees")
    if included_deg < 30:
        return "flat: holds much oil, higher consumption"
    return (
        "steep: oil runs down, thin film, scuffing"
        if included_deg > 60
        else "usual, 30 to 60 degrees included"
    )
