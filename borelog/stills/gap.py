"""The electrode gap of a plug in a photograph: both edges, found along the whole width of the gap.

The strap is as wide as the centre electrode, so seen from aside one edge of each stands before the other and the gap
looks narrower than it is: by its place in the frame times half the two widths over the camera's distance. With the
distance that is put right; without it, it is in the error.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Line
from borelog.stills import StillError
from borelog.stills.planes import Picture, picture
from borelog.stills.plug_photo import PlugScale

VERSION = "3"
# Half the usual widths of a nickel centre electrode (2.5 mm) and of a ground strap (2.7 mm): common practice.
_CENTRE_HALF_MM, _STRAP_HALF_MM = 1.25, 1.35
# A centre electrode is taken for a fine wire where both its flanks are seen within so much of its middle.
_FINE_WIRE_MM = 0.8
_ASSUMED_DISTANCE_MM = 150.0
_FINE = 4
_TILTS = np.tan(np.radians(np.arange(-24.0, 24.1, 1.5)))
_SMOOTH_PX = 0.7
# What is seen through the gap is taken from a third of the rough line's length inside its ends, then from two pixels
# inside the edges found: a straight line through it, as shade runs across a gap; its slope is a level or so a pixel.
# Of fewer than three pixels only the mean is taken.
_INSIDE_SHARE, _INSIDE_PX, _SLOPE, _FEW_PX = 1 / 3, 2.0, 0.3, 3.0
# Noise that a flat ground may hide, in square roots of levels.
_FLOOR = 0.05
# A step is judged by what lies two pixels beyond it: so many times the ground's spread off it, at least so great a
# share of the greatest, and of what comes within five pixels more (less is the halo of a sharpened edge), and half of
# what it leads to must be the step itself.
_BEYOND_PX, _AHEAD_PX = 2.0, 5.0
_SHARE, _HALO, _STEP = 0.12, 0.2, 0.5
# A gap of a few pixels is all edge and shows its ground badly: where no step is sure, a likely one will do.
_APART = (8.0, 3.0)
# Standard error of an edge that was found, px: with it the stated error held for 107 of 109 drawn plugs, crusted and sooted
# ones among them; with 0.7 it held for 101. A hand puts an edge to 0.7.
_FOUND_PX, _SET_PX = 1.0, 0.7
# Brightness and two differences of colour from blue, green, red; lengths stay as they are.
_OPPONENT = np.array([[1, 1, 1], [-1, 0, 1], [-1, 2, -1]]) / np.sqrt([[3.0], [2.0], [6.0]])


@dataclass(frozen=True, slots=True)
class Gap:
    """An electrode gap with both its edges.

    Attributes
    ----------
    px, mm : width; mm is nan without a scale
    error_mm : about 95 %
    edges : the two edges, in picture pixels; drag them and measure again with `gap_between`
    seen_aside_mm : what the view from aside hid and was added; 0 where the camera's distance is not known
    """

    px: float
    mm: float
    error_mm: float
    edges: Line
    seen_aside_mm: float = 0.0

    def text(self) -> str:
        """The result in words."""
        if np.isnan(self.mm):
            return f"gap {self.px:.1f} px; no scale"
        aside = (
            f"{self.seen_aside_mm:.2f} mm of it hidden by the view from aside"
            if self.seen_aside_mm
            else "as seen: a gap away from the middle of the frame looks narrower than it is; give the camera's distance"
        )
        return (
            f"gap {self.mm:.2f} +- {self.error_mm:.2f} mm, {aside}; a worn tip, a fine-wire tip or a plug turned out "
            "of profile spoils it"
        )

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        e = self.edges
        return {
            "method": "innermost steps across the gap",
            "version": VERSION,
            "gap_px": round(self.px, 2),
            "gap_mm": None if np.isnan(self.mm) else round(self.mm, 4),
            "error_mm": None if np.isnan(self.mm) else round(self.error_mm, 4),
            "seen_aside_mm": round(self.seen_aside_mm, 4),
            "edges": [[round(e.x1, 2), round(e.y1, 2)], [round(e.x2, 2), round(e.y2, 2)]],
            "text": self.text(),
        }


def gap_between(
    edges: Line,
    scale: PlugScale | None,
    edge_px: float = _SET_PX,
    seen_aside_mm: float = 0.0,
    aside_error_mm: float = 0.0,
) -> Gap:
    """The gap between two edges as they are set, each good to ``edge_px``.

    Parameters
    ----------
    edges : the two edges, picture pixels
    scale : from `borelog.stills.plug_photo.thread_scale`; None gives pixels only
    edge_px : standard error of each edge, px
    seen_aside_mm : added to the width
    aside_error_mm : its standard error
    """
    width = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    if scale is None:
        return Gap(width, float("nan"), float("nan"), edges)
    mm = width / scale.px_per_mm + seen_aside_mm
    parts = (edge_px * np.sqrt(2) / scale.px_per_mm, mm * scale.error / scale.px_per_mm, aside_error_mm)
    return Gap(width, mm, 2 * float(np.linalg.norm(parts)), edges, seen_aside_mm)


def measure_gap(
    image: Picture, rough: Line, scale: PlugScale | None = None, distance_mm: float | None = None
) -> Gap:
    """The electrode gap near a line drawn from one electrode to the other.

    Parameters
    ----------
    image : (H, W, 3) uint8, the whole frame: its middle is taken for where the camera points
    rough : from about one edge to about the other; some pixels and degrees off do not matter
    scale : from `borelog.stills.plug_photo.thread_scale`
    distance_mm : camera to plug; without it the gap is given as seen

    Raises
    ------
    StillError
        When the edges cannot be found, or the gap is closed.
    """
    image = picture(image)
    if np.hypot(rough.x2 - rough.x1, rough.y2 - rough.y1) < 3:
        raise StillError("the gap is closed or under three pixels; take a closer photograph")
    edges = _edges(image, rough, _INSIDE_SHARE)
    if edges is None:
        raise StillError("an edge of the gap does not stand out; put the edges by hand")
    edges = _edges(image, edges, 0.0) or edges
    width = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    if width < 2:
        raise StillError("the gap is closed or under two pixels; take a closer photograph")
    if scale is None:
        return gap_between(edges, None)
    aside = _aside(image, edges) / scale.px_per_mm / (distance_mm or _ASSUMED_DISTANCE_MM)
    hidden = float(aside @ _half_widths(image, edges, scale.px_per_mm))
    if distance_mm is None:
        # Between nothing and twice what the usual distance hides, most likely what it hides.
        return gap_between(edges, scale, _FOUND_PX, aside_error_mm=hidden)
    # The strap's flank may be taken for the ground or for the front: half its width as seen, one time in three wrong.
    doubt = float(aside.mean()) * _STRAP_HALF_MM * 0.6
    return gap_between(edges, scale, _FOUND_PX, seen_aside_mm=hidden, aside_error_mm=doubt)


def _aside(image: Picture, edges: Line) -> NDArray[np.float64]:
    """How far each edge lies from the middle of the frame along the gap's own direction, px."""
    ends = np.array([[edges.x1, edges.y1], [edges.x2, edges.y2]])
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    return np.asarray(np.abs((ends - np.array([image.shape[1], image.shape[0]]) / 2) @ along), np.float64)


