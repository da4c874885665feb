"""Dense flow between two nearly aligned pictures, and the smooth bend that explains it.

DIS optical flow (Kroeger et al., ECCV 2016) on luma with light taken out; a polynomial is fitted to it by iteratively
reweighted least squares, so that real changes, which follow no smooth bend, have no say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills.planes import Bits, Grey, Picture, Plane, blur, both, wide_blur

Field = NDArray[np.float32]
# The wheel's type stubs leave some of its factories out.
opencv: Any = cv2
AGREE_PX = 1.5
_STEP = 12


def dense_flow(a: Picture, b: Picture, fast: bool = False) -> Field:
    """Flow (H, W, 2) in pixels: what is at p in ``a`` is at p + flow in ``b``; inputs are levelled luma."""
    preset = cv2.DISOPTICAL_FLOW_PRESET_FAST if fast else cv2.DISOPTICAL_FLOW_PRESET_MEDIUM
    height, width = a.shape
    # Its coarsest scale is chosen by the width: a flat strip would shrink to nothing there, so it is carried on below.
    more = max(0, -(-width // 8) - height)
    if more:
        a, b = (
            np.asarray(cv2.copyMakeBorder(p, 0, more, 0, 0, cv2.BORDER_REPLICATE), np.uint8) for p in (a, b)
        )
    flow = opencv.DISOpticalFlow_create(preset).calc(a, b, None)
    return np.asarray(flow[:height], np.float32)


def coarse_flow(a: Picture, b: Picture) -> Field:
    """Flow of `dense_flow`, found at half size and given at full size: four times cheaper, good to a quarter pixel."""
    height, width = a.shape[:2]
    half = (max(16, width // 2), max(16, height // 2))
    small = dense_flow(
        np.asarray(cv2.resize(a, half, interpolation=cv2.INTER_AREA), np.uint8),
        np.asarray(cv2.resize(b, half, interpolation=cv2.INTER_AREA), np.uint8),
    )
    small *= np.array([width / half[0], height / half[1]], np.float32)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)


def sampled(flow: Field, texture: Bits) -> tuple[Field, Field]:
    """Points (n, 2) on a coarse grid where there is texture, and the flow there (n, 2)."""
    height, width = texture.shape
    ys, xs = np.mgrid[_STEP // 2 : height : _STEP, _STEP // 2 : width : _STEP]
    kept = texture[ys, xs]
    ys, xs = ys[kept], xs[kept]
    return np.stack([xs, ys], axis=1).astype(np.float32), flow[ys, xs]


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """A smooth displacement: polynomial of ``degree`` in coordinates of -1 to 1 along the longer side.

    Attributes
    ----------
    terms : (d + 1, d + 1, 2) float64, coefficient of x**i y**j for i + j <= degree
    inliers : share of the points the bend explains within 2 px
    residual : median residual of all points, px
    """

    degree: int
    terms: NDArray[np.float64]
    inliers: float
    residual: float

    def field(self, height: int, width: int) -> Field:
        """Displacement at every pixel, (H, W, 2) float32."""
        half = max(height, width) / 2
        x = ((np.arange(width) - width / 2) / half)[None, :] ** np.arange(self.degree + 1)[:, None]
        y = ((np.arange(height) - height / 2) / half)[None, :] ** np.arange(self.degree + 1)[:, None]
        planes = [y.T @ self.terms[:, :, axis].T @ x for axis in (0, 1)]
        return np.stack(planes, axis=2).astype(np.float32)


def fit_bend(points: NDArray[Any], moves: NDArray[Any], shape: tuple[int, int], degree: int) -> Bend | None:
    """Robust polynomial through moves (n, 2) seen at points (n, 2); None where there are too few points."""
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    if len(points) < max(12, 6 * len(powers)):
        return None
    half = max(shape) / 2
    x, y = (points[:, 0] - shape[1] / 2) / half, (points[:, 1] - shape[0] / 2) / half
    basis = np.stack([x**i * y**j for i, j in powers], axis=1).astype(np.float64)
    ridge = 1e-6 * len(points) * np.eye(len(powers))
    weight = np.ones(len(points))
    solved: NDArray[Any] = np.zeros((len(powers), 2))
    miss: NDArray[Any] = np.zeros(len(points))
    for _ in range(10):
        heavy = basis * (weight**2)[:, None]
        solved = np.linalg.solve(heavy.T @ basis + ridge, heavy.T @ moves)
        miss = np.linalg.norm(moves - basis @ solved, axis=1)
        spread = max(1.48 * float(np.median(miss)), 0.3)
        # Geman-McClure: a change that moved nothing smoothly loses its vote altogether.
        weight = 1 / (1 + (miss / (2 * spread)) ** 2)
    terms = np.zeros((degree + 1, degree + 1, 2))
    for (i, j), row in zip(powers, solved, strict=True):
        terms[i, j] = row
    typical = float(np.median(miss))
    return Bend(degree, terms, float((miss < 2.0).mean()), typical)


def mismatch(a: Grey, b: Grey, covered: Bits | None = None) -> float:
    """How badly two pictures lie on each other: mean absolute log ratio, capped at 0.5, light taken out."""
    difference = a.log - b.log
    capped = np.minimum(cv2.absdiff(difference, wide_blur(difference, 25.0)), np.float32(0.5))
    if covered is None:
        return float(capped.mean())
    return float(cv2.mean(capped, covered.view(np.uint8))[0]) if covered.any() else float("inf")


def agreement(a: Grey, b: Grey, valid: Bits, fast: bool = True) -> tuple[float, float]:
    """Forward-backward agreement of the flow between two pictures that should lie on each other.

    Parameters
    ----------
    a, b : of one size
    valid : (H, W) bool, where both have content and texture

    Returns
    -------
    (share, residual)
        Share of the valid pixels whose way there and back ends within 1.5 px; median length of the flow there, px.
    """
    if not valid.any():
        return 0.0, float("nan")
    one, two = a.levelled, b.levelled
    there, back = both(lambda pair: dense_flow(*pair, fast), (one, two), (two, one))
    # Every third pixel in both directions is evidence enough.
    ys, xs = (v * 3 for v in np.nonzero(valid[::3, ::3]))
    flow = there[ys, xs]
    height, width = valid.shape
    to_x = np.clip(np.rint(xs + flow[:, 0]), 0, width - 1).astype(int)
    to_y = np.clip(np.rint(ys + flow[:, 1]), 0, height - 1).astype(int)
    good = np.hypot(*(flow + back[to_y, to_x]).T) < AGREE_PX
    lengths = np.hypot(*(flow[good] if good.any() else flow).T)
    return float(good.mean()), float(np.median(lengths))


def calm_flow(a: Grey, b: Grey, valid: Bits) -> Field:
    """Flow from ``a`` to ``b`` smoothed so widely that a small change cannot bend the picture round itself.

    Only points where there and back agree speak; between them the field is interpolated by normalised blurring.
    """
    one, two = a.levelled, b.levelled
    there, back = both(lambda pair: coarse_flow(*pair), (one, two), (two, one))
    height, width = valid.shape
    grid_y, grid_x = np.mgrid[0:height, 0:width].astype(np.float32)
    returned = cv2.remap(back, grid_x + there[:, :, 0], grid_y + there[:, :, 1], cv2.INTER_LINEAR)
    weight = (valid & (cv2.magnitude(*cv2.split(there + returned)) < AGREE_PX)).astype(np.float32)
    small = (max(2, width // 4), max(2, height // 4))
    votes = cv2.resize(weight, small, interpolation=cv2.INTER_AREA)
    total = blur(np.asarray(votes, np.float32), 4.0) + np.float32(1e-3)
    planes: list[Plane] = []
    for axis in (0, 1):
        part = cv2.resize(there[:, :, axis] * weight, small, interpolation=cv2.INTER_AREA)
        smooth = blur(np.asarray(part, np.float32), 4.0) / total
        planes.append(
            np.asarray(cv2.resize(smooth, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)
        )
    return np.stack(planes, axis=2)
