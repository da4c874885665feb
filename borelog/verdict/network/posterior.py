"""Posteriors of everything, exactly: faults of each cylinder, engine state, breaches, misread readings, spoiled tests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, log

import numpy as np

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.algebra import Algebra
from borelog.verdict.network.chain import Messages, outside, walk, with_breach
from borelog.verdict.network.groups import Likelihood, likelihood
from borelog.verdict.network.problem import (
    LEAK_DOWN,
    Local,
    Problem,
    algebra,
    leak_parts,
    links,
    local,
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
        factor = self.way.weigh(outside(self.way, self.messages, i), self.signs)
        found = np.maximum(self.locals_[i].weight * factor, 0.0)
        return found / found.sum()


def _summed(
    prob: Problem, locals_: tuple[Local, ...], sign: Array, name: str
) -> tuple[Algebra, Messages, Array, float]:
    way = algebra(prob, name)
    messages = walk(way, start_weight(prob), [way.local(part.weight) for part in locals_], links(prob))
    mass, terms = way.total(messages.end, sign)
    total = float(mass.sum())
    return way, messages, np.maximum(mass, 0.0), float(terms.sum()) / total if total > 0.0 else inf


def solve(prob: Problem, way: str = "") -> Solved:
    """Do the sum; by inclusion-exclusion, or by the chain of partial ORs where that has cancelled too far.

    ``way`` forces one of the two ('inclusion', 'chain'), for comparing them.
    """
    locals_ = tuple(local(prob, c, prob.groups.get(c, ())) for c in prob.line)
    sign, log_signs = signs(prob, prob.groups.get(None, ()))
    name = way or "inclusion"
    algebra_, messages, mass, cancelled = _summed(prob, locals_, sign, name)
    if not way and cancelled > MOST_CANCELLED:
        name = "chain"
        algebra_, messages, mass, _ = _summed(prob, locals_, sign, name)
    total = float(mass.sum())
    scales = sum(part.log_scale for part in locals_) + log_signs
    logged = log(total) + scales if total > 0.0 and scales > -inf else -inf
    return Solved(prob, algebra_, name, locals_, sign, messages, mass, logged, cancelled)


def reduced(states: Array, like: Array) -> Array:
    """(E, 2, S) probabilities summed over the axes that ``like`` does not tell apart."""
    axes = tuple(k for k in range(3) if like.shape[k] == 1) if like.ndim == 3 else (0, 1, 2)
    out: Array = states.sum(axes, keepdims=True) if like.ndim == 3 else np.array([states.sum()])
    return out


def _mean(states: Array, values: Array) -> float:
    return float((reduced(states, values) * values).sum())


def _leak_spoiled(
    prob: Problem, cylinder: int, states: Array, found: list[Likelihood], good: Array, ill: float
) -> tuple[Array, float]:
    """(E, 2, S) part of the posterior under a spoiled leak-down of this cylinder, and its sum."""
    chance = prob.leak[cylinder]
    if not found:
        return chance * states, chance
    mixed = (1.0 - chance) * good + chance * ill
    part: Array = states * np.divide(chance * ill, mixed, out=np.zeros_like(mixed), where=mixed > 0.0)
    return part, float(part.sum())


def _cylinder_doubts(prob: Problem, cylinder: int, states: Array) -> tuple[dict[str, float], float]:
    """Posterior of a misreading for each group of one cylinder, and of a spoiled leak-down. ``states`` (V, E, 2, S)."""
    own = [(g, likelihood(prob.net, g)) for g in prob.groups.get(cylinder, ())]
    all_states: Array = states.sum(0)
    good, ill = leak_parts(own)
    leaks = [like for g, like in own if g.test == LEAK_DOWN]
    bad_leak, leak_spoiled = _leak_spoiled(prob, cylinder, all_states, leaks, good, ill)
    out: dict[str, float] = {}
    by_axes: dict[tuple[int, ...], Array] = {}
    for group, like in own:
        if group.test == LEAK_DOWN:
            spoiled = leak_spoiled * like.doubt / like.spoiled if like.spoiled > 0 else 0.0
            out[group.name] = _mean(all_states - bad_leak, like.misread) + spoiled
        elif group.test:
            place = prob.active.index(group.test)
            ill_v = np.array([combo[place] for combo in prob.validity])
            spoiled = float(states[ill_v].sum()) * like.doubt / like.spoiled if like.spoiled > 0 else 0.0
            out[group.name] = _mean(states[~ill_v].sum(0), like.misread) + spoiled
        else:
            key = like.misread.shape
            if key not in by_axes:
                by_axes[key] = reduced(all_states, like.misread)
            out[group.name] = float(np.vdot(by_axes[key], like.misread))
    return out, leak_spoiled


def _engine_doubts(done: Solved, patterns: Array) -> dict[str, float]:
    """Posterior of a misreading for each engine-wide group. ``patterns`` (V, E, 2**K) posterior, adding to 1."""
    prob = done.prob
    bits = np.zeros(1, dtype=np.int64)
    for k in prob.channels:
        bits = np.concatenate([bits, bits | (1 << k)])
    out = {}
    for group in prob.groups.get(None, ()):
        like = likelihood(prob.net, group)
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
            mass, _ = done.way.total(with_breach(done.way, done.messages, i, link), done.signs)
            out[pair] = min(1.0, max(0.0, float(mass.sum()) / done.total))
    return out


def fit_of(prob: Problem, log_evidence: float) -> float:
    """Log probability of everything recorded, less that of the story 'one misreading after another'."""
    blind = [likelihood(prob.net, g).blind for some in prob.groups.values() for g in some]
    return log_evidence - sum(log(b) if b > 0 else -inf for b in blind) if log_evidence > -inf else -inf


def _named_groups(prob: Problem) -> Mapping[int | None, tuple[str, ...]]:
    return {p: tuple(g.name for g in prob.groups.get(p, ())) for p in (None, *prob.shape.cylinders)}


def _described(done: Solved) -> Posterior:
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
        return _described(done)
    from dataclasses import replace

    stories = Evidence(tuple(s for s in evidence.seen if s.item not in done.prob.net.sights))
    prior = _described(solve(problem(shape, stories, tables)))
    return replace(prior, groups=_named_groups(done.prob), log_evidence=-inf, fit=-inf, fits=False)
