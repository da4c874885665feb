"""Where two aligned stills differ: a tolerant log-ratio map and its strongest regions.

The map says 'different', never 'damaged': dirt, oil, light and carbon that has moved differ as well. A region becomes
a finding only when a person accepts it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from borelog.marks.shapes import Box, Polygon
from borelog.stills import StillError
from borelog.stills.planes import Bits, Picture, Plane, blur, fitted, log_luma, picture, wide_blur
from borelog.stills.ssim import ssim

METHOD, VERSION = "tolerant log-ratio", "2"
THRESHOLD = 3.0
THRESHOLD_RANGE = (2.0, 6.0)
MOST_REGIONS = 10
CAUSES = "dirt, oil, light and carbon that has moved differ as well; look before you believe"

_LONGEST = 1280
_GROW = 0.9
_LEAST_PX = 14
_JOIN_PX = 9
_MARGIN = 1 / 80
# Wider than a missing piece at 1280 pixels, or the piece itself would be taken for a change of light.
_LIGHT_SIGMA = 60.0
_FINE_SIGMA, _SAME_CONTRAST, _FEWEST = 25.0, 0.08, 200


@dataclass(frozen=True, slots=True)
class Region:
    """One place where the pictures differ.

    Attributes
    ----------
    rank : 1 is the strongest
    box : round the region in the later picture's pixels, with a margin so that the drawn box hides nothing
    outline : the region itself, in the later picture's pixels
    score : peak of the map inside (the threshold is on the same scale)
    area_px : covered pixels of the later picture
    lighter : whether the place became lighter
    """

    rank: int
    box: Box
    outline: Polygon
    score: float
    area_px: float
    lighter: bool

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        b = self.box
        return {
            "rank": self.rank,
            "what": "different, lighter" if self.lighter else "different, darker",
            "box": [round(v, 1) for v in (b.x, b.y, b.width, b.height)],
            "outline": [[round(x, 1), round(y, 1)] for x, y in self.outline.points],
            "score": round(self.score, 2),
            "area_px": round(self.area_px, 1),
        }


@dataclass(frozen=True, slots=True, eq=False)
class ChangeMap:
    """What differs between two aligned pictures.

    Attributes
    ----------
    score : (h, w) float32, 0 where nothing differs beyond the tolerance; working size, see ``scale``
    darker : (h, w) bool, where the later picture is darker
    scale : working pixels per picture pixel (1 unless the longer side is over 1280)
    regions : at most ten, strongest first, at ``threshold``
    found : how many regions there are at ``threshold`` before the cap
    ssim : mean structural similarity, a number to report only
    mean_change : mean change of brightness in percent after the light has been levelled
    """

    score: Plane
    darker: Bits
    scale: float
    threshold: float
    regions: tuple[Region, ...]
    found: int
    ssim: float
    mean_change: float

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON, without the map itself."""
        return {
            "method": METHOD,
            "version": VERSION,
            "threshold": self.threshold,
            "regions": [r.as_dict() for r in self.regions],
            "found": self.found,
            "ssim": None if np.isnan(self.ssim) else round(self.ssim, 4),
            "mean_change_percent": round(self.mean_change, 2),
            "note": CAUSES,
        }


