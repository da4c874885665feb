"""Distance, angle, area and share of the crown, each with its uncertainty and what it rests on.

Uncertainty after JCGM 100:2008 (GUM), first order: clicks are independent, the scale is one factor common to all. The
figure said is twice the standard uncertainty (about 95 in 100). Without a scale there are pixels and shares, nothing
else; depth is never measured.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from borelog.marks.shapes import Arrow, Ellipse, Freehand, Line, Pair, Shape, is_closed, outline
from borelog.stills import StillError
from borelog.stills.scale import CLICK_PX, Scale

EDGE_PX = 0.7
NO_DEPTH = "no picture measures depth"
_STEP = 0.25


@dataclass(frozen=True, slots=True)
class Measure:
    """A value with its standard uncertainty ``u`` in the same unit and what it rests on.

    ``unit`` is 'mm', 'mm²', 'px', 'px²', '°' or '%'.
    """

    kind: str
    value: float
    unit: str
    u: float
    rests_on: tuple[str, ...]

    @property
    def in_words(self) -> str:
        """Value ± twice the standard uncertainty, no more digits than it carries."""
        wide = 2 * self.u
        # One significant figure of the uncertainty, two where it begins with 1 or 2 (common practice).
        power = math.floor(math.log10(wide)) if wide > 0 else 0
        digits = max(0, min(4, (1 if wide / 10**power < 3 else 0) - power))
        gap = "" if self.unit in ("°", "%") else " "
        return f"{self.value:.{digits}f} ± {wide:.{digits}f}{gap}{self.unit}"


def _square_note(scale: Scale | None) -> tuple[str, ...]:
    if scale is None:
        return ("no scale: pixels of this still only",)
    note = (f"the scale, true {scale.plane} and wrong elsewhere", *scale.rests_on)
    return (*note, "the part is taken to lie square to the view") if scale.flat else note


def _propagated(
    points: Sequence[Pair], of: Callable[[Sequence[Pair]], float], click_px: float
) -> tuple[float, float]:
    """The value of a function of clicked points and the standard uncertainty that the clicks give it."""
    here = list(points)
    total = 0.0
    for i, (x, y) in enumerate(points):
        for dx, dy in ((_STEP, 0.0), (0.0, _STEP)):
            here[i] = (x + dx, y + dy)
            up = of(here)
            here[i] = (x - dx, y - dy)
            total += ((up - of(here)) / (2 * _STEP)) ** 2
        here[i] = (x, y)
    return of(points), math.sqrt(total) * click_px


def _seen(scale: Scale | None, points: Sequence[Pair]) -> tuple[Pair, ...]:
    return tuple(points) if scale is None else scale.to_mm(points)


def _length(points: Sequence[Pair]) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(points))


def _area(points: Sequence[Pair]) -> float:
    twice = sum(
        x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(points, [*points[1:], points[0]], strict=True)
    )
    return abs(twice) / 2


def distance(shape: Shape, scale: Scale | None = None, click_px: float = CLICK_PX) -> Measure:
    """Length of a line, an arrow or an open traced path.

    Parameters
    ----------
    shape : Line, Arrow or open Freehand
        In the still's pixels.
    scale : Scale, optional
        Without it the result is in pixels.
    click_px : float
        Standard uncertainty of each point in x and in y.

    Raises
    ------
    StillError
        For any other shape.
    """
    if not isinstance(shape, Line | Arrow | Freehand) or is_closed(shape) or len(outline(shape)) < 2:
        raise StillError("a length is taken along a line, an arrow or an open path; draw one")
    value, u = _propagated(outline(shape), lambda p: _length(_seen(scale, p)), click_px)
    if scale is not None:
        u = math.hypot(u, value * scale.u_rel)
    return Measure(
        "length",
        value,
        "px" if scale is None else "mm",
        u,
        (*_square_note(scale), f"points ± {click_px:g} px"),
    )


def angle(arms: tuple[Pair, Pair, Pair], scale: Scale | None = None, click_px: float = CLICK_PX) -> Measure:
    """Angle at the middle of three points, 0 to 180 degrees.

    In a plane of known tilt the angle is that on the part; without one it is the angle in the picture, and says so.
    """
    a, v, b = arms
    if min(math.dist(a, v), math.dist(b, v)) < 4 * click_px:
        raise StillError("the arms of the angle are too short; click the ends further out")

    def opening(points: Sequence[Pair]) -> float:
        (ax, ay), (vx, vy), (bx, by) = _seen(scale, points)
        px, py, qx, qy = ax - vx, ay - vy, bx - vx, by - vy
        return math.degrees(abs(math.atan2(px * qy - py * qx, px * qx + py * qy)))

    value, u = _propagated(arms, opening, click_px)
    tilted = scale is not None and not scale.flat
    rests = (
        _square_note(scale)
        if tilted
        else ("the angle in the picture, true on the part only if it lies square to the view",)
    )
    return Measure("angle", value, "°", u, (*rests, f"points ± {click_px:g} px"))


def _check_closed(shape: Shape) -> None:
    if not is_closed(shape):
        raise StillError(
            "an area needs a closed outline; close the path or draw a box, an ellipse or a polygon"
        )


def _area_and_u(shape: Shape, scale: Scale | None, edge_px: float) -> tuple[float, float]:
    points = outline(shape, 180)
    seen = _seen(scale, points)
    value = _area(seen)
    # Where the edge of a thing lies is a matter of judgement that shifts the whole outline one way: not independent.
    per_px = 1.0 if scale is None else value / max(1e-12, _area(points))
    around = _length([*points, points[0]])
    return value, around * edge_px * per_px


def area(shape: Shape, scale: Scale | None = None, edge_px: float = EDGE_PX) -> Measure:
    """Area of a closed shape, in square millimetres or square pixels.

    Parameters
    ----------
    shape : Box, Ellipse, Polygon or closed Freehand
        In the still's pixels.
    scale : Scale, optional
        Without it the result is in square pixels.
    edge_px : float
        Standard uncertainty of where the outline as a whole lies.
    """
    _check_closed(shape)
    value, u = _area_and_u(shape, scale, edge_px)
    if scale is not None:
        u = math.hypot(u, 2 * value * scale.u_rel)
    return Measure(
        "area",
        value,
        "px²" if scale is None else "mm²",
        u,
        (*_square_note(scale), f"outline ± {edge_px:g} px"),
    )


def share(part: Shape, whole: Shape, scale: Scale | None = None, edge_px: float = EDGE_PX) -> Measure:
    """Area of one closed shape as a share of another, in per cent: how much of the crown is missing.

    Needs no scale: the share does not change when a flat part is seen at a slant from far away. Seen from near, the
    nearer half counts for more; a scale taken from the crown's own rim under perspective puts that right.

    Parameters
    ----------
    part, whole : closed shapes
        In the same still. The share is of outlines as drawn; the part should lie within the whole.
    scale : Scale, optional
        A scale with a tilt (`scale.from_disc_pose`); a plain factor changes nothing.
    """
    _check_closed(part)
    _check_closed(whole)
    used = None if scale is None or scale.flat else scale
    p, up = _area_and_u(part, used, edge_px)
    w, uw = _area_and_u(whole, used, edge_px)
    if w <= 0:
        raise StillError("the whole has no area; draw it round the rim")
    value = p / w
    model = 0.03 if used is None else 0.01
    u = value * math.sqrt(
        (up / max(p, 1e-12)) ** 2 + (uw / w) ** 2 + model**2 + (0 if used is None else used.u_rel**2)
    )
    rests = (
        f"rim as {'an ellipse' if isinstance(whole, Ellipse) else 'drawn'}",
        f"outlines ± {edge_px:g} px",
    )
    slant = used.rests_on if used is not None else ("perspective left out",)
    return Measure("share of crown", 100 * value, "%", 100 * u, (*rests, *slant))
