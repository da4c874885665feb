"""How sharp, how noisy, how truly sized a picture is.

Focus is Tenengrad (Tenenbaum 1970; review: Pertuz, Puig and Garcia, 'Analysis of focus measure operators', 2013) with
two repairs without which cheap probes cannot be ranked: the energy that sensor noise alone puts into the gradient is
taken off, and the rest is divided by the light.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from borelog.stills.planes import Picture, Plane

# Lifted black and the noise of a cheap sensor reach 35 with the lamp off.
DARK_LEVEL = 42
_PRE = 1.0
_REBLUR = 2.0


@lru_cache(maxsize=8)
def noise_gain(sigma: float) -> float:
    """Variance of one Sobel axis on unit white noise after a Gaussian blur of ``sigma`` pixels.

    1.30 for sigma 1; worked out from the kernels themselves.
    """
    line = cv2.getGaussianKernel(2 * int(4 * sigma + 2) + 1, sigma).ravel()
    smooth, slope = np.convolve(line, [1.0, 2.0, 1.0]), np.convolve(line, [1.0, 0.0, -1.0])
    return float((smooth**2).sum() * (slope**2).sum())


def noise_sigma(grey: Picture, inside: Picture | None = None) -> float:
    """Standard deviation of the noise in levels, from the finest diagonal Haar band.

    Median absolute deviation / 0.6745 (Donoho and Johnstone, 'Ideal spatial adaptation by wavelet shrinkage', 1994).

    Parameters
    ----------
    grey : ndarray
        ``uint8`` (height, width).
    inside : ndarray, optional
        Mask of the same shape; only blocks that lie wholly in it count.
    """
    height, width = grey.shape[0] // 2 * 2, grey.shape[1] // 2 * 2
    corners = [grey[i:height:2, j:width:2] for i in (0, 1) for j in (0, 1)]
    diagonal = np.abs(
        (corners[0].astype(np.int16) + corners[3]) - (corners[1].astype(np.int16) + corners[2])
    ).astype(np.int16)
    values = diagonal if inside is None else diagonal[inside[0:height:2, 0:width:2] > 0]
    if values.size < 64:
        return 0.0
    counts = np.bincount(values.ravel(), minlength=2).cumsum()
    half = counts[-1] / 2
    level = int(np.searchsorted(counts, half))
    below = counts[level - 1] if level else 0
    # The median of whole numbers is read off the histogram in fractions of a level; at level 0 only the upper half
    # of the step counts, as |x| folds it.
    share = (half - below) / max(1, counts[level] - below)
    median = share * 0.5 if level == 0 else level - 0.5 + share
    return float(median / 0.6745 / 2.0)


def binned(grey: Picture) -> Picture:
    return np.asarray(
        cv2.resize(grey, (grey.shape[1] // 2, grey.shape[0] // 2), interpolation=cv2.INTER_AREA), np.uint8
    )


def _energy(small: Picture, inside: Picture | None, sigma: float, noise: float) -> float:
    # Four more bits than a level: the blur's own rounding would otherwise act as noise on dim pictures.
    wide = cv2.GaussianBlur(small.astype(np.uint16) * np.uint16(16), (0, 0), sigma)
    gx = cv2.Sobel(wide, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 16)
    gy = cv2.Sobel(wide, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 16)
    squared = cv2.accumulateProduct(gx, gx, np.zeros_like(gx))
    squared = cv2.accumulateProduct(gy, gy, squared)
    mean = cv2.mean(squared, mask=inside)[0]
    return max(0.0, float(mean) - 2 * noise_gain(sigma) * noise * noise)


@dataclass(frozen=True, slots=True)
class Focus:
    """``score`` grows with sharpness and compares only pictures of like things; ``noise`` in levels at full size."""

    score: float
    noise: float
    light: float


def focus(grey: Picture, inside: Picture | None = None) -> Focus:
    """Noise-corrected, exposure-normalised focus.

    Parameters
    ----------
    grey : ndarray
        Luma, ``uint8`` (height, width), both at least 16.
    inside : ndarray, optional
        ``uint8`` mask (height, width): what may be judged (inside the view circle, no glare).

    Returns
    -------
    Focus
        ``score`` is the root mean gradient energy of the half-size picture without the noise's share, over its mean
        level; stable within 5 % under four times the noise and 0.4 times the light.
    """
    small = binned(grey)
    mask = None if inside is None else _shrunk_mask(inside, small)
    noise = noise_sigma(grey, inside)
    light = max(1.0, float(cv2.mean(small, mask=mask)[0]))
    return Focus(float(np.sqrt(_energy(small, mask, _PRE, noise_sigma(small, mask)))) / light, noise, light)


def brightest(grey: Picture) -> int:
    """Level that only one pixel in a hundred exceeds: on a lamp-off frame it stays at the noise, whatever its mean."""
    counts = cv2.calcHist([grey], [0], None, [256], [0, 256]).ravel()
    return int(np.searchsorted(counts.cumsum(), 0.99 * counts.sum()))


def frame_score(grey: Picture) -> tuple[float, float, Picture]:
    """Focus score, `brightest` level and half-size luma of one frame of a film: `focus` without what a film can spare."""
    small = binned(grey)
    light = max(1.0, float(cv2.mean(small)[0]))
    return (
        float(np.sqrt(_energy(small, None, _PRE, noise_sigma(small)))) / light,
        float(brightest(small)),
        small,
    )


def _shrunk_mask(inside: Picture, small: Picture) -> Picture:
    rough = cv2.resize(inside, (small.shape[1], small.shape[0]), interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.erode(rough, np.ones((7, 7), np.uint8)), np.uint8)


def edge_blur(grey: Picture, inside: Picture | None = None) -> float:
    """How wide the edges are: the Gaussian blur, in pixels of the picture, that a sharp picture would need to look so.

    The picture is blurred once more by a known amount; gradient energy of an edge goes with 1/width, so the ratio of
    the two energies gives the width before. Self-referenced, so it needs no second picture, and it does not depend on
    the light. Between edges of a fine texture it reads low.

    Returns
    -------
    float
        Sigma in pixels; infinity where nothing but noise is left.
    """
    small = binned(grey)
    mask = None if inside is None else _shrunk_mask(inside, small)
    noise = noise_sigma(small, mask)
    first = _energy(small, mask, _PRE, noise)
    second = _energy(small, mask, float(np.hypot(_PRE, _REBLUR)), noise)
    if first <= 0 or second <= 0:
        return float("inf")
    ratio = min(second / first, 0.999)
    # (s^2) / (s^2 + r^2) = ratio^2 with s the width met by the first operator.
    total = _REBLUR * ratio / np.sqrt(1 - ratio * ratio)
    return 2.0 * float(np.sqrt(max(0.0, total * total - _PRE * _PRE)))


def _detailed(grey: Picture, side: int, count: int = 3) -> list[tuple[int, int]]:
    # A plain ground has no spectrum to judge by; the patches with most going on do.
    height, width = grey.shape
    small = cv2.resize(grey, (max(8, width // 8), max(8, height // 8)), interpolation=cv2.INTER_AREA)
    busy = cv2.blur(np.abs(cv2.Laplacian(small, cv2.CV_32F)), (max(1, side // 8), max(1, side // 8)))
    spots: list[tuple[int, int]] = []
    for _ in range(count):
        _, best, _, (bx, by) = cv2.minMaxLoc(busy)
        if best < 0:
            break
        x = int(np.clip(bx * 8 - side / 2, 0, width - side))
        y = int(np.clip(by * 8 - side / 2, 0, height - side))
        spots.append((x, y))
        half = max(1, side // 16)
        busy[max(0, by - half) : by + half + 1, max(0, bx - half) : bx + half + 1] = -1
    return spots


def spectrum(grey: Picture, side: int = 256) -> Plane:
    """Mean log power over the three patches with most detail, (64,) float32; entry k at k/128 cycles a pixel."""
    height, width = grey.shape
    side = min(side, height, width) // 2 * 2
    window = np.outer(np.hanning(side), np.hanning(side)).astype(np.float32)
    fy = np.fft.fftfreq(side)[:, None]
    fx = np.fft.rfftfreq(side)[None, :]
    # Along the axes only: an enlarged picture keeps its corners empty as well, but JPEG empties those of any picture.
    near_x, near_y = np.abs(fy) < 0.06, fx < 0.06
    rings_x = np.minimum((fx * 128).astype(int), 63)
    rings_y = np.minimum((np.abs(fy) * 128).astype(int), 63)
    total = np.zeros(64)
    for x, y in _detailed(grey, side):
        patch = grey[y : y + side, x : x + side].astype(np.float32)
        power = np.abs(np.fft.rfft2((patch - patch.mean()) * window)) ** 2
        for rings, use in ((rings_x, near_x), (rings_y, near_y)):
            index = np.broadcast_to(rings, power.shape)[np.broadcast_to(use, power.shape)]
            value = power[np.broadcast_to(use, power.shape)]
            sums = np.bincount(index, value, 64) / np.maximum(1, np.bincount(index, minlength=64))
            total += sums
    return np.log(total + 1e-3).astype(np.float32)


# Fall of log power from rings 11-14 to rings 36-47 (0.10 to 0.32 cycles a pixel). Set on 19 pictures, each also blurred
# and enlarged twice and three times by three kinds of interpolation: 94 in 100 enlarged ones fall further, no sharp one.
_FALL = -4.6


def lacks_fine_detail(grey: Picture) -> bool:
    """Whether the picture holds no detail finer than two pixels: enlarged by its camera, or a little soft.

    Many cheap scopes store 640 x 480 enlarged to a larger name. A picture that is 0.8 pixels out of focus looks the
    same to this test, and deserves the same advice: measure in it as if it had half the size. Pictures too blurred to
    have any spectrum to speak of are left to `edge_blur`.
    """
    if min(grey.shape) < 128:
        return False
    power = spectrum(grey)
    return bool(power[36:48].mean() - power[11:15].mean() < _FALL)
