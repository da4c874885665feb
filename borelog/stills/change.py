"""Where two aligned stills differ: a tolerant log-ratio map and its strongest regions.

The map says 'different', never 'damaged': dirt, oil, light and carbon that has moved differ as well. A region becomes
a finding only when a person accepts it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Box, Polygon
from borelog.stills import StillError
from borelog.stills.planes import (
    Bits,
    Picture,
    Plane,
    blur,
    both,
    enlarged,
    fitted,
    log_luma,
    picture,
    shrunken_blur,
    wide_blur,
)
from borelog.stills.ssim import ssim

METHOD, VERSION = "tolerant log-ratio at two sizes", "3"
THRESHOLD = 3.0
THRESHOLD_RANGE = (2.0, 6.0)
MOST_REGIONS = 10
CAUSES = "dirt, oil, light and carbon that has moved differ as well; look before you believe"

_LONGEST = 1280
_GROW = 0.9
_LEAST_PX = 14
_BAND = 64
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
    earlier one; where a camera's gamma or black level made one picture flatter, both get one contrast. What still lies
    outside the other picture's local minimum to maximum within ``reach`` pixels is change; it is divided by the local
    activity, so that busy metal does not shout. The same is asked of both at half the size, where grain is averaged out
    and a faint change of some width stands out; the greater of the two counts.

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
    (old, old_half), (new, new_half) = both(_planes, before, after)
    flatter = _contrast(old, new, seen)
    coarse, _, _ = _one_size(old_half, new_half, flatter, max(1, reach // 2))
    score, darker, change = _one_size(old, new, flatter, reach)
    score = np.maximum(score, enlarged(coarse, *score.shape), out=score)
    return score, darker, float(np.expm1(change)) * 100


def _planes(image: Picture) -> tuple[Plane, Plane]:
    """Log luma, slightly blurred, and the same at half the size."""
    plane = blur(log_luma(image), 1.0)
    height, width = plane.shape
    small = cv2.resize(plane, (max(2, width // 2), max(2, height // 2)), interpolation=cv2.INTER_AREA)
    return plane, blur(np.asarray(small, np.float32), 1.0)


def _one_size(old: Plane, new: Plane, flatter: float, reach: int) -> tuple[Plane, Bits, float]:
    """Map, where the later plane is darker, and the mean change of the log, once light and contrast are made alike."""
    old = old - wide_blur(old - new, _LIGHT_SIGMA)
    if abs(np.log(flatter)) >= _SAME_CONTRAST:
        # Each goes half the way.
        half = np.float32(np.sqrt(flatter))
        slow_old, slow_new = wide_blur(old, _FINE_SIGMA), wide_blur(new, _FINE_SIGMA)
        old, new = slow_old + (old - slow_old) * half, slow_new + (new - slow_new) / half
    score, darker = _outside(old, new, reach)
    return score, darker, cv2.norm(old, new, cv2.NORM_L1) / old.size


def _outside(old: Plane, new: Plane, reach: int) -> tuple[Plane, Bits]:
    """How far one plane lies outside the other's local range, over the local activity; and where the new one is darker."""
    (old_low, old_high, old_busy), (new_low, new_high, new_busy) = both(
        lambda plane: _around(plane, reach), old, new
    )
    height, width = new.shape
    busy = enlarged(np.float32(0.5) * (old_busy + new_busy) + np.float32(0.06), height, width)
    score, darker = np.empty((height, width), np.float32), np.empty((height, width), np.bool_)

    # A band of rows at a time stays in the processor's cache.
    def bands(first: int) -> None:
        for top in range(first * _BAND, height, 2 * _BAND):
            rows = slice(top, top + _BAND)
            rise = np.maximum(new[rows] - old_high[rows], new_low[rows] - old[rows])
            fall = np.maximum(old_low[rows] - new[rows], old[rows] - new_high[rows])
            darker[rows] = fall > rise
            outside = np.maximum(np.maximum(rise, fall, out=rise), 0, out=rise)
            np.divide(outside, busy[rows], out=score[rows])

    both(bands, 0, 1)
    return score, darker


