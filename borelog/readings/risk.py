"""How often a limit decides wrongly over many engines: a bad one passed, a good one failed (JCGM 106:2012 clause 9.5).

The conformance probability of `chance` speaks about one measured engine; these figures speak about a procedure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from borelog.readings.chance import normal_cdf, normal_quantile
from borelog.readings.errors import ReadingError


@dataclass(frozen=True, slots=True)
class Risk:
    """Chances over all items: ``bad`` truly outside, ``bad_passed`` outside and accepted, ``good_failed`` inside and
    refused.
    """

    bad: float
    bad_passed: float
    good_failed: float

    @property
    def bad_among_passed(self) -> float:
        """Chance that an accepted item is outside all the same."""
        passed = 1 - self.bad - self.good_failed + self.bad_passed
        return self.bad_passed / passed if passed > 0 else 0.0


def normal_density(mean: float, sd: float) -> Callable[[float], float]:
    """Density of a normal spread of true values."""
    return lambda x: math.exp(-(((x - mean) / sd) ** 2) / 2) / (sd * math.sqrt(2 * math.pi))


def global_risk(
    density: Callable[[float], float],
    span: tuple[float, float],
    u: float,
    low: float | None = None,
    high: float | None = None,
    accept_low: float | None = None,
    accept_high: float | None = None,
) -> Risk:
    """Risk of a procedure by Simpson's rule over the true value.

    Parameters
    ----------
    density
        Of the true values, in one unit with all that follows.
    span
        Range that holds practically all of them.
    u
        Standard uncertainty of the measurement, normal, above 0.
    low, high
        Tolerance limits; None for none.
    accept_low, accept_high
        Acceptance limits; None means the tolerance limit itself.
    """
    if not u > 0 or not span[1] > span[0]:
        raise ReadingError("needs an uncertainty above 0 and a span of true values")
    reject_under = low if accept_low is None else accept_low
    reject_over = high if accept_high is None else accept_high

    def accepted(x: float) -> float:
        top = 1.0 if reject_over is None else normal_cdf((reject_over - x) / u)
        bottom = 0.0 if reject_under is None else normal_cdf((reject_under - x) / u)
        return max(0.0, top - bottom)

    borders = sorted({span[0], span[1], *(b for b in (low, high) if b is not None and span[0] < b < span[1])})
    bad = bad_passed = good_failed = 0.0
    for a, b in pairwise(borders):
        middle = 0.5 * (a + b)
        inside = (low is None or middle >= low) and (high is None or middle <= high)
        count = 2000
        step = (b - a) / count
        for i in range(count + 1):
            x = a + i * step
            weight = step / 3 * (1 if i in (0, count) else 4 if i % 2 else 2)
            share = weight * density(x)
            if inside:
                good_failed += share * (1 - accepted(x))
            else:
                bad += share
                bad_passed += share * accepted(x)
    return Risk(bad, bad_passed, good_failed)


def symmetric_risk(limit: float, sd: float, u: float, guard: float = 1.0) -> Risk:
    """Risk for a normal spread about the middle of symmetric limits +-``limit``; accepted within ``guard`` x limit."""
    return global_risk(
        normal_density(0.0, sd),
        (-12 * sd - limit, 12 * sd + limit),
        u,
        -limit,
        limit,
        -guard * limit,
        guard * limit,
    )


def spread_for_share(limit: float, share_inside: float) -> float:
    """Standard deviation of a centred normal spread of which ``share_inside`` (0 to 1) lies within +-``limit``."""
    if not 0 < share_inside < 1:
        raise ReadingError("a share lies between 0 and 1")
    return limit / normal_quantile(0.5 + share_inside / 2)


def guard_factor(risk: float) -> float:
    """z for a guard band w = z u that leaves a risk (JCGM 106:2012 table 1 gives 1.64 for 5 %)."""
    return normal_quantile(1 - risk)
