"""Marks over a picture: shapes in picture pixels to braille dots and number tags in cells."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from borelog.marks.shapes import Arrow, Label, Shape, is_closed, outline
from borelog.tui.viewport import Viewport

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Colour = tuple[int, int, int]
_FAR = 20_000
"""Dots further out than this are pulled in, because the line routine counts in 16.16 fixed point."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A shape as it is to be shown: ``tag`` beside it, broken line for what nobody has accepted yet."""

    shape: Shape
    tag: str = ""
    role: str = "watch"
    broken: bool = False
    held: bool = False


@dataclass(frozen=True, slots=True)
class Tag:
    """Characters at a cell."""

    column: int
    row: int
    text: str
    role: str
    held: bool


@lru_cache(maxsize=1024)
def _outline(shape: Shape) -> NDArray[np.float64]:
    import numpy as np

    return np.array(outline(shape), np.float64)


def places_of(shape: Shape, view: Viewport, size: tuple[int, int]) -> NDArray[np.float64]:
    """The outline in cell places, shape (n, 2)."""
    import numpy as np

    (a, b, x0), (c, d, y0) = view.affine(size, (1, 1))
    points = _outline(shape) - (x0 + 0.5, y0 + 0.5)
    return points @ np.linalg.inv(np.array([[a, b], [c, d]])).T + 0.5


def rasterise(drawn: list[Drawn], view: Viewport, size: tuple[int, int]) -> NDArray[np.uint8]:
    """All shapes as dots (rows * 4, columns * 2): 0 or the shape's number from 1, the one in hand on top."""
    import cv2
    import numpy as np

    columns, rows = size
    canvas = np.zeros((rows * 4, columns * 2), np.uint8)
    order = sorted(range(len(drawn)), key=lambda k: drawn[k].held)
    for k in order[-254:]:
        item = drawn[k]
        number = k % 254 + 1
        points = np.clip(places_of(item.shape, view, size) * (2.0, 4.0), -_FAR, _FAR)
        if len(points) == 1:
            x, y = (int(round(v)) for v in points[0])
            cv2.circle(canvas, (x, y), 3, number, 1)
            continue
        whole = np.round(points).astype(np.int32)
        closed = is_closed(item.shape)
        if item.broken:
            _broken(canvas, points, closed, number)
        else:
            cv2.polylines(canvas, [whole.reshape(-1, 1, 2)], closed, number, 2 if item.held else 1)
        if isinstance(item.shape, Arrow):
            _head(canvas, points, number)
    return canvas


def _broken(canvas: NDArray[np.uint8], points: NDArray[np.float64], closed: bool, number: int) -> None:
    """A line of five dots drawn, four left out, so that shapes also differ without colour."""
    import cv2
    import numpy as np

    if closed:
        points = np.vstack([points, points[:1]])
    for (x1, y1), (x2, y2) in itertools.pairwise(points):
        length = float(np.hypot(x2 - x1, y2 - y1))
        if length > 4000:
            cv2.line(canvas, (int(x1), int(y1)), (int(x2), int(y2)), number, 1)
            continue
        for start in np.arange(0.0, length, 9.0):
            a, b = start / max(length, 1e-9), min(start + 5.0, length) / max(length, 1e-9)
            p = (round(x1 + (x2 - x1) * a), round(y1 + (y2 - y1) * a))
            q = (round(x1 + (x2 - x1) * b), round(y1 + (y2 - y1) * b))
            cv2.line(canvas, p, q, number, 1)


def _head(canvas: NDArray[np.uint8], points: NDArray[np.float64], number: int) -> None:
    import cv2
    import numpy as np

    tail, tip = points[0], points[1]
    along = tail - tip
    length = float(np.hypot(*along))
    if length < 1:
        return
    along = along / length * min(8.0, length / 2)
    for sign in (-0.6, 0.6):
        side = np.array([along[0] * 0.8 - along[1] * sign, along[1] * 0.8 + along[0] * sign])
        end = np.clip(tip + side, -_FAR, _FAR)
        cv2.line(canvas, (round(tip[0]), round(tip[1])), (round(end[0]), round(end[1])), number, 1)


def tags(drawn: list[Drawn], view: Viewport, size: tuple[int, int]) -> list[Tag]:
    """Number tags and words, each at its shape's upper right corner, kept on the picture's area where the shape is."""
    out: list[Tag] = []
    for item in drawn:
        words = item.shape.text if isinstance(item.shape, Label) else ""
        text = f"{item.tag} {words}".strip()
        if not text:
            continue
        places = places_of(item.shape, view, size)
        (left, row), (column, bottom) = places.min(0), places.max(0)
        if left > size[0] or column < 0 or row > size[1] or bottom < 0:
            continue
        # Cells are whole; half a cell of rounding is fine for a tag.
        at = min(max(0, int(column)), max(0, size[0] - len(text)))
        out.append(Tag(at, min(max(0, int(row)), size[1] - 1), text, item.role, item.held))
    return out
