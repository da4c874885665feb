"""How a still is shown: local contrast, light, glare filled, grain smoothed, edges sharpened, turned, mirrored.

For the eye only. Nothing here feeds a measurement or a comparison; the original is one key away, and settings used for
a finding are kept with it as a plain value.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import cv2
import numpy as np

from borelog.stills import StillError
from borelog.stills.frames import Frame, turned
from borelog.stills.glare import fill_glare
from borelog.stills.planes import Picture

_LIMITS: dict[str, tuple[float, float]] = {
    "contrast": (0.0, 8.0),
    "gamma": (0.3, 3.0),
    "denoise": (0.0, 3.0),
    "sharpen": (0.0, 3.0),
    "rotate": (-360.0, 360.0),
}


@dataclass(frozen=True, slots=True)
class Look:
    """Settings of the display; the default changes nothing.

    ``contrast`` is the clip limit of the local contrast (0 off, 2 usual), ``gamma`` below 1 lifts shadows, ``denoise``
    and ``sharpen`` 0 to 3, ``rotate`` clockwise degrees, ``mirror`` swaps left and right after turning.
    """

    contrast: float = 0.0
    gamma: float = 1.0
    fill_glare: bool = False
    denoise: float = 0.0
    sharpen: float = 0.0
    rotate: float = 0.0
    mirror: bool = False

    @property
    def in_words(self) -> str:
        """What was done, for a caption; 'as taken' for the default."""
        parts = [
            f"local contrast {self.contrast:g}" if self.contrast else "",
            f"gamma {self.gamma:g}" if self.gamma != 1 else "",
            "glare filled in (a guess)" if self.fill_glare else "",
            f"grain smoothed {self.denoise:g}" if self.denoise else "",
            f"sharpened {self.sharpen:g}" if self.sharpen else "",
            f"turned {self.rotate:g} degrees clockwise" if self.rotate % 360 else "",
            "mirrored" if self.mirror else "",
        ]
        return ", ".join(p for p in parts if p) or "as taken"


CLEARER = Look(contrast=2.0, sharpen=0.5)


@dataclass(frozen=True, slots=True)
class Looked:
    """``image`` as shown, ``filled`` the guessed pixels (255) or None, ``frame`` from original to shown pixels."""

    image: Picture
    filled: Picture | None
    frame: Frame
    words: str


def from_plain(values: dict[str, Any]) -> Look:
    """Settings from a plain value.

    Raises
    ------
    StillError
        For an unknown name or a value out of range; names the range.
    """
    known = {f.name: f.type for f in fields(Look)}
    for name, value in values.items():
        if name not in known:
            raise StillError(f"no display setting {name!r}; there are {', '.join(known)}")
        if known[name] == "bool":
            if not isinstance(value, bool):
                raise StillError(f"display setting {name} is yes or no")
            continue
        low, high = _LIMITS[name]
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise StillError(f"display setting {name} goes from {low:g} to {high:g}")
    return Look(**values)


def turn_frame(look: Look, width: int, height: int) -> tuple[Frame, int, int]:
    """From original pixels to those of the turned and mirrored picture, and its width and height."""
    turn = turned(look.rotate, look.mirror, 1.0, (0.0, 0.0), (0.0, 0.0))
    across = round(abs(turn.a) * width + abs(turn.b) * height)
    down = round(abs(turn.d) * width + abs(turn.e) * height)
    return (
        turned(look.rotate, look.mirror, 1.0, (width / 2, height / 2), (across / 2, down / 2)),
        across,
        down,
    )


def apply(image: Picture, look: Look, outline_filled: bool = True) -> Looked:
    """The still as the settings show it.

    Parameters
    ----------
    image : ndarray
        ``uint8`` (height, width, 3), upright; not changed.
    look : Look
        Settings.
    outline_filled : bool
        Hatch the filled glare, so that nobody takes a guess for something seen.

    Returns
    -------
    Looked
        With the default look the image is the original array itself.
    """
    out, filled = image, None
    if look.fill_glare:
        out, filled = fill_glare(out)
    if look.denoise > 0:
        out = np.asarray(cv2.bilateralFilter(out, 5, 12 * look.denoise, 1.5), np.uint8)
    if look.contrast > 0:
        out = _local_contrast(out, look.contrast)
    if look.gamma != 1:
        curve = (np.power(np.arange(256) / 255.0, look.gamma) * 255 + 0.5).astype(np.uint8)
        out = np.asarray(cv2.LUT(out, curve), np.uint8)
    if look.sharpen > 0:
        soft = cv2.GaussianBlur(out, (0, 0), 1.5)
        out = np.asarray(cv2.addWeighted(out, 1 + look.sharpen, soft, -look.sharpen, 0), np.uint8)
    if filled is not None and outline_filled:
        out = _hatched(out, filled)
    height, width = image.shape[:2]
    frame, across, down = turn_frame(look, width, height)
    out = _turned(out, look, frame, across, down)
    if filled is not None:
        filled = _turned(filled, look, frame, across, down)
    return Looked(out, filled, frame, look.in_words)


def _local_contrast(image: Picture, clip: float) -> Picture:
    # Contrast-limited adaptive histogram equalisation (Zuiderveld 1994) on lightness alone; colours stay.
    lab = cv2.cvtColor(image, cv2.COLOR_BGR2Lab)
    lightness = cv2.extractChannel(lab, 0)
    even = cv2.createCLAHE(clipLimit=clip, tileGridSize=(8, 8)).apply(lightness)
    cv2.insertChannel(even, lab, 0)
    return np.asarray(cv2.cvtColor(lab, cv2.COLOR_Lab2BGR), np.uint8)


def _hatched(image: Picture, filled: Picture) -> Picture:
    height, width = filled.shape
    rows, columns = np.ogrid[:height, :width]
    lines = ((rows + columns) % 12 == 0) & (filled > 0)
    edge = cv2.subtract(filled, np.asarray(cv2.erode(filled, np.ones((3, 3), np.uint8)), np.uint8)) > 0
    out = image.copy()
    out[lines | edge] = (40, 40, 40)
    shifted = np.zeros_like(lines)
    shifted[:, 1:] = lines[:, :-1]
    out[shifted & (filled > 0)] = (230, 230, 230)
    return out


def _turned(image: Picture, look: Look, frame: Frame, across: int, down: int) -> Picture:
    quarters = look.rotate / 90
    if quarters == int(quarters):
        out = np.rot90(image, -int(quarters))
        return np.ascontiguousarray(out[:, ::-1] if look.mirror else out)
    matrix = np.array(
        [
            [frame.a, frame.b, (frame.a + frame.b) * 0.5 + frame.c - 0.5],
            [frame.d, frame.e, (frame.d + frame.e) * 0.5 + frame.f - 0.5],
        ]
    )
    return np.asarray(cv2.warpAffine(image, matrix, (across, down), flags=cv2.INTER_CUBIC), np.uint8)
