"""From a point of the original to where it is on a display that is zoomed, turned and mirrored, and back.

Both ends count as shapes do: the centre of the first pixel is at (0.5, 0.5). Marks stay in the original's pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
    outline,
)


@dataclass(frozen=True, slots=True)
class Frame:
    """x' = a x + b y + c, y' = d x + e y + f, from original pixels to display pixels."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 1.0
    f: float = 0.0

    def to_display(self, x: float, y: float) -> Pair:
        """Where a point of the original is shown."""
        return self.a * x + self.b * y + self.c, self.d * x + self.e * y + self.f

    def to_original(self, x: float, y: float) -> Pair:
        """Which point of the original is shown there."""
        det = self.a * self.e - self.b * self.d
        u, v = x - self.c, y - self.f
        return (self.e * u - self.b * v) / det, (self.a * v - self.d * u) / det

    @property
    def zoom(self) -> float:
        """Display pixels per original pixel."""
        return math.sqrt(abs(self.a * self.e - self.b * self.d))

    @property
    def mirrored(self) -> bool:
        """Whether left and right are swapped."""
        return self.a * self.e - self.b * self.d < 0

    def after(self, first: Frame) -> Frame:
        """The frame that does ``first`` and then this one."""
        return Frame(
            self.a * first.a + self.b * first.d,
            self.a * first.b + self.b * first.e,
            self.a * first.c + self.b * first.f + self.c,
            self.d * first.a + self.e * first.d,
            self.d * first.b + self.e * first.e,
            self.d * first.c + self.e * first.f + self.f,
        )


def turned(degrees: float, mirror: bool, zoom: float, centre: Pair, middle: Pair) -> Frame:
    """The frame that shows ``centre`` of the original at ``middle`` of the display.

    Parameters
    ----------
    degrees : float
        Clockwise turn of the picture as seen.
    mirror : bool
        Left and right swapped after the turn (undoes a mirror attachment).
    zoom : float
        Display pixels per original pixel.
    """
    t = math.radians(degrees)
    # Exact for quarter turns, so that pixels fall on pixels.
    cos, sin = (round(v, 12) + 0.0 for v in (math.cos(t), math.sin(t)))
    s = -1.0 if mirror else 1.0
    a, b, d, e = s * zoom * cos, -s * zoom * sin, zoom * sin, zoom * cos
    return Frame(
        a, b, middle[0] - a * centre[0] - b * centre[1], d, e, middle[1] - d * centre[0] - e * centre[1]
    )


def shape_to_display(shape: Shape, frame: Frame) -> Shape:
    """A shape in display pixels; a box that is turned becomes a polygon, an ellipse stays one (frames do not shear)."""
    match shape:
        case Point(x, y):
            return Point(*frame.to_display(x, y))
        case Label(x, y, text):
            return Label(*frame.to_display(x, y), text)
        case Line(x1, y1, x2, y2):
            return Line(*frame.to_display(x1, y1), *frame.to_display(x2, y2))
        case Arrow(x1, y1, x2, y2):
            return Arrow(*frame.to_display(x1, y1), *frame.to_display(x2, y2))
        case Polygon(points):
            return Polygon(tuple(frame.to_display(*p) for p in points))
        case Freehand(points, closed):
            return Freehand(tuple(frame.to_display(*p) for p in points), closed)
        case Box():
            corners = tuple(frame.to_display(*p) for p in outline(shape))
            if frame.b == 0 == frame.d or frame.a == 0 == frame.e:
                xs, ys = zip(*corners, strict=True)
                return Box(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))
            return Polygon(corners)
        case Ellipse(cx, cy, rx, ry, angle):
            t = math.radians(angle)
            u = frame.a * math.cos(t) + frame.b * math.sin(t)
            v = frame.d * math.cos(t) + frame.e * math.sin(t)
            x, y = frame.to_display(cx, cy)
            return Ellipse(x, y, rx * frame.zoom, ry * frame.zoom, math.degrees(math.atan2(v, u)))


def shape_to_original(shape: Shape, frame: Frame) -> Shape:
    """The inverse of `shape_to_display` for shapes drawn on a display."""
    det = frame.a * frame.e - frame.b * frame.d
    x, y = frame.to_original(0.0, 0.0)
    back = Frame(frame.e / det, -frame.b / det, x, -frame.d / det, frame.a / det, y)
    return shape_to_display(shape, back)
