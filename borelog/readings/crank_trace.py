"""Relative compression from the starter current: find the humps, put them on cylinders, say how sure.

Each compression asks the starter for current; with fuel off and plugs in every cylinder shows as a hump, a
weak one as a low hump. The figures are relative: they rank cylinders and say nothing about level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borelog.engine.engine import Engine
from borelog.readings import crank_humps
from borelog.readings.crank_heights import Heights, heights
from borelog.readings.crank_humps import TraceError, bounds
from borelog.readings.patterns import good_level
from borelog.readings.trace_file import Trace

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SYNC_KINDS = ("none", "cam sensor", "spark", "waste spark", "named hump")


@dataclass(frozen=True, slots=True)
class Sync:
    """What names the cylinder.

    Attributes
    ----------
    kind : str
        'none', 'cam sensor', 'spark' (one coil, fuel off, plugs in), 'waste spark', or 'named hump'.
    cylinder : int or None
        Whose compression top, or spark, the mark stands for; for a named hump whose hump it is.
    offset_deg : float or None
        Crank degrees from the mark to that cylinder's compression top, 0 to 720; None for the usual (spark:
        10).
    at_s : float or None
        Only for a named hump: a moment within it, seconds of the trace.
    """

    kind: str = "none"
    cylinder: int | None = None
    offset_deg: float | None = None
    at_s: float | None = None


@dataclass(frozen=True, slots=True)
class Hump:
    """One place of the cycle.

    ``position`` counts along the firing order from 1; ``cylinder`` None while it is not known; ``relative``
    height over the good cylinders (1 is good, 0 none); ``scatter`` its standard deviation over cycles; ``u``
    the standard uncertainty of the mean, the unknown shape of the humps included; ``low`` and ``high`` the span that
    this shape leaves; ``cycles`` how many were averaged.
    """

    position: int
    cylinder: int | None
    relative: float
    scatter: float
    u: float
    cycles: int
    low: float
    high: float

    @property
    def about(self) -> bool:
        """True where the humps run into each other so far that the height is a rough one."""
        return self.high - self.low > float(bounds()["bell"]["about"])


@dataclass(frozen=True, slots=True, eq=False)
class CrankResult:
    """What a trace says.

    Attributes
    ----------
    humps : tuple of Hump
        In firing order.
    rpm, rpm_change : float
        Mean cranking speed; change from the first to the last third as a share.
    amps : float
        Mean current while cranking, A.
    volts_low : float or None
        Lowest battery voltage while cranking where it was recorded.
    lock : float
        Share of the swing that repeats from cycle to cycle, 0 to 1.
    alternatives : tuple of dicts
        For a waste spark: the two ways to name the positions, position to cylinder.
    questions, notes : tuple of str
    tops_deg : tuple of float
        Where each position stands in the cycle, 0 to 720.
    profile_deg, profile_amps : array
        Mean swing over the two turns of a cycle, for drawing.
    start_s, end_s : float
        The stretch that was used.
    """

    humps: tuple[Hump, ...]
    rpm: float
    rpm_change: float
    amps: float
    volts_low: float | None
    lock: float
    alternatives: tuple[dict[int, int], ...]
    questions: tuple[str, ...]
    notes: tuple[str, ...]
    tops_deg: tuple[float, ...]
    profile_deg: Floats
    profile_amps: Floats
    start_s: float
    end_s: float

    def relative(self) -> dict[int, float]:
        """Cylinder to relative height; empty while positions have no names."""
        return {h.cylinder: h.relative for h in self.humps if h.cylinder is not None}


def analyse(trace: Trace, engine: Engine, sync: Sync | None = None) -> CrankResult:
    """Relative compression of every cylinder from a cranking trace.

    Parameters
    ----------
    trace
        As read; at least 1.5 s, fuel and spark off (or fuel off with a spark sync), all plugs in.
    engine
        Its count and firing order; without an order the positions stay unnamed.
    sync
        What names the cylinder; None uses the sync channel only to keep the cycle.

    Raises
    ------
    TraceError
        When the trace is too short, constant, clipped, too coarse or shows no regular humps.
    """
    import numpy as np

    sync = sync or Sync()
    if sync.kind not in SYNC_KINDS:
        raise TraceError(f"{sync.kind!r} is no sync: choose {', '.join(SYNC_KINDS)}")
    if engine.count < 2:
        raise TraceError("one cylinder has no other to be compared with: use a gauge")
    intervals = engine.intervals or (720.0 / engine.count,) * engine.count
    groups = crank_humps.groups(intervals)
    step, time, amps, first, last = crank_humps.cranking(trace)
    marks = crank_humps.marks(trace, time[first], time[last - 1])
    swing, level = crank_humps.swing(amps[first:last], step, engine.count)
    cycle = crank_humps.cycle_length(swing, step, groups, engine.count, marks, sync.kind)
    turns, lock = _angle(swing, step, time[first:last], cycle, groups, intervals, marks, sync, engine)
    table = bounds()["trace"]
    if turns[-1] - turns[0] < table["least_cycles"]:
        raise TraceError(
            f"only {turns[-1] - turns[0]:.1f} cycles of two turns: crank for five seconds or more"
        )
    if lock < table["lock"]:
        raise TraceError(
            f"no regular humps: only {100 * lock:.0f} % of the swing repeats from cycle to cycle; check that all plugs are "
            "in, the clamp sits on one cable, and the number of cylinders"
            + crank_humps.or_alike(engine.count)
        )
    found = heights(swing, turns, intervals)
    seconds = time[first:last]
    named, alternatives, questions = _names(engine, sync, marks, seconds, turns, intervals, found)
    if not found.sized:
        raise TraceError(_unsized(found, named, engine.count))
    humps = _humps(found, named)
    whole = 60 * 2 * np.gradient(turns, seconds)
    third = max(1, len(whole) // 3)
    rpm = 120 * (turns[-1] - turns[0]) / (seconds[-1] - seconds[0])
    change = float(np.median(whole[-third:]) / np.median(whole[:third]) - 1)
    notes = list(trace.notes)
    if change < -0.1:
        notes.append(
            f"the engine slowed by {abs(100 * change):.0f} % while cranking: charge the battery and repeat"
        )
    if any(h.about for h in humps):
        notes.append("the humps run into each other: who is weak stands, how weak is told as a span")
    degrees, profile = crank_humps.profile(swing, turns)
    volts = (
        None
        if trace.volts is None
        else trace.volts[
            (trace.time_s >= seconds[0]) & (trace.time_s <= seconds[-1]) & np.isfinite(trace.volts)
        ]
    )
    return CrankResult(
        humps,
        float(rpm),
        change,
        float(level.mean()),
        None if volts is None or not len(volts) else float(volts.min()),
        lock,
        alternatives,
        questions,
        tuple(notes),
        tuple(float(d) for d in np.cumsum((0.0, *intervals))[:-1]),
        degrees,
        profile,
        float(seconds[0]),
        float(seconds[-1]),
    )


def _angle(
    swing: Floats,
    step: float,
    seconds: Floats,
    cycle: float,
    groups: int,
    intervals: tuple[float, ...],
    marks: Floats | None,
    sync: Sync,
    engine: Engine,
) -> tuple[Floats, float]:
    """The angle kept by the humps or by sync marks, whichever lets the swing repeat better."""
    by_humps = crank_humps.turns(swing, step, cycle, groups, intervals)
    if marks is None or sync.kind not in ("cam sensor", "spark", "waste spark"):
        return by_humps
    order = engine.firing_order
    anchor = 0.0
    if order is not None and sync.cylinder in order:
        usual = bounds()["sync"]["spark_advance_deg"] if "spark" in sync.kind else 0.0
        offset = usual if sync.offset_deg is None else sync.offset_deg
        anchor = (sum(intervals[: order.index(sync.cylinder)]) - offset) / 720
    per_cycle = 2 if sync.kind == "waste spark" else 1
    by_marks = crank_humps.turns_by_marks(swing, seconds, marks, per_cycle, groups, anchor, intervals)
    return by_humps if by_marks is None or by_marks[1] < by_humps[1] else by_marks


def _unsized(found: Heights, named: dict[int, int], count: int) -> str:
    """What can be said where the humps blur: who is weaker, not how much."""
    weak = [f"cylinder {named[k]}" if k in named else f"hump {k} in firing order" for k in found.weak]
    who = (
        f"{' and '.join(weak)} pull{'s' if len(weak) == 1 else ''} less than the rest, how much less cannot be told"
        if weak
        else "who is weak cannot be told"
    )
    return f"with {count} cylinders the humps run into one another: {who}; use a gauge"


def _humps(found: Heights, named: dict[int, int]) -> tuple[Hump, ...]:
    import numpy as np

    heights = found.cycles
    means = heights.mean(axis=0)
    good = good_level([float(m) for m in means])
    if good <= 0:
        raise TraceError("no hump stands above its valleys: the trace shows no compression")
    # a sagging battery lowers all humps of a late cycle alike: take that out before the scatter
    scale = np.sort(heights, axis=1)[:, heights.shape[1] // 2 :].mean(axis=1, keepdims=True)
    share = heights / np.maximum(scale, 0.2 * float(scale.mean())) * float(scale.mean()) / good
    spread = share.std(axis=0, ddof=1)
    return tuple(
        Hump(
            i + 1,
            named.get(i + 1),
            max(0.0, float(m / good)),
            float(s),
            math.hypot(float(s) / math.sqrt(len(heights)), float(high - low) / math.sqrt(12)),
            len(heights),
            max(0.0, min(float(low), float(m / good))),
            max(0.0, float(high), float(m / good)),
        )
        for i, (m, s, low, high) in enumerate(zip(means, spread, found.low, found.high, strict=True))
    )


def _names(
    engine: Engine,
    sync: Sync,
    marks: Floats | None,
    seconds: Floats,
    turns: Floats,
    intervals: tuple[float, ...],
    found: Heights,
) -> tuple[dict[int, int], tuple[dict[int, int], ...], tuple[str, ...]]:
    """Position to cylinder, the two ways of a waste spark, and what must be asked."""
    import numpy as np

    order, table = engine.firing_order, bounds()["sync"]
    if order is None:
        return {}, (), ("the firing order is not known: the humps stand in firing order but have no names",)
    if sync.kind == "none":
        return (
            {},
            (),
            ("no sync: which cylinder is position 1? name a hump, or record a cam sensor or spark",),
        )
    if sync.cylinder is None:
        return {}, (), ("which cylinder does the sync stand for?",)
    engine.bank_of(sync.cylinder)
    questions: list[str] = []
    if sync.kind == "named hump":
        if sync.at_s is None or not seconds[0] <= sync.at_s <= seconds[-1]:
            raise TraceError(f"the named hump must lie between {seconds[0]:.2f} and {seconds[-1]:.2f} s")
        angle = float(np.interp(sync.at_s, seconds, turns)) % 1.0
    else:
        if marks is None:
            raise TraceError("the trace has no sync channel that moves: record one, or name a hump")
        usual = table["spark_advance_deg"] if "spark" in sync.kind else None
        offset = sync.offset_deg if sync.offset_deg is not None else usual
        if offset is None:
            questions.append(
                f"cam mark taken at the top of cylinder {sync.cylinder}: how many degrees before it is it?"
            )
            offset = 0.0
        at = np.interp(marks, seconds, turns)
        per = 2.0 if sync.kind == "waste spark" else 1.0
        circle = np.exp(2j * np.pi * per * at).mean()
        if abs(circle) < table["steady"]:
            twice = abs(np.exp(4j * np.pi * at).mean())
            if twice >= table["steady"]:
                raise TraceError("the sync marks every turn: that is a waste spark, say so, it names a pair")
            raise TraceError(
                "the sync does not keep step with the humps: several teeth, or noise; give one mark in two turns"
            )
        angle = float(np.angle(circle)) / (2 * np.pi) / per + offset / 720
    # a person names a hump by its peak, a sensor knows where the piston is; with all alike the trace cannot tell the two apart
    by_peak = sync.kind == "named hump" or not found.weak
    shifts = [0.0] if by_peak else [float(d) for d in found.tops_deg]
    tops = np.concatenate(([0.0], np.cumsum(intervals)[:-1])) / 720
    index, period = order.index(sync.cylinder), len(order) // crank_humps.groups(intervals)
    nearest, away = _nearest(tops + shifts[0] / 720, angle, index, period)
    doubts = {_nearest(tops + d / 720, angle, index, period)[0] for d in shifts}
    if away * 720 / min(intervals) > table["between"] or len(doubts) > 1:
        questions.append(
            "the sync falls between two humps: check its degrees, the neighbour in firing order may be meant"
        )
    first = _named(order, sync.cylinder, nearest)
    if sync.kind != "waste spark":
        return first, (), tuple(questions)
    other_at, _ = _nearest(tops + shifts[0] / 720, angle + 0.5, index, period)
    second = _named(order, sync.cylinder, other_at)
    pair = next(
        (b if a == sync.cylinder else a for a, b in engine.companions if sync.cylinder in (a, b)), None
    )
    mate = f" and {pair}" if pair else ""
    questions.append(
        f"a waste spark names the pair {sync.cylinder}{mate}: which of the two is on compression at the mark?"
    )
    return {}, (first, second), tuple(questions)


def _nearest(tops: Floats, angle: float, index: int, period: int) -> tuple[int, float]:
    """The position nearest to an angle (in cycles) that a cylinder of this place in the order can hold, and
    how far.
    """
    import numpy as np

    away = np.abs((tops - angle + 0.5) % 1.0 - 0.5)
    away[(np.arange(len(tops)) - index) % period != 0] = np.inf
    nearest = int(np.argmin(away))
    return nearest, float(away[nearest])


def _named(order: tuple[int, ...], cylinder: int, position: int) -> dict[int, int]:
    """Position (from 1) to cylinder when ``cylinder`` stands at ``position`` (from 0) of the comb."""
    n = len(order)
    shift = (order.index(cylinder) - position) % n
    return {i + 1: order[(i + shift) % n] for i in range(n)}


def crank_state(relative: float) -> str:
    """The word for a relative height: 'above_group', 'within_85', 'soft_70_84', 'low_35_69' or
    'dead_under_35'.
    """
    table = bounds()["state"]
    if relative > table["high"]:
        return "above_group"
    for name, least in (
        ("within_85", table["normal"]),
        ("soft_70_84", table["soft"]),
        ("low_35_69", table["low"]),
    ):
        if relative >= least:
            return name
    return "dead_under_35"
