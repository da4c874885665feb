"""Posteriors of misread groups and spoiled tests, for all cylinders together: the contradiction alarm."""

from __future__ import annotations

import numpy as np

from borelog.verdict.network.problem import LEAK_DOWN, Problem, leak_parts
from borelog.verdict.network.tables import Array


class Parts:
    """(n, E, 2, S) probabilities of n cylinders, summed once over whatever axes a likelihood does not tell apart.

    ``bad`` (n,) is what is missing from 1: the chance that the test was spoiled.
    """

    def __init__(self, states: Array) -> None:
        self._states = states
        self._kept: dict[tuple[int, ...], Array] = {}
        self.bad: list[float] = np.maximum(0.0, 1.0 - states.sum((1, 2, 3))).tolist()

    def mean(self, i: int, values: Array) -> float:
        """The sum over cylinder i of probabilities times ``values``, which broadcasts over (E, 2, S)."""
        shape = values.shape
        found = self._kept.get(shape)
        if found is None:
            axes = tuple(k + 1 for k in range(3) if shape[k] == 1) if len(shape) == 3 else (1, 2, 3)
            found = self._kept[shape] = self._states.sum(axes)
        return float(np.vdot(found[i], values))


def by_test(prob: Problem, states: Array) -> dict[str, Parts]:
    """For each test (and '') the part of the posterior (n, V, E, 2, S) in which it was good."""
    everything: Array = states.sum(1)
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


def cylinder_doubts(prob: Problem, states: Array) -> tuple[dict[tuple[int | None, str], float], list[float]]:
    """Posterior of a misreading per (cylinder, group), and of a spoiled leak-down per cylinder of the line."""
    parts = by_test(prob, states)
    out: dict[tuple[int | None, str], float] = {}
    for i, cylinder in enumerate(prob.line):
        for group in prob.groups.get(cylinder, ()):
            part, like = parts[group.test], group.like
            found = part.mean(i, like.misread)
            if group.test and like.spoiled > 0.0:
                found += part.bad[i] * like.doubt / like.spoiled
            out[cylinder, group.name] = found
    return out, parts[LEAK_DOWN].bad


def engine_doubts(prob: Problem, patterns: Array) -> dict[tuple[int | None, str], float]:
    """Posterior of a misreading per engine-wide group. ``patterns`` (V, E, 2**K) posterior, adding to 1."""
    bits = np.zeros(1, dtype=np.int64)
    for k in prob.channels:
        bits = np.concatenate([bits, bits | (1 << k)])
    everything: Array = patterns.sum(0)
    by_pattern: Array = everything.sum(0)
    out: dict[tuple[int | None, str], float] = {}
    for group in prob.groups.get(None, ()):
        like = group.like
        misread = like.misread if like.misread.ndim == 1 else like.misread[..., bits]
        if group.test:
            ill = np.array([combo[prob.active.index(group.test)] for combo in prob.validity])
            found = float((patterns[~ill].sum(0) * misread).sum())
            if like.spoiled > 0.0:
                found += float(patterns[ill].sum()) * like.doubt / like.spoiled
        elif misread.shape[0] == 1:
            found = float((by_pattern * misread[0]).sum())
        else:
            found = float((everything * misread).sum())
        out[None, group.name] = found
    return out