def _half_widths(image: Picture, edges: Line, px_per_mm: float) -> NDArray[np.float64]:
    """Half the width, towards the camera, of what ends at each edge, mm: of a round electrode as much as is seen."""
    usual = np.full(2, (_CENTRE_HALF_MM + _STRAP_HALF_MM) / 2)
    length = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    half = round(2 * _FINE_WIRE_MM * px_per_mm)
    band = _strip(image, edges, 0.8 * px_per_mm, half)
    at = (np.arange(band.shape[1]) + 0.5) / _FINE - 0.8 * px_per_mm
    ground = np.median(band[:, (at > 0.4 * length) & (at < 0.6 * length)], axis=(0, 1))
    for k, out in enumerate((-at, at - length)):
        part = band[:, (out > 0.25 * px_per_mm) & (out < 0.7 * px_per_mm)].mean(axis=1)
        off = np.linalg.norm(part - ground, axis=1)
        core = off[half - 1 : half + 1].min()
        bare = np.flatnonzero(off < 0.3 * core) + 0.5 - half
        left, right = bare[bare < 0], bare[bare > 0]
        if left.size and right.size:
            seen = (right.min() - left.max()) / 2 / px_per_mm
            usual[k] = seen if seen < _FINE_WIRE_MM else usual[k]
    return usual


