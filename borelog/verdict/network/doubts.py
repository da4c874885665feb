"""Posteriors of misread groups and spoiled tests, for all cylinders together: the contradiction alarm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from borelog.verdict.network.groups import Group, Place
from borelog.verdict.network.problem import LEAK_DOWN, Problem, leak_parts, over_channels
from borelog.verdict.network.tables import Array


class Parts:
    """(n, E, 2, S) probabilities of n cylinders, summed once over whatever axes a likelihood does not tell apart.

    ``bad`` (n,) is what is missing from 1: the chance that the test was spoiled.
    """

    def __init__(self, states: Array) -> None:
        self._states = states
        self._kept: dict[tuple[int, ...], Array] = {}
        self.bad: list[float] = np.maximum(0.0, 1.0 - states.sum((1, 2, 3))).tolist()

    def over(self, shape: tuple[int, ...]) -> Array:
        """The probabilities summed over the axes of (E, 2, S) that an array of this shape does not tell apart."""
        found = self._kept.get(shape)
        if found is None:
            axes = tuple(k + 1 for k in range(3) if shape[k] == 1) if len(shape) == 3 else (1, 2, 3)
            found = self._kept[shape] = self._states.sum(axes)
        return found


def by_test(prob: Problem, states: Array, everything: Array) -> dict[str, Parts]:
    """For each test (and '') the part of the posterior (n, V, E, 2, S) in which it was good; ``everything`` is its sum."""
    out = {"": Parts(everything)}
    by_v = states.reshape(len(states), *(2,) * len(prob.active), *states.shape[2:])
    for place, test in enumerate(prob.active):
        good = by_v[(slice(None),) * (place + 1) + (0,)]
        out[test] = Parts(good.sum(tuple(range(1, len(prob.active)))))
    leaks = everything.copy()
    for i, cylinder in enumerate(prob.line):
        chance = prob.leak[cylinder]
        good_leak, ill = leak_parts(prob.groups.get(cylinder, ()))
        mixed = (1.0 - chance) * good_leak + chance * ill
        leaks[i] *= 1.0 - np.divide(chance * ill, mixed, out=np.full_like(mixed, chance), where=mixed > 0.0)
    out[LEAK_DOWN] = Parts(leaks)
    return out


@dataclass(frozen=True, slots=True)
class Doubts:
    """Per (cylinder, pair or None, group): ``misread``, and ``doubted``: misread, or its test spoiled."""

    misread: dict[tuple[Place, str], float] = field(default_factory=dict)
    doubted: dict[tuple[Place, str], float] = field(default_factory=dict)


def _stacked(groups: tuple[Group, ...]) -> tuple[tuple[str, tuple[int, ...], Array, tuple[Group, ...]], ...]:
    """A cylinder's groups by test and shape, with their chances of a misreading one below the other, (groups, values)."""
    by_kind: dict[tuple[str, tuple[int, ...]], list[Group]] = {}
    for group in groups:
        by_kind.setdefault((group.test, group.like.misread.shape), []).append(group)
    return tuple(
        (
            test,
            shape,
            np.concatenate([g.like.misread for g in some], axis=None).reshape(len(some), -1),
            tuple(some),
        )
        for (test, shape), some in by_kind.items()
    )


def cylinder_doubts(prob: Problem, states: Array, everything: Array, out: Doubts) -> list[float]:
    """Fill in the groups of every cylinder; returns the chance of a spoiled leak-down per cylinder of the line."""
    parts = by_test(prob, states, everything)
    for i, cylinder in enumerate(prob.line):
        groups = prob.groups.get(cylinder, ())
        for test, shape, values, some in prob.net.memo.get(
            ("stacked", groups),
            lambda groups=groups: _stacked(groups),  # type: ignore[misc]
        ):
            part = parts[test]
            bad = part.bad[i] if test else 0.0
            for group, good in zip(some, (values @ part.over(shape)[i].ravel()).tolist(), strict=True):
                like, place = group.like, (cylinder, group.name)
                out.misread[place] = good + (
                    bad * like.doubt / like.spoiled if bad and like.spoiled > 0.0 else 0.0
                )
                out.doubted[place] = good + bad
    return parts[LEAK_DOWN].bad


def engine_doubts(prob: Problem, patterns: Array, out: Doubts) -> None:
    """Fill in the engine-wide groups. ``patterns`` (V, E, 2**K) posterior, adding to 1."""
    everything: Array = patterns.sum(0)
    by_pattern: Array = everything.sum(0)
    for group in prob.groups.get(None, ()):
        like, place = group.like, (None, group.name)
        misread = over_channels(prob, like.misread)
        bad = 0.0
        if group.test:
            ill = np.array([combo[prob.active.index(group.test)] for combo in prob.validity])
            good = float((patterns[~ill].sum(0) * misread).sum())
            bad = float(patterns[ill].sum())
        elif misread.shape[0] == 1:
            good = float((by_pattern * misread[0]).sum())
        else:
            good = float((everything * misread).sum())
        out.misread[place] = good + (bad * like.doubt / like.spoiled if bad and like.spoiled > 0.0 else 0.0)
        out.doubted[place] = good + bad


def pair_doubts(prob: Problem, breaches: Mapping[tuple[int, int], float], out: Doubts) -> None:
    """Fill in what was heard between neighbours, given how likely the bridge between them is breached."""
    for pair, broken in breaches.items():
        for group in prob.groups.get(pair, ()):
            misread = group.like.misread
            chance = float((1.0 - broken) * misread[0] + broken * misread[-1])
            out.misread[pair, group.name] = out.doubted[pair, group.name] = chance
