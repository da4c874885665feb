"""What the figures look like together: trend, which cylinders are low, how the needle climbs, what oil and
heat change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median, median_high
from typing import Any

from borelog.engine.engine import Engine, EngineError
from borelog.engine.geometry import filled_ratio, swept_cm3
from borelog.knowledge import tables
from borelog.quantity import plain_number
from borelog.readings.chance import t_cdf
from borelog.readings.compression import CompressionTest
from borelog.readings.gauge import pooled_repeatability


def levels() -> dict[str, Any]:
    """The table of borders between one word and the next."""
    return tables.settings("patterns.toml")


def good_level(values: Sequence[float]) -> float:
    """The level of the good cylinders: the upper middle of the better half, same unit as ``values`` (at least
    one).
    """
    best = sorted(values, reverse=True)[: max(1, math.ceil(len(values) / 2))]
    return median_high(best)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Which cylinders are low.

    ``name`` is 'none low', 'one low', 'adjacent pair', 'whole bank', 'several low', 'all low and even', 'all
    low, uneven', 'one high', 'all zero' or 'cannot say'; ``cylinders`` the ones meant; ``pairs`` all
    neighbouring pairs among the low.
    """

    name: str
    cylinders: tuple[int, ...]
    pairs: tuple[tuple[int, int], ...]
    words: str


def pattern(values: Mapping[int, float], engine: Engine, floor: float | None = None) -> Pattern:
    """The pattern of one figure per cylinder.

    Parameters
    ----------
    values
        Cylinder to mean reading, any one unit, 0 or more.
    engine
        For neighbours and banks.
    floor
        The least the service manual or the user allows, same unit; without it 'all low' is never said,
        because level without a figure of this engine is no sign.
    """
    table = levels()["level"]
    if len(values) < 2:
        return Pattern("cannot say", (), (), "needs two cylinders")
    everyone = tuple(values)
    top, bottom = max(values.values()), min(values.values())
    if top <= 0:
        words = "every cylinder reads zero: gauge, valve drive or fuel-washed rings; repeat first"
        return Pattern("all zero", everyone, _pairs(everyone, engine), words)
    if floor is not None and top < floor:
        if bottom >= table["even"] * top:
            words = "all low and alike: slipped valve timing, shut throttle, slow cranking or wear all round"
            return Pattern("all low and even", everyone, (), words)
        return Pattern("all low, uneven", everyone, (), "all low and uneven: wear, or several faults")
    high = _one_high(values, table)
    if high is not None:
        words = f"cylinder {high} stands above the rest: carbon or oil in it, or the others are low"
        return Pattern("one high", (high,), (), words)
    reference = good_level(list(values.values()))
    low = tuple(c for c, v in values.items() if v < table["low"] * reference)
    pairs = _pairs(low, engine)
    if not low:
        return Pattern("none low", (), (), "no cylinder stands out low")
    if len(low) == 1:
        return Pattern("one low", low, (), f"cylinder {low[0]} alone is low")
    if len(low) == 2 and pairs:
        words = f"cylinders {low[0]} and {low[1]} are low and share a gasket bridge"
        return Pattern("adjacent pair", low, pairs, words)
    for number, bank in enumerate(engine.banks, 1):
        if len(engine.banks) == 2 and len(bank) > 1 and set(low) == set(bank):
            words = f"all of bank {number} is low and no other: its cam drive or its gasket"
            return Pattern("whole bank", low, pairs, words)
    return Pattern(
        "several low", low, pairs, f"cylinders {', '.join(map(str, low[:-1]))} and {low[-1]} are low"
    )


def _pairs(low: Sequence[int], engine: Engine) -> tuple[tuple[int, int], ...]:
    return tuple(sorted(p for p in engine.neighbours if p[0] in low and p[1] in low))


def _one_high(values: Mapping[int, float], table: Mapping[str, float]) -> int | None:
    if len(values) < 3:
        return None
    best = max(values, key=lambda c: values[c])
    others = [v for c, v in values.items() if c != best]
    stands_out = values[best] > table["high"] * median(others)
    return best if stands_out and min(others) >= table["together"] * max(others) else None


@dataclass(frozen=True, slots=True)
class Trend:
    """A fall or rise over the order of testing.

    ``change`` is over the whole order as a share of the mean (negative: fell); ``chance`` how likely such a
    slope is by accident (one-sided); ``sags`` True when it should be said; ``words`` for a person.
    """

    change: float
    chance: float
    sags: bool
    words: str


