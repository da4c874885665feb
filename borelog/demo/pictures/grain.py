"""Seeded chance for pictures: noise fields and dice whose bits are the same on every version of NumPy.

Only the raw bits of PCG64 are used. Their stream is promised to stay; that of NumPy's distributions is not, and
pictures are compared bit by bit.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from typing import Any, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.floating[Any]]
"""A field of float32; the stubs of NumPy see doubles in many a mixed expression that stays single at run time."""
Mask = NDArray[np.bool_]
Picture = NDArray[np.uint8]
T = TypeVar("T")


def _bits(key: str, seed: int, count: int) -> NDArray[np.uint64]:
    source = np.random.PCG64(np.random.SeedSequence([seed & 0xFFFFFFFF, zlib.crc32(key.encode())]))
    return np.asarray(source.random_raw(count), dtype=np.uint64)


def uniform(shape: tuple[int, ...], key: str, seed: int) -> Plane:
    """Independent uniform values in [0, 1), float32, of the given shape."""
    count = int(np.prod(shape))
    words = _bits(key, seed, -(-count // 2)).view(np.uint32)[:count]
    return np.asarray((words >> np.uint32(8)).astype(np.float32) * np.float32(2.0**-24), np.float32).reshape(
        shape
    )


def normal(shape: tuple[int, ...], key: str, seed: int) -> Plane:
    """Independent values of mean 0 and deviation 1, float32: the sum of four 16-bit uniforms (Irwin-Hall)."""
    count = int(np.prod(shape))
    parts = _bits(key, seed, count).view(np.uint16).reshape(count, 4)
    total = parts.astype(np.int32).sum(axis=1).astype(np.float32)
    scale = np.float32(3.0**0.5 / 65536.0)  # the sum of four uniforms has variance 4/12
    return np.asarray((total - np.float32(131070.0)) * scale, np.float32).reshape(shape)


class Dice:
    """Single random draws for one scene, in the order in which they are asked for."""

    def __init__(self, key: str, seed: int) -> None:
        self._source = np.random.PCG64(np.random.SeedSequence([seed & 0xFFFFFFFF, zlib.crc32(key.encode())]))

    def between(self, low: float, high: float) -> float:
        return low + (high - low) * (int(self._source.random_raw()) >> 11) * 2.0**-53

    def whole(self, low: int, high: int) -> int:
        """An integer from low to high, both included."""
        return low + int(self._source.random_raw()) % (high - low + 1)

    def sign(self) -> float:
        return 1.0 if int(self._source.random_raw()) & 1 else -1.0

    def chance(self, share: float) -> bool:
        return self.between(0.0, 1.0) < share

    def pick(self, choices: Sequence[T]) -> T:
        return choices[self.whole(0, len(choices) - 1)]


def _grown(grid: Plane, shape: tuple[int, int]) -> Plane:
    """A small periodic grid as a smooth field that still joins at its edges."""
    rows, columns = shape
    zoom = np.array([[grid.shape[1] / columns, 0.0, 0.0], [0.0, grid.shape[0] / rows, 0.0]], dtype=np.float64)
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    out: Any = cv2.warpAffine(grid, zoom, (columns, rows), flags=flags, borderMode=cv2.BORDER_WRAP)
    return np.asarray(out, dtype=np.float32)


def fractal(
    shape: tuple[int, int],
    cell: tuple[float, float] | float,
    key: str,
    seed: int,
    octaves: int = 4,
    gain: float = 0.5,
) -> Plane:
    """Smooth noise of mean 0 and deviation near 1 that repeats seamlessly in both directions.

    Parameters
    ----------
    cell : size in pixels of the coarsest lump, one number or (rows, columns)
    octaves : number of layers, each half the size of the one before
    gain : weight of a layer against the one before; above 0.7 looks gritty, below 0.4 cloudy
    """
    down, across = cell if isinstance(cell, tuple) else (cell, cell)
    total = np.zeros(shape, np.float32)
    weight, power = 1.0, 0.0
    for layer in range(octaves):
        rows = max(2, round(shape[0] / down * 2**layer))
        columns = max(2, round(shape[1] / across * 2**layer))
        if rows >= shape[0] and columns >= shape[1]:
            field = normal(shape, f"{key}/{layer}", seed)
        else:
            field = _grown(
                normal((min(rows, shape[0]), min(columns, shape[1])), f"{key}/{layer}", seed), shape
            )
        total += np.float32(weight) * field
        power += weight * weight * 0.6  # interpolation between grid points takes part of the variance
        weight *= gain
    return total / np.float32(power**0.5)


def smoothstep(low: float, high: float, value: Plane) -> Plane:
    """0 below low, 1 above high, a soft ramp between."""
    ramp = np.clip((value - np.float32(low)) / np.float32(high - low), 0.0, 1.0)
    return np.asarray(ramp * ramp * (3.0 - 2.0 * ramp), dtype=np.float32)


def blur(field: Plane, sigma: float) -> Plane:
    """Gaussian blur; wide ones are done at reduced size, as nobody can see the difference."""
    if sigma <= 0.05:
        return field
    if sigma > 12:
        step = int(sigma // 5)
        size = (max(4, field.shape[1] // step), max(4, field.shape[0] // step))
        small: Any = cv2.resize(field, size, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), sigma / step, borderType=cv2.BORDER_REFLECT)
        out: Any = cv2.resize(small, (field.shape[1], field.shape[0]), interpolation=cv2.INTER_LINEAR)
        return np.asarray(out, dtype=np.float32)
    out = cv2.GaussianBlur(field, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    return np.asarray(out, dtype=np.float32)


def mud_cracks(shape: tuple[int, int], cell: float, key: str, seed: int) -> Plane:
    """Distance in pixels to the nearest joint of an irregular paving, as dry carbon breaks up."""
    rows, columns = max(2, round(shape[0] / cell)), max(2, round(shape[1] / cell))
    jitter = uniform((rows, columns, 2), key, seed)
    y = (np.arange(rows, dtype=np.float32)[:, None] + jitter[..., 0]) * (shape[0] / rows)
    x = (np.arange(columns, dtype=np.float32)[None, :] + jitter[..., 1]) * (shape[1] / columns)
    seeds = np.full(shape, 255, np.uint8)
    seeds[np.clip(y, 0, shape[0] - 1).astype(int), np.clip(x, 0, shape[1] - 1).astype(int)] = 0
    labels: Any = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP)[1]
    joint = np.full(shape, 255, np.uint8)
    joint[:, 1:][labels[:, 1:] != labels[:, :-1]] = 0
    joint[1:][labels[1:] != labels[:-1]] = 0
    out: Any = cv2.distanceTransform(joint, cv2.DIST_L2, 5)
    return np.asarray(out, dtype=np.float32)
