"""How likely a true value keeps a limit: normal and Student t, and the joint chance over all cylinders at once.

The one-number forms follow JCGM 106:2012 (conformance probability) and JCGM 100:2008 (degrees of freedom,
annex G). The joint form integrates over the unknown highest cylinder, so that every pair counts and not only
the two that happened to read highest and lowest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache, lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING

from borelog.readings.errors import ReadingError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_STANDARD = NormalDist()


def normal_cdf(z: float) -> float:
    """Chance that a standard normal value is at most ``z``."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(p: float) -> float:
    """The ``z`` below which a standard normal value lies with chance ``p``, 0 < p < 1."""
    return _STANDARD.inv_cdf(p)


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the incomplete beta function (Lentz; DLMF 8.17.22)."""
    tiny = 1e-300
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > tiny else tiny)
    h = d
    for m in range(1, 400):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for step in (even, odd):
            d = 1.0 + step * d
            d = 1.0 / (d if abs(d) > tiny else tiny)
            c = 1.0 + step / c
            c = c if abs(c) > tiny else tiny
            h *= d * c
        if abs(d * c - 1.0) < 1e-16:
            break
    return h


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b), 0 <= x <= 1, a and b above 0."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    log = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    if x < (a + 1) / (a + b + 2):
        return math.exp(log) * _beta_fraction(a, b, x) / a
    return 1.0 - math.exp(log) * _beta_fraction(b, a, 1.0 - x) / b


def t_cdf(t: float, dof: float) -> float:
    """Chance that a Student t value with ``dof`` degrees of freedom (any positive number, inf allowed) is at
    most t.
    """
    if math.isinf(dof):
        return normal_cdf(t)
    if dof <= 0:
        raise ReadingError("degrees of freedom must be above 0: repeat a reading at least once")
    x = dof / (dof + t * t)
    half = 0.5 * incomplete_beta(dof / 2, 0.5, x) if x > 0 else 0.0
    return half if t < 0 else 1.0 - half


def t_quantile(p: float, dof: float) -> float:
    """The t below which a Student t value lies with chance ``p``, 0 < p < 1; by bisection to full precision."""
    if math.isinf(dof):
        return normal_quantile(p)
    if not 0 < p < 1:
        raise ReadingError("a chance lies between 0 and 1")
    if p < 0.5:
        return -t_quantile(1 - p, dof)
    low, high = 0.0, 1.0
    while t_cdf(high, dof) < p:
        low, high = high, high * 2
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if t_cdf(middle, dof) < p:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def coverage_factor(confidence: float, dof: float) -> float:
    """The two-sided factor k of NIST TN 1297 table B.1 for a confidence between 0 and 1."""
    return t_quantile(0.5 + confidence / 2, dof)


def effective_dof(parts: Sequence[tuple[float, float]]) -> float:
    """Welch-Satterthwaite (JCGM 100:2008 G.2b): parts are (standard uncertainty, degrees of freedom)."""
    total = math.fsum(u * u for u, _ in parts)
    spent = math.fsum(u**4 / dof for u, dof in parts if not math.isinf(dof))
    return math.inf if spent == 0 else total * total / spent


def conformance(
    value: float, u: float, low: float | None = None, high: float | None = None, dof: float = math.inf
) -> float:
    """Chance that the true value lies within the limits (JCGM 106:2012 clause 7), all in one unit.

    Parameters
    ----------
    value, u
        Measured value and its standard uncertainty; u of 0 compares plainly.
    low, high
        Tolerance limits, either may be None.
    dof
        Degrees of freedom behind ``u``; Student t when they are few.
    """
    if u < 0:
        raise ReadingError("an uncertainty cannot be negative")
    if u == 0:
        return float((low is None or value >= low) and (high is None or value <= high))
    top = 1.0 if high is None else t_cdf((high - value) / u, dof)
    bottom = 0.0 if low is None else t_cdf((low - value) / u, dof)
    return max(0.0, top - bottom)


_STEP = 64
_REACH = 9


@cache
def _phi_table() -> tuple[Floats, Floats, Floats]:
    import numpy as np

    z = np.arange(-_REACH * _STEP, _REACH * _STEP + 1) / _STEP
    return z, np.array([normal_cdf(float(v)) for v in z]), np.exp(-z * z / 2) / math.sqrt(2 * math.pi)


def normal_cdf_array(z: Floats) -> Floats:
    """`normal_cdf` for an array, to 1e-9: a table and three terms of Taylor's series."""
    import numpy as np

    at, phi, density = _phi_table()
    z = np.clip(z, -_REACH, _REACH)
    k = np.rint(z * _STEP).astype(np.intp) + _REACH * _STEP
    near = at[k]
    h = z - near
    result: Floats = phi[k] + density[k] * h * (1.0 - h * (near / 2 - h * (near * near - 1) / 6))
    return result