def trend(test: CompressionTest) -> Trend | None:
    """Do the later cylinders read lower? None when the order is not noted or too few good cylinders were tested.

    A straight line through the good cylinders (within 15 % of the good level) over the order of testing; the
    slope is tested with Student t on n - 2 degrees of freedom, so that one low cylinder at the end is no
    trend.
    """
    table, level = levels()["trend"], levels()["level"]
    values = {r.cylinder: r.mean_kpa for r in test.readings if not r.doubt}
    order = [c for c in test.order if c in values]
    if len(order) < table["least"] or max(values.values()) <= 0:
        return None
    reference = good_level(list(values.values()))
    points = [(float(i), values[c]) for i, c in enumerate(order) if values[c] >= level["low"] * reference]
    if len(points) < table["least"]:
        return None
    n = len(points)
    mean_x = sum(x for x, _ in points) / n
    mean_y = sum(y for _, y in points) / n
    sxx = sum((x - mean_x) ** 2 for x, _ in points)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / sxx
    rest = math.fsum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in points)
    error = math.sqrt(rest / (n - 2) / sxx)
    change = slope * (len(order) - 1) / mean_y
    chance = (
        t_cdf(slope / error, n - 2)
        if error > 1e-12 * abs(mean_y)
        else (0.0 if slope < 0 else 1.0 if slope > 0 else 0.5)
    )
    sags = change <= -table["fall"] and chance <= table["chance"]
    if sags:
        words = (
            f"the readings fall {abs(100 * change):.0f} % over the order of testing: a sagging battery looks like this; "
            "charge and repeat the last ones"
        )
    else:
        words = "no fall over the order of testing that could not be chance"
    return Trend(change, chance, sags, words)


@dataclass(frozen=True, slots=True)
class Build:
    """How the needle climbed: ``shape`` is 'quick and even', 'builds slow', 'low, does not build' or 'cannot
    say'.
    """

    shape: str
    first_share: float
    last_share: float
    words: str


def build_shape(puffs: Sequence[float], reference: float) -> Build:
    """The shape of a needle that was called out stroke by stroke.

    Parameters
    ----------
    puffs
        Needle after each pulse, or only the first and the last; any unit, two or more.
    reference
        Final figure of the good cylinders, same unit, above 0.

    Notes
    -----
    Direction from vehicle maker service pages (2006, 2009): sound, quick and even; rings, low at first,
    climbs, never quite arrives; valves, low at first and does not climb. A needle with a one-way valve never
    falls: figures that do are asked about.
    """
    table = levels()["build"]
    if len(puffs) < 2 or reference <= 0:
        return Build(
            "cannot say",
            math.nan,
            math.nan,
            "needs the first and the last puff, and a good cylinder beside it",
        )
    first, last = puffs[0] / reference, puffs[-1] / reference
    if any(b < a * 0.98 for a, b in pairwise(puffs)):
        return Build(
            "cannot say", first, last, "the needle fell between pulses: the one-way valve leaks, repeat"
        )
    if last >= table["reaches"]:
        if first >= table["low_first"]:
            return Build("quick and even", first, last, "quick and even, as a sound cylinder")
        return Build("builds slow", first, last, "low at first and climbs to the others: rings or wet walls")
    if (first > 0 and last / first < table["climbs"]) or last == 0:
        return Build(
            "low, does not build", first, last, "low at first and does not climb: a valve, a hole or a gasket"
        )
    return Build("builds slow", first, last, "low at first, climbs, does not arrive: rings or bore")


@dataclass(frozen=True, slots=True)
class Gain:
    """What oil, or a warm run, changed on one cylinder.

    ``gain`` is (after - before) / before, None when before is 0; ``u`` its standard uncertainty; ``state`` is
    'none under 10 %', 'some 10 to 25 %', 'big over 25 %', or for a warm retest 'recovers', 'same', 'worse';
    'cannot say' otherwise. ``warnings`` say what weakens it.
    """

    cylinder: int
    gain: float | None
    u: float | None
    state: str
    warnings: tuple[str, ...]


def _relative_u(before: CompressionTest, after: CompressionTest) -> float:
    """Relative standard uncertainty of one figure against another of the same gauge: repeats pooled, else 2
    %.
    """
    groups = [
        [v / r.mean_kpa for v in r.values_kpa] for t in (before, after) for r in t.readings if r.mean_kpa > 0
    ]
    s, dof = pooled_repeatability(groups)
    return max(s, 0.005) if dof >= 2 else 0.02


