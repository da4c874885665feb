"""A view down the bore laid flat: angle round the bore by depth along it.

The pose comes from one ring of known diameter seen as an ellipse (Forsyth et al., IEEE PAMI 13(10), 1991; Chen, Wu
and Wada, ECCV 2004). One ring leaves two mirror poses: the person chooses. The lens is a pinhole with one radial
term; where it folds back nothing is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Ellipse, outline
from borelog.stills import StillError
from borelog.stills.planes import Bits, Picture, picture
from borelog.text import one_line

Vector = tuple[float, float, float]
_AXIS_ERROR_DEG = 3.5
"""How far the axis of one near-frontal ring may be off: 0.8 to 3.6 degrees in the design measurements."""


@dataclass(frozen=True, slots=True)
class Lens:
    """Pinhole with one radial term: r' = r (1 + k1 r^2). Focal length and middle in px, centres at .5."""

    focal_px: float
    cx: float
    cy: float
    k1: float = 0.0

    @property
    def turning(self) -> float:
        """Undistorted radius at which the model folds back; infinite for k1 >= 0."""
        return float(np.sqrt(1 / (-3 * self.k1))) if self.k1 < 0 else float("inf")


def lens_of(width: int, height: int, view_deg: float, k1: float = 0.0) -> Lens:
    """A lens from the angle of view across the diagonal, as printed on the box (good to about 10 %)."""
    if not 10 <= view_deg <= 170:
        raise StillError("the angle of view across the diagonal lies between 10 and 170 degrees")
    half = np.hypot(width, height) / 2
    at = np.tan(np.radians(view_deg / 2))
    return Lens(float(half / (at * (1 + k1 * at * at))), width / 2, height / 2, k1)


def rays(lens: Lens, points: Any) -> NDArray[np.float64]:
    """Undistorted x/z and y/z of picture points (..., 2); nan past the turning radius."""
    p = (np.asarray(points, np.float64) - (lens.cx, lens.cy)) / lens.focal_px
    bent = np.linalg.norm(p, axis=-1)
    most = min(lens.turning, 1e6)
    straight = np.minimum(bent, 0.95 * most)
    for _ in range(20):
        # Newton on r (1 + k1 r^2) = bent, kept on the branch before the model folds back.
        slope = np.maximum(1 + 3 * lens.k1 * straight**2, 0.05)
        straight = np.clip(straight - (straight * (1 + lens.k1 * straight**2) - bent) / slope, 0.0, most)
    good = (straight < lens.turning) & (np.abs(straight * (1 + lens.k1 * straight**2) - bent) < 1e-6)
    scale = np.where(good, np.where(bent > 1e-9, straight / np.maximum(bent, 1e-9), 1.0), np.nan)
    return np.asarray(p * scale[..., None])


def project(lens: Lens, points: NDArray[Any]) -> NDArray[np.float64]:
    """Picture points (..., 2) of points (..., 3) in the camera's frame, mm; nan behind it or past the turning radius."""
    depth = np.where(points[..., 2] > 1e-6, points[..., 2], np.nan)
    x, y = points[..., 0] / depth, points[..., 1] / depth
    square = x * x + y * y
    square = np.where(square < lens.turning**2, square, np.nan)
    bend = (1 + lens.k1 * square) * lens.focal_px
    return np.stack([lens.cx + x * bend, lens.cy + y * bend], axis=-1)


@dataclass(frozen=True, slots=True)
class BorePose:
    """Where a bore lies in the camera's frame (x right, y down, z forward, mm).

    Attributes
    ----------
    centre : middle of the ring that was seen
    axis : unit vector down the bore, away from the deck
    zero : unit vector square to the axis, towards angle 0; angles grow clockwise as seen in the picture
    radius_mm : of the ring, taken as that of the bore
    """

    centre: Vector
    axis: Vector
    zero: Vector
    radius_mm: float

    @property
    def tilt_deg(self) -> float:
        """Angle between the view and the bore's axis."""
        return float(np.degrees(np.arccos(np.clip(self.axis[2], -1, 1))))

    def wall(self, angle_deg: Any, above_mm: Any) -> NDArray[np.float64]:
        """Points on the wall in the camera's frame, (..., 3): angle from zero, height above the ring."""
        axis, zero = np.array(self.axis), np.array(self.zero)
        side = np.cross(axis, zero)
        turn = np.radians(np.asarray(angle_deg, np.float64))[..., None]
        up = np.asarray(above_mm, np.float64)[..., None]
        ring = self.radius_mm * (np.cos(turn) * zero + np.sin(turn) * side)
        return np.asarray(np.array(self.centre) + ring - up * axis)