def _edges(image: Picture, line: Line, inside_share: float) -> Line | None:
    """Both faces of the gap as parallel edges, and the shortest line between them; None where one is not seen."""
    length = float(np.hypot(line.x2 - line.x1, line.y2 - line.y1))
    reach, half = float(np.clip(0.5 * length, 6, 30)), float(np.clip(0.6 * length, 6, 16))
    start = reach + half * float(_TILTS[-1]) + _AHEAD_PX
    strip = _strip(image, line, start, half)
    at = (np.arange(strip.shape[1]) + 0.5) / _FINE - start
    windows = []
    for sign, spot in ((-1.0, 0.0), (1.0, length)):
        side = (at - spot) * sign
        inside = np.flatnonzero((side > -min(max(4.5, 0.3 * length), 0.45 * length)) & (side < 0.95 * reach))
        windows.append(inside if sign > 0 else inside[::-1])
    profiles = [_sheared(strip, tilt, half) for tilt in _TILTS]
    steps = [np.linalg.norm(np.gradient(p, axis=0), axis=1) for p in profiles]
    # The faces are parallel and straight: averaged along them, their steps are steepest.
    best = int(np.argmax([sum(s[w].max() for w in windows) for s in steps]))
    inset = min(max(_INSIDE_PX, inside_share * length), length / 2 - 1)
    ground = _ground(strip, profiles[best], at, (at >= inset) & (at <= length - inset))
    ends = []
    for sign, inside in zip((-1, 1), windows, strict=True):
        found = _innermost(profiles[best], inside, sign, ground)
        if found is None:
            return None
        ends.append((found + 0.5) / _FINE - start)
    if ends[1] <= ends[0]:
        return None
    tilt = float(_TILTS[best])
    across = np.array([1.0, -tilt]) / np.hypot(1.0, tilt)
    middle, width = np.array([(ends[0] + ends[1]) / 2, 0.0]), (ends[1] - ends[0]) / np.hypot(1.0, tilt)
    ux, uy = (line.x2 - line.x1) / length, (line.y2 - line.y1) / length
    spots = []
    for along, aside in (middle - across * width / 2, middle + across * width / 2):
        spots += [line.x1 + along * ux + aside * uy, line.y1 + along * uy - aside * ux]
    return Line(*(float(v) for v in spots))


