"""What can be seen in a still, and what to do for a better one, in words.

Limits are judgement on cheap probes ('common practice' of machine vision, figures set on rendered and real stills); a
remark never refuses a picture: it says what it is good for.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np

from borelog.stills.focus import DARK_LEVEL, binned, brightest, edge_blur, focus, lacks_fine_detail
from borelog.stills.glare import BURNT, above, glare_mask
from borelog.stills.planes import Picture, luma

CLIP_HIGH, CLIP_LOW = 250, 12
CLIPPED_BAD, DARK_BAD = 0.15, 0.60
GLARE_WARN = 0.06
NOISE_WARN = 6.0
SOFT_PX, HOPELESS_PX = 4.0, 11.0
_NOTHING_VISIBLE = 0.004
_BLACK_MEAN = 10.0


@dataclass(frozen=True, slots=True)
class Circle:
    """The round field of a probe inside a black frame, in pixels."""

    cx: float
    cy: float
    radius: float


@dataclass(frozen=True, slots=True)
class Gate:
    """The quick figures: shares are of what lies inside the view circle, noise and light in levels of 255."""

    focus: float
    noise: float
    light: float
    clipped: float
    dark: float
    circle: Circle | None
    useless: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing about a still: ``what`` is the matter, ``do`` what helps; ``weight`` 1 note, 2 warning, 3 unusable."""

    id: str
    weight: int
    what: str
    do: str

    def __str__(self) -> str:
        return f"{self.what}: {self.do}"


@dataclass(frozen=True, slots=True)
class Quality:
    """All figures of a still. ``edge_blur`` is in pixels, ``glare`` a share; ``coarse`` that detail under 2 px lacks."""

    gate: Gate
    glare: float
    edge_blur: float
    coarse: bool
    remarks: tuple[Remark, ...]

    @property
    def in_words(self) -> str:
        """One line for a person; 'good' when there is nothing to say."""
        return "; ".join(str(r) for r in self.remarks) or "good"


