"""What a look is worth: the expected gain in the decision (Raiffa & Schlaifer 1961, value of sample information)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from borelog.knowledge.faults import CALLS, FaultTables
from borelog.verdict.network.tables import Array
from borelog.verdict.network.types import BREACH, Draws, Value

BILLS = {
    "run": 0.0,
    "test_first": 0.5,
    "repair_in_car": 1.0,
    "head_off": 4.0,
    "rebuild": 10.0,
    "replace": 12.0,
}
AGAIN = 1.5  # doing too little costs the right bill after all, and half of it again for what was spoiled meanwhile


@dataclass(frozen=True, slots=True)
class Gain:
    """``worth`` is the expected gain, ``changes`` the chance that another course is taken, ``chances`` (m,) of outcomes."""

    worth: float
    changes: float
    chances: Array


def gain(value: Value, draws: Draws, outcomes: Array, weights: Array) -> Gain:
    """Expected gain of seeing one of m outcomes before deciding.

    Parameters
    ----------
    value : Value
    draws : Draws
        Passed on to ``value``.
    outcomes : (m, n) array
        P(outcome | draw); columns add to 1.
    weights : (n,) array
        Of the draws now, adding to 1.
    """
    now, course = value(draws, weights[None])
    joint = outcomes * weights
    chances = joint.sum(1)
    kept = chances > 0.0
    then, courses = value(draws, joint[kept] / chances[kept, None])
    worth = float(chances[kept] @ then - now[0])
    return Gain(worth, float(chances[kept][courses != course[0]].sum()), chances)


class UsualBills:
    """A valuation without prices: each course by a usual bill, and half as much again for having done too little.

    The unit is a small repair in the car. It ranks tests before anyone has entered money; the money room has its own.
    """

    def __init__(self, tables: FaultTables) -> None:
        self._needs = {
            f.id: CALLS.index(f.usual_call) for f in tables.faults.values() if f.usual_call in CALLS
        }
        self._bills = np.array([BILLS[c] for c in CALLS])
        self._last: tuple[Draws, Array] | None = None

    def payoff(self, draws: Draws) -> Array:
        """(n, courses) net worth, all negative: what each course costs on each engine."""
        if self._last is not None and self._last[0] is draws:
            return self._last[1]
        by_fault = np.array([self._needs[f] for f in draws.faults])
        by_set = np.where(draws.has, by_fault, 0).max(axis=1)
        need = by_set[draws.sets].max(axis=1)
        need = np.maximum(need, np.array([self._needs[e] for e in draws.states])[draws.engine])
        if draws.breaches.shape[1]:
            need = np.maximum(need, np.where(draws.breaches.any(axis=1), self._needs.get(BREACH, 0), 0))
        courses = np.arange(len(CALLS))
        short = courses[None, :] < need[:, None]
        cost = self._bills[None, :] + np.where(short, AGAIN * self._bills[need][:, None], 0.0)
        self._last = (draws, -cost)
        return self._last[1]

    def __call__(
        self, draws: Draws, weights: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        """See `Value`."""
        expected = np.einsum("mn,nc->mc", weights, self.payoff(draws), optimize=False)
        course = expected.argmax(axis=1).astype(np.int64)
        return expected[np.arange(len(expected)), course], course
