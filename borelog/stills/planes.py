"""One plane out of a picture: luma, log luma, and the wide blurs that take uneven light away."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from typing import Any, TypeAlias, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills import StillError

Picture: TypeAlias = NDArray[np.uint8]
Plane: TypeAlias = NDArray[np.float32]
Bits: TypeAlias = NDArray[np.bool_]
Cancelled: TypeAlias = Callable[[], bool]
Progress: TypeAlias = Callable[[float, str], None]
_In = TypeVar("_In")
_Out = TypeVar("_Out")


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


def both(work: Callable[[_In], _Out], one: _In, other: _In) -> tuple[_Out, _Out]:
    """The same work on two things at once: OpenCV and numpy leave the interpreter free meanwhile."""
    with ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(work, other)
        return work(one), waiting.result()


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
    return enlarged(shrunken_blur(plane, sigma, shrink), *plane.shape)


def shrunken_blur(plane: Plane, sigma: float, shrink: int = 8) -> Plane:
    """The blur of `wide_blur`, left ``shrink`` times smaller."""
    height, width = plane.shape
    size = (max(2, width // shrink), max(2, height // shrink))
    small = cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small, (0, 0), max(sigma / shrink, 0.3)), np.float32)


def enlarged(plane: Plane, height: int, width: int) -> Plane:
    """A small plane drawn out to (height, width)."""
    return np.asarray(cv2.resize(plane, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def blur(plane: Plane, sigma: float) -> Plane:
    """Gaussian blur of ``sigma`` pixels, mirrored at the border."""
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), sigma), np.float32)


def levelled(image: Picture, window: int = 33) -> Picture:
    """Luma with its local mean and spread taken out, (H, W) uint8 round 128: what two lights have in common."""
    grey, area = luma(image), (window, window)
    mean = np.asarray(cv2.boxFilter(grey, cv2.CV_32F, area), np.float32)
    square = np.asarray(cv2.sqrBoxFilter(grey, cv2.CV_32F, area), np.float32)
    spread = np.sqrt(np.maximum(square - mean * mean, 0)) + np.float32(6.0)
    off = cv2.divide(cv2.subtract(grey, mean, dtype=cv2.CV_32F), spread, scale=42.0)
    return np.asarray(np.clip(np.rint(off + np.float32(128.0)), 0, 255), np.uint8)


class Grey:
    """A luma plane and what is made of it, each worked out once and only when asked for.

    Attributes
    ----------
    plane : (H, W) uint8
    levelled : (H, W) uint8, see `levelled`
    log : (H, W) float32, see `log_luma`
    textured : (H, W) bool, where there is enough texture for a flow to mean something
    """

    def __init__(self, image: Picture) -> None:
        self.plane = luma(image)
        self.shape: tuple[int, int] = (self.plane.shape[0], self.plane.shape[1])

    @cached_property
    def levelled(self) -> Picture:
        return levelled(self.plane)

    @cached_property
    def log(self) -> Plane:
        return log_luma(self.plane)

    @cached_property
    def textured(self) -> Bits:
        gx, gy = cv2.spatialGradient(self.plane)
        energy = cv2.blur(cv2.add(np.abs(gx), np.abs(gy), dtype=cv2.CV_32F), (17, 17))
        # Every fourth pixel each way tells the median as well as all of them.
        return np.asarray(energy > max(4.0, 0.5 * float(np.median(energy[::4, ::4]))))


def fitted(image: Picture, longest: int) -> tuple[Picture, float]:
    """The picture shrunk so that its longer side is at most ``longest`` pixels, and the factor (<= 1)."""
    height, width = image.shape[:2]
    factor = min(1.0, longest / max(height, width))
    if factor == 1.0:
        return image, 1.0
    size = (max(16, round(width * factor)), max(16, round(height * factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8), factor