def change_score(
    before: Picture, after: Picture, reach: int = 2, seen: Bits | None = None
) -> tuple[Plane, Bits, float]:
    """The change map alone.

    Both pictures in log luma, slightly blurred; the slow part of their difference (light, exposure) is given to the
    earlier one; where a camera's gamma or black level made one picture flatter, both get one contrast; what still lies outside the other picture's local minimum to maximum within ``reach`` pixels is
    change; it is divided by the local activity, so that busy metal does not shout.

    Parameters
    ----------
    before, after : (H, W, 3) uint8 of one size, aligned to about ``reach`` pixels
    reach : int
        Misalignment in pixels that is forgiven.
    seen : (H, W) bool, optional
        Where there are two pictures to compare; the contrast is matched there.

    Returns
    -------
    score : (H, W) float32
    darker : (H, W) bool
    mean_change : float, percent
    """
    if before.shape[:2] != after.shape[:2]:
        raise StillError("the two pictures differ in size; compare aligns them, change_map does not")
    old, new = blur(log_luma(before), 1.0), blur(log_luma(after), 1.0)
    old -= wide_blur(old - new, _LIGHT_SIGMA)
    old, new = _of_one_contrast(old, new, seen)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    rise = np.maximum(new - cv2.dilate(old, kernel), cv2.erode(new, kernel) - old)
    fall = np.maximum(cv2.erode(old, kernel) - new, old - cv2.dilate(new, kernel))
    outside = np.maximum(np.maximum(rise, fall), 0)
    score = outside / (0.5 * (_activity(old) + _activity(new)) + 0.06)
    mean_change = float(np.expm1(np.abs(old - new).mean())) * 100
    return score.astype(np.float32), np.asarray(fall > rise), mean_change


def _of_one_contrast(old: Plane, new: Plane, seen: Bits | None) -> tuple[Plane, Plane]:
    """Both planes with their fine part scaled to one contrast, each going half the way.

    A gamma or a raised black multiplies the contrast of the log by one factor. It is the slope between the two fine parts,
    by their principal axis, with the tenth that fits worst left out each time: what has changed has no say.
    """
    # Every fourth pixel each way tells the slope; the full planes are touched only where there is something to do.
    thin = [np.ascontiguousarray(plane[::4, ::4]) for plane in (old, new)]
    a, b = ((plane - wide_blur(plane, _FINE_SIGMA / 4, 2)).ravel() for plane in thin)
    if seen is not None:
        kept = seen[::4, ::4].ravel()
        a, b = a[kept], b[kept]
    ratio = 1.0
    for _ in range(3):
        if len(a) < _FEWEST:
            return old, new
        ratio = float(np.clip(np.sqrt((b @ b + 1e-6) / (a @ a + 1e-6)), 0.25, 4.0))
        miss = np.abs(a * np.sqrt(ratio) - b / np.sqrt(ratio))
        fits = miss <= np.quantile(miss, 0.9)
        a, b = a[fits], b[fits]
    if abs(np.log(ratio)) < _SAME_CONTRAST:
        return old, new
    half = np.float32(np.sqrt(ratio))
    slow_old, slow_new = wide_blur(old, _FINE_SIGMA), wide_blur(new, _FINE_SIGMA)
    return slow_old + (old - slow_old) * half, slow_new + (new - slow_new) / half


def _activity(plane: Plane) -> Plane:
    fine = plane - cv2.blur(plane, (9, 9))
    return np.sqrt(wide_blur(np.asarray(fine * fine, np.float32), 16.0))


