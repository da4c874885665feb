"""A thread of known pitch as a scale, read off its outline.

The threads that face the camera are nearer than the axis by half the diameter, which makes a scale taken from them up
to a tenth too large; the outline lies in the plane of the axis. So the outline is traced, not the shading.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Pair
from borelog.stills import StillError
from borelog.stills.planes import Picture
from borelog.stills.scale import Scale

FEWEST_TURNS = 4.0
_STEADY = 0.5
# Steps count up to so many times the ground's own; a row up or down costs as much as a step of a quarter of it.
_STEEP, _TURN, _JUMP = 8.0, 0.25, 3
LEAST_PARTED = 1.5
_ASSUMED_DISTANCE_MM = 150.0
_NO_CONTRAST = "the thread does not stand out from its background; lay the plug on plain paper"


@dataclass(frozen=True, slots=True)
class Thread:
    """An ISO metric thread; diameters in mm by ISO 724 (basic profile of ISO 68-1)."""

    name: str
    major: float
    pitch: float

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 3/4 H = d - 0.6495 P."""
        return self.major - 0.75 * math.sqrt(3) / 2 * self.pitch

    @property
    def minor_diameter(self) -> float:
        """d1 = d - 5/4 H = d - 1.0825 P."""
        return self.major - 1.25 * math.sqrt(3) / 2 * self.pitch


# Sizes spark plugs come in; ISO 261 fine pitches.
PLUG_THREADS = {
    t.name: t
    for t in (
        Thread("M8x1", 8.0, 1.0),
        Thread("M10x1", 10.0, 1.0),
        Thread("M12x1.25", 12.0, 1.25),
        Thread("M14x1.25", 14.0, 1.25),
        Thread("M18x1.5", 18.0, 1.5),
    )
}


@dataclass(frozen=True, slots=True)
class ThreadScale:
    """``period_px`` along the axis, ``turns`` seen, ``steady`` the share of the outline's waviness that is explained.

    ``crest_px`` is the width over the crests: times the scale it should come near the major diameter.
    """

    scale: Scale
    period_px: float
    turns: float
    steady: float
    crest_px: float


def _strip(image: Picture, a: Pair, b: Pair, half: int) -> NDArray[np.float32]:
    length = math.dist(a, b)
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    # Strip pixel (i, j) lies at a + (i + 0.5) u + (j + 0.5 - half) v; OpenCV counts centres as whole numbers.
    matrix = np.array(
        [
            [ux, -uy, a[0] + 0.5 * ux - (0.5 - half) * uy - 0.5],
            [uy, ux, a[1] + 0.5 * uy + (0.5 - half) * ux - 0.5],
        ]
    )
    flags, size = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, (round(length), 2 * half)
    out = cv2.warpAffine(image.astype(np.float32), matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32).reshape(2 * half, round(length), -1)


