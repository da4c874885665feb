"""From a point of the original to where it is on a picture shown turned and mirrored.

Both ends count as shapes do: the centre of the first pixel is at (0.5, 0.5). Marks stay in the original's pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from borelog.marks.shapes import Pair


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
