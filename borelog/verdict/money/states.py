"""What the drawn true states ask of a course: bills by cylinder and head, faults, and engine states, as arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from borelog.verdict.network.types import Draws


@dataclass(frozen=True, slots=True)
class States:
    """n drawn engines.

    ``count[bill]`` (n,) cylinders with the bill; ``heads[bill]`` (n,) heads with it, at least one where it is due;
    ``has[name]`` (n,) whether a fault or engine state is there; ``cylinders`` how many the engine has.
    """

    n: int
    cylinders: int
    head_count: int
    count: Mapping[str, NDArray[np.float64]]
    heads: Mapping[str, NDArray[np.float64]]
    has: Mapping[str, NDArray[np.bool_]]

    def kinds(self) -> NDArray[np.int64]:
        """(n,) a number for each drawn engine, the same where two ask for the same work."""
        columns = [*self.count.values(), *self.heads.values(), *self.has.values()]
        # A random weight for each column: equal rows get equal sums, unequal ones do not.
        weights = np.random.default_rng(1).integers(1, 1 << 40, len(columns))
        keys = sum(
            (w * c.astype(np.int64) for w, c in zip(weights.tolist(), columns, strict=True)),
            np.zeros(self.n, dtype=np.int64),
        )
        return np.unique(keys, return_inverse=True)[1].ravel().astype(np.int64)


def states_of(
    draws: Draws,
    chains: Sequence[Sequence[int]],
    bills: Mapping[str, str],
    measured: Mapping[str, frozenset[int] | None] | None = None,
) -> States:
    """Bills and faults of joint draws.

    Parameters
    ----------
    draws
        Joint states from the network.
    chains
        Cylinders along each head.
    bills
        Fault or engine state to its bill.
    measured
        Bills that measured parts make certain, with their cylinders (None: all), whatever was drawn.
    """
    n = len(draws)
    per_fault: dict[str, NDArray[np.bool_]] = {
        f: draws.has[:, k][draws.sets] for k, f in enumerate(draws.faults)
    }
    column = {c: k for k, c in enumerate(draws.cylinders)}
    breached = np.zeros((n, len(draws.cylinders)), bool)
    for k, pair in enumerate(draws.pairs):
        for c in pair:
            breached[:, column[c]] |= draws.breaches[:, k]
    per_fault["gasket_neighbour"] = breached
    has: dict[str, NDArray[np.bool_]] = {f: np.asarray(m.any(axis=1)) for f, m in per_fault.items()}
    for k, state in enumerate(draws.states):
        has[state] = draws.engine == k
    by_bill: dict[str, NDArray[np.bool_]] = {}
    for f, member in per_fault.items():
        bill = bills.get(f, "")
        by_bill[bill] = by_bill[bill] | member if bill in by_bill else member.copy()
    for state in draws.states:
        bill = bills.get(state, "")
        if bill and bill != "nothing":
            whole = np.repeat(has[state][:, None], len(draws.cylinders), axis=1)
            by_bill[bill] = by_bill[bill] | whole if bill in by_bill else whole
    for bill, where in (measured or {}).items():
        sure = np.array([where is None or c in where for c in draws.cylinders])
        whole = np.repeat(sure[None, :], n, axis=0)
        by_bill[bill] = by_bill[bill] | whole if bill in by_bill else whole
    rows = [[column[c] for c in chain] for chain in chains] or [list(column.values())]
    return States(
        n=n,
        cylinders=len(draws.cylinders),
        head_count=len(rows),
        count={b: m.sum(axis=1).astype(float) for b, m in by_bill.items()},
        heads={
            b: np.stack([m[:, r].any(axis=1) for r in rows]).sum(axis=0).astype(float)
            for b, m in by_bill.items()
        },
        has=has,
    )
