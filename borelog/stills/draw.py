"""Marks on a still, as SVG and burned into a copy, from one description.

Readable over light and dark: every line is a dark band with a light core, every number stands on a white disc with a
dark rim. Told apart by number and by dash, never by colour alone: solid is seen clearly, dashed seen in part, dotted
inferred.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from itertools import pairwise
from typing import Any

import cv2
import numpy as np

from borelog.marks.shapes import Arrow, Box, Label, Pair, Point, Shape, bounds, is_closed, outline
from borelog.stills.planes import Picture
from borelog.text import one_line

DARK, WHITE = "#111111", "#ffffff"
# Okabe and Ito's sky, yellow and vermillion, which colour-blind eyes tell apart; the number and the dash say it as well.
CORES = ("#56b4e9", "#56b4e9", "#f0e442", "#f08a4b", "#f08a4b")
DASHES: dict[str, tuple[float, float] | None] = {
    "seen clearly": None,
    "seen in part": (9.0, 5.0),
    "inferred": (2.0, 4.0),
}


@dataclass(frozen=True, slots=True)
class Marked:
    """One finding on one still: its number, shapes in original pixels, severity 0 to 4, certainty, words."""

    number: int
    shapes: tuple[Shape, ...]
    severity: int = 2
    certainty: str = "seen clearly"
    words: str = ""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A path in pixels with a light core over a dark band."""

    points: tuple[Pair, ...]
    closed: bool
    core: str
    width: float
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Badge:
    """A number on a white disc."""

    x: float
    y: float
    radius: float
    text: str


@dataclass(frozen=True, slots=True)
class Words:
    """Text on a dark plate; (x, y) is the plate's upper left corner."""

    x: float
    y: float
    width: float
    height: float
    size: float
    text: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """Everything that is drawn, in order, in the original's pixels."""

    width: int
    height: int
    unit: float
    strokes: tuple[Stroke, ...] = ()
    badges: tuple[Badge, ...] = ()
    words: tuple[Words, ...] = ()


@lru_cache(maxsize=1)
def _font() -> Any:
    return cv2.FontFace("sans")


def _text_width(text: str, size: float) -> float:
    box = cv2.getTextSize((1, 1), text, (0, 0), _font(), max(4, round(size)), weight=600)
    return float(box[2])


_MOST_DASHES = 5000


def _dashed(points: Sequence[Pair], closed: bool, on: float, off: float) -> list[tuple[Pair, ...]]:
    path = [*points, points[0]] if closed else list(points)
    whole = math.fsum(math.hypot(x1 - x0, y1 - y0) for (x0, y0), (x1, y1) in pairwise(path))
    if not whole / (on + off) < _MOST_DASHES:
        # A mark from elsewhere may reach far outside its picture: nobody sees its dashes, and they have no end.
        return [tuple(path)]
    pieces: list[tuple[Pair, ...]] = []
    piece: list[Pair] = [path[0]]
    drawing, left = True, on
    for (x0, y0), (x1, y1) in pairwise(path):
        length = math.hypot(x1 - x0, y1 - y0)
        done = 0.0
        while length - done > left:
            done += left
            at = (x0 + (x1 - x0) * done / length, y0 + (y1 - y0) * done / length)
            if drawing:
                pieces.append((*piece, at))
            piece, drawing = [at], not drawing
            left = on if drawing else off
        left -= length - done
        if drawing:
            piece.append((x1, y1))
    if drawing and len(piece) > 1:
        pieces.append(tuple(piece))
    return pieces


def _strokes(shape: Shape, mark: Marked, unit: float) -> list[Stroke]:
    core, width = CORES[min(max(mark.severity, 0), 4)], 2.4 * unit
    if isinstance(shape, Label):
        return []
    if isinstance(shape, Point):
        r = 5 * unit
        cross = [
            ((shape.x - r, shape.y), (shape.x + r, shape.y)),
            ((shape.x, shape.y - r), (shape.x, shape.y + r)),
        ]
        return [Stroke(line, False, core, width) for line in cross]
    points = outline(shape, 96)
    out: list[Stroke] = []
    if isinstance(shape, Arrow):
        (x1, y1), (x2, y2) = points
        length = math.hypot(x2 - x1, y2 - y1) or 1.0
        ux, uy = (x2 - x1) / length, (y2 - y1) / length
        head, half = min(12 * unit, length), min(5 * unit, length * 0.42)
        back = (x2 - ux * head, y2 - uy * head)
        tip = (
            (x2, y2),
            (back[0] - uy * half, back[1] + ux * half),
            (back[0] + uy * half, back[1] - ux * half),
        )
        out.append(Stroke(tip, True, core, width * 0.6, filled=True))
        points = ((x1, y1), back)
    dash = DASHES.get(mark.certainty)
    if dash is None or len(points) < 2:
        return [Stroke(tuple(points), is_closed(shape), core, width), *out]
    pieces = _dashed(points, is_closed(shape), dash[0] * unit, dash[1] * unit)
    return [Stroke(piece, False, core, width) for piece in pieces] + out


