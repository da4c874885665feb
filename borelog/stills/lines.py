"""Thin lines: cracks anywhere, and scores on a wall laid flat.

A line must be darker than both its sides: the lesser of two side contrasts counts, not their sum, so that a step edge
is no line (after Tupin et al., IEEE TGRS 36(2), 1998). Still, hairs, hone grooves, casting lines and the edge of an oil
film can look like cracks: what is found is a suggestion.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Freehand
from borelog.stills.planes import Bits, Picture, Plane, blur, log_luma, luma, picture, wide_blur

METHOD, VERSION = "darker than both sides", "1"
HIGH, LOW = 1.28, 0.64
LEAST_LENGTH, LEAST_AREA = 30.0, 60.0
_DIRECTIONS, _REACH = 12, 9
_SIDES = (3, 5)
_LONGEST = 640
SCORE_HIGH, SCORE_LOW, SCORE_LENGTH = 0.03, 0.02, 22
_BESIDE_PX = 12.0


@dataclass(frozen=True, slots=True)
class FoundLine:
    """A line in picture pixels.

    Attributes
    ----------
    path : along the line
    length_px, width_px : of the line
    strength : mean contrast against the lesser side, in local standard deviations (cracks) or log light (scores)
    wander : how far the line strays from a smooth arc through it, px; a drawn edge strays little, a crack more
    dark : darker than both sides; a score may also be brighter than both
    """

    path: Freehand
    length_px: float
    width_px: float
    strength: float
    wander: float = 0.0
    dark: bool = True


def flattened(image: Picture) -> Plane:
    """Luma with slow light and local contrast taken out, in local standard deviations, (H, W) float32."""
    grey = luma(image).astype(np.float32)
    grey -= wide_blur(grey, 25.0, 4)
    spread = np.sqrt(wide_blur(np.asarray(cv2.multiply(grey, grey), np.float32), 25.0, 4))
    return np.asarray(grey / (spread + 2.0), np.float32)


def line_map(flat: Plane) -> tuple[Plane, NDArray[np.uint8]]:
    """How much darker than both its sides each pixel is as part of a straight piece of line.

    Parameters
    ----------
    flat : (H, W) float32, as from `flattened`

    Returns
    -------
    response : (H, W) float32, in the unit of ``flat``, over 12 directions and two widths
    direction : (H, W) uint8, index of the direction, 15 degrees apart, from x towards y
    """
    height, width = flat.shape
    pad = max(_SIDES) + 1
    response = np.zeros((height, width), np.float32)
    direction = np.zeros((height, width), np.uint8)
    for k in range(_DIRECTIONS):
        angle = np.pi * k / _DIRECTIONS
        along = cv2.filter2D(flat, -1, _bar(angle), borderType=cv2.BORDER_REFLECT)
        wide = cv2.copyMakeBorder(along, pad, pad, pad, pad, cv2.BORDER_REPLICATE)
        best: Any = None
        for side in _SIDES:
            dx, dy = round(-np.sin(angle) * side), round(np.cos(angle) * side)
            one = wide[pad + dy : pad + dy + height, pad + dx : pad + dx + width]
            two = wide[pad - dy : pad - dy + height, pad - dx : pad - dx + width]
            lesser = cv2.min(one, two)
            best = lesser if best is None else cv2.max(best, lesser)
        contrast = cv2.subtract(best, along)
        better = cv2.compare(contrast, response, cv2.CMP_GT)
        cv2.copyTo(contrast, better, response)
        direction[better > 0] = k
    return response, direction


def _bar(angle: float) -> NDArray[np.float32]:
    """A soft bar of 9 px along a direction, one pixel and a half wide, summing to 1."""
    half = _REACH // 2 + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float64)
    along, across = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    bar = np.exp(-((across / 0.9) ** 2)) * (np.abs(along) <= _REACH / 2)
    return np.asarray(bar / bar.sum(), np.float32)


def hysteresis(
    response: Plane, high: float, low: float
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[Any]]:
    """Labels of the pixels over ``low``, the labels that reach ``high``, and the table of their boxes and areas."""
    found: Any = cv2.connectedComponentsWithStats((response > low).astype(np.uint8), connectivity=8)
    strong = np.unique(found[1][response > high])
    return found[1], strong[strong > 0].astype(np.int32), found[2]


def find_lines(
    image: Picture,
    *,
    high: float = HIGH,
    low: float = LOW,
    least_length: float = LEAST_LENGTH,
    leave_out: Bits | None = None,
    longest: int = _LONGEST,
) -> tuple[FoundLine, ...]:
    """Dark lines in a still, strongest first.

    Parameters
    ----------
    image : (H, W, 3) uint8
    high, low : contrast a line must reach somewhere, and keep along its length, in local standard deviations
    least_length : shortest line in working pixels of the full size 1280
    leave_out : (H, W) bool, glare and what is outside the view circle
    longest : longer side of the working picture; 640 is fast, 1280 sees hairlines
    """
    image = picture(image)
    height, width = image.shape[:2]
    factor = min(1.0, longest / max(height, width))
    size = (max(16, round(width * factor)), max(16, round(height * factor)))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA) if factor < 1 else image
    response, _ = line_map(flattened(np.asarray(small, np.uint8)))
    if leave_out is not None:
        bits = cv2.resize(leave_out.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        response[cv2.dilate(bits, np.ones((9, 9), np.uint8)) > 0] = 0
    unit = max(size) / 1280
    return _lines(response, high, low, least_length * unit, LEAST_AREA * unit**2, width / size[0], True)


def _lines(
    response: Plane, high: float, low: float, least_length: float, least_area: float, grow: float, dark: bool
) -> tuple[FoundLine, ...]:
    labels, strong, stats = hysteresis(response, high, low)
    out = []
    for label in strong:
        x, y, w, h, area = (int(v) for v in stats[label])
        if area < least_area or np.hypot(w, h) < least_length:
            continue
        inside = labels[y : y + h, x : x + w] == label
        ys, xs = np.nonzero(inside)
        path = _along(xs + x, ys + y)
        steps = np.diff(path, axis=0)
        length = float(np.hypot(steps[:, 0], steps[:, 1]).sum())
        # A blot is no line: it is not several times longer than wide.
        if length < least_length or area / length > length / 3:
            continue
        strength = float(response[y : y + h, x : x + w][inside].mean())
        points = tuple((float((px + 0.5) * grow), float((py + 0.5) * grow)) for px, py in path)
        out.append(
            FoundLine(
                Freehand(points), length * grow, area / length * grow, strength, _wander(path) * grow, dark
            )
        )
    out.sort(key=lambda f: -f.strength * np.sqrt(f.length_px))
    return tuple(out)


def _along(xs: NDArray[Any], ys: NDArray[Any]) -> NDArray[np.float64]:
    """A path through the pixels of a line: their middles in slices across the longest extent."""
    points = np.stack([xs, ys], axis=1).astype(np.float64)
    middle = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - middle, full_matrices=False)
    t = (points - middle) @ axes[0]
    slices = max(2, int(np.ptp(t) / 5))
    bins = np.minimum(((t - t.min()) / max(np.ptp(t), 1e-9) * slices).astype(int), slices - 1)
    count = np.bincount(bins, minlength=slices)
    held = count > 0
    sums = [np.bincount(bins, points[:, k], slices)[held] / count[held] for k in (0, 1)]
    path = np.stack(sums, axis=1)
    return path if len(path) > 1 else np.vstack([points[t.argmin()], points[t.argmax()]])


def _wander(path: NDArray[np.float64]) -> float:
    """Root mean square distance of a path from the best arc through it, third degree along its length."""
    if len(path) < 5:
        return 0.0
    steps = np.hypot(*np.diff(path, axis=0).T)
    t = np.concatenate([[0.0], np.cumsum(steps)])
    t = 2 * t / max(t[-1], 1e-9) - 1
    basis = np.stack([t**k for k in range(4)], axis=1)
    rest = path - basis @ np.linalg.lstsq(basis, path, rcond=None)[0]
    return float(np.sqrt((rest**2).sum(axis=1).mean()))


def score_map(strip: Picture) -> tuple[Plane, Plane]:
    """Dark and bright vertical lines of a wall laid flat.

    Parameters
    ----------
    strip : (rows along the bore, columns round it, 3) uint8

    Returns
    -------
    (dark, bright) : two (H, W) float32, log contrast against the lesser side
    """
    light = log_luma(strip)
    light = light - wide_blur(light, 40.0)
    along = np.asarray(cv2.blur(blur(light, 0.8), (1, 15)), np.float32)
    dark = np.zeros_like(along)
    bright = np.zeros_like(along)
    for side in (3, 6):
        left, right = np.roll(along, side, axis=1), np.roll(along, -side, axis=1)
        dark = np.maximum(dark, np.minimum(left, right) - along)
        bright = np.maximum(bright, along - np.maximum(left, right))
    return dark, bright


def find_scores(
    strip: Picture, seen: Bits | None = None, high: float = SCORE_HIGH, low: float = SCORE_LOW
) -> tuple[FoundLine, ...]:
    """Lines along the bore on a wall laid flat (columns angle, rows depth), strongest first, in the strip's pixels.

    Parameters
    ----------
    strip : (H, W, 3) uint8
    seen : (H, W) bool, where the strip shows wall
    high, low : log contrast a line must reach, and keep; 0.03 is about 3 % of brightness
    """
    strip = picture(strip)
    found: list[FoundLine] = []
    for response, dark in zip(score_map(strip), (True, False), strict=True):
        if seen is not None:
            response[cv2.erode(seen.astype(np.uint8), np.ones((17, 13), np.uint8)) == 0] = 0
        for line in _lines(response, high, low, SCORE_LENGTH, 2.0 * SCORE_LENGTH, 1.0, dark):
            xs = [p[0] for p in line.path.points]
            ys = [p[1] for p in line.path.points]
            if np.ptp(ys) >= SCORE_LENGTH and np.ptp(xs) <= 0.2 * np.ptp(ys) + 3:
                found.append(line)
    found.sort(key=lambda f: -f.strength * np.sqrt(f.length_px))
    kept: list[FoundLine] = []
    taken: list[tuple[float, float, NDArray[np.float64]]] = []
    # Beyond the strongest few hundred nobody looks.
    for line in found[:300]:
        points = np.array(sorted((y, x) for x, y in line.path.points))
        span = (float(points[0, 0]), float(points[-1, 0]), points)
        if not any(_beside(span, other) for other in taken):
            kept.append(line)
            taken.append(span)
    return tuple(kept)


def _beside(
    one: tuple[float, float, NDArray[np.float64]], other: tuple[float, float, NDArray[np.float64]]
) -> bool:
    """Whether a line runs beside a stronger one over most of its length: the two flanks of one broad score."""
    top, bottom = max(one[0], other[0]), min(one[1], other[1])
    if bottom - top < 0.5 * (one[1] - one[0]):
        return False
    rows = (top, (top + bottom) / 2, bottom)
    apart = [
        np.interp(r, one[2][:, 0], one[2][:, 1]) - np.interp(r, other[2][:, 0], other[2][:, 1]) for r in rows
    ]
    return sorted(abs(float(a)) for a in apart)[1] < _BESIDE_PX
