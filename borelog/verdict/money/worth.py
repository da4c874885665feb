"""What draws are worth: the one function that the ranking of next tests asks of the money room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from borelog.verdict.money.model import evaluate
from borelog.verdict.money.settings import Settings
from borelog.verdict.money.states import states_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from borelog.verdict.network.types import Draws, Value


def valuation(
    settings: Settings, chains: Sequence[Sequence[int]], bills: Mapping[str, str], seed: int
) -> Value:
    """``value(draws, weights)``: expected net of the best course under each row of weights, and its column.

    The nets of a set of draws are worked out once; a test's outcome only reweights them (common random numbers).
    """
    kept: dict[int, tuple[Draws, NDArray[np.float64]]] = {}

    def value(draws: Draws, weights: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        held = kept.get(id(draws))
        if held is None or held[0] is not draws:
            held = (draws, evaluate(settings, states_of(draws, chains, bills), seed).net)
            kept.clear()
            kept[id(draws)] = held
        expected = weights @ held[1]
        best = expected.argmax(axis=1)
        return expected[np.arange(len(expected)), best], best.astype(np.int64)

    return value