def _reach(shape: Shape, unit: float) -> Box:
    box = bounds(shape)
    more = 6 * unit if isinstance(shape, Point) else 0.0
    return Box(box.x - more, box.y - more, box.width + 2 * more, box.height + 2 * more)


def _badge_spots(box: Box, radius: float) -> list[Pair]:
    gap = radius * 1.15
    left, right, top, bottom = box.x - gap, box.x + box.width + gap, box.y - gap, box.y + box.height + gap
    middle_x, middle_y = box.x + box.width / 2, box.y + box.height / 2
    corner = 0.3 * radius
    return [
        (left + corner, top + corner),
        (right - corner, top + corner),
        (right - corner, bottom - corner),
        (left + corner, bottom - corner),
        (middle_x, top),
        (right, middle_y),
        (middle_x, bottom),
        (left, middle_y),
    ]


def describe(marks: Sequence[Marked], width: int, height: int, unit: float | None = None) -> Drawing:
    """The one description that `to_svg` and `burn` follow.

    Parameters
    ----------
    marks : sequence of Marked
        Drawn in this order.
    width, height : int
        The original's size in pixels.
    unit : float, optional
        Pixels per drawing unit; by default the longer side / 720, so that lines look alike on any size.
    """
    unit = unit if unit is not None else max(1.0, max(width, height) / 720)
    strokes: list[Stroke] = []
    badges: list[Badge] = []
    words: list[Words] = []
    for mark in marks:
        for shape in mark.shapes:
            strokes += _strokes(shape, mark, unit)
        if not mark.shapes:
            continue
        text = str(mark.number)
        radius = (7.5 + 2.5 * max(0, len(text) - 1)) * unit
        badges.append(_placed(mark, radius, text, badges, width, height, unit))
        for shape in mark.shapes:
            if isinstance(shape, Label):
                words.append(_plate(shape.x, shape.y, shape.text, unit, width, height))
        if mark.words:
            badge = badges[-1]
            # Above the shape where there is room, so that the words do not cover what they name.
            top = min(badge.y - badge.radius, bounds(mark.shapes[0]).y - 23 * unit)
            words.append(_plate(badge.x + badge.radius * 1.3, top, mark.words, unit, width, height))
    return Drawing(width, height, unit, tuple(strokes), tuple(badges), tuple(words))


def _placed(
    mark: Marked, radius: float, text: str, taken: Sequence[Badge], width: int, height: int, unit: float
) -> Badge:
    inside_x, inside_y = max(radius, width - radius), max(radius, height - radius)
    best: tuple[float, Badge] | None = None
    for order, (x, y) in enumerate(_badge_spots(_reach(mark.shapes[0], unit), radius)):
        held = (min(max(x, radius), inside_x), min(max(y, radius), inside_y))
        moved = math.hypot(held[0] - x, held[1] - y)
        overlap = sum(max(0.0, radius + b.radius - math.hypot(held[0] - b.x, held[1] - b.y)) for b in taken)
        cost = 4 * overlap + moved + 0.01 * order
        if best is None or cost < best[0]:
            best = (cost, Badge(*held, radius, text))
    assert best is not None
    return best[1]


def _plate(x: float, y: float, text: str, unit: float, width: int, height: int) -> Words:
    text, size = one_line(text, 80), 13 * unit
    w, h = _text_width(text, size) + 8 * unit, size + 6 * unit
    return Words(
        min(max(0.0, x), max(0.0, width - w)), min(max(0.0, y), max(0.0, height - h)), w, h, size, text
    )


def _path(points: Sequence[Pair], closed: bool) -> str:
    return "M" + "L".join(["%.2f %.2f" % p for p in points]) + ("Z" if closed else "")  # noqa: UP031 - twice as fast