def _contrast(old: Plane, new: Plane, seen: Bits | None) -> float:
    """How many times the fine part of the later plane has the contrast of the earlier one's.

    A gamma or a raised black multiplies the contrast of the log by one factor. It is the slope between the two fine parts,
    by their principal axis, with the tenth that fits worst left out each time: what has changed has no say.
    """
    # Some ten thousand pixels tell the slope.
    apart = int(np.clip(min(old.shape) // 90, 1, 8))
    thin = [np.ascontiguousarray(plane[::apart, ::apart]) for plane in (old, new)]
    a, b = ((plane - wide_blur(plane, _FINE_SIGMA / apart, 1)).ravel() for plane in thin)
    if seen is not None:
        kept = seen[::apart, ::apart].ravel()
        a, b = a[kept], b[kept]
    ratio = 1.0
    for _ in range(3):
        if len(a) < _FEWEST:
            break
        ratio = float(np.clip(np.sqrt((b @ b + 1e-6) / (a @ a + 1e-6)), 0.25, 4.0))
        miss = np.abs(a * np.sqrt(ratio) - b / np.sqrt(ratio))
        most = int(0.9 * len(miss))
        fits = miss <= np.partition(miss, most)[most]
        a, b = a[fits], b[fits]
    return ratio


def _around(plane: Plane, reach: int) -> tuple[Plane, Plane, Plane]:
    """Local minimum and maximum within ``reach``, and an eighth of the size the local activity."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    fine = cv2.subtract(plane, cv2.blur(plane, (9, 9)))
    busy = np.sqrt(shrunken_blur(np.asarray(cv2.multiply(fine, fine, dst=fine), np.float32), 16.0))
    low, high = (np.asarray(f(plane, kernel), np.float32) for f in (cv2.erode, cv2.dilate))
    return low, high, busy


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
    labels: Any
    low = score > _GROW
    count, labels = cv2.connectedComponents(low.view(np.uint8), connectivity=8)
    spots = np.flatnonzero(low.ravel())
    owner = labels.ravel()[spots]
    good = np.zeros(count, np.bool_)
    good[owner[score.ravel()[spots] >= threshold]] = True
    good &= np.bincount(owner, minlength=count) >= _LEAST_PX
    if not good.any():
        return (), 0
    spots = spots[good[owner]]
    kept = np.zeros(score.shape, np.uint8)
    kept.ravel()[spots] = 1
    joined = cv2.dilate(kept, np.ones((_JOIN_PX, _JOIN_PX), np.uint8))
    count, labels = cv2.connectedComponents(joined, connectivity=8)
    owner = labels.ravel()[spots]
    peak = np.zeros(count, np.float32)
    np.maximum.at(peak, owner, score.ravel()[spots])
    strongest = np.argsort(-peak[1:], kind="stable")[:most] + 1
    return tuple(
        _region(rank, spots[owner == i], float(peak[i]), darker, score, scale)
        for rank, i in enumerate(strongest, 1)
    ), count - 1


def _region(
    rank: int, spots: NDArray[np.intp], strength: float, darker: Bits, score: Plane, scale: float
) -> Region:
    """The region made of the working pixels ``spots``, counted row by row."""
    height, width = score.shape
    ys, xs = np.divmod(spots, width)
    left, right, top, bottom = (int(v) for v in (xs.min(), xs.max() + 1, ys.min(), ys.max() + 1))
    margin = max(6.0, _MARGIN * min(score.shape))
    x1, x2 = max(0.0, left - margin), min(float(width), right + margin)
    y1, y2 = max(0.0, top - margin), min(float(height), bottom + margin)
    inside = np.zeros((bottom - top + 2 * _JOIN_PX, right - left + 2 * _JOIN_PX), np.uint8)
    inside[ys - top + _JOIN_PX, xs - left + _JOIN_PX] = 1
    closed = cv2.morphologyEx(inside, cv2.MORPH_CLOSE, np.ones((_JOIN_PX, _JOIN_PX), np.uint8))
    contours: Any = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
    hull = cv2.approxPolyDP(max(contours, key=cv2.contourArea), 0.7, True)[:, 0]
    corners = (hull + np.array([left, top]) + (0.5 - _JOIN_PX)) / scale
    weight = score.ravel()[spots]
    fallen = float(weight[darker.ravel()[spots]].sum()) > 0.5 * float(weight.sum())
    return Region(
        rank,
        Box(x1 / scale, y1 / scale, (x2 - x1) / scale, (y2 - y1) / scale),
        Polygon(tuple((x, y) for x, y in corners.tolist())),
        strength,
        len(spots) / scale**2,
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
