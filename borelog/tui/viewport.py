"""From screen cells to picture pixels and back: pan, zoom, turn and mirror as one affine map.

A *cell place* is (column, row) as floats: (0, 0) is the top left corner of the picture's area and (0.5, 0.5) the middle
of its first cell. Picture pixels are as in `borelog.marks.shapes`: x right, y down, first pixel's middle at (0.5, 0.5).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

NEAREST_PX_PER_CELL = 0.25
"""No nearer than four cells to one picture pixel."""


@dataclass(frozen=True, slots=True)
class Viewport:
    """Which part of a picture is seen.

    ``cx, cy`` is the picture place shown in the middle; ``px`` how many picture pixels one cell is wide; ``turn`` the
    angle in degrees by which the picture is shown turned clockwise; ``mirror`` whether left and right are swapped
    before the turn; ``tall`` how many times as tall as wide a cell is.
    """

    cx: float
    cy: float
    px: float
    turn: float = 0.0
    mirror: bool = False
    tall: float = 2.0

    def to_picture(self, column: float, row: float, size: tuple[int, int]) -> tuple[float, float]:
        """The picture place under a cell place; ``size`` is (columns, rows) of the area."""
        a, b, c, d = self._matrix()
        u, v = column - size[0] / 2, row - size[1] / 2
        return self.cx + a * u + b * v, self.cy + c * u + d * v

    def to_cells(self, x: float, y: float, size: tuple[int, int]) -> tuple[float, float]:
        """The cell place at which a picture place is shown."""
        a, b, c, d = self._matrix()
        det = a * d - b * c
        u, v = x - self.cx, y - self.cy
        return size[0] / 2 + (d * u - b * v) / det, size[1] / 2 + (a * v - c * u) / det

    def _matrix(self) -> tuple[float, float, float, float]:
        """Rows of the map from (columns, rows) off the middle to picture pixels off (cx, cy)."""
        co, si = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
        sx, sy = self.px, self.px * self.tall
        flip = -1.0 if self.mirror else 1.0
        return flip * co * sx, flip * si * sy, -si * sx, co * sy

    def affine(
        self, size: tuple[int, int], dots: tuple[int, int]
    ) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """The 2 x 3 map from sample indices to picture pixel indices (middles at whole numbers on both sides).

        ``dots`` is how many samples a cell has across and down; the map is what an image warp wants with the
        'inverse' flag.
        """
        a, b, c, d = self._matrix()
        kx, ky = dots
        x0, y0 = self.to_picture(0.5 / kx, 0.5 / ky, size)
        return (a / kx, b / ky, x0 - 0.5), (c / kx, d / ky, y0 - 0.5)

    def panned(self, columns: float, rows: float) -> Viewport:
        """The view moved by so many cells: what was that far right or down comes to the middle."""
        a, b, c, d = self._matrix()
        return replace(self, cx=self.cx + a * columns + b * rows, cy=self.cy + c * columns + d * rows)

    def zoomed(self, factor: float, column: float, row: float, size: tuple[int, int]) -> Viewport:
        """Nearer (factor over 1) or farther, with the picture place under (column, row) staying where it is."""
        x, y = self.to_picture(column, row, size)
        new = replace(self, px=max(NEAREST_PX_PER_CELL, self.px / factor))
        x2, y2 = new.to_picture(column, row, size)
        return replace(new, cx=new.cx + x - x2, cy=new.cy + y - y2)

    def turned(self, degrees: float) -> Viewport:
        """The view turned further clockwise about its middle."""
        return replace(self, turn=(self.turn + degrees) % 360.0)

    def kept_inside(self, picture: tuple[int, int]) -> Viewport:
        """The view with its middle inside the picture, so that it never gets lost."""
        width, height = picture
        return replace(
            self, cx=min(max(self.cx, 0.0), float(width)), cy=min(max(self.cy, 0.0), float(height))
        )

    def says(self) -> str:
        """The scale in words, always shown: '1 cell = 8 x 16 px'."""
        return f"1 cell = {_count(self.px)} × {_count(self.px * self.tall)} px"


def _count(value: float) -> str:
    return (
        f"{value:.0f}"
        if value >= 10
        else f"{value:.1f}".rstrip("0").rstrip(".")
        if value >= 1
        else f"{value:.2g}"
    )


def fit(
    picture: tuple[int, int],
    size: tuple[int, int],
    turn: float = 0.0,
    mirror: bool = False,
    tall: float = 2.0,
) -> Viewport:
    """The view that shows a whole picture (width, height) in an area of (columns, rows)."""
    width, height = picture
    co, si = abs(math.cos(math.radians(turn))), abs(math.sin(math.radians(turn)))
    across, down = width * co + height * si, width * si + height * co
    px = max(across / max(1, size[0]), down / (max(1, size[1]) * tall), NEAREST_PX_PER_CELL)
    return Viewport(width / 2, height / 2, px, turn % 360.0, mirror, tall)
