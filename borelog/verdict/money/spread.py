"""Three-point estimates: triangular and beta-PERT, moments and quantiles, and uniforms with a common factor."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

CORRELATION = 0.25
"""Usual correlation of cost lines through their common factor (0.2 to 0.3: from memory; GAO cost guide asks for one)."""


def triangular_moments(low: float, likely: float, high: float) -> tuple[float, float]:
    """Mean and variance of the triangular distribution."""
    mean = (low + likely + high) / 3
    variance = (low**2 + likely**2 + high**2 - low * likely - low * high - likely * high) / 18
    return mean, variance


def pert_shapes(low: float, likely: float, high: float) -> tuple[float, float]:
    """Shapes of the beta-PERT on [low, high]: 1 + 4 (m - a) / (b - a) and 1 + 4 (b - m) / (b - a); needs low < high."""
    width = high - low
    return 1 + 4 * (likely - low) / width, 1 + 4 * (high - likely) / width


def pert_moments(low: float, likely: float, high: float) -> tuple[float, float]:
    """Mean (a + 4m + b) / 6 and variance of the beta-PERT; its variance is (mean - a)(b - mean) / 7."""
    mean = (low + 4 * likely + high) / 6
    return mean, (mean - low) * (high - mean) / 7


def triangular_quantile(u: Array, low: float, likely: float, high: float) -> Array:
    """The value at probability ``u`` (0 to 1, any shape) of the triangular distribution."""
    width = high - low
    if width <= 0:
        return np.full_like(u, low)
    cut = (likely - low) / width
    left = low + np.sqrt(u * width * (likely - low))
    right = high - np.sqrt((1 - u) * width * (high - likely))
    return np.where(u < cut, left, right)


@lru_cache(maxsize=256)
def _beta_table(a: float, b: float, steps: int = 4001) -> tuple[Array, Array]:
    """Grid of x and of the beta distribution's cumulative probability, by the trapezoid rule."""
    x = np.linspace(0.0, 1.0, steps)
    density = x ** (a - 1) * (1 - x) ** (b - 1)
    area = np.concatenate(([0.0], np.cumsum((density[1:] + density[:-1]) / 2)))
    return x, area / area[-1]


def pert_quantile(u: Array, low: float, likely: float, high: float) -> Array:
    """The value at probability ``u`` of the beta-PERT, from a table good to about 1e-4 of the width."""
    if high <= low:
        return np.full_like(u, low)
    x, cumulative = _beta_table(*pert_shapes(low, likely, high))
    scaled: Array = np.interp(u, cumulative, x)
    return low + (high - low) * scaled


def normal_probability(z: Array) -> Array:
    """Phi(z), absolute error under 1.5e-7 (Abramowitz & Stegun 7.1.26)."""
    x = np.abs(z) / np.sqrt(2.0)
    t = 1 / (1 + 0.3275911 * x)
    poly = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    erf = 1 - poly * np.exp(-x * x)
    both: Array = np.where(z >= 0, (1 + erf) / 2, (1 - erf) / 2)
    return both


GRID = 8192
"""Steps between normal scores of -EDGE and EDGE: a value is good to 5 in 10 000 of its line's width."""
EDGE = 4.5


@lru_cache(maxsize=4)
def ranks(seed: int, n: int, groups: tuple[int, ...], correlation: float = CORRELATION) -> NDArray[np.int16]:
    """(lines, n) places on the grid of normal scores, for groups of lines that share a factor within the group.

    Kept for the last few seeds, so that a changed price is worked out again without drawing again.
    """
    rng = np.random.default_rng(seed)
    out = np.empty((sum(groups), n), dtype=np.int16)
    scale = np.float32(GRID / (2 * EDGE))
    start = 0
    for lines in groups:
        common = rng.standard_normal(n, dtype=np.float32)
        common *= scale * np.float32(np.sqrt(correlation))
        common += np.float32(GRID / 2)
        score = rng.standard_normal((lines, n), dtype=np.float32)
        score *= scale * np.float32(np.sqrt(1 - correlation))
        score += common
        np.clip(score, 0, GRID - 1, out=score)
        out[start : start + lines] = score
        start += lines
    return out


Shape: TypeAlias = Literal["triangular", "pert"]
"""How low, likely and high are read. Beta-PERT pulls weight to the middle: with shy estimates it understates the risk."""


@lru_cache(maxsize=512)
def _table(shape: Shape, likely: float) -> NDArray[np.float32]:
    """The distribution on 0 to 1 at the middle of each step of the grid."""
    middle = (np.arange(GRID) + 0.5) / GRID * 2 * EDGE - EDGE
    quantile = triangular_quantile if shape == "triangular" else pert_quantile
    return quantile(normal_probability(middle), 0.0, likely, 1.0).astype(np.float32)


def values_at(rank: NDArray[np.int16], line: tuple[float, float, float], shape: Shape) -> Array:
    """The values of a three-point line (low, likely, high) at places on the grid."""
    low, likely, high = line
    width = high - low
    if width <= 0:
        return np.full(rank.shape, low)
    found: Array = _table(shape, (likely - low) / width)[rank] * np.float64(width)
    found += low
    return found


def mean_of(line: tuple[float, float, float], shape: Shape) -> float:
    """The mean of a three-point line."""
    return (triangular_moments if shape == "triangular" else pert_moments)(*line)[0]
