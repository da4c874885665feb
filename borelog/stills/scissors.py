"""A traced outline that snaps to edges while the pointer moves.

Mortensen and Barrett, 'Intelligent Scissors for Image Composition' (1995), as OpenCV builds it, in a window round the
last fixed point: on a whole still it answers in a fifth of a second, in the window within a screen's frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from borelog.marks.shapes import Freehand, Pair
from borelog.stills import StillError
from borelog.stills.planes import Picture

WINDOW = 128


@dataclass(frozen=True, slots=True)
class Trace:
    """``fixed`` is the path that stays, ``live`` the piece from its end to the pointer; original pixels."""

    fixed: tuple[Pair, ...]
    live: tuple[Pair, ...]


class Scissors:
    """Start with a point, `move` with the pointer, `fix` on a click, `finish` at the end.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3); the original, whatever the display shows.
    start : (x, y)
        First point in original pixels.
    window : int
        Side of the window in pixels; with 128 the work on a new point takes about 5 ms and a move nearly nothing; the work
        grows with the square, and a long move needs one window after another.

    Notes
    -----
    Not for use from several threads at once.
    """

    def __init__(self, image: Picture, start: Pair, window: int = WINDOW) -> None:
        height, width = image.shape[:2]
        if min(height, width) < 16:
            raise StillError("the still is too small to trace in")
        self._image, self._window = image, max(32, window)
        self._tool = cv2.segmentation.IntelligentScissorsMB()
        self._tool.setEdgeFeatureCannyParameters(16, 100)
        self._tool.setGradientMagnitudeMaxLimit(200)
        self._fixes: list[tuple[Pair, ...]] = []
        self._seed = self._inside(start)
        self._origin = (0, 0)
        self._size = (0, 0)
        self._build()

    def _inside(self, point: Pair) -> Pair:
        height, width = self._image.shape[:2]
        return min(max(point[0], 0.5), width - 0.5), min(max(point[1], 0.5), height - 0.5)

    def _build(self) -> None:
        height, width = self._image.shape[:2]
        side_x, side_y = min(self._window, width), min(self._window, height)
        x0 = int(min(max(self._seed[0] - side_x / 2, 0), width - side_x))
        y0 = int(min(max(self._seed[1] - side_y / 2, 0), height - side_y))
        self._origin, self._size = (x0, y0), (side_x, side_y)
        self._tool.applyImage(np.ascontiguousarray(self._image[y0 : y0 + side_y, x0 : x0 + side_x]))
        self._tool.buildMap(self._cell(self._seed))

    def _cell(self, point: Pair) -> tuple[int, int]:
        x, y = int(point[0]) - self._origin[0], int(point[1]) - self._origin[1]
        return min(max(x, 0), self._size[0] - 1), min(max(y, 0), self._size[1] - 1)

    def _path_to(self, point: Pair) -> tuple[Pair, ...]:
        cells = np.asarray(self._tool.getContour(self._cell(point))).reshape(-1, 2)
        ox, oy = self._origin
        # The centre of the first pixel is at (0.5, 0.5).
        path = [(float(x) + ox + 0.5, float(y) + oy + 0.5) for x, y in cells]
        return tuple(path) if path else (self._seed, point)

    def _reaches(self, point: Pair) -> bool:
        x, y = point[0] - self._origin[0], point[1] - self._origin[1]
        return 0 <= x < self._size[0] and 0 <= y < self._size[1]

    def move(self, point: Pair) -> Trace:
        """The outline so far and the snapped path to the pointer; beyond the window the path is fixed on the way."""
        point = self._inside(point)
        steps = 0
        while not self._reaches(point) and steps < 64:
            self._fix_at(self._toward(point))
            steps += 1
        return Trace(self.fixed, self._path_to(point))

    def _toward(self, point: Pair) -> Pair:
        # As far toward the pointer as the window reaches, a few pixels inside its border.
        x, y = self._seed
        share = 1.0
        for at, to, low, size in (
            (x, point[0], self._origin[0], self._size[0]),
            (y, point[1], self._origin[1], self._size[1]),
        ):
            if to > low + size - 4:
                share = min(share, (low + size - 4 - at) / (to - at))
            elif to < low + 4:
                share = min(share, (low + 4 - at) / (to - at))
        share = max(share, 0.02)
        return self._inside((x + (point[0] - x) * share, y + (point[1] - y) * share))

    def _fix_at(self, point: Pair) -> None:
        self._fixes.append(self._path_to(point))
        self._seed = point
        self._build()

    @property
    def fixed(self) -> tuple[Pair, ...]:
        """The path that stays, in original pixels."""
        out: list[Pair] = []
        for piece in self._fixes:
            out += piece if not out else piece[1:]
        return tuple(out)

    def fix(self, point: Pair) -> Trace:
        """Keep the path up to this point and go on from there."""
        point = self._inside(point)
        self.move(point)
        self._fix_at(point)
        return Trace(self.fixed, ())

    def back(self) -> Trace:
        """Take the last fixed piece away."""
        if self._fixes:
            self._seed = self._fixes.pop()[0]
            self._build()
        return Trace(self.fixed, ())

    def finish(self, closed: bool = True, tolerance_px: float = 0.7) -> Freehand:
        """The traced shape with as few points as keep it within ``tolerance_px``.

        Raises
        ------
        StillError
            When fewer than two points are fixed (three for a closed outline).
        """
        if closed and self._fixes:
            first = self._fixes[0][0]
            if math.dist(self._seed, first) > 2:
                self.fix(first)
        points = simplified(self.fixed, closed, tolerance_px)
        if len(points) < (3 if closed else 2):
            raise StillError("nothing is traced yet; click along the edge first")
        return Freehand(points, closed)


def simplified(points: Sequence[Pair], closed: bool, tolerance_px: float) -> tuple[Pair, ...]:
    """Fewer points along the same path (Douglas and Peucker 1973), none further off than ``tolerance_px``."""
    if len(points) < 3:
        return tuple(points)
    path = np.asarray(points, np.float32).reshape(-1, 1, 2)
    thin = cv2.approxPolyDP(path, tolerance_px, closed).reshape(-1, 2)
    return tuple((float(x), float(y)) for x, y in thin)
