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

VERSION = "2"
# Half the usual widths of a nickel centre electrode (2.5 mm) and of a ground strap (2.7 mm): common practice.
_CENTRE_HALF_MM, _STRAP_HALF_MM = 1.25, 1.35
_ASSUMED_DISTANCE_MM = 150.0
_FINE = 4
_TILTS = np.tan(np.radians(np.arange(-24.0, 24.1, 1.5)))
_SMOOTH_PX = 0.7
# An edge is the innermost step that is at least this share of the greatest one and leaves the ground's own spread.
_SHARE, _APART, _LEAST_STEP = 0.15, 2.5, 0.25
# Noise of a sensor that a flat ground may hide, in levels of 255.
_FLOOR_LEVELS = 2.5


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
    edge_px: float = 0.7,
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
    edges = _edges(image, rough)
    if edges is None:
        raise StillError("an edge of the gap does not stand out; put the edges by hand")
    edges = _edges(image, edges) or edges
    width = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    if width < 2:
        raise StillError("the gap is closed or under two pixels; take a closer photograph")
    if scale is None:
        return gap_between(edges, None)
    aside = _aside(image, edges) / scale.px_per_mm / (distance_mm or _ASSUMED_DISTANCE_MM)
    hidden = aside * (_CENTRE_HALF_MM + _STRAP_HALF_MM)
    if distance_mm is None:
        # Between nothing and twice what the usual distance hides, most likely what it hides.
        return gap_between(edges, scale, aside_error_mm=hidden)
    # The strap's flank may be taken for the ground or for the front: half its width as seen, one time in three wrong.
    return gap_between(edges, scale, seen_aside_mm=hidden, aside_error_mm=aside * _STRAP_HALF_MM * 0.6)


def _aside(image: Picture, edges: Line) -> float:
    """How far the gap lies from the middle of the frame along its own direction, px."""
    width = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    x = (edges.x1 + edges.x2 - image.shape[1]) / 2 * (edges.x2 - edges.x1)
    y = (edges.y1 + edges.y2 - image.shape[0]) / 2 * (edges.y2 - edges.y1)
    return float(abs(x + y) / width)


def _edges(image: Picture, line: Line) -> Line | None:
    """Both faces of the gap as parallel edges, and the shortest line between them; None where one is not seen."""
    length = float(np.hypot(line.x2 - line.x1, line.y2 - line.y1))
    reach, half = float(np.clip(0.5 * length, 6, 30)), float(np.clip(0.6 * length, 6, 16))
    start = reach + half * float(_TILTS[-1])
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
    ground = _ground(strip[:, (at > 0.3 * length) & (at < 0.7 * length)])
    ends = []
    for sign, inside in zip((-1, 1), windows, strict=True):
        found = _innermost(profiles[best], steps[best], inside, sign, ground)
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


def _ground(inner: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Colour of what is seen through the gap, and the inverse of how it spreads."""
    colours = inner.reshape(-1, 3).astype(np.float64)
    middle = np.median(colours, axis=0)
    hidden = (_FLOOR_LEVELS / (2 * max(float(middle.mean()), 3.0))) ** 2
    return middle, np.asarray(np.linalg.inv(np.cov(colours.T) + np.eye(3) * hidden), np.float64)


def _innermost(
    profile: NDArray[np.float32],
    step: NDArray[Any],
    inside: NDArray[np.intp],
    sign: int,
    ground: tuple[NDArray[np.float64], NDArray[np.float64]],
) -> float | None:
    """The first step, from the gap outwards, that leads from the ground to something else; in fine samples."""
    middle, spread = ground
    least = _SHARE * float(step[inside].max())
    last = len(profile) - 1

    def mean(near: float, far: float, k: int) -> NDArray[np.float64]:
        spots = k + sign * np.arange(round(near * _FINE), round(far * _FINE) + 1)
        return np.asarray(profile[np.clip(spots, 0, last)].mean(axis=0), np.float64)

    for k in inside[1:-1]:
        if not (step[k] >= max(least, step[k - 1]) and step[k] > step[k + 1]):
            continue
        beyond, before = mean(0.75, 2.5, k), mean(-2.5, -0.75, k)
        off = beyond - middle
        apart = float(np.sqrt(off @ spread @ off))
        jump = float(np.linalg.norm(beyond - before))
        if apart >= _APART and jump >= max(_LEAST_STEP, 0.5 * float(np.linalg.norm(off))):
            bend = step[k - 1] - 2 * step[k] + step[k + 1]
            return float(k + 0.5 * (step[k - 1] - step[k + 1]) / bend)
    return None
