"""Posteriors of everything, exactly: faults of each cylinder, engine state, breaches, misread readings, spoiled tests."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from math import inf, log

import numpy as np

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.algebra import Algebra
from borelog.verdict.network.chain import Messages, outside, walk, with_breach
from borelog.verdict.network.doubts import Beliefs, Doubts, cylinder_doubts, engine_doubts, pair_doubts
from borelog.verdict.network.problem import (
    LEAK_DOWN,
    Local,
    Problem,
    algebra,
    links,
    local_parts,
    problem,
    signs,
    signs_key,
    start_weight,
)
from borelog.verdict.network.tables import Array
from borelog.verdict.network.types import BREACH, SOUND, Evidence, FaultSet, NetShape, Posterior

MOST_CANCELLED = 1e5
"""Sum of absolute terms over the sum: beyond this the signed sum has lost too many digits, and the positive one is used."""
SHOWN_SETS = 6
POOREST_FIT = -4.5
"""Natural log: readings ninety times likelier as one misreading after another than as any engine fit no known story."""


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

    def beliefs(self) -> Beliefs:
        """What is believed of each cylinder of the line, by how its tests went."""
        prob = self.prob
        well = [[not combo[k] for combo in prob.validity] for k in range(len(prob.active))]
        kept = np.array([[True] * len(prob.validity), *well], dtype=np.float64)
        out = np.empty((len(self.locals_), len(kept) + 1, *self.locals_[0].weight.shape[1:]))
        # One cylinder after the other: what is in hand stays in the processor's cache.
        for i, part in enumerate(self.locals_):
            here = self.way.weigh(outside(self.way, self.messages, i), self.against) * part.weight
            np.maximum(here, 0.0, out=here)
            by_test = out[i, :-1].reshape(len(kept), -1)
            np.matmul(kept, here.reshape(len(here), -1), out=by_test)
            by_test *= 1.0 / by_test[0].sum()
            np.multiply(out[i, 0], part.leak_good, out=out[i, -1])
        return Beliefs(prob, out)


def _summed(prob: Problem, sign: Array, key: Hashable, name: str) -> Solved:
    way = algebra(prob, name)
    against = prob.net.parts.get(("against", name, key), lambda: way.against(sign))
    locals_, summed = local_parts(prob, name, way)
    messages = walk(way, start_weight(prob), summed, links(prob))
    mass, terms = way.total(messages.end, against)
    total = float(mass.sum())
    cancelled = float(terms.sum()) / total if total > 0.0 else inf
    return Solved(prob, way, name, locals_, sign, against, messages, np.maximum(mass, 0.0), -inf, cancelled)


def solve(prob: Problem, way: str = "") -> Solved:
    """Do the sum; by inclusion-exclusion, or by the chain of partial ORs where that has cancelled too far.

    ``way`` forces one of the two ('inclusion', 'chain'), for comparing them.
    """
    whole = prob.groups.get(None, ())
    sign, log_signs = signs(prob, whole)
    key = signs_key(prob, whole)
    done = _summed(prob, sign, key, way or "inclusion")
    if not way and done.cancellation > MOST_CANCELLED:
        done = replace(_summed(prob, sign, key, "chain"), cancellation=done.cancellation)
    scales = sum(part.log_scale for part in done.locals_) + log_signs
    return replace(
        done, log_evidence=log(done.total) + scales if done.total > 0.0 and scales > -inf else -inf
    )


def _marginals(
    prob: Problem, states: Array
) -> tuple[dict[int, Mapping[str, float]], dict[int, tuple[FaultSet, ...]]]:
    """Faults and likeliest sets of each cylinder from (n, 2, S)."""
    net = prob.net
    present = states.sum(1) @ net.has
    breach = states[:, 1].sum(1)
    flat = states.reshape(len(states), -1)
    some = np.sort(np.argpartition(-flat, SHOWN_SETS, axis=1)[:, :SHOWN_SETS], axis=1)
    order = np.argsort(-np.take_along_axis(flat, some, axis=1), axis=1, kind="stable")
    best = np.take_along_axis(some, order, axis=1)
    count = len(net.sets)
    cylinders: dict[int, Mapping[str, float]] = {}
    sets: dict[int, tuple[FaultSet, ...]] = {}
    for i, cylinder in enumerate(prob.line):
        faults = dict(zip(net.faults, present[i].tolist(), strict=True))
        faults[SOUND], faults[BREACH] = float(states[i, 0, 0]), float(breach[i])
        cylinders[cylinder] = faults
        sets[cylinder] = tuple(
            FaultSet(net.sets[k % count], k >= count, p)
            for k, p in zip(best[i].tolist(), flat[i, best[i]].tolist(), strict=True)
        )
    return cylinders, sets


def _breaches(done: Solved) -> dict[tuple[int, int], float]:
    out = {}
    joints = links(done.prob)
    for i, (pair, link) in enumerate(zip(done.prob.linked, joints, strict=True)):
        if pair is not None:
            mass = float(np.vdot(with_breach(done.way, done.messages, i, link), done.against))
            out[pair] = min(1.0, max(0.0, mass / done.total))
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
    beliefs = done.beliefs()
    by_set = beliefs.sets
    cylinders, sets = _marginals(prob, by_set)
    doubts = Doubts()
    leak = cylinder_doubts(prob, beliefs, doubts)
    spoiled: dict[tuple[str, int | None], float] = {
        (LEAK_DOWN, c): p for c, p in zip(prob.line, leak, strict=True)
    }
    patterns = done.way.patterns(done.messages.end) * done.signs
    patterns = patterns / patterns.sum()
    engine_doubts(prob, patterns, doubts)
    breaches = _breaches(done)
    pair_doubts(prob, breaches, doubts)
    by_test = done.mass.sum(1) / total
    for k, test in enumerate(prob.active):
        spoiled[test, None] = float(
            sum(p for p, combo in zip(by_test, prob.validity, strict=True) if combo[k])
        )
    speaking = np.arange(patterns.shape[-1])[:, None] >> np.arange(len(prob.channels)) & 1
    spoken: list[float] = (patterns.sum((0, 1)) @ speaking).tolist()
    fit = fit_of(prob, done.log_evidence)
    return Posterior(
        shape=prob.shape,
        cylinders=cylinders,
        sets=sets,
        engine={e: float(p) for e, p in zip(net.states, done.mass.sum(0) / total, strict=True)},
        breaches=breaches,
        channels={net.channels[k]: p for k, p in zip(prob.channels, spoken, strict=True)},
        misread=doubts.misread,
        doubted=doubts.doubted,
        spoiled=spoiled,
        groups=_named_groups(prob),
        log_evidence=done.log_evidence,
        fit=fit,
        fits=fit > POOREST_FIT,
        way=done.way_name,
        cancellation=done.cancellation,
        faults=net.faults,
        holds=net.has,
        by_set=dict(zip(prob.line, by_set, strict=True)),
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
