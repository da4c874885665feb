"""The height of each hump, freed of the neighbours it runs into, and how far that can be told.

The mean cycle is taken as one bell on every firing; form, width, lean and lag of the bell, and how soon the starter settles
again after it, are common to all. Fit and choice are made in the harmonics of the cycle up to 2.5 a cylinder, where humps
live; the teeth of the starter lie above. Every bell that fits about as well as the best gives heights of its own: where these
differ, the size of a weak hump cannot be told from this trace, only that it is weak.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from borelog.readings.crank_humps import TraceError, bounds, groups, or_alike
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
    tops_deg : array, shape (bells,)
        Degrees by which the tops of compression stand after the firings of the angle: best bell first, then the others.
    possible : bool
        False where every bell that fits would have a cylinder pull less than nothing, beyond what noise does.
    """

    cycles: Floats
    low: Floats
    high: Floats
    tops_deg: Floats
    possible: bool

    @property
    def sized(self) -> bool:
        """Whether heights can be told at all: a bell that can be, and no span wider than the table allows."""
        return self.possible and bool((self.high - self.low).max() <= bounds()["bell"]["unsized"])

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
    shapes, spectra = _grid(most, min(intervals))
    lags = _lags(spectra, mean, intervals, bins)
    designs = _designs(spectra, lags, intervals, bins)
    solved, rest = _fitted(designs, target, power, shapes)
    for finer in (1.0, 0.5, 0.25):
        near, more_lags = _near(shapes, lags, rest, finer)
        spectra = _spectra(near, most)
        more = _designs(spectra, more_lags, intervals, bins)
        better = _fitted(more, target, power, near)
        shapes, lags = np.concatenate((shapes, near)), np.concatenate((lags, more_lags))
        designs = np.concatenate((designs, more))
        solved, rest = np.concatenate((solved, better[0])), np.concatenate((rest, better[1]))
    best = int(np.argmin(rest))
    if not np.isfinite(rest[best]):
        raise TraceError("no hump stands above its valleys: the trace shows no compression")
    whole = float((cycles.mean(axis=0) ** 2).mean()) / 2
    if float(target @ (designs[best] @ solved[best])) < bounds()["trace"]["strength"] * whole:
        raise TraceError(
            "nothing stands out at the firings: plugs out, no compression, the clamp on the wrong cable"
            + or_alike(len(intervals))
        )
    table = bounds()["bell"]
    # noise of each harmonic times the chi-squared of four free figures of a bell (width, lean, memory, lag) at 95 %
    chance = 9.49 * noise / len(target)
    alike = rest <= table["worse"] * rest[best] + table["alike"] * power + chance
    alike[best] = True
    tried = solved[alike][:, : len(intervals)]
    shares = np.array([t / good_level([float(x) for x in t]) for t in tried])
    # what the best bell leaves over is taken as noise of the harmonics: its share of each height, at two standard uncertainties
    design = designs[best]
    left = float(((target - design @ solved[best]) ** 2).sum()) / max(1, len(target) - design.shape[1])
    spread = np.sqrt(left * np.diag(np.linalg.pinv(design.T @ design))[:-1])
    doubt = 2 * spread / good_level([float(x) for x in solved[best][:-1]])
    own = np.linalg.pinv(design) @ np.concatenate((waves.real, waves.imag), axis=1).T
    return Heights(
        np.asarray(own[: len(intervals)].T, dtype=np.float64),
        # no cylinder pulls less than nothing
        (shares.min(axis=0) - doubt).clip(0.0),
        shares.max(axis=0) + doubt,
        np.concatenate((lags[best : best + 1], lags[alike])),
        bool((shares.min(axis=1) > -table["under"]).any()),
    )


def _cycles(swing: Floats, turns: Floats, bins: int) -> Floats:
    """The swing over every whole cycle, shape (cycles, bins); straight between samples where these are few."""
    import numpy as np

    first, last = math.ceil(turns[0]), math.floor(turns[-1])
    if last - first < 2:
        raise TraceError("no two whole cycles of two turns: crank for five seconds or more")
    fine = 8 * bins * (last - first)
    if len(turns) < fine:
        # a sample counts where it lies, not where its bin lies
        even = first + (np.arange(fine) + 0.5) * (last - first) / fine
        swing, turns = np.interp(even, turns, swing), even
    inside = (turns >= first) & (turns < last)
    place = ((turns[inside] - first) * bins).astype(int)
    filled = np.bincount(place, minlength=bins * (last - first))
    cycles = np.bincount(place, swing[inside], bins * (last - first)) / np.maximum(1, filled)
    result: Floats = cycles.reshape(last - first, bins)
    return result


@lru_cache(maxsize=16)
def _grid(most: int, interval: float) -> tuple[Floats, Complexes]:
    """Every bell tried first, shape (bells, 4): form, width, lean, memory; angles in degrees. And its harmonics."""
    import numpy as np

    table = bounds()["bell"]
    widest = max(table["most_deg"], table["most"] * interval)
    shapes = np.array(
        [
            (form, width, lean, memory)
            for form in range(len(table["forms"]))
            for width in np.geomspace(table["least_deg"], widest, 16)
            for lean in (0.6, 0.77, 1.0, 1.3, 1.67)
            for memory in table["memory_deg"]
        ]
    )
    return shapes, _spectra(shapes, most)