@lru_cache(maxsize=64)
def _scales(dof: float) -> tuple[Floats, Floats]:
    """Nodes and weights for the unknown true repeatability over the observed one.

    The observed standard deviation over the true one is chi / sqrt(dof); a Gauss rule for that density
    (moments on a fine grid, Stieltjes recurrence, Golub-Welsch) makes a normal mixed over it the Student t to
    about 1e-7.
    """
    import numpy as np

    if math.isinf(dof) or dof > 300:
        return np.ones(1), np.ones(1)
    spread = 1 / math.sqrt(2 * dof)
    r = np.linspace(max(1e-6, 1 - 9 * spread), 1 + 9 * spread + 3 * (dof < 4), 3001)
    log = (dof - 1) * np.log(r) - dof * r * r / 2
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    count = 10 if dof < 10 else 7 if dof < 20 else 5
    a, b = np.zeros(count), np.zeros(count)
    before, now = np.zeros_like(r), np.ones_like(r)
    norm = 1.0
    for k in range(count):
        size = float(np.sum(weight * now * now))
        b[k] = size / norm if k else 1.0
        a[k] = float(np.sum(weight * r * now * now)) / size
        before, now, norm = now, (r - a[k]) * now - (b[k] if k else 0.0) * before, size
    nodes, vectors = np.linalg.eigh(np.diag(a) + np.diag(np.sqrt(b[1:]), 1) + np.diag(np.sqrt(b[1:]), -1))
    return 1 / nodes, vectors[0] ** 2


@cache
def _legendre(count: int) -> tuple[Floats, Floats]:
    import numpy as np

    nodes, weights = np.polynomial.legendre.leggauss(count)
    return nodes, weights


