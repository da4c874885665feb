"""The height of each hump, freed of the neighbours it runs into, and how far that can be told.

The mean cycle is taken as one bell on every firing; width, lean, lag and pointedness of the bell are common to all. Fit and
choice are made in the harmonics of the cycle up to 2.5 a cylinder, where humps live; the teeth of the starter lie above.
Every bell that fits about as well as the best gives heights of its own: where these differ, the size of a weak hump cannot
be told from this trace, only that it is weak.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from borelog.readings.crank_humps import TraceError, bounds
from borelog.readings.patterns import good_level

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class Heights:
    """Hump heights of every cycle and the span of relative heights over all bells that fit.

    Attributes
    ----------
    cycles : array, shape (cycles, positions)
        Heights in A with the best bell.
    low, high : array, shape (positions,)
        Least and greatest height over the good ones among the bells that fit about as well as the best.
    """

    cycles: Floats
    low: Floats
    high: Floats

    @property
    def sized(self) -> bool:
        """Whether heights can be told at all: no span wider than the table allows."""
        return bool((self.high - self.low).max() <= bounds()["bell"]["unsized"])

    @property
    def weak(self) -> tuple[int, ...]:
        """Positions, from 1, that stand below the rest whichever bell is taken."""
        return tuple(int(k) + 1 for k in (self.high < bounds()["bell"]["weak"]).nonzero()[0])


def heights(swing: Floats, turns: Floats, intervals: tuple[float, ...]) -> Heights:
    """Hump heights of every whole cycle, with the span that the unknown shape of the bell leaves.

    Parameters
    ----------
    swing
        Current less its level, A.
    turns
        Angle at each sample in cycles of two turns, whole at the first firing.
    intervals
        Degrees between firings, summing to 720.

    Raises
    ------
    TraceError
        Under two whole cycles, or where what swings does not swing at the firings.
    """
    import numpy as np

    cycles = _cycles(swing, turns, 24 * len(intervals) if len(intervals) < 5 else 12 * len(intervals))
    bins = cycles.shape[1]
    most = int(bounds()["bell"]["harmonics"] * len(intervals))
    waves = np.fft.rfft(cycles, axis=1)[:, 1 : most + 1] / bins
    mean = waves.mean(axis=0)
    noise = float((np.abs(waves - mean) ** 2).sum()) / max(1, len(waves) - 1) / len(waves)
    power = float((np.abs(mean) ** 2).sum())
    target = np.concatenate((mean.real, mean.imag))
    shapes = _grid(min(intervals))
    designs = _grid_designs(intervals, most, bins)
    solved, rest = _fitted(designs, target, power, shapes)
    for finer in (0.5, 0.25):
        near = _near(shapes[int(np.argmin(rest))], min(intervals), finer)
        more = _designs(near, intervals, most, bins)
        better = _fitted(more, target, power, near)
        shapes, designs = np.concatenate((shapes, near)), np.concatenate((designs, more))
        solved, rest = np.concatenate((solved, better[0])), np.concatenate((rest, better[1]))
    best = int(np.argmin(rest))
    if not np.isfinite(rest[best]):
        raise TraceError("no hump stands above its valleys: the trace shows no compression")
    whole = float((cycles.mean(axis=0) ** 2).mean()) / 2
    if float(target @ (designs[best] @ solved[best])) < bounds()["trace"]["strength"] * whole:
        raise TraceError(
            "nothing stands out at the firings: plugs out, the clamp on the wrong cable"
            + (
                f", or {len(intervals)} cylinders alike whose humps run into one another"
                if len(intervals) > 6
                else ", or no compression"
            )
        )
    table = bounds()["bell"]
    alike = rest <= table["worse"] * rest[best] + table["alike"] * power + 3 * noise
    alike[best] = True
    tried = solved[alike][:, : len(intervals)]
    shares = np.array([t / good_level([float(x) for x in t]) for t in tried])
    own = np.linalg.pinv(designs[best]) @ np.concatenate((waves.real, waves.imag), axis=1).T
    return Heights(
        np.asarray(own[: len(intervals)].T, dtype=np.float64), shares.min(axis=0), shares.max(axis=0)
    )


def _cycles(swing: Floats, turns: Floats, bins: int) -> Floats:
    """The swing over every whole cycle, shape (cycles, bins); empty bins bridged."""
    import numpy as np

    first, last = math.ceil(turns[0]), math.floor(turns[-1])
    if last - first < 2:
        raise TraceError("no two whole cycles of two turns: crank for five seconds or more")
    inside = (turns >= first) & (turns < last)
    place = ((turns[inside] - first) * bins).astype(int)
    filled = np.bincount(place, minlength=bins * (last - first))
    sums = np.bincount(place, swing[inside], bins * (last - first))
    cycles = np.where(filled > 0, sums / np.maximum(1, filled), np.nan)
    if np.isnan(cycles).any():
        at = np.arange(cycles.size)
        known = ~np.isnan(cycles)
        cycles[~known] = np.interp(at[~known], at[known], cycles[known])
    result: Floats = cycles.reshape(last - first, bins)
    return result


@lru_cache(maxsize=8)
def _grid(interval: float) -> Floats:
    """Every bell tried first, shape (bells, 4): width, lean, pointedness, lag; degrees where they are angles."""
    import numpy as np

    table = bounds()["bell"]
    return np.array(
        [
            (width, lean, point, lag)
            for width in np.geomspace(table["least_deg"], table["most_deg"], 15)
            for lean in (0.8, 0.9, 1.0, 1.11, 1.25)
            for point in (1.7, 2.0, 2.5)
            for lag in np.linspace(-0.15 * interval, 0.15 * interval, 7)
        ]
    )


def _near(shape: Floats, interval: float, finer: float) -> Floats:
    """Bells around one, closer together."""
    import numpy as np

    width, lean, point, lag = (float(x) for x in shape)
    return np.array(
        [
            (width * w, lean * e, point + p, lag + d)
            for w in (1 - 0.1 * finer, 1.0, 1 + 0.1 * finer)
            for e in (1 - 0.1 * finer, 1.0, 1 + 0.1 * finer)
            for p in (-0.4 * finer, 0.0, 0.4 * finer)
            for d in (-0.05 * interval * finer, 0.0, 0.05 * interval * finer)
        ]
    )


@lru_cache(maxsize=8)
def _grid_designs(intervals: tuple[float, ...], most: int, bins: int) -> Floats:
    return _designs(_grid(min(intervals)), intervals, most, bins)


def _designs(shapes: Floats, intervals: tuple[float, ...], most: int, bins: int) -> Floats:
    """Harmonics of a bell on each firing and of a slope, real above imaginary, shape (bells, 2 most, positions + 1)."""
    import numpy as np

    order = np.arange(1, most + 1)
    tops = np.concatenate(([0.0], np.cumsum(intervals)[:-1])) / 720
    around = np.arange(-360.0, 360.0)
    width, lean, point, lag = (shapes[:, k, None] for k in range(4))
    side = np.where(around < 0, width * lean, width / lean)
    bells = np.exp(-(np.abs(around / side) ** point) / 2)
    waves = np.fft.rfft(np.fft.ifftshift(bells, axes=1), axis=1)[:, 1 : most + 1] / bells.shape[1]
    # the bells are taken at the edges of the bins, the cycle in their middle
    waves = waves * np.exp(1j * np.pi * order / bins) * np.exp(-2j * np.pi * order * lag / 720)
    columns = waves[:, :, None] * np.exp(-2j * np.pi * order[:, None] * tops)
    grid = (np.arange(bins) + 0.5) / bins
    slope = np.fft.rfft(grid - 0.5)[1 : most + 1] / bins
    whole = np.concatenate((columns, np.broadcast_to(slope[None, :, None], (len(shapes), most, 1))), axis=2)
    return np.concatenate((whole.real, whole.imag), axis=1)


def _fitted(designs: Floats, target: Floats, power: float, shapes: Floats) -> tuple[Floats, Floats]:
    """Heights of every bell and what it leaves over; endless where its good humps would be valleys."""
    import numpy as np

    table = bounds()["bell"]
    gram = np.einsum("smi,smj->sij", designs, designs, optimize=True) + 1e-12 * np.eye(designs.shape[2])
    against = np.einsum("smi,m->si", designs, target)
    solved = np.linalg.solve(gram, against[..., None])[..., 0]
    rest = (power - np.einsum("si,si->s", against, solved)).clip(0.0)
    rest = rest * (1 + table["prior"] * np.log(shapes[:, 0] / table["usual_deg"]) ** 2)
    tall = np.sort(solved[:, :-1], axis=1)[:, solved.shape[1] // 2 :].mean(axis=1)
    return solved, np.where(tall > 0, rest, np.inf)