def view_circle(image: Picture) -> tuple[Circle | None, Picture]:
    """The lit field of the probe and a mask of what may be judged.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3) or grey.

    Returns
    -------
    tuple of (Circle or None, ndarray)
        None where the whole frame is picture. The mask is ``uint8`` (height, width), 255 inside, drawn in by a few
        pixels so that the frame's own edge is not taken for detail.
    """
    grey = luma(image)
    height, width = grey.shape
    whole = np.full((height, width), 255, np.uint8)
    small = cv2.resize(grey, (max(8, width // 4), max(8, height // 4)), interpolation=cv2.INTER_AREA)
    rows, columns = small.shape
    edge = max(2, rows // 24)
    corners = [
        small[y, x]
        for y in (slice(0, edge), slice(-edge, None))
        for x in (slice(0, edge), slice(-edge, None))
    ]
    # A field stop leaves all four corners black and even; a dark scene leaves noise and detail in them.
    if max(float(np.percentile(c, 90)) for c in corners) > 24:
        return None, whole
    level = max(16, int(np.percentile(small, 60)) // 4)
    lit = above(np.asarray(cv2.medianBlur(small, 5), np.uint8), level)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(lit, connectivity=8)
    if count < 2:
        return None, whole
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    if stats[largest, cv2.CC_STAT_AREA] < 0.05 * rows * columns:
        return None, whole
    hull = cv2.convexHull(cv2.findNonZero((labels == largest).astype(np.uint8)))
    fitted = _circle_of(hull.reshape(-1, 2).astype(np.float64), rows, columns)
    if fitted is None:
        return None, whole
    x, y, r = fitted
    sx, sy = width / columns, height / rows
    circle = Circle((x + 0.5) * sx, (y + 0.5) * sy, r * (sx + sy) / 2)
    mask = np.zeros((height, width), np.uint8)
    inner = max(1, round(circle.radius * 0.98 - 4))
    cv2.circle(mask, (round(circle.cx), round(circle.cy)), inner, 255, -1)
    return circle, mask


def _circle_of(
    points: np.ndarray[tuple[int, int], np.dtype[np.float64]], rows: int, columns: int
) -> tuple[float, float, float] | None:
    # Hull points on the picture's border lie on the border, not on the circle.
    x, y = points.T
    free = (x > 1) & (y > 1) & (x < columns - 2) & (y < rows - 2)
    x, y = x[free], y[free]
    if x.size < 8:
        return None
    for _ in range(3):  # Kasa's least squares, then twice again without what lies off
        a = np.column_stack([x, y, np.ones_like(x)])
        (p, q, c), *_rest = np.linalg.lstsq(a, x * x + y * y, rcond=None)
        r = float(np.sqrt(max(0.0, c + p * p / 4 + q * q / 4)))
        off = np.abs(np.hypot(x - p / 2, y - q / 2) - r)
        near = off <= max(1.5, 2.0 * float(np.median(off)))
        if near.sum() < 8:
            return None
        x, y, off = x[near], y[near], off[near]
    if float(np.median(off)) > 0.02 * r or not 0.2 * min(rows, columns) < r < 0.75 * max(rows, columns):
        return None
    return float(p / 2), float(q / 2), r


def gate(image: Picture) -> Gate:
    """The quick look at one still: focus, noise, light and clipping inside the view circle.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3) or grey, at least 16 x 16.
    """
    grey = luma(image)
    circle, mask = view_circle(grey)
    inside = None if circle is None else mask
    counts = cv2.calcHist([grey], [0], inside, [256], [0, 256]).ravel()
    total = max(1.0, float(counts.sum()))
    clipped, dark = float(counts[CLIP_HIGH:].sum()) / total, float(counts[: CLIP_LOW + 1].sum()) / total
    sharp = focus(grey, inside)
    mean = float((counts * np.arange(256)).sum()) / total
    useless = ""
    if mean < _BLACK_MEAN or dark > 0.95 or brightest(binned(grey)) <= DARK_LEVEL:
        useless = "black"
    elif clipped > 0.9:
        useless = "white"
    elif sharp.score < _NOTHING_VISIBLE:
        useless = "nothing can be made out"
    return Gate(sharp.score, sharp.noise, mean, clipped, dark, circle, useless)


def judge(image: Picture) -> Quality:
    """Everything about one still, with remarks in the order of their weight.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3), upright.
    """
    quick = gate(image)
    if quick.useless:
        return Quality(quick, 0.0, float("inf"), False, (_USELESS[quick.useless],))
    grey = luma(image)
    circle, mask = view_circle(grey)
    glare = cv2.bitwise_and(glare_mask(image, BURNT), mask)
    share = cv2.countNonZero(glare) / max(1, cv2.countNonZero(mask))
    wide = cv2.dilate(glare, np.ones((9, 9), np.uint8))
    seen = np.asarray(cv2.bitwise_and(mask, cv2.bitwise_not(wide)), np.uint8)
    width = edge_blur(grey, seen if cv2.countNonZero(seen) > 4096 else (mask if circle else None))
    coarse = width < SOFT_PX and lacks_fine_detail(grey)
    found = [remark for test, remark in _REMARKS if test(quick, share, width, coarse)]
    if width >= HOPELESS_PX:
        quick = Gate(
            quick.focus,
            quick.noise,
            quick.light,
            quick.clipped,
            quick.dark,
            quick.circle,
            "hopelessly blurred",
        )
    return Quality(quick, share, width, coarse, tuple(sorted(found, key=lambda r: -r.weight)))


_USELESS = {
    "black": Remark(
        "black",
        3,
        "black, nothing can be seen",
        "turn the light up or bring the tip nearer, and take it again",
    ),
    "white": Remark(
        "white",
        3,
        "white, nothing can be seen",
        "turn the light down or draw the tip back, and take it again",
    ),
    "nothing can be made out": Remark(
        "nothing",
        3,
        "nothing can be made out",
        "wipe the tip, hold it a few centimetres off, and take it again",
    ),
}

_Test: TypeAlias = Callable[[Gate, float, float, bool], bool]
_REMARKS: tuple[tuple[_Test, Remark], ...]
_REMARKS = (
    (
        lambda g, s, w, c: w >= HOPELESS_PX,
        Remark(
            "blurred",
            3,
            "hopelessly blurred",
            "rest the probe on the hole's edge, hold the tip 3 to 8 cm off, take it again",
        ),
    ),
    (
        lambda g, s, w, c: SOFT_PX <= w < HOPELESS_PX,
        Remark(
            "soft",
            2,
            "soft",
            "hold still, change the distance by a centimetre; fine lines cannot be judged here",
        ),
    ),
    (
        lambda g, s, w, c: g.clipped > CLIPPED_BAD,
        Remark("too bright", 2, "much is burnt out to white", "dim the light or draw the tip back"),
    ),
    (
        lambda g, s, w, c: g.dark > DARK_BAD,
        Remark("too dark", 2, "most of it is too dark", "turn the light up or bring the tip nearer"),
    ),
    (
        lambda g, s, w, c: s > GLARE_WARN and g.clipped <= CLIPPED_BAD,
        Remark(
            "glare", 2, "glare hides part of it", "turn the tip a quarter, dim the light, take a second still"
        ),
    ),
    (
        lambda g, s, w, c: g.noise > NOISE_WARN,
        Remark("noise", 1, "grainy", "turn the light up; fine pits may be nothing but grain"),
    ),
    (
        lambda g, s, w, c: c,
        Remark(
            "coarse",
            1,
            "no detail finer than two pixels (enlarged by the camera, or a little soft)",
            "do not measure fine things in it; the camera's smaller size shows as much",
        ),
    ),
)


def rank(scores: Sequence[float]) -> tuple[int, ...]:
    """Numbers of the stills of one view from sharpest to softest; ties keep their order."""
    return tuple(sorted(range(len(scores)), key=lambda i: (-scores[i], i)))
