"""A cut-out of a still at any zoom, turn and mirror, fast enough to follow a key held down."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from borelog.stills.frames import Frame, turned
from borelog.stills.planes import Picture

_SMALLEST = 48


@dataclass(frozen=True, slots=True)
class Window:
    """What is looked at: centre in original pixels, display pixels per original pixel, clockwise turn, mirror."""

    cx: float
    cy: float
    zoom: float
    degrees: float = 0.0
    mirror: bool = False

    def frame(self, width: int, height: int) -> Frame:
        """Mapping of original pixels to the pixels of a display of this size."""
        return turned(self.degrees, self.mirror, self.zoom, (self.cx, self.cy), (width / 2, height / 2))


class Pyramid:
    """A still and its halvings, each made when first needed.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3), kept by reference.
    """

    def __init__(self, image: Picture) -> None:
        self._levels: list[Picture] = [image]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the original in pixels."""
        height, width = self._levels[0].shape[:2]
        return width, height

    def whole(self, width: int, height: int, degrees: float = 0.0, mirror: bool = False) -> Window:
        """The window that shows all of the still in a display of this size."""
        w, h = self.size
        turn = turned(degrees, mirror, 1.0, (0.0, 0.0), (0.0, 0.0))
        across, down = abs(turn.a) * w + abs(turn.b) * h, abs(turn.d) * w + abs(turn.e) * h
        return Window(w / 2, h / 2, min(width / across, height / down), degrees, mirror)

    def _level(self, index: int) -> tuple[Picture, int]:
        while len(self._levels) <= index and min(self._levels[-1].shape[:2]) >= 2 * _SMALLEST:
            last = self._levels[-1]
            # Odd rows and columns are cut off, so that a level is exactly half of the one above.
            even = last[: last.shape[0] // 2 * 2, : last.shape[1] // 2 * 2]
            half = cv2.resize(even, (even.shape[1] // 2, even.shape[0] // 2), interpolation=cv2.INTER_AREA)
            self._levels.append(np.asarray(half, np.uint8))
        index = min(index, len(self._levels) - 1)
        return self._levels[index], index

    def show(
        self, window: Window, width: int, height: int, ground: tuple[int, int, int] = (0, 0, 0)
    ) -> Picture:
        """The window as a picture of ``width`` x ``height`` pixels; ``ground`` (blue, green, red) outside the still.

        Enlarged four times and more, pixels are shown as they are, so that nobody takes interpolation for detail.
        """
        frame = window.frame(width, height)
        wanted = max(0, int(np.floor(np.log2(1 / max(window.zoom, 1e-6)))))
        level, index = self._level(wanted)
        factor = 2.0**index
        # OpenCV puts (0, 0) at the centre of the first pixel; shapes put (0.5, 0.5) there.
        a, b, d, e = (v * factor for v in (frame.a, frame.b, frame.d, frame.e))
        matrix = np.array(
            [
                [a, b, a * 0.5 + b * 0.5 + frame.c - 0.5],
                [d, e, d * 0.5 + e * 0.5 + frame.f - 0.5],
            ]
        )
        method = cv2.INTER_NEAREST if window.zoom >= 4 else cv2.INTER_LINEAR
        out = cv2.warpAffine(
            level, matrix, (width, height), flags=method, borderMode=cv2.BORDER_CONSTANT, borderValue=ground
        )
        return np.asarray(out, np.uint8)
