"""What a test may show, and how likely each outcome is on each drawn engine."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from borelog.knowledge.faults import NextTest
from borelog.verdict.network.tables import Array, Net
from borelog.verdict.network.types import Draws
from borelog.verdict.network.validity import spoil_chance

DONE_WELL = "noted_good"
FEWEST = 0.005


@dataclass(frozen=True, slots=True)
class Standing:
    """Where the draws stand for one cylinder (or the engine): ``kinds`` distinct states and ``which`` (n,) each draw has.

    ``engine`` (u,) engine state, ``breach`` (u,) and ``sets`` (u,) for a cylinder, ``pattern`` (u,) for the engine.
    """

    which: NDArray[np.int64]
    engine: NDArray[np.int64]
    breach: NDArray[np.int64]
    sets: NDArray[np.int64]
    pattern: NDArray[np.int64]


def at_cylinder(draws: Draws, cylinder: int) -> Standing:
    """Distinct states of one cylinder among the draws."""
    sets = draws.sets[:, draws.cylinders.index(cylinder)]
    beside = [k for k, pair in enumerate(draws.pairs) if cylinder in pair]
    breach = (
        draws.breaches[:, beside].any(axis=1).astype(np.int64)
        if beside
        else np.zeros(len(draws), dtype=np.int64)
    )
    sizes = (len(draws.states), 2, len(draws.fault_sets))
    kinds, which = np.unique(np.ravel_multi_index((draws.engine, breach, sets), sizes), return_inverse=True)
    e, b, s = (np.asarray(x, dtype=np.int64) for x in np.unravel_index(kinds, sizes))
    return Standing(which.ravel().astype(np.int64), e, b, s, np.zeros_like(e))


def at_engine(draws: Draws) -> Standing:
    """Distinct engine states with patterns of channels among the draws."""
    count = draws.channels.shape[1]
    pattern = draws.channels.astype(np.int64) @ (1 << np.arange(count, dtype=np.int64))
    sizes = (len(draws.states), 1 << count)
    kinds, which = np.unique(np.ravel_multi_index((draws.engine, pattern), sizes), return_inverse=True)
    e, p = (np.asarray(x, dtype=np.int64) for x in np.unravel_index(kinds, sizes))
    return Standing(which.ravel().astype(np.int64), e, np.zeros_like(e), np.zeros_like(e), p)


def _picked(net: Net, item: str, at: Standing) -> Array:
    """(states, u) P(state | where the draws stand), the test good."""
    sight = net.sights[item]
    rows = []
    for by_state in sight.by_state:
        if sight.item.scope == "cylinder":
            e, b, s = (
                np.minimum(x, n - 1)
                for x, n in zip((at.engine, at.breach, at.sets), by_state.shape, strict=True)
            )
            rows.append(by_state[e, b, s])
        else:
            rows.append(by_state[np.minimum(at.engine, by_state.shape[0] - 1), at.pattern])
    return np.array(rows)


def _outer(one: Array, other: Array) -> Array:
    """(m, u) and (k, u) to (m * k, u), or the same without u."""
    return (one[:, None] * other[None]).reshape(-1, *one.shape[1:])


def on_each(
    net: Net, test: NextTest, draws: Draws, places: dict[str, tuple[int, ...]], seed: int
) -> NDArray[np.int64]:
    """(n,) which result of a test of all cylinders each draw gives, drawn once for each.

    Per cylinder only whether it stands out is told apart: the joint results of twelve cylinders cannot be listed.
    ``places`` names the cylinders still to be looked at, by item. What gives a result less often than one draw in two
    hundred goes with the rest of its kind.
    """
    rng = np.random.default_rng((seed, 2))
    found = np.zeros(len(draws), dtype=np.int64)
    whole = at_engine(draws)
    if test.items:
        steps = np.cumsum(outcomes(net, test, whole), axis=0)[:, whole.which]
        found += (rng.random(len(draws)) > steps[:-1]).sum(axis=0)
    for item in test.each:
        for cylinder in places.get(item, ()):
            at = at_cylinder(draws, cylinder)
            calm = outcomes(net, replace(test, items=(item,), each=()), at)[0, at.which]
            found = 2 * found + (rng.random(len(draws)) > calm)
    kinds, which, count = np.unique(found, return_inverse=True, return_counts=True)
    few = count < len(draws) * FEWEST
    which = np.where(few[which], len(kinds), which.ravel())
    return np.unique(which, return_inverse=True)[1].ravel().astype(np.int64)


def outcomes(net: Net, test: NextTest, at: Standing) -> Array:
    """(m, u) chances of every joint result of the test's items, done properly; columns add to 1.

    Items of one dependence group share their misread variable, a test its validity, as in the network.
    """
    eps = net.tables.misread[test.how][0]
    by_group: dict[str, list[str]] = {}
    for item in test.items:
        by_group.setdefault(net.tables.items[item].group, []).append(item)
    kind = {net.tables.items[i].test for i in test.items}
    variable = next(iter(kind)) if len(kind) == 1 else ""
    bad = spoil_chance(net.tables, variable, (DONE_WELL,)) if variable else 0.0
    good: Array = np.ones((1, len(at.engine)))
    spoiled: Array = np.ones(1)
    for items in by_group.values():
        first = net.sights[items[0]]
        valid: Array = np.ones((1, len(at.engine)))
        alone: Array = np.ones((1, len(first.shares)))
        ill: Array = np.ones(1)
        for item in items:
            sight = net.sights[item]
            valid = _outer(valid, _picked(net, item, at))
            alone = _outer(alone, sight.alone.T)
            ill = _outer(ill, np.array(sight.spoiled or [1.0] * len(sight.by_state)))
        blind = alone @ first.shares
        good = _outer(good, (1.0 - eps) * valid + eps * blind[:, None])
        spoiled = _outer(spoiled, (1.0 - eps) * ill + eps * blind)
    return (1.0 - bad) * good + bad * spoiled[:, None] if variable else good