def to_svg(drawing: Drawing, still: str | None = None, title: str = "") -> str:
    """The drawing as an SVG element, to be laid over the still or with it inside.

    Parameters
    ----------
    drawing : Drawing
        From `describe`.
    still : str, optional
        A ``data:`` address or file name put below as an image.
    title : str
        Read out by screen readers.
    """
    w, h, band = drawing.width, drawing.height, 2.4 * drawing.unit
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" role="img">']
    if title:
        out.append(f"<title>{escape(one_line(title, 200))}</title>")
    if still is not None:
        out.append(f'<image href="{escape(still)}" width="{w}" height="{h}"/>')
    # All dark bands lie below all cores, so that crossing lines do not cut each other.
    paths = [(s, _path(s.points, s.closed)) for s in drawing.strokes]
    for colour in (DARK, None):
        for s, path in paths:
            ink, wide = (DARK, s.width + 2 * band) if colour else (s.core, s.width)
            fill = ink if s.filled else "none"
            out.append(
                f'<path d="{path}" fill="{fill}" stroke="{ink}" stroke-width="{wide:.2f}" '
                'stroke-linejoin="round" stroke-linecap="round"/>'
            )
    for b in drawing.badges:
        out.append(
            f'<circle cx="{b.x:.2f}" cy="{b.y:.2f}" r="{b.radius:.2f}" fill="{WHITE}" stroke="{DARK}" '
            f'stroke-width="{1.6 * drawing.unit:.2f}"/><text x="{b.x:.2f}" y="{b.y:.2f}" dy="0.35em" '
            f'text-anchor="middle" font-family="sans-serif" font-weight="700" font-size="{11 * drawing.unit:.2f}" '
            f'fill="{DARK}">{escape(b.text)}</text>'
        )
    for t in drawing.words:
        out.append(
            f'<rect x="{t.x:.2f}" y="{t.y:.2f}" width="{t.width:.2f}" height="{t.height:.2f}" fill="{DARK}"/>'
            f'<text x="{t.x + 4 * drawing.unit:.2f}" y="{t.y + t.size + drawing.unit:.2f}" font-family="sans-serif" '
            f'font-weight="600" font-size="{t.size:.2f}" textLength="{t.width - 8 * drawing.unit:.2f}" '
            f'lengthAdjust="spacingAndGlyphs" fill="{WHITE}">{escape(t.text)}</text>'
        )
    out.append("</svg>")
    return "".join(out)


def _thickness(width: float) -> int:
    # OpenCV's smoothed lines come out wider than asked: 1.3 pixels for 1, and 1.4 more for every even thickness.
    return 1 if width < 2 else 2 * max(1, round((width - 1.4) / 2))


def _bgr(colour: str) -> tuple[int, int, int]:
    return int(colour[5:7], 16), int(colour[3:5], 16), int(colour[1:3], 16)


def burn(image: Picture, drawing: Drawing) -> Picture:
    """The drawing burned into a copy of the still.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3); a copy of another size than the drawing's is drawn on to scale.
    """
    out = image.copy()
    zoom = image.shape[1] / drawing.width
    band = 2.4 * drawing.unit
    for dark in (True, False):
        for s in drawing.strokes:
            # Shapes put (0.5, 0.5) at the first pixel's centre, OpenCV (0, 0); four bits of fraction.
            path = np.round((np.asarray(s.points) * zoom - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
            ink = _bgr(DARK if dark else s.core)
            wide = _thickness((s.width + (2 * band if dark else 0)) * zoom)
            if s.filled:
                cv2.fillPoly(out, [path], ink, cv2.LINE_AA, 4)
            cv2.polylines(out, [path], s.closed, ink, wide, cv2.LINE_AA, 4)
    for b in drawing.badges:
        centre = (round((b.x * zoom - 0.5) * 16), round((b.y * zoom - 0.5) * 16))
        rim = max(1.0, 1.6 * drawing.unit * zoom)
        cv2.circle(out, centre, round((b.radius * zoom + rim / 2) * 16), _bgr(DARK), -1, cv2.LINE_AA, 4)
        cv2.circle(out, centre, round((b.radius * zoom - rim / 2) * 16), _bgr(WHITE), -1, cv2.LINE_AA, 4)
        size = max(6, round(11 * drawing.unit * zoom))
        half = _text_width(b.text, size) / 2
        _write(out, b.text, b.x * zoom - half, b.y * zoom + 0.36 * size, size, DARK)
    for t in drawing.words:
        corner = (round(t.x * zoom), round(t.y * zoom))
        cv2.rectangle(
            out, corner, (round((t.x + t.width) * zoom), round((t.y + t.height) * zoom)), _bgr(DARK), -1
        )
        base = (t.y + t.size + drawing.unit) * zoom
        _write(out, t.text, (t.x + 4 * drawing.unit) * zoom, base, max(6, round(t.size * zoom)), WHITE)
    return out


def _write(out: Picture, text: str, x: float, y: float, size: int, colour: str) -> None:
    cv2.putText(out, text, (round(x), round(y)), _bgr(colour), _font(), size, weight=600)
