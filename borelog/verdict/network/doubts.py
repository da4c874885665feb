"""Posteriors of misread groups and spoiled tests, for all cylinders together: the contradiction alarm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from borelog.verdict.network.groups import Group, Place
from borelog.verdict.network.problem import LEAK_DOWN, Problem, over_channels
from borelog.verdict.network.tables import Array


class Beliefs:
    """``by_test`` (n, R, E, 2, S) probabilities of n cylinders: all of it, the part in which each of the engine's tests
    was good, the part in which the cylinder's leak-down was. Summed once over what a likelihood does not tell apart.

    ``sets`` (n, 2, S) is all of it over the engine states, ``bad`` what is missing from 1 in each part.
    """

    def __init__(self, prob: Problem, by_test: Array) -> None:
        tests = ("", *prob.active, LEAK_DOWN)
        by_breach: Array = by_test.sum(2)
        by_set: Array = by_breach.sum(2)
        by_engine: Array = by_test[:, :, :, 0] + by_test[:, :, :, 1]
        flat = [a.reshape(*a.shape[:2], -1) for a in (by_set, by_breach, by_engine, by_test)]
        self._parts = {t: [a[:, r] for a in flat] for r, t in enumerate(tests)}
        self.sets: Array = by_breach[:, 0]
        self.bad = [
            dict(zip(tests, lost, strict=True)) for lost in np.maximum(0.0, 1.0 - by_set.sum(2)).tolist()
        ]

    def misread(self, i: int, group: Group) -> float:
        """The chance that a group of the i-th cylinder is misread and its test good."""
        shares = group.like.misread
        told_apart = 2 * (shares.shape[0] > 1) + (shares.shape[1] > 1)
        return float(shares.ravel().dot(self._parts[group.test][told_apart][i]))


@dataclass(frozen=True, slots=True)
class Doubts:
    """Per (cylinder, pair or None, group): ``misread``, and ``doubted``: misread, or its test spoiled."""

    misread: dict[tuple[Place, str], float] = field(default_factory=dict)
    doubted: dict[tuple[Place, str], float] = field(default_factory=dict)


def _spoiled_too(group: Group, bad: float) -> float:
    """The chance of a misreading on top of a spoiled test."""
    return bad * group.like.doubt / group.like.spoiled if bad and group.like.spoiled > 0.0 else 0.0


def cylinder_doubts(prob: Problem, beliefs: Beliefs, out: Doubts) -> list[float]:
    """Fill in the groups of every cylinder; returns the chance of a spoiled leak-down per cylinder of the line."""
    for i, cylinder in enumerate(prob.line):
        for group in prob.groups.get(cylinder, ()):
            chance, bad = beliefs.misread(i, group), beliefs.bad[i][group.test] if group.test else 0.0
            out.misread[cylinder, group.name] = chance + _spoiled_too(group, bad)
            out.doubted[cylinder, group.name] = chance + bad
    return [bad[LEAK_DOWN] for bad in beliefs.bad]


def engine_doubts(prob: Problem, patterns: Array, out: Doubts) -> None:
    """Fill in the engine-wide groups. ``patterns`` (V, E, 2**K) posterior, adding to 1."""
    everything = patterns.sum(0)
    for group in prob.groups.get(None, ()):
        place, part, bad = (None, group.name), everything, 0.0
        if group.test:
            ill = np.array([combo[prob.active.index(group.test)] for combo in prob.validity])
            part, bad = patterns[~ill].sum(0), float(patterns[ill].sum())
        misread = over_channels(prob, group.like.misread)
        part = part if misread.shape == part.shape else part.sum(0)
        chance = float(misread.ravel().dot(part.ravel()))
        out.misread[place] = chance + _spoiled_too(group, bad)
        out.doubted[place] = chance + bad


def pair_doubts(prob: Problem, breaches: Mapping[tuple[int, int], float], out: Doubts) -> None:
    """Fill in what was heard between neighbours, given how likely the bridge between them is breached."""
    for pair, broken in breaches.items():
        for group in prob.groups.get(pair, ()):
            misread = group.like.misread
            chance = float((1.0 - broken) * misread[0] + broken * misread[-1])
            out.misread[pair, group.name] = out.doubted[pair, group.name] = chance