def _strip(image: Picture, line: Line, start: float, half: float) -> NDArray[np.float32]:
    """The straightened band along a line from ``start`` px before it to as far behind, square root of the levels."""
    length = float(np.hypot(line.x2 - line.x1, line.y2 - line.y1))
    ux, uy = (line.x2 - line.x1) / length, (line.y2 - line.y1) / length
    t = (np.arange(round((length + 2 * start) * _FINE)) + 0.5)[None, :] / _FINE - start
    s = (np.arange(round(2 * half)) + 0.5)[:, None] - half
    x, y = line.x1 + t * ux + s * uy - 0.5, line.y1 + t * uy - s * ux - 0.5
    band = cv2.remap(image, np.float32(x), np.float32(y), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    return np.asarray(np.sqrt(band.astype(np.float32)), np.float32)


def _sheared(strip: NDArray[np.float32], tilt: float, half: float) -> NDArray[np.float32]:
    """Mean of the band along faces that lean by ``tilt``, (n, 3), slightly smoothed."""
    rows, columns = strip.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    x += (tilt * (y + np.float32(0.5 - half)) * _FINE).astype(np.float32)
    leaned = cv2.remap(strip, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mean = leaned.mean(axis=0, dtype=np.float32)[None]
    return np.asarray(cv2.GaussianBlur(mean, (0, 1), _SMOOTH_PX * _FINE, sigmaY=0.01)[0], np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """What is seen through the gap, drawn on as a straight line under both electrodes; arrays (n, 3)."""

    line: NDArray[np.float64]
    spread: NDArray[np.float64]


def _ground(
    strip: NDArray[np.float32],
    profile: NDArray[np.float32],
    at: NDArray[np.float64],
    inner: NDArray[np.bool_],
) -> _Ground:
    """The line through the ground (square roots of levels) and its spread, wider the farther it is drawn on."""
    x, y = at[inner], profile[inner].astype(np.float64)
    run = x - x.mean()
    # Neighbouring samples share their pixel: a square of the distance counts once a pixel.
    square = float(run @ run) / _FINE + 1e-9
    slope = run @ (y - y.mean(axis=0)) / (square * _FINE)
    left = (y - y.mean(axis=0) - run[:, None] * slope) @ _OPPONENT.T
    misfit = (left**2).mean(axis=0)
    # A slope that the few samples hardly bear is drawn less steeply.
    slope = slope / (1 + float(misfit.mean() + 1e-6) / square / _SLOPE**2)
    out = at - x.mean()
    if np.ptp(x) < _FEW_PX:
        slope, out = slope * 0, out * 0
    pixels = strip[:, inner].reshape(-1, 3) @ _OPPONENT.T
    grain = pixels.var(axis=0) / (strip.shape[0] / 2)
    spread = np.sqrt(misfit * (1 + out[:, None] ** 2 / square) + grain + _FLOOR**2)
    return _Ground(y.mean(axis=0) + out[:, None] * slope, spread)


def _innermost(
    profile: NDArray[np.float32], inside: NDArray[np.intp], sign: int, ground: _Ground
) -> float | None:
    """Where the first step, from the gap outwards, leads from the ground to something else; in fine samples.

    The step is found among square roots of levels, where noise is even, and placed among levels: half way between the
    ground and what lies two pixels beyond.
    """
    off = profile - ground.line
    last = len(profile) - 1

    def moved(values: NDArray[Any], px: float) -> NDArray[np.float64]:
        return np.asarray(values[np.clip(inside + sign * round(px * _FINE), 0, last)], np.float64)

    beyond = moved(off, _BEYOND_PX)
    size = np.linalg.norm(beyond, axis=1)
    jump = np.linalg.norm(beyond - moved(off, -_BEYOND_PX), axis=1)
    apart = np.linalg.norm(beyond @ _OPPONENT.T / moved(ground.spread, _BEYOND_PX), axis=1)
    ahead = [moved(off, _BEYOND_PX + px) - beyond for px in np.arange(0.5, _AHEAD_PX + 0.1, 0.5)]
    after = np.linalg.norm(np.stack(ahead), axis=2).max(axis=0)
    steep = np.linalg.norm(moved(off, 0.5) - moved(off, -0.5), axis=1)
    peak = np.concatenate([[False], (steep[1:-1] >= steep[:-2]) & (steep[1:-1] > steep[2:]), [False]])
    greatest = float(np.linalg.norm(moved(off, 0.0), axis=1).max())
    step = peak & (jump >= _STEP * size) & (jump >= _SHARE * greatest) & (size >= _HALO * after)
    k = next(
        (int((step & (apart > least)).argmax()) for least in _APART if (step & (apart > least)).any()), None
    )
    if k is None:
        return None
    levels = np.maximum(profile, 0) ** 2 - np.maximum(ground.line, 0) ** 2
    far = moved(levels, _BEYOND_PX)[k]
    share = moved(levels, 0.0) @ far / max(float(far @ far), 1e-9)
    near = range(max(0, k - 6), min(len(share) - 1, k + 6))
    crossed = [j for j in near if share[j] < 0.5 <= share[j + 1]]
    if not crossed:
        return float(inside[k])
    j = min(crossed, key=lambda i: abs(i - k))
    return float(inside[j] + sign * (0.5 - share[j]) / (share[j + 1] - share[j]))
