"""A drawn still together with the truth about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.camera import Camera, develop
from borelog.demo.pictures.grain import Mask, Picture, Plane
from borelog.demo.pictures.press import from_jpeg, to_jpeg
from borelog.text import BorelogError


class PictureError(BorelogError):
    """A scene that cannot be drawn; the message says what may be asked for."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Rendered:
    """One still.

    Attributes
    ----------
    image : (H, W, 3) uint8 RGB, after JPEG, exactly what a reader of the file gets
    truth : what is where, ready for JSON. Pixels: x right, y down, pixel centres at .5; lengths in mm; angles in
        degrees. Outlines are lists of [x, y]; ellipses are {centre, semi_axes, angle_deg of the first axis}.
    maps : truth per pixel, (H, W) or (H, W, n) arrays by name, never written to disk
    jpeg : the file's bytes
    """

    image: Picture
    truth: dict[str, Any]
    maps: dict[str, NDArray[Any]] = field(default_factory=dict)
    jpeg: bytes = b""


class Pair(NamedTuple):
    """Two stills of one place: pictures (H, W, 3) uint8 RGB, what is new in b (bool, frame of a), 3x3 a to b."""

    a: Picture
    b: Picture
    mask: Mask
    homography: NDArray[np.float64]


def finish(
    light: Plane,
    made_by: Camera,
    seed: int,
    truth: dict[str, Any],
    maps: dict[str, NDArray[Any]] | None = None,
    scale: float | None = None,
) -> Rendered:
    """Develop, press into JPEG and keep the truth beside it."""
    return pressed(develop(light, made_by, seed, scale), made_by.quality, truth, maps)


def pressed(
    levels: NDArray[Any], step: int, truth: dict[str, Any], maps: dict[str, NDArray[Any]] | None = None
) -> Rendered:
    """Press ready levels (H, W, 3), 0 to 255, into JPEG and keep the truth beside it."""
    data = to_jpeg(levels, step)
    size = {"width_px": levels.shape[1], "height_px": levels.shape[0]}
    return Rendered(from_jpeg(data), {**size, **truth}, maps or {}, data)


def outlines(mask: Mask, least_px: int = 12) -> list[list[list[float]]]:
    """The outer outlines of a mask as polygons, the twelve largest, largest first."""
    found: Any = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_TC89_L1)[0]
    kept = [c for c in found if cv2.contourArea(c) >= least_px]
    kept.sort(key=cv2.contourArea, reverse=True)
    kept = [cv2.approxPolyDP(c, 0.8, True) for c in kept[:12]]
    return [[[float(x) + 0.5, float(y) + 0.5] for x, y in c[:, 0]] for c in kept]


def ellipse_of(points: NDArray[Any]) -> dict[str, Any]:
    """The conic through exact points (n, 2) as an ellipse, in the picture's pixels; {} when there is none.

    The points come from geometry, not from a picture, so that a plain algebraic fit is exact.
    """
    at = np.asarray(points, np.float64)
    at = at[np.isfinite(at).all(axis=1)]
    if len(at) < 12:
        return {}
    middle, spread = at.mean(axis=0), float(at.std())
    x, y = ((at - middle) / spread).T
    rows = np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=1)
    a, b, c, d, e, f = np.linalg.svd(rows, full_matrices=False)[2][-1]
    quadratic = np.array([[a, b / 2], [b / 2, c]])
    if np.linalg.det(quadratic) <= 0:
        return {}
    centre = np.linalg.solve(2 * quadratic, [-d, -e])
    level = -(f + 0.5 * (d * centre[0] + e * centre[1]))
    values, vectors = np.linalg.eigh(quadratic / level)
    if (values <= 0).any():
        return {}
    axes = spread / np.sqrt(values)
    major = vectors[:, int(np.argmax(axes))]
    return {
        "centre": [float(v) for v in centre * spread + middle],
        "semi_axes": [float(axes.max()), float(axes.min())],
        "angle_deg": float(np.rad2deg(np.arctan2(major[1], major[0])) % 180),
    }
