"""Shapes drawn over a still.

Coordinates are floats in the original picture's pixels after its orientation is honoured: x to the right, y down,
the centre of the first pixel at (0.5, 0.5). Zoom, rotation and mirror of the display never enter here.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TypeAlias

import msgspec

Pair: TypeAlias = tuple[float, float]


class _Shape(msgspec.Struct, frozen=True, tag_field="shape", forbid_unknown_fields=True):
    pass


class Box(_Shape, frozen=True, tag="box"):
    """An upright rectangle: corner with the smallest x and y, width and height, in pixels."""

    x: float
    y: float
    width: float
    height: float


class Ellipse(_Shape, frozen=True, tag="ellipse"):
    """Centre, half axes in pixels, and the turn of the first half axis from x toward y in degrees."""

    cx: float
    cy: float
    rx: float
    ry: float
    angle: float = 0.0


class Polygon(_Shape, frozen=True, tag="polygon"):
    """A closed outline of three or more corners."""

    points: tuple[Pair, ...]


class Freehand(_Shape, frozen=True, tag="freehand"):
    """A traced path, open or closed, as drawn or snapped to edges."""

    points: tuple[Pair, ...]
    closed: bool = False


class Line(_Shape, frozen=True, tag="line"):
    """A straight line between two points."""

    x1: float
    y1: float
    x2: float
    y2: float


class Arrow(_Shape, frozen=True, tag="arrow"):
    """An arrow whose head is at the second point."""

    x1: float
    y1: float
    x2: float
    y2: float


class Point(_Shape, frozen=True, tag="point"):
    """One spot."""

    x: float
    y: float


class Label(_Shape, frozen=True, tag="label"):
    """Words set at a spot."""

    x: float
    y: float
    text: str


Shape: TypeAlias = Box | Ellipse | Polygon | Freehand | Line | Arrow | Point | Label


@lru_cache(maxsize=2048)
def outline(shape: Shape, steps: int = 48) -> tuple[Pair, ...]:
    """The shape as points along its outline, in pixels; closed shapes do not repeat the first point."""
    match shape:
        case Box(x, y, w, h):
            return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        case Ellipse(cx, cy, rx, ry, angle):
            c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
            turns = [2 * math.pi * k / steps for k in range(steps)]
            return tuple(
                (
                    cx + rx * math.cos(t) * c - ry * math.sin(t) * s,
                    cy + rx * math.cos(t) * s + ry * math.sin(t) * c,
                )
                for t in turns
            )
        case Polygon(points) | Freehand(points):
            return points
        case Line(x1, y1, x2, y2) | Arrow(x1, y1, x2, y2):
            return ((x1, y1), (x2, y2))
        case Point(x, y) | Label(x, y):
            return ((x, y),)


def is_closed(shape: Shape) -> bool:
    """Whether the shape encloses an area."""
    return isinstance(shape, Box | Ellipse | Polygon) or (isinstance(shape, Freehand) and shape.closed)


def bounds(shape: Shape) -> Box:
    """The smallest upright box around the shape."""
    xs, ys = zip(*outline(shape), strict=True)
    return Box(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))


def area(shape: Shape) -> float:
    """Enclosed area in square pixels; 0 for open shapes."""
    if isinstance(shape, Ellipse):
        return math.pi * shape.rx * shape.ry
    if not is_closed(shape):
        return 0.0
    points = outline(shape)
    twice = sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(points, points[1:] + points[:1], strict=True))
    return abs(twice) / 2


def moved(shape: Shape, dx: float, dy: float) -> Shape:
    """The shape shifted by (dx, dy) pixels."""
    match shape:
        case Box():
            return msgspec.structs.replace(shape, x=shape.x + dx, y=shape.y + dy)
        case Ellipse():
            return msgspec.structs.replace(shape, cx=shape.cx + dx, cy=shape.cy + dy)
        case Polygon() | Freehand():
            return msgspec.structs.replace(shape, points=tuple((x + dx, y + dy) for x, y in shape.points))
        case Line() | Arrow():
            return msgspec.structs.replace(
                shape, x1=shape.x1 + dx, y1=shape.y1 + dy, x2=shape.x2 + dx, y2=shape.y2 + dy
            )
        case Point() | Label():
            return msgspec.structs.replace(shape, x=shape.x + dx, y=shape.y + dy)