class Joint:
    """All cylinders of one test with their uncertainties, ready to be asked about several limits.

    Parameters
    ----------
    means : sequence of float
        Mean reading of each cylinder, at least one, any one unit.
    repeat : sequence of float
        Standard uncertainty of each mean from repeatability.
    fixed : sequence of float
        Standard uncertainty of each from resolution, taken as normal and independent.
    dof : float
        Degrees of freedom of the pooled repeatability; inf when it is assumed.
    gain : float
        Half-width of the gauge's common relative error, rectangular; it cancels in ratios and counts at a
        floor.
    """

    def __init__(
        self,
        means: Sequence[float],
        repeat: Sequence[float],
        fixed: Sequence[float],
        dof: float = math.inf,
        gain: float = 0.0,
    ) -> None:
        import numpy as np

        order = np.argsort(np.asarray(means, dtype=float), kind="stable")
        self.means = np.asarray(means, dtype=float)[order]
        scale, self._weights = _scales(dof)
        spread = np.asarray(repeat, dtype=float)[order][None, :] * scale[:, None]
        least = 1e-9 * max(1.0, float(self.means[-1]))
        self._sd: Floats = np.sqrt(spread**2 + np.asarray(fixed, dtype=float)[order][None, :] ** 2 + least**2)
        self._dof = dof
        self._open: list[tuple[Floats, Floats, Floats, Floats]] = []
        self._gain = gain
        self._repeat = np.asarray(repeat, dtype=float)[order]
        self._fixed = np.asarray(fixed, dtype=float)[order]

    def at_least(self, floor: float) -> float:
        """Chance that every true value is at least ``floor`` (same unit)."""
        import numpy as np

        nodes, weights = _legendre(8) if self._gain else (np.zeros(1), np.array([2.0]))
        limits = floor * (1 + self._gain * nodes)
        z = (self.means - limits[:, None, None]) / self._sd
        return float((weights / 2) @ normal_cdf_array(z).prod(axis=-1) @ self._weights)

    def within(self, ratio: float = 1.0, drop: float = 0.0, floor: float = 0.0) -> float:
        """Chance that every true value is at least ``ratio`` x highest - ``drop`` and at least ``floor``.

        ``ratio`` is dimensionless, 0 to 1; ``drop`` and ``floor`` in the unit of the means. Exact for
        independent normal (or pooled Student t) errors: the sum over which cylinder is truly highest of the
        integral over its value.
        """
        import numpy as np

        if len(self.means) == 1:
            return self.at_least(floor) if floor > 0 else 1.0
        kept, ample = self._plain(ratio, drop), floor <= 0
        if floor > 0:
            above = self.at_least(floor)
            if kept == 0.0 or above < 1e-6:
                return 0.0
            if kept == 1.0:
                return above
            ample = above > 1 - 1e-6
        if ample:
            return self._within(ratio, drop, 0.0) if kept is None else kept
        if not self._gain:
            return self._within(ratio, drop, floor)
        nodes, weights = _legendre(3)
        chances = [self._within(ratio, drop, floor * (1 + self._gain * float(n))) for n in nodes]
        return float(np.dot(weights / 2, chances))

    def _plain(self, ratio: float, drop: float) -> float | None:
        """1 or 0 where the pairs decide it to within one in a million (union bound, worst pair), else None."""
        import numpy as np

        variance = self._repeat**2 + self._fixed**2
        u = np.sqrt(variance[:, None] + ratio**2 * variance) + 1e-12 * max(1.0, float(self.means[-1]))
        z = (self.means[:, None] - ratio * self.means + drop) / u
        np.fill_diagonal(z, np.inf)
        worst, pairs = float(z.min()), len(self.means) * (len(self.means) - 1)
        if pairs * t_cdf(-worst, self._dof) < 1e-6:
            return 1.0
        return 0.0 if t_cdf(worst, self._dof) < 1e-6 else None

    def _spans(self, floor: float, kink: float) -> list[tuple[Floats, Floats, Floats, Floats]]:
        """Nodes over the highest value, their half-widths, the chance below and the density there, for each
        smooth span.
        """
        import numpy as np

        sd = self._sd
        low = np.maximum((self.means - 6.5 * sd).max(axis=1), floor)
        high = (self.means + 6.5 * sd).max(axis=1)
        nodes, _ = _legendre(36)
        spans = []
        for first, last in ((low, np.minimum(high, kink)), (np.maximum(low, kink), high)):
            half = np.maximum(last - first, 0.0) / 2
            if half.any():
                m = (first + half)[:, None] + half[:, None] * nodes
                z = (m[:, :, None] - self.means) / sd[:, None, :]
                density = np.exp(-z * z / 2) / (sd[:, None, :] * math.sqrt(2 * math.pi))
                spans.append((m, half, normal_cdf_array(z), density))
        return spans

    def _within(self, ratio: float, drop: float, floor: float) -> float:
        import numpy as np

        if floor <= 0:
            floor = -math.inf
            self._open = self._open or self._spans(-math.inf, -math.inf)
            spans = self._open
        else:
            spans = self._spans(floor, (floor + drop) / ratio if ratio > 0 else math.inf)
        _, weights = _legendre(36)
        total = 0.0
        for m, half, below, density in spans:
            lower = np.maximum(ratio * m - drop, floor)
            kept = below - normal_cdf_array((lower[:, :, None] - self.means) / self._sd[:, None, :])
            np.maximum(kept, 0.0, out=kept)
            others = np.ones_like(kept)
            np.cumprod(kept[..., :-1], axis=-1, out=others[..., 1:])
            others[..., :-1] *= np.cumprod(kept[..., :0:-1], axis=-1)[..., ::-1]
            integral = (np.einsum("kmn,kmn->km", density, others) @ weights) * half
            total += float(integral @ self._weights)
        return min(1.0, max(0.0, total))

    def near_mean(self, share: float) -> float:
        """Chance that no true value lies below ``share`` x the mean of all (0 to 1); by a fixed lattice of 4093 points.

        The mean ties all cylinders together, so there is no single integral; the error stays under five parts
        in a thousand.
        """
        import numpy as np

        variance = self._repeat**2 + self._fixed**2
        weight = share / len(self.means)
        u = np.sqrt(variance * (1 - 2 * weight) + weight**2 * variance.sum()) + 1e-12
        z = (self.means - share * self.means.mean()) / u
        if len(self.means) * t_cdf(-float(z.min()), self._dof) < 1e-6:
            return 1.0
        if t_cdf(float(z.min()), self._dof) < 1e-6:
            return 0.0
        draws = _lattice(len(self.means), self._dof)
        sd = (draws[1][:, None] * self._repeat) ** 2 + self._fixed**2
        x = self.means + draws[0] * sd**0.5
        return float((x.min(axis=1) >= share * x.mean(axis=1)).mean())


@lru_cache(maxsize=32)
def _lattice(count: int, dof: float) -> tuple[Floats, Floats]:
    """Standard normal points, one column a cylinder, and factors on the observed repeatability: a Korobov
    lattice.
    """
    import numpy as np

    points, generator = 4093, 1703
    powers = [pow(generator, k, points) for k in range(count + 1)]
    u = (np.arange(points)[:, None] * np.array(powers) / points + 0.5 / points) % 1.0
    normal = np.vectorize(normal_quantile)(u[:, :count])
    if math.isinf(dof) or dof > 300:
        return normal, np.ones(points)
    scale, weights = _fine_scales(dof)
    return normal, np.interp(u[:, count], np.cumsum(weights) - weights / 2, scale)


def _fine_scales(dof: float) -> tuple[Floats, Floats]:
    import numpy as np

    spread = 1 / math.sqrt(2 * dof)
    r = np.linspace(max(1e-3, 1 - 9 * spread), 1 + 9 * spread + 3 * (dof < 4), 3001)
    log = (dof - 1) * np.log(r) - dof * r * r / 2
    weight = np.exp(log - log.max())
    return 1 / r, weight / weight.sum()
