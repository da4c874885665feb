"""Prior odds of faults, engine states and gasket breaches, before anything is looked at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from borelog.knowledge.faults import HISTORY
from borelog.verdict.network.tables import Array, Net
from borelog.verdict.network.types import BREACH, Evidence, NetShape, Seen


@dataclass(frozen=True, slots=True)
class Priors:
    """``sets`` (E, S) adding to 1 per engine state, ``states`` (E,) adding to 1, ``breach`` (E,) of one bridge."""

    sets: Array
    states: Array
    breach: Array


def _set_probabilities(net: Net, odds: Array) -> Array:
    """(..., S) from odds (..., F): each set by the product of its odds and its pair factor."""
    weight = net.pair_factor * np.prod(np.where(net.has, odds[..., None, :], 1.0), axis=-1)
    share: Array = weight / weight.sum(-1, keepdims=True)
    return share


def _base_odds(net: Net, scale: float) -> tuple[Array, float]:
    """Odds of each fault and of one bridge; the two cylinders of a bridge own half its weight each."""
    weights = np.array([net.weights[f] for f in net.faults])
    return scale * weights, scale * net.weights.get(BREACH, 0.0) / 2


def expected_troubled(net: Net, shape: NetShape, scale: float) -> float:
    """Troubled cylinders (a fault, or a breach to a neighbour) expected with no readings and no engine-wide fault."""
    odds, bridge = _base_odds(net, scale)
    sound = float(_set_probabilities(net, odds)[0])
    tight = 1.0 / (1.0 + bridge)
    bridges = {c: sum(c in pair for pair in shape.pairs) for c in shape.cylinders}
    return sum(1.0 - sound * tight ** bridges[c] for c in shape.cylinders)


def scale_for(net: Net, shape: NetShape) -> float:
    """The factor on all weights that gives the expected number of troubled cylinders of ``priors.csv``."""
    return net.lasting.get(("scale", shape), lambda: _scale(net, shape))


def _scale(net: Net, shape: NetShape) -> float:
    count = len(shape.cylinders)
    wanted = min(net.tables.priors["troubled_cylinders"], net.tables.priors["most_troubled_share"] * count)
    low, high = 0.0, 1.0
    while expected_troubled(net, shape, high) < wanted and high < 1e9:
        high *= 2
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if expected_troubled(net, shape, middle) < wanted else (low, middle)
    return high


def _told(factor: float, doubt: float) -> float:
    """A story moves the odds less, the less it can be trusted."""
    return 1.0 + (factor - 1.0) * (1.0 - doubt)


def history(evidence: Evidence) -> tuple[Seen, ...]:
    """The entries about what happened before."""
    return tuple(s for s in evidence.seen if s.item == HISTORY)


def priors(net: Net, shape: NetShape, stories: Iterable[Seen]) -> Priors:
    """Priors of one engine. What happened is a cause: it multiplies odds, once per event however often it is told."""
    told = tuple(stories)
    return net.lasting.get(("priors", shape, told), lambda: _priors(net, shape, told))


def _priors(net: Net, shape: NetShape, stories: tuple[Seen, ...]) -> Priors:
    odds, bridge = _base_odds(net, scale_for(net, shape))
    trust: dict[str, float] = {}
    for seen in stories:
        doubt = net.tables.misread[seen.how][0]
        trust[seen.state] = min(doubt, trust.get(seen.state, 1.0))
    place = {f: i for i, f in enumerate(net.faults)}
    by_state = np.repeat(odds[None], len(net.states), axis=0)
    breach = np.full(len(net.states), bridge)
    states = np.array([net.weights[e] for e in net.states])
    for move in net.tables.moves:  # outright odds first, so that the order of rows makes no difference
        if move.kind == "odds" and move.when in net.states:
            e = net.states.index(move.when)
            if move.target == BREACH:
                breach[e] = move.factor
            else:
                by_state[e, place[move.target]] = move.factor
    for move in net.tables.moves:
        if move.kind == "odds" or (move.when not in net.states and move.when not in trust):
            continue
        rows = [net.states.index(move.when)] if move.when in net.states else slice(None)
        factor = move.factor if move.when in net.states else _told(move.factor, trust[move.when])
        if move.target in net.states:
            states[net.states.index(move.target)] *= factor
        elif move.target == BREACH:
            breach[rows] *= factor
        elif move.target in place:
            by_state[rows, place[move.target]] *= factor
    return Priors(_set_probabilities(net, by_state), states / states.sum(), breach / (1.0 + breach))
