"""One cylinder with the rest of the engine held in one factor: what changes when a group is left out or put in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.chain import outside
from borelog.verdict.network.groups import Group, together
from borelog.verdict.network.posterior import Solved, solve
from borelog.verdict.network.problem import LEAK_DOWN, NOTHING_SEEN, Problem, local, problem
from borelog.verdict.network.tables import Array, Net
from borelog.verdict.network.types import BREACH, SOUND, Evidence, NetShape, NetworkError
from borelog.verdict.network.validity import chance_spoiled


@dataclass(frozen=True, slots=True)
class Around:
    """``factor`` (V, E, 2, S) is what the rest of the engine puts on this cylinder's fault sets."""

    prob: Problem
    done: Solved
    cylinder: int
    place: int
    outside: Array
    factor: Array

    @property
    def own(self) -> tuple[Group, ...]:
        """The groups recorded on this cylinder."""
        return self.prob.groups.get(self.cylinder, ())


def around(shape: NetShape, evidence: Evidence, tables: FaultTables, cylinder: int) -> Around:
    """Solve the engine and stand at one cylinder.

    Raises
    ------
    NetworkError
        No such cylinder.
    """
    if cylinder not in shape.cylinders:
        raise NetworkError(f"this engine has no cylinder {cylinder}")
    prob = problem(shape, evidence, tables)
    done = solve(prob)
    place = prob.line.index(cylinder)
    beyond = outside(done.way, done.messages, place)
    return Around(prob, done, cylinder, place, beyond, done.way.weigh(beyond, done.against))


def presence(net: Net, by_set: Array) -> dict[str, float]:
    """Probability of each fault, of a breach and of nothing at all, from (2, S) weights; empty when all are 0."""
    by_set = np.maximum(by_set, 0.0)
    total = float(by_set.sum())
    if total <= 0.0:
        return {}
    found = dict(zip(net.faults, (by_set.sum(0) @ net.has / total).tolist(), strict=True))
    found[SOUND] = float(by_set[0, 0]) / total
    found[BREACH] = float(by_set[1].sum()) / total
    return found


def leader(found: dict[str, float]) -> str:
    """The likeliest; ties by id, so that the order of entry makes no difference."""
    return min(found, key=lambda f: (-found[f], f))


class Varied:
    """The cylinder with all groups but one fixed: cheap to ask with that one as this, or that, or left out."""

    def __init__(self, at: Around, fixed: Iterable[Group]) -> None:
        fixed = tuple(fixed)
        dry = [g for g in fixed if g.test != LEAK_DOWN]
        self._at, self._leaks = at, any(g.test == LEAK_DOWN for g in fixed)
        self._rest: Array = local(at.prob, at.cylinder, dry).weight * at.factor
        self._good, self._ill = together(fixed).get(LEAK_DOWN, NOTHING_SEEN)
        self._summed: Array = self._rest.sum(0)
        self._chance = at.prob.leak[at.cylinder]

    def _mixed(self) -> Array | float:
        return (1.0 - self._chance) * self._good + self._chance * self._ill if self._leaks else 1.0

    def without(self) -> Array:
        """(2, S) weights with the varied group left out."""
        out: Array = (self._summed * self._mixed()).sum(0)
        return out

    def given(self, group: Group) -> Array:
        """(2, S) weights with the varied group as ``group``; on one scale for all groups asked of this object."""
        like, prob = group.like, self._at.prob
        weights: Array
        if group.test == LEAK_DOWN:
            mixed = (1.0 - self._chance) * self._good * like.valid + self._chance * self._ill * like.spoiled
            weights = self._summed * mixed
        elif not group.test:
            weights = self._summed * (self._mixed() * like.valid)
        elif (
            group.test not in prob.active
        ):  # nothing else hangs on this test: its validity is as the conditions say
            bad = chance_spoiled(prob.net.tables, prob.evidence, group.test, None)
            weights = self._summed * (self._mixed() * ((1.0 - bad) * like.valid + bad * like.spoiled))
        else:
            k = prob.active.index(group.test)
            ill = np.array([combo[k] for combo in prob.validity])
            parts = self._rest[~ill].sum(0) * like.valid + self._rest[ill].sum(0) * like.spoiled
            weights = parts * self._mixed()
        return np.asarray(weights.sum(0))
