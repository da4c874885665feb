"""Areas and spots on one still: pits, oil on the wall, deposits. All of them suggestions, each often wrong.

A pit is darker than what lies on both sides of it in every direction. Oil on a bare wall is warmer than the wall; with a
camera that balances its own white this is a guess. Deposits are darker than bare metal; so are shadows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Ellipse, Polygon
from borelog.stills.planes import Bits, Picture, Plane, blur, log_luma, picture, wide_blur

PIT_METHOD, OIL_METHOD, DEPOSIT_METHOD, VERSION, DEPOSIT_VERSION = (
    "darker than its sides in eight directions",
    "warmer than the wall",
    "darker of the two parts of the levelled light",
    "1",
    "2",
)
PIT_THRESHOLD, OIL_THRESHOLD, DEPOSIT_THRESHOLD = 0.6, 0.022, 0.15
_LEVEL_SHARE = 0.1
_LONGEST = 640


@dataclass(frozen=True, slots=True)
class FoundPatch:
    """A spot or an area in picture pixels, with how far it stands out (in the unit of its threshold)."""

    shape: Ellipse | Polygon
    strength: float
    area_px: float


def _small(image: Picture, longest: int = _LONGEST) -> tuple[Picture, float]:
    height, width = image.shape[:2]
    factor = min(1.0, longest / max(height, width))
    if factor == 1.0:
        return image, 1.0
    size = (max(16, round(width * factor)), max(16, round(height * factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8), width / size[0]


def _without(response: Plane, leave_out: Bits | None) -> Plane:
    if leave_out is not None:
        size = (response.shape[1], response.shape[0])
        bits = cv2.resize(leave_out.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        response[cv2.dilate(bits, np.ones((7, 7), np.uint8)) > 0] = 0
    return response


def pit_map(light: Plane, radius: float) -> Plane:
    """How much darker each spot of about ``radius`` px is than both ends of each of four lines through it; the least."""
    core = blur(light, radius * 0.6)
    reach = max(2, round(radius * 1.9))
    height, width = core.shape
    wide = cv2.copyMakeBorder(core, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    least: Any = None
    for angle in (0.0, 45.0, 90.0, 135.0):
        dx, dy = round(reach * np.cos(np.radians(angle))), round(reach * np.sin(np.radians(angle)))
        for sign in (1, -1):
            y, x = reach + sign * dy, reach + sign * dx
            side = wide[y : y + height, x : x + width]
            least = side if least is None else cv2.min(least, side)
    return np.asarray(cv2.subtract(least, core), np.float32)


def find_pits(
    image: Picture, threshold: float = PIT_THRESHOLD, leave_out: Bits | None = None
) -> tuple[FoundPatch, ...]:
    """Small dark spots, strongest first, in units of the local texture's deviation."""
    small, grow = _small(picture(image), 1280)
    light = log_luma(small)
    light = light - wide_blur(light, 25.0)
    texture = np.sqrt(wide_blur(np.asarray(cv2.multiply(light, light), np.float32), 25.0)) + np.float32(0.03)
    found: list[FoundPatch] = []
    taken = np.zeros(light.shape, np.bool_)
    for radius in (8.0, 5.0, 3.0):
        response = _without(pit_map(light, radius) / texture, leave_out)
        peak = cv2.dilate(response, np.ones((2 * int(radius) + 1, 2 * int(radius) + 1), np.uint8))
        ys, xs = np.nonzero((response >= peak) & (response > threshold) & ~taken)
        for y, x in zip(ys, xs, strict=True):
            r = radius * 1.2 * grow
            shape = Ellipse((x + 0.5) * grow, (y + 0.5) * grow, r, r, 0.0)
            found.append(FoundPatch(shape, float(response[y, x]), float(np.pi * r * r)))
        marks = np.zeros(light.shape, np.uint8)
        marks[ys, xs] = 1
        taken |= cv2.dilate(marks, np.ones((4 * int(radius) + 1, 4 * int(radius) + 1), np.uint8)) > 0
    found.sort(key=lambda f: -f.strength)
    return tuple(found)


