"""A thread of known pitch as a scale, read off its outline.

The threads that face the camera are nearer than the axis by half the diameter, which makes a scale taken from them up
to a tenth too large; the outline lies in the plane of the axis. So the outline is traced, not the shading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Pair
from borelog.stills import StillError
from borelog.stills.planes import Picture
from borelog.stills.scale import Scale

FEWEST_TURNS = 4.0
LEAST_PARTED = 1.5
_ASSUMED_DISTANCE_MM = 150.0


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
    """How much of each pixel is plug rather than ground, 0 to 1, from colour and lightness together."""
    rows = strip.shape[0]
    ground = strip[: max(3, rows // 8)].reshape(-1, strip.shape[2]).astype(np.float64)
    body = strip[rows * 2 // 3 :].reshape(-1, strip.shape[2]).astype(np.float64)
    # Fisher's linear discriminant: the direction in colour that parts the two best, whatever rag the plug lies on.
    spread = np.cov(ground.T) + np.cov(body.T) + np.eye(strip.shape[2]) * 4.0
    way = np.linalg.solve(np.atleast_2d(spread), np.median(body, axis=0) - np.median(ground, axis=0))
    low, high = float(np.median(ground @ way)), float(np.median(body @ way))
    parted = (high - low) / math.sqrt((float(np.var(ground @ way)) + float(np.var(body @ way))) / 2 + 1e-12)
    if high <= low or parted < LEAST_PARTED:
        raise StillError("the thread does not stand out from its background; lay the plug on plain paper")
    share: NDArray[np.float64] = np.clip((strip.astype(np.float64) @ way - low) / (high - low), 0.0, 1.0)
    return share


def _trace(strip: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
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


def _design(x: NDArray[np.float64], period: float) -> NDArray[np.float64]:
    w = 2 * math.pi * x / period
    return np.column_stack([np.ones_like(x), x, np.cos(w), np.sin(w), np.cos(2 * w), np.sin(2 * w)])


def _misfit(traces: list[tuple[NDArray[np.float64], NDArray[np.float64]]], period: float) -> float:
    total = 0.0
    for x, y in traces:
        a = _design(x, period)
        left = y - a @ np.linalg.lstsq(a, y, rcond=None)[0]
        total += float(left @ left)
    return total


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
    traces: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    slopes: list[float] = []
    mids: list[float] = []
    for side in (strip[:half], strip[half:][::-1]):
        edge, good = _trace(side)
        x = np.flatnonzero(good).astype(np.float64)
        y = edge[good]
        if x.size < 0.6 * strip.shape[1]:
            raise StillError("the outline of the thread is broken; click inside its ends, on plain ground")
        line = np.polyfit(x, y, 1)
        off = y - np.polyval(line, x)
        keep = np.abs(off) < 4 * max(0.3, float(np.median(np.abs(off))) * 1.5)
        traces.append((x[keep], y[keep]))
        slopes.append(float(np.polyfit(x[keep], y[keep], 1)[0]))
        mids.append(float(np.percentile(y[keep], 12)))
    period = _period(traces, strip.shape[1])
    turns = strip.shape[1] / period
    plain = sum(float(np.sum((y - np.polyval(np.polyfit(x, y, 1), x)) ** 2)) for x, y in traces)
    steady = 1 - _misfit(traces, period) / max(plain, 1e-9)
    x, _ = traces[0]
    swing = math.sqrt(2 * plain / max(1, 2 * x.size))
    # The profile is 0.54 pitches deep; an edge that waves less than a tenth of that is no thread.
    if turns < FEWEST_TURNS or steady < 0.5 or swing < 0.03 * period:
        raise StillError(
            "no steady thread in the outline; click along the axis from the first to the last full turn"
        )
    # An axis clicked at a slant shortens the period; the two outlines lean the same way then.
    lean = (slopes[0] - slopes[1]) / 2
    axis_period = period * math.hypot(1.0, lean)
    noise = math.sqrt(_misfit(traces, period) / max(1, 2 * x.size - 12))
    # Frequency of a sine in noise: var(w) = 24 s^2 / (A^2 N^3) (Rife and Boorstyn 1974), two outlines.
    u_period = period / (2 * math.pi) * math.sqrt(12.0 / x.size**3) * noise / max(swing, 1e-6) * period
    away = distance_mm or _ASSUMED_DISTANCE_MM
    u = math.hypot(u_period / period, 2.0 / away)
    s = thread.pitch / axis_period
    rests = (
        f"{thread.name}: {turns:.1f} turns of {thread.pitch:g} mm in the outline",
        f"camera {away:.0f} mm away" + ("" if distance_mm else " (assumed)"),
    )
    scale = Scale(
        (s, 0.0, 0.0, 0.0, s, 0.0, 0.0, 0.0, 1.0), u, "in the plane of the thread's axis", rests, True
    )
    crest = (2 * half - mids[0] - mids[1]) / math.hypot(1.0, lean)
    return ThreadScale(scale, axis_period, turns, steady, crest)


def _period(traces: list[tuple[NDArray[np.float64], NDArray[np.float64]]], length: int) -> float:
    power = np.zeros(0)
    size = 1 << (4 * length - 1).bit_length()
    for x, y in traces:
        even = np.interp(np.arange(length), x, y - np.polyval(np.polyfit(x, y, 2), x))
        spectrum = np.abs(np.fft.rfft(even * np.hanning(length), size)) ** 2
        power = spectrum if power.size == 0 else power + spectrum
    low, high = math.ceil(size * 3 / length), size // 5
    if high <= low + 2:
        raise StillError("the thread is too small in this still; come nearer or use the camera's full size")
    coarse = size / (low + int(power[low:high].argmax()))
    for width, steps in ((0.12, 61), (0.006, 31), (0.0006, 31)):
        tries = coarse * np.linspace(1 - width, 1 + width, steps)
        coarse = float(tries[int(np.argmin([_misfit(traces, float(p)) for p in tries]))])
    return coarse