def poses_from_rim(rim: Ellipse, lens: Lens, bore_mm: float) -> tuple[BorePose, BorePose]:
    """The two poses in which a ring of the bore's diameter is seen as this ellipse.

    Parameters
    ----------
    rim : the ring in picture pixels, e.g. from `borelog.stills.rim.find_rim`
    lens : of the probe
    bore_mm : diameter of the ring

    Returns
    -------
    (BorePose, BorePose)
        The less tilted first; angle 0 points up in the picture until `with_zero` says otherwise. Seen square they
        are nearly the same; else they lean to opposite sides, and only a person or a second ring can tell.
    """
    edge = rays(lens, np.array(outline(rim, 360)))
    edge = edge[np.isfinite(edge).all(axis=1)]
    if len(edge) < 60 or bore_mm <= 0:
        raise StillError(
            "this rim lies outside what the lens can see; check its focal length, or mark another ring"
        )
    x, y = edge[:, 0], edge[:, 1]
    rows = np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=1)
    a, b, c, d, e, f = np.linalg.svd(rows)[2][-1]
    conic = np.array([[a, b / 2, d / 2], [b / 2, c, e / 2], [d / 2, e / 2, f]])
    if np.linalg.det(conic) > 0:
        conic = -conic
    values, vectors = np.linalg.eigh(conic)
    order = np.argsort(-values)
    l1, l2, l3 = values[order]
    if not l2 > 0 > l3:
        raise StillError("this rim is no ellipse the lens could see; mark it again")
    frame = vectors[:, order]
    g, h = np.sqrt((l2 - l3) / (l1 - l3)), np.sqrt(max((l1 - l2) / (l1 - l3), 0.0))
    radius = bore_mm / 2
    away = radius * l2 / np.sqrt(-l1 * l3)
    found = []
    for sign in (1.0, -1.0):
        centre = frame @ np.array([sign * l3 / l2 * h * away, 0.0, -l1 / l2 * g * away])
        normal = frame @ np.array([sign * h, 0.0, -g])
        if centre[2] < 0:
            centre = -centre
        if normal[2] < 0:
            normal = -normal
        found.append(_upright(centre, normal, radius))
    found.sort(key=lambda p: p.tilt_deg)
    return found[0], found[1]


def _upright(centre: NDArray[Any], axis: NDArray[Any], radius: float) -> BorePose:
    up = np.array([0.0, -1.0, 0.0])
    zero = up - (up @ axis) * axis
    zero /= np.linalg.norm(zero)
    return BorePose(_vector(centre), _vector(axis), _vector(zero), radius)


def _vector(v: NDArray[Any]) -> Vector:
    return float(v[0]), float(v[1]), float(v[2])


def read_wall(lens: Lens, pose: BorePose, points: Any) -> NDArray[np.float64]:
    """Angle in degrees (0 to 360) and height above the ring in mm of picture points (..., 2); nan off the wall."""
    direction = rays(lens, points)
    way = np.concatenate([direction, np.ones((*direction.shape[:-1], 1))], axis=-1)
    axis, start = np.array(pose.axis), -np.array(pose.centre)
    across_way = way - (way @ axis)[..., None] * axis
    across_start = start - (start @ axis) * axis
    a = (across_way**2).sum(axis=-1)
    b = across_way @ across_start
    k = float(across_start @ across_start) - pose.radius_mm**2
    inner = b * b - a * k
    reach = (-b + np.sqrt(np.maximum(inner, 0))) / np.maximum(a, 1e-12)
    hit = start + reach[..., None] * way
    side = np.cross(axis, np.array(pose.zero))
    angle = np.degrees(np.arctan2(hit @ side, hit @ np.array(pose.zero))) % 360
    return np.where((inner > 0)[..., None], np.stack([angle, -(hit @ axis)], axis=-1), np.nan)


def with_zero(pose: BorePose, lens: Lens, x: float, y: float) -> BorePose:
    """The same pose with angle 0 at the wall under a picture point, e.g. the exhaust side."""
    angle = read_wall(lens, pose, np.array([x, y]))[0]
    if not np.isfinite(angle):
        raise StillError("this spot is not on the wall; tap the wall where the angle is to be 0")
    axis, zero = np.array(pose.axis), np.array(pose.zero)
    turn = np.radians(angle)
    return replace(pose, zero=_vector(np.cos(turn) * zero + np.sin(turn) * np.cross(axis, zero)))


@dataclass(frozen=True, slots=True)
class Window:
    """What part of the wall is laid flat: angles in degrees, heights above the ring in mm, size in px."""

    from_deg: float = 0.0
    to_deg: float = 360.0
    top_mm: float = 40.0
    bottom_mm: float = 0.0
    width: int = 1440
    height: int = 360

    def angle(self, column: Any) -> Any:
        """Angle at a column, centres at .5."""
        return self.from_deg + np.asarray(column) * (self.to_deg - self.from_deg) / self.width

    def above(self, row: Any) -> Any:
        """Height above the ring at a row, centres at .5; the top of the bore is at the top."""
        return self.top_mm + np.asarray(row) * (self.bottom_mm - self.top_mm) / self.height


