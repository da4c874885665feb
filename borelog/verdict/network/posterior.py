"""Posteriors of everything, exactly: faults of each cylinder, engine state, breaches, misread readings, spoiled tests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf, log

import numpy as np

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.algebra import Algebra
from borelog.verdict.network.chain import Messages, outside, walk, with_breach
from borelog.verdict.network.problem import (
    LEAK_DOWN,
    Local,
    Problem,
    algebra,
    leak_parts,
    links,
    local_parts,
    problem,
    signs,
    start_weight,
)
from borelog.verdict.network.tables import Array
from borelog.verdict.network.types import BREACH, SOUND, Evidence, FaultSet, NetShape, Posterior

MOST_CANCELLED = (
    1e5  # beyond this the signed sum has lost too many digits, and the sum with positive terms is used
)
SHOWN_SETS = 6
POOREST_FIT = (
    -6.0
)  # natural log: readings 400 times likelier as one misreading after another than as any engine


@dataclass(frozen=True, slots=True)
class Solved:
    """A problem with its sum done: messages along the line, engine-wide signs, the total (V, E)."""

    prob: Problem
    way: Algebra
    way_name: str
    locals_: tuple[Local, ...]
    signs: Array
    against: Array
    messages: Messages
    mass: Array
    log_evidence: float
    cancellation: float

    @property
    def total(self) -> float:
        """The scaled probability of all evidence; 0 when nothing the tables know can have shown it."""
        return float(self.mass.sum())

    def states_of(self, i: int) -> Array:
        """(V, E, 2, S) posterior of cylinder i of the line, adding to 1."""
        factor = self.way.weigh(outside(self.way, self.messages, i), self.against)
        found = np.maximum(self.locals_[i].weight * factor, 0.0)
        found /= found.sum()
        return found


def _summed(prob: Problem, sign: Array, name: str) -> Solved:
    way = algebra(prob, name)
    locals_, summed = local_parts(prob, name, way)
    messages = walk(way, start_weight(prob), summed, links(prob))
    against = way.against(sign)
    mass, terms = way.total(messages.end, against)
    total = float(mass.sum())
    cancelled = float(terms.sum()) / total if total > 0.0 else inf
    return Solved(prob, way, name, locals_, sign, against, messages, np.maximum(mass, 0.0), -inf, cancelled)


def solve(prob: Problem, way: str = "") -> Solved:
    """Do the sum; by inclusion-exclusion, or by the chain of partial ORs where that has cancelled too far.

    ``way`` forces one of the two ('inclusion', 'chain'), for comparing them.
    """
    sign, log_signs = signs(prob, prob.groups.get(None, ()))
    done = _summed(prob, sign, way or "inclusion")
    if not way and done.cancellation > MOST_CANCELLED:
        done = replace(_summed(prob, sign, "chain"), cancellation=done.cancellation)
    scales = sum(part.log_scale for part in done.locals_) + log_signs
    return replace(
        done, log_evidence=log(done.total) + scales if done.total > 0.0 and scales > -inf else -inf
    )


class _Reduced:
    """(E, 2, S) probabilities, summed once over whatever axes a likelihood does not tell apart."""

    def __init__(self, states: Array) -> None:
        self._states = states
        self._kept: dict[tuple[int, ...], Array] = {}

    def mean(self, values: Array) -> float:
        """The sum of probabilities times ``values``, which broadcasts over (E, 2, S)."""
        shape = values.shape
        if shape not in self._kept:
            axes = tuple(k for k in range(3) if shape[k] == 1) if len(shape) == 3 else (0, 1, 2)
            self._kept[shape] = self._states.sum(axes, keepdims=len(shape) == 3)
        return float(np.vdot(self._kept[shape], values))


def _by_test(prob: Problem, cylinder: int, states: Array) -> dict[str, tuple[_Reduced, float]]:
    """For each test (and '') the part of the posterior (V, E, 2, S) in which it was good, and the chance that it was not."""
    everything: Array = states.sum(0)
    out = {"": (_Reduced(everything), 0.0)}
    by_v = states.reshape(*(2,) * len(prob.active), *states.shape[1:])
    for place, test in enumerate(prob.active):
        good: Array = np.take(by_v, 0, axis=place).reshape(-1, *states.shape[1:]).sum(0)
        out[test] = (_Reduced(good), max(0.0, 1.0 - float(good.sum())))
    chance = prob.leak[cylinder]
    good_leak, ill = leak_parts(prob.groups.get(cylinder, ()))
    mixed = (1.0 - chance) * good_leak + chance * ill
    share = np.divide(chance * ill, mixed, out=np.full_like(mixed, chance), where=mixed > 0.0)
    good = everything * (1.0 - share)
    out[LEAK_DOWN] = (_Reduced(good), max(0.0, 1.0 - float(good.sum())))
    return out


def _cylinder_doubts(prob: Problem, cylinder: int, states: Array) -> tuple[dict[str, float], float]:
    """Posterior of a misreading for each group of one cylinder, and of a spoiled leak-down. ``states`` (V, E, 2, S)."""
    parts = _by_test(prob, cylinder, states)
    out: dict[str, float] = {}
    for group in prob.groups.get(cylinder, ()):
        good, bad = parts[group.test]
        like = group.like
        out[group.name] = good.mean(like.misread) + (
            bad * like.doubt / like.spoiled if like.spoiled > 0.0 else 0.0
        )
    return out, parts[LEAK_DOWN][1]


def _engine_doubts(done: Solved, patterns: Array) -> dict[str, float]:
    """Posterior of a misreading for each engine-wide group. ``patterns`` (V, E, 2**K) posterior, adding to 1."""
    prob = done.prob
    bits = np.zeros(1, dtype=np.int64)
    for k in prob.channels:
        bits = np.concatenate([bits, bits | (1 << k)])
    out = {}
    for group in prob.groups.get(None, ()):
        like = group.like
        misread = like.misread if like.misread.ndim == 1 else like.misread[..., bits]
        if not group.test:
            out[group.name] = float((patterns.sum(0) * misread).sum())
            continue
        place = prob.active.index(group.test)
        out[group.name] = sum(
            float((patterns[v] * (like.doubt / like.spoiled if combo[place] else misread)).sum())
            for v, combo in enumerate(prob.validity)
        )
    return out


def _marginals(prob: Problem, states: Array) -> tuple[dict[str, float], tuple[FaultSet, ...]]:
    """Faults and likeliest sets of one cylinder from (2, S)."""
    net = prob.net
    by_set: Array = states.sum(0)
    present = by_set @ net.has
    faults = {f: float(p) for f, p in zip(net.faults, present, strict=True)}
    faults[SOUND] = float(states[0, 0])
    faults[BREACH] = float(states[1].sum())
    flat = states.ravel()
    count = len(net.sets)
    best = np.argsort(-flat, kind="stable")[:SHOWN_SETS]
    return faults, tuple(FaultSet(net.sets[i % count], bool(i >= count), float(flat[i])) for i in best)


def _breaches(done: Solved) -> dict[tuple[int, int], float]:
    out = {}
    joints = links(done.prob)
    for i, (pair, link) in enumerate(zip(done.prob.linked, joints, strict=True)):
        if pair is not None:
            mass, _ = done.way.total(with_breach(done.way, done.messages, i, link), done.against)
            out[pair] = min(1.0, max(0.0, float(mass.sum()) / done.total))
    return out


def fit_of(prob: Problem, log_evidence: float) -> float:
    """Log probability of everything recorded, less that of the story 'one misreading after another'."""
    blind = [g.like.blind for some in prob.groups.values() for g in some]
    return log_evidence - sum(log(b) if b > 0 else -inf for b in blind) if log_evidence > -inf else -inf


def _named_groups(prob: Problem) -> Mapping[int | None, tuple[str, ...]]:
    return {p: tuple(g.name for g in prob.groups.get(p, ())) for p in (None, *prob.shape.cylinders)}


def described(done: Solved) -> Posterior:
    """The posteriors of a solved problem that something the tables know can have shown."""
    prob = done.prob
    net, total = prob.net, done.total
    cylinders: dict[int, Mapping[str, float]] = {}
    sets: dict[int, tuple[FaultSet, ...]] = {}
    misread: dict[tuple[int | None, str], float] = {}
    spoiled: dict[tuple[str, int | None], float] = {}
    for i, cylinder in enumerate(prob.line):
        states = done.states_of(i)
        cylinders[cylinder], sets[cylinder] = _marginals(prob, states.sum((0, 1)))
        doubts, spoiled[LEAK_DOWN, cylinder] = _cylinder_doubts(prob, cylinder, states)
        misread.update({(cylinder, name): p for name, p in doubts.items()})
    patterns = done.way.patterns(done.messages.end) * done.signs
    patterns = patterns / patterns.sum()
    misread.update({(None, name): p for name, p in _engine_doubts(done, patterns).items()})
    by_test = done.mass.sum(1) / total
    for k, test in enumerate(prob.active):
        spoiled[test, None] = float(
            sum(p for p, combo in zip(by_test, prob.validity, strict=True) if combo[k])
        )
    speaking = np.arange(patterns.shape[-1])
    return Posterior(
        shape=prob.shape,
        cylinders=cylinders,
        sets=sets,
        engine={e: float(p) for e, p in zip(net.states, done.mass.sum(0) / total, strict=True)},
        breaches=_breaches(done),
        channels={
            net.channels[k]: float(patterns[..., (speaking >> n) & 1 == 1].sum())
            for n, k in enumerate(prob.channels)
        },
        misread=misread,
        spoiled=spoiled,
        groups=_named_groups(prob),
        log_evidence=done.log_evidence,
        fit=fit_of(prob, done.log_evidence),
        fits=fit_of(prob, done.log_evidence) > POOREST_FIT,
        way=done.way_name,
        cancellation=done.cancellation,
    )


def posteriors(shape: NetShape, evidence: Evidence, tables: FaultTables, way: str = "") -> Posterior:
    """What the network believes, given the evidence.

    Parameters
    ----------
    shape : NetShape
    evidence : Evidence
        Items not recorded say nothing.
    tables : FaultTables
    way : {'', 'inclusion', 'chain'}
        Forces one of the two exact sums; '' takes the fast one and changes over when it has cancelled too far.

    Returns
    -------
    Posterior
        Evidence the tables hold impossible gives the priors with ``fits`` False: these readings do not fit any known
        story.

    Raises
    ------
    NetworkError
        Evidence that names an item, state, way or cylinder that does not exist.
    """
    done = solve(problem(shape, evidence, tables), way)
    if done.log_evidence > -inf:
        return described(done)
    stories = Evidence(tuple(s for s in evidence.seen if s.item not in done.prob.net.sights))
    prior = described(solve(problem(shape, stories, tables)))
    return replace(prior, groups=_named_groups(done.prob), log_evidence=-inf, fit=-inf, fits=False)