def warmth(image: Picture) -> Plane:
    """(red - blue) over the sum of the three, (H, W) float32: 0 for grey, more for straw and brown."""
    planes = [p.astype(np.float32) for p in cv2.split(image)]
    total = planes[0] + planes[1] + planes[2] + np.float32(24)
    return np.asarray((planes[2] - planes[0]) / total, np.float32)


def find_oil(
    image: Picture, threshold: float = OIL_THRESHOLD, leave_out: Bits | None = None
) -> tuple[FoundPatch, ...]:
    """Areas warmer than the barest tenth of the wall, largest first; only for views in which wall is most of the frame."""
    small, grow = _small(picture(image))
    tone = blur(warmth(small), 3.0)
    seen = (
        np.ones(tone.shape, np.float32)
        if leave_out is None
        else _without(np.ones(tone.shape, np.float32), leave_out)
    )
    # The greyest tenth is taken for bare wall: a wall wet all over cannot be told from a warm camera.
    bare = np.quantile(tone[seen > 0], 0.1) if seen.any() else 0.0
    return _areas(_without(tone - np.float32(bare), leave_out), threshold, grow)


def find_deposits(
    image: Picture, threshold: float = DEPOSIT_THRESHOLD, leave_out: Bits | None = None
) -> tuple[FoundPatch, ...]:
    """The darker part of a still whose light parts in two, largest area first.

    The light is levelled over a tenth of the frame and parted where the two parts differ most from each other (Otsu, IEEE
    Trans. SMC 9(1), 1979). Any picture can be parted: only where the parts lie ``threshold`` apart (log of the light) are
    there deposits.
    """
    small, grow = _small(picture(image))
    light = log_luma(small)
    calm = blur(light - wide_blur(light, _LEVEL_SHARE * max(light.shape)), 3.0)
    seen = _without(np.ones(calm.shape, np.float32), leave_out) > 0
    # Parts of a picture that is nearly even cannot lie so far apart.
    if not seen.any() or np.ptp(calm[seen]) < threshold:
        return ()
    part, dark, bright = _parted(calm[seen])
    if bright - dark < threshold:
        return ()
    return _areas(_without(np.float32(bright) - calm, leave_out), bright - part, grow)


def _parted(values: NDArray[np.float32]) -> tuple[float, float, float]:
    """Otsu's threshold between two parts of ``values``, and the mean of each part."""
    counts, edges = np.histogram(values, 128)
    middle = (edges[1:] + edges[:-1]) / 2
    below, total = np.cumsum(counts), float(counts.sum())
    sums = np.cumsum(counts * middle)
    share = below[:-1] / total
    between = (sums[-1] / total * share - sums[:-1] / total) ** 2 / np.maximum(share * (1 - share), 1e-9)
    k = int(between.argmax())
    above = max(total - below[k], 1.0)
    return float(edges[k + 1]), float(sums[k] / max(below[k], 1)), float((sums[-1] - sums[k]) / above)


def _areas(response: Plane, threshold: float, grow: float) -> tuple[FoundPatch, ...]:
    mask: Any = (response > threshold).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8))
    contours: Any = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
    least = 0.002 * response.size
    out = []
    for contour in contours:
        area = cv2.contourArea(contour)
        if area < least:
            continue
        outline: NDArray[Any] = cv2.approxPolyDP(contour, 1.2, True)[:, 0]
        if len(outline) < 3:
            continue
        inside = np.zeros(response.shape, np.uint8)
        cv2.drawContours(inside, [contour], -1, 1, -1)
        points = tuple((float((x + 0.5) * grow), float((y + 0.5) * grow)) for x, y in outline)
        out.append(FoundPatch(Polygon(points), float(response[inside > 0].mean()), float(area * grow**2)))
    out.sort(key=lambda f: -f.area_px)
    return tuple(out)
