"""Cross-hatch angle of a honed wall from the groove directions of squared-up patches.

A view straight down the bore has grooves thinner than a pixel and is refused: its patches show no narrow ridges, or do
not agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from borelog.knowledge import tables
from borelog.stills import StillError
from borelog.stills.grooves import LEAST_SIDE, even_side, patch_families
from borelog.stills.planes import Picture, luma, picture

CONVENTION = (
    "included angle between the two groove families, bisected by the direction round the bore; some sheets give half of "
    "it (to the horizontal) or the rest to 180"
)
METHOD, VERSION = "angular power of the spectrum", "2"
_SIDE = 512
_AGREE = 2.0
_POSSIBLE = (10.0, 155.0)
"""Included angles a hone can leave, degrees: 20 to 60 plain, to about 150 with a steep stroke (common practice, from memory)."""
_NEEDED = 3


@dataclass(frozen=True, slots=True)
class HonePatch:
    """One patch: its corner and side in px, whether it could be read, and what was read.

    ``families`` are the two groove directions in degrees against the picture's x, positive upwards; ``why`` says what
    was missing where it could not be read.
    """

    x: int
    y: int
    side: int
    readable: bool
    angle_deg: float
    families: tuple[float, float]
    why: str


@dataclass(frozen=True, slots=True)
class HoneAngle:
    """The cross-hatch angle of a wall view.

    Attributes
    ----------
    angle_deg : included angle, median of the readable patches; nan when refused
    error_deg : half width of about 95 %: spread of the patches and how squarely the wall was seen
    readable_share : readable patches over all patches that had light; worn patches are a result, not a failure
    patches : every patch
    refused : why there is no angle; empty when there is one
    squared : whether the view was squared up by a known pose or marked corners
    """

    angle_deg: float
    error_deg: float
    readable_share: float
    patches: tuple[HonePatch, ...]
    refused: str
    squared: bool

    def text(self) -> str:
        """The result in words, with convention and published bands."""
        read = f"{self.readable_share:.0%} of {len(self.patches)} patches readable"
        if self.refused:
            return f"no cross-hatch angle: {self.refused} ({read})"
        how = "" if self.squared else "; true if you looked square-on within 20 degrees"
        return (
            f"cross-hatch {self.angle_deg:.1f} +- {self.error_deg:.1f} degrees included{how}; {read}. "
            f"Convention: {CONVENTION}. {bands_text()}"
        )

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "method": METHOD,
            "version": VERSION,
            "angle_deg": None if self.refused else round(self.angle_deg, 2),
            "error_deg": None if self.refused else round(self.error_deg, 2),
            "readable_share": round(self.readable_share, 3),
            "patches": len(self.patches),
            "refused": self.refused,
            "squared_up": self.squared,
            "convention": CONVENTION,
            "bands": list(bands()),
        }


def bands() -> tuple[dict[str, str], ...]:
    """Published angles with convention and source; they do not agree, and are shown side by side for that reason."""
    columns = ("id", "low_deg", "high_deg", "convention", "source", "note")
    return tuple({c: r[c] for c in columns} for r in tables.rows("hone_bands.csv", *columns))


def bands_text() -> str:
    """The published bands in one sentence."""
    parts = []
    for row in bands():
        span = (
            row["low_deg"] if row["low_deg"] == row["high_deg"] else f"{row['low_deg']} to {row['high_deg']}"
        )
        parts.append(f"{span} ({row['convention']}; {row['source']})")
    return "Published, and not in agreement: " + "; ".join(parts)


def included_angle(families: tuple[float, float], axis_deg: float = 90.0) -> float:
    """The included angle bisected by the direction round the bore.

    Parameters
    ----------
    families : groove directions in degrees against x, positive upwards
    axis_deg : direction of the bore's axis in the picture, the same way; 90 where it runs down the picture

    Returns
    -------
    float
        Degrees in (0, 180); nan where both families lie on one side, so that ``axis_deg`` must be wrong.
    """
    one, other = sorted((f - (axis_deg - 90) + 90) % 180 - 90 for f in families)
    return other - one if one < 0 < other else float("nan")


def hone_angle(
    image: Picture, *, axis_deg: float = 90.0, squared: bool = False, side: int | None = None
) -> HoneAngle:
    """Cross-hatch angle of a close view of the wall.

    Parameters
    ----------
    image : (H, W, 3) or (H, W) uint8; best after `squared_up` or the unrolling of a known pose
    axis_deg : direction of the bore's axis in the picture, degrees against x, positive upwards
    squared : the view has been squared up; else 3 degrees are added for looking up to 20 degrees askew
    side : patch side in px; by default 512, or what fits

    Returns
    -------
    HoneAngle
    """
    image = picture(image)
    height, width = image.shape[:2]
    if min(height, width) < LEAST_SIDE:
        return HoneAngle(
            float("nan"),
            float("nan"),
            0.0,
            (),
            f"the picture is too small: {LEAST_SIDE} pixels a side are needed, 384 are better",
            squared,
        )
    # Some overlap: three patches or more must agree where the picture has room for them.
    size = side or min(
        _SIDE, min(height, width) if max(height, width) < 2 * _SIDE else max(min(height, width) // 2, 256)
    )
    size = even_side(min(size, height, width))
    grey = luma(image)
    patches = []
    for y in _starts(height, size):
        for x in _starts(width, size):
            tile = grey[y : y + size, x : x + size]
            dark = float((tile < 16).mean()) + float((tile > 250).mean())
            if dark > 0.35:
                continue
            families, why = patch_families(tile)
            angle = included_angle(families, axis_deg)
            if not why and np.isnan(angle):
                why = "both families lean the same way: say how the bore's axis runs (axis)"
            patches.append(HonePatch(x, y, size, not why, angle, families, why))
    return _judged(tuple(patches), squared, size)


def _starts(length: int, size: int) -> list[int]:
    steps = max(1, int(np.ceil((length - size) / (size / 2)))) if length > size else 0
    return [round(k * (length - size) / steps) for k in range(steps + 1)] if steps else [0]


def _judged(patches: tuple[HonePatch, ...], squared: bool, size: int) -> HoneAngle:
    good = np.array([p.angle_deg for p in patches if p.readable])
    share = len(good) / len(patches) if patches else 0.0

    def refused(why: str) -> HoneAngle:
        return HoneAngle(float("nan"), float("nan"), share, patches, why, squared)

    if not patches:
        return refused("the picture is too dark or too bright everywhere")
    if not len(good):
        reasons = [p.why for p in patches]
        return refused(max(sorted(set(reasons)), key=reasons.count))
    near = np.array([int((np.abs(good - g) <= _AGREE).sum()) for g in good])
    needed = min(_NEEDED, len(patches))
    if near.max() < needed or near.max() < 0.5 * len(good):
        return refused(
            "the patches do not agree: this may be a view down the bore, or scratches; look square at the wall, closer"
        )
    agreeing = good[np.abs(good - good[near.argmax()]) <= _AGREE]
    middle = float(np.median(agreeing))
    if not _POSSIBLE[0] <= middle <= _POSSIBLE[1]:
        return refused(
            f"no hone leaves {middle:.0f} degrees: this pattern is something else, or the picture lies on its side (axis)"
        )
    spread = 1.4826 * float(np.median(np.abs(agreeing - middle)))
    # Table of the design measurements: about 0.05 degrees for one clean patch of 512 px, more for smaller ones.
    single = 0.1 * (512 / size) ** 1.5
    random = 2 * max(single, spread) / np.sqrt(max(1.0, len(agreeing) / 2))
    return HoneAngle(
        middle,
        float(np.hypot(random, 0.5 if squared else 3.0)),
        share,
        patches,
        "",
        squared,
    )


def squared_up(
    image: Picture,
    corners: tuple[tuple[float, float], ...],
    width_mm: float,
    height_mm: float,
    px_per_mm: float = 24.0,
) -> Picture:
    """A wall view squared up from four marked corners of a rectangle of known sides.

    Parameters
    ----------
    corners : four (x, y) in picture pixels: upper left, upper right, lower right, lower left as on the wall
    width_mm, height_mm : sides round the bore and along it; only their ratio bears on the angle
    """
    if len(corners) != 4:
        raise StillError("mark the four corners of a rectangle on the wall, clockwise from the upper left")
    width, height = round(width_mm * px_per_mm), round(height_mm * px_per_mm)
    if min(width, height) < LEAST_SIDE or max(width, height) > 4096:
        raise StillError(
            f"the rectangle comes to {width} x {height} pixels; choose a scale between 192 and 4096"
        )
    goal = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    matrix = cv2.getPerspectiveTransform(np.array(corners, np.float32), goal)
    # cv2 counts pixel centres as whole numbers, the corners count them at .5.
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    shifted = np.linalg.inv(half) @ matrix @ half
    return np.asarray(
        cv2.warpPerspective(picture(image), shifted, (width, height), flags=cv2.INTER_CUBIC), np.uint8
    )