def _body_share(strip: NDArray[np.float32]) -> NDArray[np.float64]:
    """How much of each pixel is plug rather than ground, 0 to 1, from the colours of both: for a patterned ground."""
    rows = strip.shape[0]
    ground = strip[: max(3, rows // 8)].reshape(-1, strip.shape[2]).astype(np.float64)
    body = strip[rows * 2 // 3 :].reshape(-1, strip.shape[2]).astype(np.float64)
    # Fisher's linear discriminant: the direction in colour that parts the two best, whatever rag the plug lies on.
    spread = np.cov(ground.T) + np.cov(body.T) + np.eye(strip.shape[2]) * 4.0
    way = np.linalg.solve(np.atleast_2d(spread), np.median(body, axis=0) - np.median(ground, axis=0))
    low, high = float(np.median(ground @ way)), float(np.median(body @ way))
    parted = (high - low) / math.sqrt((float(np.var(ground @ way)) + float(np.var(body @ way))) / 2 + 1e-12)
    if high <= low or parted < LEAST_PARTED:
        raise StillError(_NO_CONTRAST)
    share: NDArray[np.float64] = np.clip((strip.astype(np.float64) @ way - low) / (high - low), 0.0, 1.0)
    return share


_Trace = tuple[NDArray[np.float64], NDArray[np.float64]]


def _trace_by_split(strip: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    # In each column the split into ground above and body below with the least misfit; a speck of the rag or a dark
    # root of the thread does not move it, as it would move a first crossing.
    share = _body_share(strip)
    misfit = np.cumsum(share - 0.5, axis=0)
    at = misfit.argmin(axis=0) + 1
    good = (at > 1) & (at < share.shape[0] - 1)
    at = np.clip(at, 1, share.shape[0] - 1)
    i = np.arange(share.shape[1])
    before, after = share[at - 1, i], share[at, i]
    # Boundary pixels are partly covered: row `at` begins at edge coordinate `at`, its centre is half a pixel further.
    edge = at + (0.5 - before) / np.maximum(after - before, 1e-3) - 0.5
    good &= (after - before) > 0.05
    return edge.astype(np.float64), good


def _trace_by_step(strip: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    # The unbroken path along the strip over the steepest steps across it, lighter or darker: grooves run across the
    # path, and a shadow on plain paper is soft, so nothing else steps there. The square root evens photon noise out.
    calm = cv2.GaussianBlur(np.sqrt(strip), (0, 0), 1.2)
    step = np.linalg.norm(np.atleast_3d(calm[2:] - calm[:-2]), axis=2).astype(np.float64)
    rows = step.shape[0]
    outer = max(2, rows // 20)
    noise = float(np.median(step[outer : max(outer + 1, rows // 8)])) + 1e-6
    step[:outer] = 0
    step[rows * 3 // 5 :] = 0
    at = _steepest_path(np.minimum(step / noise, _STEEP))
    at = np.clip(at, 1, rows - 2)
    i = np.arange(step.shape[1])
    before, peak, after = (step[at + k, i] for k in (-1, 0, 1))
    bend = before - 2 * peak + after
    part = np.where(bend < -1e-6, 0.5 * (before - after) / np.minimum(bend, -1e-6), 0.0)
    return at + 1.5 + np.clip(part, -0.5, 0.5), peak > 2 * noise


def _steepest_path(gain: NDArray[np.float64]) -> NDArray[np.intp]:
    """The row in each column of the path from left to right of most gain, at most three rows up or down a column."""
    rows, columns = gain.shape
    cost = _TURN * np.abs(np.arange(-_JUMP, _JUMP + 1))
    padded = np.full(rows + 2 * _JUMP, -np.inf)
    total = padded[_JUMP : _JUMP + rows]
    reached = np.lib.stride_tricks.sliding_window_view(padded, 2 * _JUMP + 1)
    total[:] = gain[:, 0]
    came = np.zeros((columns, rows), np.intp)
    every = np.arange(rows)
    for column in range(1, columns):
        tries = reached - cost
        best = tries.argmax(axis=1)
        came[column] = best - _JUMP
        total[:] = tries[every, best] + gain[:, column]
    path = np.zeros(columns, np.intp)
    path[-1] = int(total.argmax())
    for column in range(columns - 1, 0, -1):
        path[column - 1] = path[column] + came[column, path[column]]
    return path


def _misfits(traces: list[_Trace], periods: NDArray[np.float64]) -> NDArray[np.float64]:
    """What a straight line and two harmonics of each period leave of the traces, (n,) sums of squares."""
    total = np.zeros(len(periods))
    for x, y in traces:
        turn = np.exp(2j * math.pi * x / periods[:, None])
        run, level = (x - x.mean()) / np.ptp(x), y - y.mean()
        plain = np.broadcast_to(np.stack([np.ones_like(run), run]), (len(periods), 2, len(x)))
        waves = np.stack([turn.real, turn.imag, (turn**2).real, (turn**2).imag], axis=1)
        design = np.concatenate([plain, waves], axis=1)
        meets = design @ level
        gram = design @ design.transpose(0, 2, 1) + 1e-9 * len(x) * np.eye(6)
        total += level @ level - (meets * np.linalg.solve(gram, meets[..., None])[..., 0]).sum(axis=1)
    return np.maximum(total, 0.0)


def _misfit(traces: list[_Trace], period: float) -> float:
    return float(_misfits(traces, np.array([period]))[0])


def from_thread(
    image: Picture,
    first: Pair,
    second: Pair,
    thread: Thread,
    *,
    half_width: float,
    distance_mm: float | None = None,
) -> ThreadScale:
    """A scale in the plane of the thread's axis.

    Parameters
    ----------
    image : ndarray
        The still, colour or grey ``uint8``; the plug on a plain ground, lighter or darker than it.
    first, second : (x, y)
        Two clicks on the axis, at both ends of the threaded part.
    thread : Thread
        Which thread it is.
    half_width : float
        Pixels from the axis to plain ground on both sides, beyond the crests.
    distance_mm : float, optional
        Camera to plug; 150 mm are assumed for the uncertainty when it is not given.

    Raises
    ------
    StillError
        When no outline, no steady period, or fewer than four turns are found.
    """
    length, half = math.dist(first, second), math.ceil(half_width)
    if length < 24 or half < 8:
        raise StillError("the thread is too small in this still; come nearer or use the camera's full size")
    strip = _strip(image, first, second, half)
    sides = [_steadiest(side) for side in (strip[:half], strip[half:][::-1])]
    threads = [side for side in sides if isinstance(side, _Outline)]
    if not threads:
        raise next(side for side in sides if isinstance(side, StillError))
    # Two outlines of one thread have one period; an outline that says otherwise, or is in the dark, is left out.
    best = max(threads, key=lambda t: t.steady)
    threads = [t for t in threads if t.steady >= _STEADY and abs(t.period / best.period - 1) < 0.02] or [best]
    traces = [(t.x, t.y) for t in threads]
    period = _refined(traces, best.period, ((0.006, 31), (0.0006, 31)))
    turns = strip.shape[1] / period
    plain, points = sum(t.plain for t in threads), sum(t.x.size for t in threads)
    steady = 1 - _misfit(traces, period) / max(plain, 1e-9)
    swing = math.sqrt(2 * plain / max(1, points))
    # The profile is 0.54 pitches deep; an edge that waves less than a tenth of that is no thread.
    if turns < FEWEST_TURNS or steady < _STEADY or swing < 0.03 * period:
        raise StillError(
            "no steady thread in the outline; click along the axis from the first to the last full turn"
        )
    # An axis clicked at a slant shortens the period; both outlines lean against it by that slant.
    lean = sum(t.slope * (1 if t is sides[0] else -1) for t in threads) / len(threads)
    axis_period = period * math.hypot(1.0, lean)
    noise = math.sqrt(_misfit(traces, period) / max(1, points - 6 * len(threads)))
    # Frequency of a sine in noise: var(w) = 24 s^2 / (A^2 N^3) (Rife and Boorstyn 1974), for each outline.
    size = points / len(threads)
    u_period = (
        period / (2 * math.pi) * math.sqrt(24.0 / len(threads) / size**3) * noise / max(swing, 1e-6) * period
    )
    away = distance_mm or _ASSUMED_DISTANCE_MM
    u = math.hypot(u_period / period, 2.0 / away)
    s = thread.pitch / axis_period
    rests = (
        f"{thread.name}: {turns:.1f} turns of {thread.pitch:g} mm in the outline",
        f"camera {away:.0f} mm away" + ("" if distance_mm else " (assumed)"),
        *(("one of the two outlines only",) if len(threads) == 1 else ()),
    )
    scale = Scale(
        (s, 0.0, 0.0, 0.0, s, 0.0, 0.0, 0.0, 1.0), u, "in the plane of the thread's axis", rests, True
    )
    crest = 2 * (half - sum(t.crest for t in threads) / len(threads)) / math.hypot(1.0, lean)
    return ThreadScale(scale, axis_period, turns, steady, crest)


@dataclass(frozen=True, slots=True, eq=False)
class _Outline:
    """One outline as traced (x along the axis, y across), and how much of its waviness one period explains."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    slope: float
    crest: float
    period: float
    plain: float
    steady: float


def _steadiest(side: NDArray[np.float32]) -> _Outline | StillError:
    """The outline by whichever way of telling plug from ground gives the steadier thread, or why there is none."""
    tries = [_outline(side, trace) for trace in (_trace_by_split, _trace_by_step)]
    found = [t for t in tries if isinstance(t, _Outline)]
    return max(found, key=lambda t: t.steady) if found else tries[0]


def _outline(
    side: NDArray[np.float32],
    trace: Callable[[NDArray[np.float32]], tuple[NDArray[np.float64], NDArray[np.bool_]]],
) -> _Outline | StillError:
    try:
        edge, good = trace(side)
        x = np.flatnonzero(good).astype(np.float64)
        y = edge[good]
        if x.size < 0.6 * side.shape[1]:
            raise StillError("the outline of the thread is broken; click inside its ends, on plain ground")
        off = y - np.polyval(np.polyfit(x, y, 1), x)
        keep = np.abs(off) < 4 * max(0.3, float(np.median(np.abs(off))) * 1.5)
        x, y = x[keep], y[keep]
        period = _period((x, y), side.shape[1])
    except StillError as error:
        return error
    line = np.polyfit(x, y, 1)
    plain = float(np.sum((y - np.polyval(line, x)) ** 2))
    steady = 1 - _misfit([(x, y)], period) / max(plain, 1e-9)
    return _Outline(x, y, float(line[0]), float(np.percentile(y, 12)), period, plain, steady)


def _period(trace: _Trace, length: int) -> float:
    x, y = trace
    size = 1 << (4 * length - 1).bit_length()
    even = np.interp(np.arange(length), x, y - np.polyval(np.polyfit(x, y, 2), x))
    power = np.abs(np.fft.rfft(even * np.hanning(length), size)) ** 2
    low, high = math.ceil(size * 3 / length), size // 5
    if high <= low + 2:
        raise StillError("the thread is too small in this still; come nearer or use the camera's full size")
    return _refined([trace], size / (low + int(power[low:high].argmax())), ((0.12, 61), (0.006, 31)))


def _refined(traces: list[_Trace], period: float, sweeps: tuple[tuple[float, int], ...]) -> float:
    """The period of least misfit within some share of a first guess, finer and finer."""
    for width, steps in sweeps:
        tries = period * np.linspace(1 - width, 1 + width, steps)
        period = float(tries[int(_misfits(traces, tries).argmin())])
    return period
