"""Millimetres in a still: from a known length, from a known circle seen at a slant, from a thread of known pitch.

A scale holds in one plane only, the plane of what it was taken from. No picture measures depth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Ellipse, Pair, outline
from borelog.stills import StillError
from borelog.stills.lens import Lens

CLICK_PX = 1.0
_ASSUMED_FOCAL = 0.6


@dataclass(frozen=True, slots=True)
class Scale:
    """From pixels to millimetres in one plane.

    ``matrix`` is a homography, row by row, from (lens-corrected) pixels to millimetres; ``u_rel`` the relative standard
    uncertainty of a length; ``plane`` where it holds; ``rests_on`` what it was taken from. ``flat`` says that only a
    factor is known and the part is taken to lie square to the view.
    """

    matrix: tuple[float, ...]
    u_rel: float
    plane: str
    rests_on: tuple[str, ...]
    flat: bool = False
    lens: Lens | None = None

    def to_mm(self, points: Sequence[Pair]) -> tuple[Pair, ...]:
        """Points of the still in millimetres on the plane."""
        if self.lens is not None:
            points = self.lens.straight(points)
        a, b, c, d, e, f, g, h, i = self.matrix
        return tuple(
            ((a * x + b * y + c) / (g * x + h * y + i), (d * x + e * y + f) / (g * x + h * y + i))
            for x, y in points
        )

    def mm_per_px(self, x: float, y: float) -> float:
        """Length of a pixel at a point, in millimetres (mean over directions)."""
        (x0, y0), (x1, y1), (x2, y2) = self.to_mm([(x, y), (x + 1, y), (x, y + 1)])
        return math.sqrt(abs((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)))


def _positive(value: float, what: str) -> float:
    if not (math.isfinite(value) and value > 0):
        raise StillError(f"{what} must be more than 0 mm")
    return value


def from_length(
    first: Pair,
    second: Pair,
    mm: float,
    *,
    u_mm: float = 0.0,
    click_px: float = CLICK_PX,
    lens: Lens | None = None,
) -> Scale:
    """A scale from two clicks a known distance apart.

    Parameters
    ----------
    first, second : (x, y)
        In the still's pixels.
    mm : float
        The distance between them, with standard uncertainty ``u_mm``.
    click_px : float
        Standard uncertainty of a click in each direction.

    Raises
    ------
    StillError
        When the clicks are closer than 8 pixels or the length is not positive.
    """
    _positive(mm, "the known length")
    a, b = lens.straight([first, second]) if lens else (first, second)
    px = math.dist(a, b)
    if px < 8:
        raise StillError("the two points are closer than 8 pixels; take a longer known length")
    s = mm / px
    u = math.hypot(u_mm / mm, math.sqrt(2) * click_px / px)
    rests = (f"known length {mm:g} mm over {px:.0f} px",) + ((lens.in_words,) if lens else ())
    return Scale(
        (s, 0.0, 0.0, 0.0, s, 0.0, 0.0, 0.0, 1.0),
        u,
        "at the known length, square to the view",
        rests,
        True,
        lens,
    )


def from_disc(
    rim: Ellipse,
    diameter_mm: float,
    width: int,
    *,
    u_mm: float = 0.05,
    fit_px: float = 1.0,
    focal_px: float | None = None,
) -> Scale:
    """A scale in the plane of a circle of known diameter, perspective within the circle left out.

    The ellipse is stretched along its short axis until it is a disc. That needs no focal length and has no second
    solution; what it leaves out, the near half being larger than the far half, goes into the uncertainty.

    Parameters
    ----------
    rim : Ellipse
        The circle as seen, in pixels.
    diameter_mm : float
        Its true diameter.
    width : int
        Width of the still, for the guess of a focal length (0.6 of the width, a wide probe) when none is given.
    u_mm, fit_px : float
        Standard uncertainties of the diameter and of the half axes.
    """
    _positive(diameter_mm, "the diameter")
    major, minor, angle = _axes(rim)
    s = diameter_mm / (2 * major)
    stretch = major / minor
    t = math.radians(angle)
    c, n = math.cos(t), math.sin(t)
    # Turn the long axis onto x, stretch y, scale; the centre becomes the origin.
    a, b, d, e = s * c, s * n, -s * stretch * n, s * stretch * c
    matrix = (a, b, -a * rim.cx - b * rim.cy, d, e, -d * rim.cx - e * rim.cy, 0.0, 0.0, 1.0)
    focal = focal_px or _ASSUMED_FOCAL * width
    tilt = math.sqrt(max(0.0, 1 - 1 / stretch**2))
    u = math.sqrt((u_mm / diameter_mm) ** 2 + (fit_px / minor) ** 2 + (0.5 * major / focal * tilt) ** 2)
    seen = f"circle of {diameter_mm:g} mm seen as {2 * major:.0f} x {2 * minor:.0f} px"
    return Scale(matrix, u, "in the plane of the circle", (seen, "perspective within the circle left out"))


def _axes(rim: Ellipse) -> tuple[float, float, float]:
    major, minor, angle = (
        (rim.rx, rim.ry, rim.angle) if rim.rx >= rim.ry else (rim.ry, rim.rx, rim.angle + 90.0)
    )
    if not minor >= 8:
        raise StillError("the circle is seen smaller than 16 pixels; take a larger one or come nearer")
    return major, minor, angle


def _conic(rim: Ellipse) -> NDArray[np.float64]:
    t = math.radians(rim.angle)
    c, s = math.cos(t), math.sin(t)
    turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]) @ np.array(
        [[1, 0, -rim.cx], [0, 1, -rim.cy], [0, 0, 1.0]]
    )
    out: NDArray[np.float64] = turn.T @ np.diag([1 / rim.rx**2, 1 / rim.ry**2, -1.0]) @ turn
    return out


def from_disc_pose(
    rim: Ellipse,
    diameter_mm: float,
    *,
    focal_px: float | None = None,
    size: tuple[int, int] | None = None,
    lens: Lens | None = None,
    u_mm: float = 0.05,
    fit_px: float = 1.0,
) -> tuple[Scale, Scale]:
    """The two scales in the plane of a circle of known diameter under full perspective.

    One picture of one circle has two solutions, tilted to opposite sides (Forsyth et al. 1991; Chen, Wu and Wada,
    2004): a person picks by saying which side of the circle is nearer, or a second circle decides.

    Parameters
    ----------
    rim : Ellipse
        The circle as seen, in pixels of the still.
    diameter_mm : float
        Its true diameter.
    focal_px : float, optional
        Focal length in pixels, principal point in the middle of ``size``; or give ``lens``.

    Returns
    -------
    tuple of (Scale, Scale)
        ``plane`` of each names the side that is nearer ('the right side nearer').

    Raises
    ------
    StillError
        Without a focal length.
    """
    _positive(diameter_mm, "the diameter")
    _, minor, _ = _axes(rim)
    if lens is not None:
        camera, u_focal = lens.matrix, lens.u_focal / lens.fx
        camera[:2, 2] += 0.5
        points = np.asarray(lens.straight(outline(rim, 120)), np.float32).reshape(-1, 1, 2)
        (cx, cy), (w, h), angle = cv2.fitEllipseDirect(points)
        rim = Ellipse(float(cx), float(cy), float(w) / 2, float(h) / 2, float(angle))
    elif focal_px is not None and size is not None:
        camera = np.array([[focal_px, 0, size[0] / 2], [0, focal_px, size[1] / 2], [0, 0, 1.0]])
        u_focal = 0.05
    else:
        raise StillError("perspective needs the focal length: calibrate the lens with 'borelog lens' first")
    cone = camera.T @ _conic(rim) @ camera
    values, vectors = np.linalg.eigh(cone / np.linalg.norm(cone))
    if values[1] < 0:  # want two positive eigenvalues and one negative
        values, vectors = -values[::-1], vectors[:, ::-1]
    low, mid, high = values
    v_low, v_high = vectors[:, 0], vectors[:, 2]
    g = math.sqrt(max(0.0, (high - mid) / (high - low)))
    h = math.sqrt(max(0.0, (mid - low) / (high - low)))
    found: list[Scale] = []
    radius = diameter_mm / 2
    for sign in (1.0, -1.0):
        normal = g * v_high + sign * h * v_low
        normal = -normal if normal[2] > 0 else normal  # toward the camera
        found.append(_plane_scale(normal, cone, camera, radius, rim, u_mm, fit_px / minor, u_focal, lens))
    return found[0], found[1]


def _plane_scale(
    normal: NDArray[np.float64],
    cone: NDArray[np.float64],
    camera: NDArray[np.float64],
    radius: float,
    rim: Ellipse,
    u_mm: float,
    u_fit: float,
    u_focal: float,
    lens: Lens | None,
) -> Scale:
    # In axes whose third is the normal, the cone cut by the plane z = 1 is a circle: read off centre and radius.
    third = normal / np.linalg.norm(normal)
    first = np.cross(third, [0.0, 1.0, 0.0] if abs(third[1]) < 0.9 else [1.0, 0.0, 0.0])
    first /= np.linalg.norm(first)
    axes = np.column_stack([first, np.cross(third, first), third])
    cut = axes.T @ cone @ axes
    ax, ay = -cut[0, 2] / cut[0, 0], -cut[1, 2] / cut[1, 1]
    r = math.sqrt(max(1e-18, ax * ax + ay * ay - cut[2, 2] / ((cut[0, 0] + cut[1, 1]) / 2)))
    depth = radius / r
    centre = axes @ np.array([ax, ay, 1.0]) * depth
    if centre[2] < 0:
        centre = -centre
    to_image = camera @ np.column_stack([axes[:, 0], axes[:, 1], centre])
    back = np.linalg.inv(to_image)
    back /= back[2, 2]
    tilt = math.sqrt(max(0.0, 1 - float(third @ centre / np.linalg.norm(centre)) ** 2))
    # The tilt hangs on the ratio of the axes; seen nearly square, a pixel of the fit turns the plane by degrees.
    u_tilt = min(math.sqrt(2 * u_fit), u_fit / max(tilt, 1e-6))
    u_slant = 0.5 * radius / float(np.linalg.norm(centre)) * u_tilt
    u = math.sqrt((u_mm / (2 * radius)) ** 2 + u_fit**2 + (u_focal * tilt) ** 2 + u_slant**2)
    # The side of the rim that is nearer, as seen in the picture.
    slope = -third[:2] if third[2] > 0 else third[:2]
    way = "right" if abs(slope[0]) >= abs(slope[1]) and slope[0] < 0 else ""
    way = way or ("left" if abs(slope[0]) >= abs(slope[1]) else ("lower" if slope[1] < 0 else "upper"))
    rests = (
        f"circle of {2 * radius:g} mm, its {way} side nearer",
        lens.in_words if lens else "focal length as given",
    )
    return Scale(
        tuple(float(v) for v in back.ravel()),
        u,
        f"in the plane of the circle, {way} side nearer",
        rests,
        False,
        lens,
    )
