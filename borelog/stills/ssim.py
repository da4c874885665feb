"""Structural similarity: a number to report beside a change map, never the detector of change.

Wang, Bovik, Sheikh and Simoncelli, IEEE Trans. Image Processing 13(4), 2004: Gaussian window of sigma 1.5 cut at 11
samples, population covariance, K1 = 0.01, K2 = 0.03.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from borelog.stills import StillError
from borelog.stills.planes import Bits, Picture, Plane, both, luma

_SIGMA, _TAPS = 1.5, 11
_C1, _C2 = (0.01 * 255) ** 2, (0.03 * 255) ** 2


def ssim_map(a: Picture, b: Picture) -> Plane:
    """SSIM at every pixel of two pictures of one size.

    Parameters
    ----------
    a, b : (H, W) or (H, W, 3) uint8
        Colour is reduced to luma first.

    Returns
    -------
    (H, W) float32 in [-1, 1]
        Within 1e-4 of ``skimage.metrics.structural_similarity(gaussian_weights=True, sigma=1.5,
        use_sample_covariance=False, data_range=255, full=True)``.

    Notes
    -----
    Four blurs instead of five: with s = x + y and d = x - y, var x + var y = (var s + var d) / 2 and
    2 cov = (var s - var d) / 2. The middle of the range of s is taken out first so that float32 keeps its
    digits even in black-and-white pictures.
    """
    grey_a, grey_b = luma(a), luma(b)
    if grey_a.shape != grey_b.shape:
        raise StillError("the two pictures differ in size; align them first")
    height, width = grey_a.shape
    out = np.empty((height, width), np.float32)
    middle = height // 2

    # Two halves at once; each reads as far beyond the cut as the window reaches.
    def half(rows: tuple[int, int]) -> None:
        first, last = max(rows[0] - _TAPS // 2, 0), min(rows[1] + _TAPS // 2, height)
        found = _of_part(grey_a[first:last], grey_b[first:last])
        out[rows[0] : rows[1]] = found[rows[0] - first : rows[1] - first]

    both(half, (0, middle), (middle, height))
    return out


def _of_part(a: Picture, b: Picture) -> Plane:
    x, y = a.astype(np.float32), b.astype(np.float32)
    total, delta = x + y, x - y
    middle = np.float32((float(total.min()) + float(total.max())) / 2)
    total -= middle

    def smooth(plane: Any) -> Plane:
        return np.asarray(
            cv2.GaussianBlur(plane, (_TAPS, _TAPS), _SIGMA, borderType=cv2.BORDER_REFLECT), np.float32
        )

    mean_s, mean_d = smooth(total), smooth(delta)
    var_s = smooth(cv2.multiply(total, total, dst=total))
    var_d = smooth(cv2.multiply(delta, delta, dst=delta))
    square_d = cv2.multiply(mean_d, mean_d, dst=mean_d)
    var_d -= square_d
    var_s -= cv2.multiply(mean_s, mean_s)
    # The middle comes back only where absolute brightness counts: in the luminance term.
    mean_s += middle
    square_s = cv2.multiply(mean_s, mean_s, dst=mean_s)
    top = cv2.multiply(
        cv2.addWeighted(square_s, 0.5, square_d, -0.5, _C1), cv2.addWeighted(var_s, 0.5, var_d, -0.5, _C2)
    )
    bottom = cv2.multiply(
        cv2.addWeighted(square_s, 0.5, square_d, 0.5, _C1), cv2.addWeighted(var_s, 0.5, var_d, 0.5, _C2)
    )
    return np.asarray(cv2.divide(top, bottom, dst=top), np.float32)


def ssim(a: Picture, b: Picture, covered: Bits | None = None) -> float:
    """Mean SSIM away from the 5 px border, over the ``covered`` (H, W) pixels only when given; 1 for equal pictures."""
    inner = ssim_map(a, b)[5:-5, 5:-5]
    if covered is None:
        return float(cv2.mean(inner)[0])
    kept = inner[covered[5:-5, 5:-5]]
    return float(kept.mean(dtype=np.float64)) if kept.size else float("nan")