def wet_gains(dry: CompressionTest, wet: CompressionTest, engine: Engine) -> tuple[Gain, ...]:
    """Gain with oil for every cylinder that has both figures (repair of too much oil, lying cylinders and zero said).

    Too much oil lifts a reading by filling the chamber: where bore, stroke and ratio are known that part is
    worked out.
    """
    table = levels()["wet"]
    general: list[str] = []
    if wet.oil_ml is None:
        general.append(f"amount of oil not noted: about {table['usual_ml']:g} ml is usual")
    elif wet.oil_ml > table["much_ml"]:
        general.append(
            f"{wet.oil_ml:g} ml of oil is much: it fills the chamber and lifts the reading by itself"
        )
    steep = engine.bank_angle_deg is not None and engine.bank_angle_deg >= 90
    if engine.layout == "flat":
        general.append(
            "the cylinders lie flat: oil lies on one side and seals only there, little gain clears nothing"
        )
    elif steep:
        general.append("the banks lean far over: oil lies on one side, little gain clears little")
    filling = filling_share(engine, wet.oil_ml)
    if filling is not None and filling >= 0.03:
        general.append(f"filling alone would lift the reading by about {100 * filling:.0f} %")
    return _gains(dry, wet, general, lambda g: _wet_state(g, table))


def _wet_state(gain: float, table: Mapping[str, float]) -> str:
    if gain < table["some"]:
        return "none under 10 %"
    return "some 10 to 25 %" if gain <= table["big"] else "big over 25 %"


def filling_share(engine: Engine, oil_ml: float | None) -> float | None:
    """Share by which oil in the chamber lifts the gauge reading through the ratio alone, exponent 1.25."""
    if oil_ml is None or not engine.compression_ratio or not engine.bore_mm or not engine.stroke_mm:
        return None
    swept = swept_cm3(engine.bore_mm, engine.stroke_mm)
    try:
        filled = filled_ratio(engine.compression_ratio, swept, oil_ml)
    except EngineError:
        return None
    return math.expm1(1.25 * math.log(filled)) / math.expm1(1.25 * math.log(engine.compression_ratio)) - 1


def warm_changes(cold: CompressionTest, warm: CompressionTest) -> tuple[Gain, ...]:
    """Change after a warm run: washed rings recover, a tight valve goes worse."""
    changed = levels()["warm"]["changed"]

    def state(gain: float) -> str:
        return "recovers" if gain >= changed else "worse" if gain <= -changed else "same"

    return _gains(cold, warm, [], state)


def _gains(
    before: CompressionTest, after: CompressionTest, general: list[str], state: Any
) -> tuple[Gain, ...]:
    relative = _relative_u(before, after)
    result: list[Gain] = []
    for r in after.readings:
        first = before.reading(r.cylinder)
        if first is None or first.doubt or r.doubt:
            continue
        if first.mean_kpa == 0:
            words = "from zero there is no share: " + (
                "it came up" if r.mean_kpa > 0 else "it stayed at zero"
            )
            result.append(Gain(r.cylinder, None, None, "cannot say", (*general, words)))
            continue
        gain = r.mean_kpa / first.mean_kpa - 1
        share = math.sqrt(1 / len(first.values_kpa) + 1 / len(r.values_kpa))
        result.append(Gain(r.cylinder, gain, (1 + gain) * relative * share, state(gain), tuple(general)))
    return tuple(result)


_STATE_WORDS = {
    "none under 10 %": "no gain, under 10 %",
    "some 10 to 25 %": "some gain, 10 to 25 %",
    "big over 25 %": "big gain, over 25 %",
}


def gain_words(gain: Gain) -> str:
    """'cylinder 3: +32 % (big gain, over 25 %)'."""
    figure = (
        ""
        if gain.gain is None
        else f" {'+' if gain.gain >= 0 else '-'}{plain_number(abs(100 * gain.gain), 2)} %"
    )
    lower = gain.state.startswith("none") and gain.gain is not None and gain.gain < -0.05
    words = "lower than before, repeat" if lower else _STATE_WORDS.get(gain.state, gain.state)
    return f"cylinder {gain.cylinder}:{figure} ({words})"
