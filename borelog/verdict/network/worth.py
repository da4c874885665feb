"""What a look is worth: the expected gain in the decision (Raiffa & Schlaifer 1961, value of sample information)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from borelog.verdict.network.tables import Array
from borelog.verdict.network.types import Draws, Value


@dataclass(frozen=True, slots=True)
class Gain:
    """``worth`` is the expected gain, ``error`` its standard error over the draws, ``changes`` the chance that another
    course is taken, ``chances`` (m,) of the outcomes.
    """

    worth: float
    error: float
    changes: float
    chances: Array


def by_kind(values: Array, which: NDArray[np.int64], kinds: int) -> Array:
    """(n, c) values added up over the draws of each kind, (u, c)."""
    return np.column_stack([np.bincount(which, weights=v, minlength=kinds) for v in values.T])


def gain(value: Value, draws: Draws, outcomes: Array, weights: Array, which: NDArray[np.int64]) -> Gain:
    """Expected gain of seeing one of m outcomes before deciding.

    Parameters
    ----------
    value : Value
        Supplies the worth of every course on every draw.
    draws : Draws
    outcomes : (m, u) array
        P(outcome | kind of draw); columns add to 1.
    weights : (n,) array
        Of the draws now, adding to 1.
    which : (n,) int array
        The kind of each draw, 0 to u - 1.
    """
    nets = value.nets(draws)
    now, course = value(draws, weights[None])
    paid = by_kind(nets * weights[:, None], which, outcomes.shape[1])
    return of_kinds(nets, weights, which, paid, (float(now[0]), int(course[0])), outcomes)


def of_kinds(
    nets: Array,
    weights: Array,
    which: NDArray[np.int64],
    paid: Array,
    now: tuple[float, int],
    outcomes: Array,
) -> Gain:
    """The same with what does not depend on the outcomes worked out: ``paid`` (u, c) from `by_kind`, ``now`` the best."""
    kinds = np.bincount(which, weights=weights, minlength=outcomes.shape[1])
    chances = outcomes @ kinds
    then = outcomes @ paid
    courses = then.argmax(axis=1)
    worth = float(then[np.arange(len(then)), courses].sum() - now[0])
    moved = courses != now[1]
    if not moved.any():
        return Gain(0.0, 0.0, 0.0, chances)
    # How much each draw gains: the course taken after each outcome less the one taken now.
    taken = np.zeros((outcomes.shape[1], nets.shape[1]))
    np.add.at(taken.T, courses[moved], outcomes[moved])
    taken[:, now[1]] -= outcomes[moved].sum(0)
    gains = np.einsum("nc,nc->n", taken[which], nets, optimize=False)
    spread = float(weights @ np.square(gains)) - float(weights @ gains) ** 2
    error = float(np.sqrt(max(spread, 0.0) * float(np.square(weights).sum())))
    return Gain(max(worth, 0.0), error, float(chances[moved].sum()), chances)