@dataclass(frozen=True, slots=True, eq=False)
class Unrolled:
    """A piece of wall laid flat.

    Attributes
    ----------
    image : (height, width, 3) uint8, black where nothing is seen
    seen : (height, width) bool
    window, lens, pose : how it was laid
    """

    image: Picture
    seen: Bits
    window: Window
    lens: Lens
    pose: BorePose

    @property
    def px_per_mm(self) -> tuple[float, float]:
        """Pixels per mm round the bore and along it."""
        w = self.window
        round_mm = np.radians(abs(w.to_deg - w.from_deg)) * self.pose.radius_mm
        return w.width / float(round_mm), w.height / abs(w.top_mm - w.bottom_mm)

    def read(self, x: float, y: float) -> WallSpot:
        """Angle, height and their error at a spot of the flat picture."""
        w = self.window
        return wall_spot(self.pose, float(w.angle(x)) % 360, float(w.above(y)))

    def to_still(self, x: float, y: float) -> tuple[float, float]:
        """Where a spot of the flat picture is in the still; nan where the lens does not see it."""
        at = project(self.lens, self.pose.wall(self.window.angle(x), self.window.above(y)))
        return float(at[0]), float(at[1])


@dataclass(frozen=True, slots=True)
class WallSpot:
    """A spot on the wall: degrees from zero, mm round the bore from zero, mm above the ring, each with its error."""

    angle_deg: float
    angle_error_deg: float
    round_mm: float
    round_error_mm: float
    above_mm: float
    above_error_mm: float

    def text(self) -> str:
        """The spot in words."""
        return (
            f"{self.angle_deg:.0f} +- {self.angle_error_deg:.0f} degrees, {self.round_mm:.1f} +- "
            f"{self.round_error_mm:.1f} mm round the bore, {self.above_mm:.1f} +- {self.above_error_mm:.1f} mm above "
            "the ring"
        )


def wall_spot(pose: BorePose, angle_deg: float, above_mm: float) -> WallSpot:
    """A spot with the error that one ring's pose leaves.

    The axis of one ring may be off by 3.5 degrees: that shifts a spot round the bore by its height times the
    tangent, and along the bore by the same share of the radius, as far as the spot is from the ring.
    """
    lean = np.tan(np.radians(_AXIS_ERROR_DEG))
    round_error = 0.7 + abs(above_mm) * lean
    above_error = 0.3 + 0.03 * abs(above_mm) + 0.5 * pose.radius_mm * lean
    round_mm = float(np.radians(angle_deg)) * pose.radius_mm
    return WallSpot(
        angle_deg,
        float(np.degrees(round_error / pose.radius_mm)),
        round_mm,
        float(round_error),
        above_mm,
        float(above_error),
    )


@lru_cache(maxsize=8)
def _map(lens: Lens, pose: BorePose, window: Window, size: tuple[int, int]) -> tuple[Any, Any, Bits]:
    angle = window.angle(np.arange(window.width) + 0.5)[None, :]
    above = window.above(np.arange(window.height) + 0.5)[:, None]
    at = project(lens, pose.wall(*np.broadcast_arrays(angle, above)))
    with np.errstate(invalid="ignore"):
        seen = (at[..., 0] >= 0) & (at[..., 1] >= 0) & (at[..., 0] <= size[0]) & (at[..., 1] <= size[1])
    flat = np.where(seen[..., None], at - 0.5, -1e4).astype(np.float32)
    one, two = cv2.convertMaps(flat[..., 0], flat[..., 1], cv2.CV_16SC2)
    return one, two, np.asarray(seen)


def unroll(image: Picture, lens: Lens, pose: BorePose, window: Window | None = None) -> Unrolled:
    """Lay the wall flat: columns are angles, rows heights above the ring. The map is kept for the next still.

    Parameters
    ----------
    image : (H, W, 3) uint8
    lens, pose : as chosen from `poses_from_rim`
    window : what part; by default the whole way round, 40 mm up from the ring, 1440 x 360
    """
    image = picture(image)
    window = window or Window()
    if window.width > 32_000 or window.height > 32_000 or window.top_mm == window.bottom_mm:
        raise StillError(
            one_line(f"a flat picture of {window.width} x {window.height} cannot be made; ask for less")
        )
    one, two, seen = _map(lens, pose, window, (image.shape[1], image.shape[0]))
    flat = cv2.remap(image, one, two, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return Unrolled(np.asarray(flat, np.uint8), seen, window, lens, pose)


def upright_score(flat: Unrolled) -> float:
    """How upright the long lines of a flat picture run, 0 to 1: a hint which of two poses is the right one.

    Scores run along the bore and become verticals in the right pose. Only a hint: with few scores it says nothing.
    """
    grey = cv2.cvtColor(flat.image, cv2.COLOR_BGR2GRAY)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.5)
    gx = cv2.Sobel(grey, cv2.CV_32F, 1, 0)
    gy = cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    inside = cv2.erode(flat.seen.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    if not inside.any():
        return 0.0
    strong = inside & (np.hypot(gx, gy) > np.quantile(np.hypot(gx, gy)[inside], 0.9))
    if not strong.any():
        return 0.0
    turn = np.degrees(np.arctan2(np.abs(gy[strong]), np.abs(gx[strong])))
    return float((turn < 4).mean())