def regions_of(
    score: Plane,
    darker: Bits,
    threshold: float = THRESHOLD,
    scale: float = 1.0,
    most: int = MOST_REGIONS,
) -> tuple[tuple[Region, ...], int]:
    """Regions of a change map at a threshold: hysteresis, near fragments joined, strongest first.

    Parameters
    ----------
    score, darker : (H, W)
        As from `change_score`.
    threshold : float
        Peak a region must reach; its extent is where the map is over 0.9.
    scale : float
        Working pixels per picture pixel.
    most : int
        How many are kept.

    Returns
    -------
    (tuple of Region, int)
        The kept regions in picture pixels, and how many there are in all.
    """
    low = (score > _GROW).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(low, connectivity=8)
    peak = np.zeros(count, np.float32)
    where: Any = labels[low > 0]
    np.maximum.at(peak, where, score[low > 0])
    good = (peak >= threshold) & (stats[:, cv2.CC_STAT_AREA] >= _LEAST_PX)
    good[0] = False
    kept = good[labels].astype(np.uint8)
    joined = cv2.dilate(kept, np.ones((_JOIN_PX, _JOIN_PX), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    raw: list[tuple[float, int, tuple[slice, slice]]] = []
    for i in range(1, count):
        x, y, w, h = (int(v) for v in stats[i, :4])
        window = (slice(y, y + h), slice(x, x + w))
        inside = (labels[window] == i) & (kept[window] > 0)
        raw.append((float(score[window][inside].max()), i, window))
    raw.sort(key=lambda r: (-r[0], r[1]))
    margin = max(6.0, _MARGIN * min(score.shape))
    out = [
        _region(rank, strength, (labels[w] == i) & (kept[w] > 0), w, darker, score, margin, scale)
        for rank, (strength, i, w) in enumerate(raw[:most], 1)
    ]
    return tuple(out), len(raw)


def _region(
    rank: int,
    strength: float,
    inside: Bits,
    window: tuple[slice, slice],
    darker: Bits,
    score: Plane,
    margin: float,
    scale: float,
) -> Region:
    top, left = window[0].start, window[1].start
    ys, xs = np.nonzero(inside)
    height, width = score.shape
    x1, x2 = max(0.0, left + xs.min() - margin), min(float(width), left + xs.max() + 1 + margin)
    y1, y2 = max(0.0, top + ys.min() - margin), min(float(height), top + ys.max() + 1 + margin)
    closed = cv2.morphologyEx(
        np.pad(inside, _JOIN_PX).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((_JOIN_PX, _JOIN_PX), np.uint8)
    )
    contours: Any = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
    hull = cv2.approxPolyDP(max(contours, key=cv2.contourArea), 0.7, True)[:, 0]
    points = tuple(
        ((float(x) - _JOIN_PX + left + 0.5) / scale, (float(y) - _JOIN_PX + top + 0.5) / scale)
        for x, y in hull
    )
    weight = score[window][inside]
    fallen = float((weight * darker[window][inside]).sum()) > 0.5 * float(weight.sum())
    return Region(
        rank,
        Box(x1 / scale, y1 / scale, (x2 - x1) / scale, (y2 - y1) / scale),
        Polygon(points),
        strength,
        len(xs) / scale**2,
        not fallen,
    )


def change_map(
    before: Picture,
    after: Picture,
    threshold: float = THRESHOLD,
    covered: Bits | None = None,
    reach: int = 2,
) -> ChangeMap:
    """Map, ranked regions and numbers for two pictures that lie on each other.

    Pictures that do not lie on each other go through `borelog.stills.compare.compare`, which aligns them first.

    Parameters
    ----------
    before, after : (H, W, 3) uint8 of one size
    threshold : float
        2 (many regions) to 6 (few); on 57 hand-drawn pits of an open set of worn metal 3 is a fair start.
    covered : (H, W) bool, optional
        Where ``before`` has content; nothing is claimed elsewhere.
    reach : int
        Misalignment in working pixels that is forgiven.
    """
    before, after = picture(before), picture(after)
    if before.shape != after.shape:
        raise StillError("the two pictures differ in size; compare aligns them, change_map does not")
    small_before, scale = fitted(before, _LONGEST)
    small_after, _ = fitted(after, _LONGEST)
    if covered is None:
        seen = None
    else:
        size = (small_after.shape[1], small_after.shape[0])
        bits = cv2.resize(covered.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        seen = cv2.erode(bits, np.ones((9, 9), np.uint8), borderValue=1) > 0
        # Outside the earlier picture there is nothing to compare with: it borrows the later one's pixels.
        small_before = np.where(seen[:, :, None], small_before, small_after)
    score, darker, mean_change = change_score(small_before, small_after, reach, seen)
    if seen is not None:
        score = np.where(seen, score, np.float32(0))
        mean_change /= max(float(seen.mean()), 1e-6)
    regions, found = regions_of(score, darker, threshold, scale)
    return ChangeMap(
        score,
        darker,
        scale,
        threshold,
        regions,
        found,
        ssim(small_before, small_after, seen),
        mean_change,
    )


def with_threshold(change: ChangeMap, threshold: float) -> ChangeMap:
    """The same map read at another threshold (the slider); the map is not computed again."""
    regions, found = regions_of(change.score, change.darker, threshold, change.scale)
    return ChangeMap(
        change.score, change.darker, change.scale, threshold, regions, found, change.ssim, change.mean_change
    )
