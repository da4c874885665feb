"""What draws are worth: the one thing that the ranking of next tests asks of the money room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from borelog.verdict.money.model import Result, evaluate
from borelog.verdict.money.settings import Settings, shipped
from borelog.verdict.money.states import States, states_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from borelog.knowledge.faults import FaultTables
    from borelog.verdict.network.types import Draws, NetShape

    Array = NDArray[np.float64]


class Valuation:
    """The worth of every course on every draw; ``value(draws, weights)`` is that of the best course for each row of weights.

    The nets of a set of draws are worked out once; a test's outcome only reweights them (common random numbers). What
    luck adds on one drawn engine is averaged over the draws that ask for the same work, so that a test is not thought
    to be worth something because of it.
    """

    def __init__(
        self,
        settings: Settings,
        chains: Sequence[Sequence[int]],
        bills: Mapping[str, str],
        seed: int,
        measured: Mapping[str, frozenset[int] | None] | None = None,
    ) -> None:
        self._settings, self._seed = settings, seed
        self._asked = chains, bills, measured
        self._kept: tuple[Draws, States, Result, Array] | None = None

    def _of(self, draws: Draws) -> tuple[Draws, States, Result, Array]:
        if self._kept is None or self._kept[0] is not draws:
            states = states_of(draws, *self._asked)
            result = evaluate(self._settings, states, self._seed)
            self._kept = (draws, states, result, _evened(result.net, states))
        return self._kept

    def states(self, draws: Draws) -> States:
        """What the draws ask of a course."""
        return self._of(draws)[1]

    def result(self, draws: Draws) -> Result:
        """The courses on these draws, luck and all."""
        return self._of(draws)[2]

    def nets(self, draws: Draws) -> Array:
        """(n, courses) worth of every course, luck evened out over draws that ask for the same work."""
        return self._of(draws)[3]

    def __call__(self, draws: Draws, weights: Array) -> tuple[Array, NDArray[np.int64]]:
        """See `borelog.verdict.network.types.Value`."""
        expected = weights @ self.nets(draws)
        best = expected.argmax(axis=1).astype(np.int64)
        return expected[np.arange(len(expected)), best], best


def _evened(net: Array, states: States) -> Array:
    """Each row the mean over the rows whose engines ask for the same work."""
    which = states.kinds()
    count = np.bincount(which)
    mean = np.column_stack([np.bincount(which, weights=v) for v in net.T]) / count[:, None]
    out: Array = mean[which]
    return out


def placeholder_value(shape: NetShape, tables: FaultTables, seed: int = 0) -> Valuation:
    """The valuation before anyone has set a price: the shipped tables, in per cent of the car's value."""
    return Valuation(shipped(), shape.chains, {f.id: f.bill for f in tables.faults.values()}, seed)
