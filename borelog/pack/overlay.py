"""Marks drawn over a still as SVG, from the record alone; a stranger's SVG is never used."""

from __future__ import annotations

import math
from collections.abc import Iterable
from html import escape

from borelog.marks.shapes import (
    Arrow,
    Box,
    Ellipse,
    Freehand,
    Label,
    Line,
    Point,
    Polygon,
    Shape,
    bounds,
    outline,
)
from borelog.pack.document import MarkRow

INK, HALO = "#f0e442", "#101418"


def number(value: float) -> str:
    """A coordinate with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


def _points(shape: Shape) -> str:
    return " ".join(f"{number(x)},{number(y)}" for x, y in outline(shape))


def _head(shape: Arrow, size: float) -> str:
    angle = math.atan2(shape.y2 - shape.y1, shape.x2 - shape.x1)
    wings = (
        (shape.x2 - size * math.cos(angle + turn), shape.y2 - size * math.sin(angle + turn))
        for turn in (0.45, -0.45)
    )
    (ax, ay), (bx, by) = wings
    return f"M{number(ax)} {number(ay)}L{number(shape.x2)} {number(shape.y2)}L{number(bx)} {number(by)}"


def element(shape: Shape, size: float) -> str:
    """The shape as one SVG element without paint; ``size`` is the length of an arrow's head in pixels."""
    match shape:
        case Box(x, y, w, h):
            return f'<rect x="{number(x)}" y="{number(y)}" width="{number(w)}" height="{number(h)}"'
        case Ellipse(cx, cy, rx, ry, angle):
            turn = f' transform="rotate({number(angle)} {number(cx)} {number(cy)})"' if angle else ""
            return f'<ellipse cx="{number(cx)}" cy="{number(cy)}" rx="{number(rx)}" ry="{number(ry)}"{turn}'
        case Polygon():
            return f'<polygon points="{_points(shape)}"'
        case Freehand():
            kind = "polygon" if shape.closed else "polyline"
            return f'<{kind} points="{_points(shape)}"'
        case Line(x1, y1, x2, y2):
            return f'<path d="M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"'
        case Arrow(x1, y1, x2, y2):
            return f'<path d="M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}{_head(shape, size)}"'
        case Point(x, y) | Label(x, y):
            return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(size / 3)}"'


def overlay(marks: Iterable[MarkRow], width: int, height: int, *, standalone: bool = False) -> str:
    """All marks of one still, numbered, with a dark rim so that they show on any picture.

    Parameters
    ----------
    marks
        Marks of this still, in upright original pixels.
    width, height
        Size of the still in those pixels; becomes the view box.
    standalone
        With a name space, as a file of its own needs it.
    """
    unit = max(width, height) / 400
    space = ' xmlns="http://www.w3.org/2000/svg"' if standalone else ""
    parts: list[str] = []
    for mark in marks:
        shape = element(mark.shape, unit * 9)
        for colour, thick in ((HALO, 3.6), (INK, 1.8)):
            parts.append(
                f'{shape} fill="none" stroke="{colour}" stroke-width="{number(unit * thick)}"'
                ' stroke-linecap="round" stroke-linejoin="round"/>'
            )
        parts.append(_badge(mark, unit, width, height))
    size = f' width="{width}" height="{height}"' if standalone else ""
    return (
        f'<svg{space} class="marks" viewBox="0 0 {width} {height}"{size} aria-hidden="true" focusable="false">'
        + "".join(parts)
        + "</svg>"
    )


def _badge(mark: MarkRow, unit: float, width: int, height: int) -> str:
    box, radius = bounds(mark.shape), unit * 8
    x = min(max(box.x, radius), max(radius, width - radius))
    y = min(max(box.y - radius * 0.6, radius), max(radius, height - radius))
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{INK}" stroke="{HALO}"'
        f' stroke-width="{number(unit)}"/><text x="{number(x)}" y="{number(y + unit * 4)}" fill="{HALO}"'
        f' font-family="DejaVu Sans Mono, monospace" font-weight="bold" font-size="{number(unit * 11)}"'
        f' text-anchor="middle">{escape(str(mark.number))}</text>'
    )
