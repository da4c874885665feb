"""The humps in a starter current: the stretch that counts, the cycle, the angle over time, the height of each
hump.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from borelog.knowledge import tables
from borelog.readings.errors import ReadingError
from borelog.readings.trace_file import Trace

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class TraceError(ReadingError):
    """A trace that cannot be locked onto; the text says why and what to record instead."""


def bounds() -> dict[str, Any]:
    """The table of bounds for cranking traces."""
    return tables.settings("cranking.toml")


def groups(intervals: tuple[float, ...]) -> int:
    """How often the spacing of the firings repeats within two turns: N for even firing, 3 for 150-90 on six."""
    n = len(intervals)
    for period in range(1, n + 1):
        if n % period == 0 and all(abs(intervals[i] - intervals[i % period]) < 0.5 for i in range(n)):
            return n // period
    return 1


def cranking(trace: Trace) -> tuple[float, Floats, Floats, int, int]:
    """Evenly spaced time and current thinned to about 1 kHz, and the stretch in which the starter turns the
    engine.
    """
    import numpy as np

    table = bounds()["trace"]
    time, amps = trace.time_s, trace.amps
    span = float(time[-1] - time[0])
    if span < table["least_s"]:
        raise TraceError(f"the trace lasts {span:.2f} s: crank for five seconds or more")
    step = span / (len(time) - 1)
    if float(np.abs(np.diff(time) - step).max()) > 0.5 * step:
        even = np.linspace(time[0], time[-1], len(time))
        amps, time = np.interp(even, time, amps), even
    low, high = float(amps.min()), float(amps.max())
    if high - low < max(1e-6, 0.02 * abs(high)):
        raise TraceError("the current does not change: the clamp is off, or this is no cranking")
    block = max(1, int(1e-3 / step))
    count = len(amps) // block
    thin = amps[: count * block].reshape(count, block).mean(axis=1)
    thin_time = time[: count * block].reshape(count, block).mean(axis=1)
    step *= block
    if np.median(thin) < 0:
        thin = -thin
    strong = float(np.percentile(thin, 75))
    if strong > table["most_amps"]:
        raise TraceError(
            f"the current comes to {strong:.3g} A: no starter draws that, check the unit of the column"
        )
    on = thin > 0.3 * strong
    edges = np.flatnonzero(np.diff(np.concatenate(([0], on.view(np.int8), [0]))))
    starts, ends = edges[::2], edges[1::2]
    # brief dips are noise between strong humps, not the end of cranking
    gap = max(1, int(0.15 / step))
    keep = np.concatenate(([True], starts[1:] - ends[:-1] > gap))
    starts, ends = starts[keep], ends[np.concatenate((keep[1:], [True]))]
    longest = int(np.argmax(ends - starts))
    first, last = int(starts[longest]), int(ends[longest])
    if first > 0 or thin[: max(1, int(0.1 / step))].max() > 1.6 * strong:
        first += int(table["settle_s"] / step)
    last -= int(0.1 / step) if last < len(thin) else 0
    if (last - first) * step < table["least_s"] * 0.6:
        raise TraceError(
            "no stretch of steady cranking: record from before the key is turned until after it is let go"
        )
    used = amps[first * block : last * block]
    top, bottom = float(used.max()), float(used.min())
    for border in (top, bottom):
        flat = float((np.abs(used - border) <= 1e-9 * max(1.0, abs(border))).mean())
        if flat > table["clipped"]:
            raise TraceError(
                f"{100 * flat:.0f} % of the samples sit at {border:g} A: the trace is clipped, use a larger range"
            )
    return step, thin_time, thin, first, last


def marks(trace: Trace, start: float, end: float) -> Floats | None:
    """Moments of the rising sync marks within the cranking, seconds; None without a sync channel that moves.

    A sync that rests high and dips marks by falling; a square wave marks by rising.
    """
    import numpy as np

    if trace.sync is None:
        return None
    inside = (trace.time_s >= start) & (trace.time_s <= end)
    s, t = trace.sync[inside], trace.time_s[inside]
    low, high = float(s.min()), float(s.max())
    if high - low <= 1e-9:
        return None
    middle = 0.5 * (low + high)
    if float((s > middle).mean()) > bounds()["sync"]["mostly"]:
        s, middle = -s, -middle
        low, high = -high, -low
    up = s > middle + 0.1 * (high - low)
    down = s < middle - 0.1 * (high - low)
    state = np.where(up, 1, np.where(down, 0, -1))
    known = np.maximum.accumulate(np.where(state >= 0, np.arange(len(state)), 0))
    held = np.where(state[known] < 0, 0, state[known])
    marks: Floats = t[1:][np.diff(held) > 0]
    return marks if len(marks) >= 3 else None


def _smooth(x: Floats, width: int) -> Floats:
    """Moving mean over ``width`` samples, edges with what there is."""
    import numpy as np

    width = max(1, min(width, len(x)))
    total = np.concatenate(([0.0], np.cumsum(x)))
    at = np.arange(len(x))
    low, high = np.maximum(at - width // 2, 0), np.minimum(at + (width + 1) // 2, len(x))
    result: Floats = (total[high] - total[low]) / (high - low)
    return result


def or_alike(count: int) -> str:
    """What else flattens the swing of an engine of many cylinders, to end a refusal with."""
    return f"; or {count} cylinders alike whose humps run into one another: use a gauge" if count > 5 else ""


def swing(amps: Floats, step: float, count: int) -> tuple[Floats, Floats]:
    """The current less its level, and the level; refused where an engine of ``count`` cylinders hardly shows."""
    level = _smooth(_smooth(amps, int(0.9 / step)), int(0.9 / step))
    swing = amps - level
    if float(swing.std()) < bounds()["trace"]["swing"] / 2.8 * abs(float(level.mean())) / 2:
        raise TraceError(
            "the current hardly swings: no compression at all, plugs out, or the clamp on the wrong cable"
            + or_alike(count)
        )
    return swing, level


def cycle_length(
    swing: Floats, step: float, groups: int, count: int, marks: Floats | None, kind: str
) -> float:
    """Seconds for two turns: from the sync marks where they keep one step, else from the strongest hump
    frequency.
    """
    import numpy as np

    speed, table = bounds()["speed"], bounds()["trace"]
    shortest, longest = 120 / speed["fastest_rpm"], 120 / speed["slowest_rpm"]
    if marks is not None and kind in ("cam sensor", "spark", "waste spark"):
        period = float(np.median(np.diff(marks))) * (2 if kind == "waste spark" else 1)
        if shortest <= period <= longest:
            shortest, longest = 0.85 * period, min(longest, 1.18 * period)
    window = min(len(swing), int(2.5 * longest / step))
    hop = max(1, window // 4)
    size = 1 << max(12, (4 * window - 1).bit_length())
    power = np.zeros(size // 2 + 1)
    taper = np.hanning(window)
    for at in range(0, len(swing) - window + 1, hop):
        power += np.abs(np.fft.rfft(swing[at : at + window] * taper, size)) ** 2
    frequency = np.fft.rfftfreq(size, step)
    band = (frequency >= groups / longest) & (frequency <= groups / shortest)
    if groups / shortest * count / groups * 2 > 1 / step or not band.any():
        raise TraceError("too few samples a hump: record at 500 samples a second or more")
    best = float(frequency[band][int(np.argmax(power[band]))])
    if kind == "waste spark":
        twice = power[np.abs(frequency - 2 * best) < 0.08 * best].max(initial=0.0)
        if twice > 4 * float(power[band].max()):
            raise TraceError("the sync marks every second turn: that is no waste spark, say 'spark'")
    if best * step * table["points_per_hump"] * count / groups > 1.0:
        raise TraceError("too few samples a hump: record at 500 samples a second or more")
    return groups / best


def turns_by_marks(
    swing: Floats,
    seconds: Floats,
    marks: Floats,
    per_cycle: int,
    groups: int,
    anchor: float,
    intervals: tuple[float, ...],
) -> tuple[Floats, float] | None:
    """Angle over time as in `turns`, but kept by sync marks; None when the marks keep no steady step.

    ``anchor`` is the angle of a mark in cycles from the first firing, used where the humps themselves are too
    broken to show their phase (two dead neighbours).
    """
    import numpy as np

    gaps = np.diff(marks)
    if len(marks) < 4 or float(np.abs(gaps / np.median(gaps) - 1).max()) > 0.3:
        return None
    index = np.arange(len(marks)) / per_cycle
    angle = np.interp(seconds, marks, index)
    early, late = seconds < marks[0], seconds > marks[-1]
    angle[early] = (seconds[early] - marks[0]) / gaps[0] / per_cycle
    angle[late] = index[-1] + (seconds[late] - marks[-1]) / gaps[-1] / per_cycle
    whole = angle < math.floor(float(angle[-1] - angle[0])) + float(angle[0])
    used = swing[whole] - swing[whole].mean()
    wave = complex((used * np.exp(-2j * np.pi * groups * angle[whole])).mean())
    if 2 * abs(wave) ** 2 > bounds()["sync"]["own_phase"] * float((used**2).mean()):
        angle = angle + math.atan2(wave.imag, wave.real) / (2 * math.pi * groups)
        angle = angle + _comb_shift(swing, angle * groups, groups, intervals)
    else:
        angle = angle + anchor
    return angle, _repeats(swing, angle)


def turns(
    swing: Floats, step: float, cycle: float, groups: int, intervals: tuple[float, ...]
) -> tuple[Floats, float]:
    """Angle over time in cycles of two turns, whole at the first firing of a group; and how well the swing repeats.

    The frequency is followed window by window, its phase then by demodulation over one cycle: a mean over
    exactly one cycle leaves out every other harmonic of it, so that a dead cylinder does not pull the phase.
    """
    import numpy as np

    n = len(swing)
    window = min(n, max(16, int(2.0 * cycle / step)))
    hop = max(1, int(0.5 * cycle / step))
    size = 1 << (8 * window - 1).bit_length()
    taper = np.hanning(window)
    frequency = np.fft.rfftfreq(size, step)
    middle = groups / cycle
    near = (frequency > 0.8 * middle) & (frequency < 1.22 * middle)
    centres, found, weights = [], [], []
    for at in range(0, n - window + 1, hop):
        spectrum = np.abs(np.fft.rfft(swing[at : at + window] * taper, size))[near]
        k = int(np.argmax(spectrum))
        centres.append((at + window / 2) * step)
        found.append(frequency[near][k])
        weights.append(spectrum[k])
    degree = min(2, max(0, len(centres) - 2))
    curve = (
        np.polynomial.Polynomial.fit(centres, found, degree, w=np.asarray(weights))
        if len(centres) > 1
        else None
    )
    seconds = np.arange(n) * step
    rate = np.full(n, middle) if curve is None else np.clip(curve(seconds), 0.75 * middle, 1.3 * middle)
    rough = np.cumsum(rate) * step
    width = int(cycle / step)
    for _ in range(2):
        carrier = swing * np.exp(-2j * np.pi * rough)
        slow = _smooth(carrier.real, width) + 1j * _smooth(carrier.imag, width)
        rough = rough + np.unwrap(np.angle(slow)) / (2 * np.pi)
        rough = _smooth_angle(rough, width // 2)
    turns = rough / groups + _comb_shift(swing, rough, groups, intervals)
    return turns, _repeats(swing, turns)


def _smooth_angle(angle: Floats, width: int) -> Floats:
    """A smoothed angle whose ends keep their slope."""
    import numpy as np

    at = np.arange(len(angle))
    line = np.polynomial.Polynomial.fit(at, angle, 1)(at)
    return line + _smooth(angle - line, width)


def _comb_shift(swing: Floats, rough: Floats, groups: int, intervals: tuple[float, ...]) -> float:
    """Shift in cycles that puts the firings of a group on its humps; 0 for even firing."""
    import numpy as np

    period = len(intervals) // groups
    if period == 1:
        return 0.0
    bins = 180
    place = (rough % 1.0 * bins).astype(int) % bins
    mean = np.bincount(place, swing, bins) / np.maximum(1, np.bincount(place, minlength=bins))
    grid = np.arange(bins) / bins
    starts = np.cumsum((0.0, *intervals[: period - 1])) * groups / 720
    comb = np.zeros(bins)
    for start in starts:
        away = (grid - start + 0.5) % 1.0 - 0.5
        comb += np.exp(-((away / (0.22 / period)) ** 2) / 2)
    score = np.fft.irfft(np.fft.rfft(mean) * np.conj(np.fft.rfft(comb - comb.mean())), bins)
    return -float(np.argmax(score)) / bins / groups


def _repeats(swing: Floats, turns: Floats) -> float:
    """Share of the variance that the mean cycle explains, freed of what chance alone would explain."""
    import numpy as np

    bins = 144
    place = (turns % 1.0 * bins).astype(int) % bins
    count = np.maximum(1, np.bincount(place, minlength=bins))
    mean = np.bincount(place, swing, bins) / count
    cycles = max(2.0, float(turns[-1] - turns[0]))
    explained = 1 - float(np.mean((swing - mean[place]) ** 2)) / float(np.mean(swing**2))
    return max(0.0, (explained - 1 / cycles) / (1 - 1 / cycles))


def profile(swing: Floats, turns: Floats) -> tuple[Floats, Floats]:
    import numpy as np

    bins = 180
    place = (turns % 1.0 * bins).astype(int) % bins
    mean = np.bincount(place, swing, bins) / np.maximum(1, np.bincount(place, minlength=bins))
    return (np.arange(bins) + 0.5) * 720 / bins, mean
