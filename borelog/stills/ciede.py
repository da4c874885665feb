"""Colour as people see it: sRGB to CIELAB and the CIEDE2000 difference.

ISO/CIE 11664-4 (CIELAB), ISO/CIE 11664-6 (CIEDE2000), IEC 61966-2-1 (sRGB); the formula as set out by Sharma, Wu and
Dalal, Color Research and Application 30(1), 2005.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

# IEC 61966-2-1, linear sRGB to XYZ, and the white of D65 for the 2 degree observer that belongs to it.
_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
_WHITE = _TO_XYZ.sum(axis=1)
_EPSILON, _KAPPA = 216 / 24389, 24389 / 27


def linear(levels: ArrayLike) -> NDArray[np.float64]:
    """sRGB levels 0 to 1 as linear light 0 to 1, any shape."""
    v = np.asarray(levels, np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def lab_from_linear(rgb: ArrayLike) -> NDArray[np.float64]:
    """Linear sRGB (..., 3) red, green, blue, 0 to 1, as CIELAB (..., 3) for D65."""
    xyz = np.asarray(rgb, np.float64) @ _TO_XYZ.T / _WHITE
    f = np.where(xyz > _EPSILON, np.cbrt(np.maximum(xyz, 0)), (_KAPPA * xyz + 16) / 116)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )


def lab(picture: NDArray[Any]) -> NDArray[np.float64]:
    """A picture (..., 3) uint8 blue, green, red as CIELAB (..., 3) for D65; trusts the picture's white."""
    return lab_from_linear(linear(np.asarray(picture)[..., ::-1] / 255.0))


def ciede2000(one: ArrayLike, other: ArrayLike) -> NDArray[np.float64]:
    """CIEDE2000 with kL = kC = kH = 1.

    Parameters
    ----------
    one, other : (..., 3) CIELAB, broadcast against each other

    Returns
    -------
    (...) float64
        About 1 is just seen side by side; symmetric.
    """
    a, b = np.broadcast_arrays(np.asarray(one, np.float64), np.asarray(other, np.float64))
    mean_chroma = (np.hypot(a[..., 1], a[..., 2]) + np.hypot(b[..., 1], b[..., 2])) / 2
    stretch = 1.5 - 0.5 * np.sqrt(mean_chroma**7 / (mean_chroma**7 + 25.0**7))
    a1, a2 = a[..., 1] * stretch, b[..., 1] * stretch
    c1, c2 = np.hypot(a1, a[..., 2]), np.hypot(a2, b[..., 2])
    h1, h2 = np.degrees(np.arctan2(a[..., 2], a1)) % 360, np.degrees(np.arctan2(b[..., 2], a2)) % 360
    grey = c1 * c2 == 0
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(grey, 0.0, turn)
    d_l, d_c = b[..., 0] - a[..., 0], c2 - c1
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    l_mean, c_mean = (a[..., 0] + b[..., 0]) / 2, (c1 + c2) / 2
    total = h1 + h2
    h_mean = np.where(np.abs(h1 - h2) > 180, np.where(total < 360, total + 360, total - 360), total) / 2
    h_mean = np.where(grey, total, h_mean)
    t = (
        1
        - 0.17 * np.cos(np.radians(h_mean - 30))
        + 0.24 * np.cos(np.radians(2 * h_mean))
        + 0.32 * np.cos(np.radians(3 * h_mean + 6))
        - 0.20 * np.cos(np.radians(4 * h_mean - 63))
    )
    s_l = 1 + 0.015 * (l_mean - 50) ** 2 / np.sqrt(20 + (l_mean - 50) ** 2)
    s_c, s_h = 1 + 0.045 * c_mean, 1 + 0.015 * c_mean * t
    r_c = 2 * np.sqrt(c_mean**7 / (c_mean**7 + 25.0**7))
    r_t = -np.sin(np.radians(60 * np.exp(-(((h_mean - 275) / 25) ** 2)))) * r_c
    return np.asarray(
        np.sqrt((d_l / s_l) ** 2 + (d_c / s_c) ** 2 + (d_h / s_h) ** 2 + r_t * (d_c / s_c) * (d_h / s_h))
    )