def _near(shapes: Floats, lags: Floats, rest: Floats, finer: float) -> tuple[Floats, Floats]:
    """Bells around the best of each form, closer together, and their lags."""
    import numpy as np

    near = []
    for form in np.unique(shapes[:, 0]):
        own = np.flatnonzero(shapes[:, 0] == form)
        best = own[int(np.argmin(rest[own]))]
        _, width, lean, memory = (float(x) for x in shapes[best])
        near += [
            (form, width * w, lean * e, memory * m, float(lags[best]) + d)
            for w in (1 - 0.07 * finer, 1.0, 1 + 0.07 * finer)
            for e in (1 - 0.14 * finer, 1.0, 1 + 0.14 * finer)
            for m in (1 - 0.3 * finer, 1.0, 1 + 0.3 * finer)
            for d in (-3.0 * finer, 0.0, 3.0 * finer)
        ]
    found = np.array(near)
    return found[:, :4], found[:, 4]


def _spectra(shapes: Floats, most: int) -> Complexes:
    """Harmonics 1 to ``most`` of a single bell in a cycle, shape (bells, most).

    The work that a compression stores and gives back is a bell. A motor that turns a heavy engine shows it as it is; the
    lighter the engine, the sooner the speed settles again, and the less the current remembers: a first-order high pass
    whose memory is the mechanical time constant of the starter in degrees of the crank.
    """
    import numpy as np

    around = np.arange(-360.0, 360.0)
    form, width, lean, memory = (shapes[:, k, None] for k in range(4))
    away = np.abs(around / np.where(around < 0, width * lean, width / lean))
    bells = np.empty_like(away)
    for k, (kind, power) in enumerate(bounds()["bell"]["forms"]):
        own = form[:, 0] == k
        bells[own] = _FORMS[kind](away[own], power)
    waves = np.fft.rfft(np.fft.ifftshift(bells, axes=1), axis=1)[:, 1 : most + 1] / bells.shape[1]
    kept = 2j * np.pi * np.arange(1, most + 1) * memory / 720
    result: Complexes = waves * kept / (1 + kept)
    return result


def _tail(away: Floats, power: float) -> Floats:
    import numpy as np

    result: Floats = np.exp(-(away**power) / 2)
    return result


def _arch(away: Floats, power: float) -> Floats:
    import numpy as np

    # as wide at half height as a bell of the same width
    reach = 1.1774 / (2 / np.pi * math.acos(0.5 ** (1 / power)))
    result: Floats = np.cos(np.minimum(away / reach, 1.0) * np.pi / 2).clip(0.0) ** power
    return result


_FORMS = {"tail": _tail, "arch": _arch}


def _tops(intervals: tuple[float, ...]) -> Floats:
    """Where the firings lie in the cycle, 0 to 1."""
    import numpy as np

    result: Floats = np.concatenate(([0.0], np.cumsum(intervals)[:-1])) / 720
    return result


def _lags(spectra: Complexes, mean: Complexes, intervals: tuple[float, ...], bins: int) -> Floats:
    """Degrees by which each bell stands after its firing, so that equal bells match the mean cycle best."""
    import numpy as np

    order = np.arange(1, spectra.shape[1] + 1)
    comb = np.exp(1j * np.pi * order[:, None] / bins - 2j * np.pi * order[:, None] * _tops(intervals))
    reach = 360 / groups(intervals)
    tried, step = np.linspace(-reach, reach, 96, endpoint=False, retstep=True)
    turned = np.exp(2j * np.pi * order[:, None] * tried / 720) * (mean * comb.sum(axis=1).conj())[:, None]
    score = (spectra.conj() @ turned).real
    best = np.argmax(score, axis=1)
    row = np.arange(len(score))
    before, at, after = score[row, best - 1], score[row, best], score[row, (best + 1) % len(tried)]
    # the top of the parabola through the three highest
    result: Floats = tried[best] + step * 0.5 * (before - after) / np.minimum(before - 2 * at + after, -1e-12)
    return result


def _designs(spectra: Complexes, lags: Floats, intervals: tuple[float, ...], bins: int) -> Floats:
    """Harmonics of a bell on each firing and of a slope, real above imaginary, shape (bells, 2 most, positions + 1)."""
    import numpy as np

    most = spectra.shape[1]
    order = np.arange(1, most + 1)
    # the bells are taken at the edges of the bins, the cycle in their middle
    waves = spectra * np.exp(1j * np.pi * order / bins - 2j * np.pi * order * lags[:, None] / 720)
    columns = waves[:, :, None] * np.exp(-2j * np.pi * order[:, None] * _tops(intervals))
    grid = (np.arange(bins) + 0.5) / bins
    slope = np.fft.rfft(grid - 0.5)[1 : most + 1] / bins
    whole = np.concatenate((columns, np.broadcast_to(slope[None, :, None], (len(lags), most, 1))), axis=2)
    return np.concatenate((whole.real, whole.imag), axis=1)


def _fitted(designs: Floats, target: Floats, power: float, shapes: Floats) -> tuple[Floats, Floats]:
    """Heights of every bell and what it leaves over; endless where humps would be valleys."""
    import numpy as np

    table = bounds()["bell"]
    gram = np.einsum("smi,smj->sij", designs, designs, optimize=True) + 1e-12 * np.eye(designs.shape[2])
    against = np.einsum("smi,m->si", designs, target)
    solved = np.linalg.solve(gram, against[..., None])[..., 0]
    rest = (power - np.einsum("si,si->s", against, solved)).clip(0.0)
    rest = rest * (1 + table["prior"] * np.log(shapes[:, 1] / table["usual_deg"]) ** 2)
    tall = np.sort(solved[:, :-1], axis=1)[:, solved.shape[1] // 2 :].mean(axis=1)
    return solved, np.where(tall > 0, rest, np.inf)
