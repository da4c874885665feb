"""Drawing and mending shapes, point by point: what keys and mouse both do, without a terminal."""

from __future__ import annotations

from dataclasses import dataclass, replace

import msgspec

from borelog.marks.shapes import (
    Arrow,
    Box,
    Ellipse,
    Freehand,
    Label,
    Line,
    Pair,
    Point,
    Polygon,
    Shape,
    bounds,
    moved,
    outline,
)

TOOLS: dict[str, tuple[str, int, str]] = {
    "box": ("box", 2, "two opposite corners"),
    "ellipse": ("ellipse", 2, "two opposite corners of the frame around it"),
    "line": ("line", 2, "both ends"),
    "arrow": ("arrow", 2, "tail, then tip"),
    "point": ("spot", 1, "the spot"),
    "polygon": ("outline", 0, "its corners in turn, then finish"),
    "freehand": ("freehand", 0, "points along it, or drag; then finish"),
    "trace": ("traced outline", 0, "points along an edge, it snaps to it; then finish"),
    "pick": ("picked area", 1, "a spot in a piece that stands out, it is outlined for you"),
    "label": ("words", 1, "where the words stand"),
}
"""Tool -> what it is called, points it needs (0: as many as wanted), what to set."""

UNBOUNDED = tuple(tool for tool, (_, need, _) in TOOLS.items() if not need)
"""Tools that take points until they are told to finish."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A shape being drawn: the tool, the points set, where the cross hair is now, and the path that follows edges."""

    tool: str
    points: tuple[Pair, ...] = ()
    at: Pair = (0.0, 0.0)
    path: tuple[Pair, ...] = ()

    def says(self) -> str:
        """What to do next, in words."""
        name, need, what = TOOLS[self.tool]
        if not self.points:
            return f"{name}: set {what}"
        return f"{name}: {len(self.points)}{f' of {need}' if need else ''} set"


def with_point(draft: Draft, place: Pair) -> tuple[Draft, Shape | None]:
    """The draft with one more point, and the finished shape where that was the last one needed."""
    points = (*draft.points, place)
    new = replace(draft, points=points, at=place)
    need = TOOLS[draft.tool][1]
    if need and len(points) >= need:
        return replace(new, points=()), shape_of(draft.tool, points)
    return new, None


def without_last(draft: Draft) -> Draft:
    """The draft with its last point taken back."""
    return replace(draft, points=draft.points[:-1])


def preview(draft: Draft) -> Shape | None:
    """What the shape would be if the point in hand were set now."""
    if not draft.points:
        return None
    if len(draft.path) > 1:
        return Freehand(draft.path)
    points = (*draft.points, draft.at)
    if draft.tool in UNBOUNDED:
        return Freehand(points)
    return shape_of(draft.tool, points) or Line(*draft.points[0], *draft.at)


def finished(draft: Draft) -> Shape | None:
    """The outline closed with the points set so far; None when there are too few."""
    return shape_of(draft.tool, draft.points)


def shape_of(tool: str, points: tuple[Pair, ...], text: str = "") -> Shape | None:
    """A shape from its points in picture pixels; None where they make none (no size, too few)."""
    if not points or len(points) < TOOLS[tool][1]:
        return None
    (x1, y1), (x2, y2) = points[0], points[-1]
    left, top, width, height = min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1)
    match tool:
        case "box":
            return Box(left, top, width, height) if width and height else None
        case "ellipse":
            return (
                Ellipse(left + width / 2, top + height / 2, width / 2, height / 2)
                if width and height
                else None
            )
        case "line":
            return Line(x1, y1, x2, y2) if width or height else None
        case "arrow":
            return Arrow(x1, y1, x2, y2) if width or height else None
        case "point" | "pick":
            return Point(x1, y1)
        case "label":
            return Label(x1, y1, text)
        case "polygon":
            return Polygon(points) if len(points) >= 3 else None
        case _:
            return Freehand(points) if len(points) >= 2 else None


def handles(shape: Shape) -> tuple[Pair, ...]:
    """The points by which a shape can be pulled."""
    match shape:
        case Ellipse():
            box = bounds(shape)
            return ((box.x, box.y), (box.x + box.width, box.y + box.height))
        case Box(x, y, w, h):
            return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        case _:
            return outline(shape)


def pulled(shape: Shape, handle: int, place: Pair) -> Shape:
    """The shape with one handle put elsewhere; a box or ellipse keeps the opposite corner."""
    x, y = place
    match shape:
        case Box():
            across = handles(shape)[(handle + 2) % 4]
            return shape_of("box", (across, place)) or shape
        case Ellipse():
            across = handles(shape)[(handle + 1) % 2]
            return shape_of("ellipse", (across, place)) or shape
        case Line() | Arrow():
            names = ("x1", "y1") if handle == 0 else ("x2", "y2")
            return msgspec.structs.replace(shape, **dict(zip(names, place, strict=True)))
        case Polygon(points) | Freehand(points):
            return msgspec.structs.replace(shape, points=(*points[:handle], place, *points[handle + 1 :]))
        case Point() | Label():
            return msgspec.structs.replace(shape, x=x, y=y)


def nudged(shape: Shape, handle: int | None, dx: float, dy: float) -> Shape:
    """The whole shape (handle None) or one of its handles moved by (dx, dy) picture pixels."""
    if handle is None:
        return moved(shape, dx, dy)
    x, y = handles(shape)[handle]
    return pulled(shape, handle, (x + dx, y + dy))


def nearest_handle(shape: Shape, place: Pair, reach: float) -> int | None:
    """The handle within ``reach`` pixels of a place, None if there is none."""
    near = [
        (((hx - place[0]) ** 2 + (hy - place[1]) ** 2) ** 0.5, k) for k, (hx, hy) in enumerate(handles(shape))
    ]
    distance, handle = min(near)
    return handle if distance <= reach else None


def distance_to(shape: Shape, place: Pair) -> float:
    """How far a place is from the shape in pixels: 0 inside its frame, else the way to the frame."""
    box = bounds(shape)
    dx = max(box.x - place[0], 0.0, place[0] - box.x - box.width)
    dy = max(box.y - place[1], 0.0, place[1] - box.y - box.height)
    return float((dx * dx + dy * dy) ** 0.5)


def hit(shapes: tuple[Shape, ...], place: Pair, reach: float) -> int | None:
    """The smallest shape whose frame holds the place, else the nearest within ``reach`` pixels."""
    near = [(distance_to(s, place), bounds(s).width * bounds(s).height, k) for k, s in enumerate(shapes)]
    fits = [n for n in near if n[0] <= reach]
    return min(fits)[2] if fits else None
