"""One plane out of a picture: luma, log luma, and the wide blurs that take uneven light away."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills import StillError

Picture: TypeAlias = NDArray[np.uint8]
Plane: TypeAlias = NDArray[np.float32]
Bits: TypeAlias = NDArray[np.bool_]
Cancelled: TypeAlias = Callable[[], bool]
Progress: TypeAlias = Callable[[float, str], None]


class Stopped(StillError):
    """The person broke off a long computation; nothing was kept."""

    exit_code = 1


# Cheap sensors never reach black: below about 12 of 255 levels a ratio of two pictures is noise over noise.
BLACK_LEVEL = 12.0
_LOG = np.log((np.arange(256) + BLACK_LEVEL) / 255.0).astype(np.float32)


def step(cancelled: Cancelled | None, progress: Progress | None, share: float, words: str) -> None:
    """Report how far a long computation is (0 to 1), and leave it when the person has broken it off."""
    if cancelled is not None and cancelled():
        raise Stopped("stopped before it was done; nothing was kept")
    if progress is not None:
        progress(share, words)


def picture(image: Any) -> Picture:
    """The picture as (H, W, 3) uint8 blue, green, red; a grey plane is repeated, a fourth channel is dropped.

    Raises
    ------
    StillError
        When the array is no 8-bit picture of at least 16 x 16 pixels.
    """
    array = np.asarray(image)
    if array.dtype != np.uint8 or array.ndim not in (2, 3) or min(array.shape[:2], default=0) < 16:
        raise StillError("this is no 8-bit picture of at least 16 x 16 pixels; take the file in again")
    if array.ndim == 2 or array.shape[2] == 1:
        return np.repeat(array.reshape(*array.shape[:2], 1), 3, axis=2)
    if array.shape[2] not in (3, 4):
        raise StillError("this is no picture with three colours; take the file in again")
    return np.ascontiguousarray(array[:, :, :3])


def luma(image: Picture) -> Picture:
    """Luma of ITU-R BT.601 as (H, W) uint8."""
    if image.ndim == 2:
        return image
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def log_luma(image: Picture) -> Plane:
    """Natural log of (luma + black level) / 255, (H, W) float32: a change of light becomes an added constant."""
    return np.asarray(cv2.LUT(luma(image), _LOG), np.float32)


def wide_blur(plane: Plane, sigma: float, shrink: int = 8) -> Plane:
    """Gaussian blur of a wide ``sigma`` (pixels), done on a copy ``shrink`` times smaller: 20 times cheaper."""
    height, width = plane.shape
    size = (max(2, width // shrink), max(2, height // shrink))
    small = cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), max(sigma / shrink, 0.3))
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def blur(plane: Plane, sigma: float) -> Plane:
    """Gaussian blur of ``sigma`` pixels, mirrored at the border."""
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma), np.float32)


def levelled(image: Picture, window: int = 33) -> Picture:
    """Luma with its local mean and spread taken out, (H, W) uint8 round 128: what two lights have in common."""
    grey = luma(image).astype(np.float32)
    mean = cv2.blur(grey, (window, window))
    spread = np.sqrt(np.maximum(cv2.blur(grey * grey, (window, window)) - mean * mean, 0))
    return np.asarray(cv2.convertScaleAbs((grey - mean) / (spread + 6.0), alpha=42.0, beta=128.0), np.uint8)


def fitted(image: Picture, longest: int) -> tuple[Picture, float]:
    """The picture shrunk so that its longer side is at most ``longest`` pixels, and the factor (<= 1)."""
    height, width = image.shape[:2]
    factor = min(1.0, longest / max(height, width))
    if factor == 1.0:
        return image, 1.0
    size = (max(16, round(width * factor)), max(16, round(height * factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8), factor
