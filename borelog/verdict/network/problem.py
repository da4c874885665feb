"""Evidence on one engine as the arrays that are summed: weights of fault sets, links, engine-wide signs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import log

import numpy as np

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.algebra import Algebra, Patterns, Silent
from borelog.verdict.network.groups import Group, Likelihood, Place, grouped, likelihood
from borelog.verdict.network.priors import Priors, history, priors
from borelog.verdict.network.tables import Array, Net, compiled
from borelog.verdict.network.types import Evidence, NetShape
from borelog.verdict.network.validity import chance_spoiled

ENGINE_TESTS = ("compression_dry", "compression_wet")
LEAK_DOWN = "leak_down"


@dataclass(frozen=True, slots=True)
class Problem:
    """All of one engine but the sum itself.

    ``line`` lists the cylinders in the order of the sum, ``linked[i]`` is the pair between line[i] and line[i + 1] or
    None across heads. ``validity`` (V, n tests) holds which engine tests are spoiled in each of the V combinations,
    ``trust`` (V,) their prior, ``active`` the engine tests in play. ``leak`` is the prior of a spoiled leak-down.
    """

    net: Net
    shape: NetShape
    evidence: Evidence
    groups: Mapping[Place, tuple[Group, ...]]
    priors: Priors
    line: tuple[int, ...]
    linked: tuple[tuple[int, int] | None, ...]
    active: tuple[str, ...]
    validity: tuple[tuple[bool, ...], ...]
    trust: Array
    leak: Mapping[int, float]
    channels: tuple[int, ...]


def _line(shape: NetShape) -> tuple[tuple[int, ...], tuple[tuple[int, int] | None, ...]]:
    line = tuple(c for chain in shape.chains for c in chain)
    pairs = set(shape.pairs)
    return line, tuple((a, b) if (a, b) in pairs else None for a, b in zip(line, line[1:], strict=False))  # noqa: RUF007


def problem(shape: NetShape, evidence: Evidence, tables: FaultTables) -> Problem:
    """Check the evidence and lay the sum out.

    Raises
    ------
    NetworkError
        Evidence that names something the tables or the engine do not have.
    """
    net = compiled(tables)
    groups = grouped(net, shape, evidence)
    used = {g.test for some in groups.values() for g in some}
    active = tuple(t for t in ENGINE_TESTS if t in used)
    combos: list[tuple[bool, ...]] = [()]
    trust = np.ones(1)
    for test in active:
        spoiled = chance_spoiled(tables, evidence, test, None)
        combos = [(*c, s) for c in combos for s in (False, True)]
        trust = np.outer(trust, [1.0 - spoiled, spoiled]).ravel()
    items = {s.item for g in groups.get(None, ()) for s in g.seen}
    channels = tuple(k for k, name in enumerate(net.channels) if any((name, i) in tables.rows for i in items))
    line, linked = _line(shape)
    return Problem(
        net,
        shape,
        evidence,
        groups,
        priors(net, shape, history(evidence)),
        line,
        linked,
        active,
        tuple(combos),
        trust,
        {c: chance_spoiled(tables, evidence, LEAK_DOWN, c) for c in shape.cylinders},
        channels,
    )


def algebra(prob: Problem, way: str) -> Algebra:
    """The way to sum: 'inclusion' or 'chain' (of partial ORs), for the channels in play."""
    key = (way, prob.channels)
    found = prob.net.memo.get(key)
    if found is None:
        make = Silent if way == "inclusion" else Patterns
        net = prob.net
        found = prob.net.memo[key] = make(net.silent_set, net.silent_state, net.silent_breach, prob.channels)
    return found  # type: ignore[return-value]


def _product(parts: Iterable[Array]) -> Array:
    """Product of broadcasting arrays, small ones first."""
    out: Array = np.ones((1, 1, 1))
    for part in sorted(parts, key=lambda a: a.size):
        out = out * part
    return out


@dataclass(frozen=True, slots=True)
class Local:
    """One cylinder: ``weight`` (V, E, 2, S), scaled so that its largest entry is 1, and the log of what was taken out."""

    weight: Array
    log_scale: float


def leak_parts(groups: Iterable[tuple[Group, Likelihood]]) -> tuple[Array, float]:
    """The leak-down groups of a cylinder with a good test (broadcasting) and with a spoiled one."""
    found = [like for group, like in groups if group.test == LEAK_DOWN]
    return _product(like.valid for like in found), float(np.prod([like.spoiled for like in found] or [1.0]))


def local(prob: Problem, cylinder: int, groups: Iterable[Group]) -> Local:
    """The weights of one cylinder's fault sets under ``groups`` (usually its own; fewer when some are left out)."""
    found = [(g, likelihood(prob.net, g)) for g in groups]
    free = [prob.priors.sets[:, None, :]] + [like.valid for g, like in found if not g.test]
    good, spoiled = leak_parts(found)
    chance = prob.leak[cylinder]
    if any(g.test == LEAK_DOWN for g, _ in found):
        free.append((1.0 - chance) * good + chance * spoiled)
    base = _product(free)
    by_test = []
    for test in prob.active:
        some = [like for g, like in found if g.test == test]
        by_test.append(
            (_product(like.valid for like in some), float(np.prod([like.spoiled for like in some] or [1.0])))
        )
    sizes = (len(prob.validity), len(prob.net.states), 2, len(prob.net.sets))
    weight: Array = np.empty(sizes)
    for v, combo in enumerate(prob.validity):
        part = base
        for (well, ill), bad in zip(by_test, combo, strict=True):
            part = part * (ill if bad else well)
        weight[v] = part
    top = float(weight.max())
    if top <= 0.0:
        return Local(weight, -np.inf)
    weight /= top
    return Local(weight, log(top))


def signs(prob: Problem, groups: Iterable[Group]) -> tuple[Array, float]:
    """Engine-wide signs (V, E, 2**K) over the channels in play, scaled to a largest entry of 1, and the log taken out."""
    patterns = np.zeros(1, dtype=np.int64)
    for k in prob.channels:
        patterns = np.concatenate([patterns, patterns | (1 << k)])
    out: Array = np.ones((len(prob.validity), len(prob.net.states), len(patterns)))
    for group in groups:
        like = likelihood(prob.net, group)
        valid = like.valid if like.valid.ndim == 1 else like.valid[..., patterns]
        if not group.test:
            out *= valid
            continue
        place = prob.active.index(group.test)
        for v, combo in enumerate(prob.validity):
            out[v] *= like.spoiled if combo[place] else valid
    top = float(out.max())
    if top <= 0.0:
        return out, -np.inf
    return out / top, log(top)


def links(prob: Problem) -> list[tuple[Array, Array] | None]:
    """For each joint of the line the weights (E,) of no breach and of a breach; None where no gasket bridge is shared."""
    out: list[tuple[Array, Array] | None] = []
    for pair in prob.linked:
        if pair is None:
            out.append(None)
            continue
        tight, open_ = 1.0 - prob.priors.breach, prob.priors.breach.copy()
        for group in prob.groups.get(pair, ()):
            valid = likelihood(prob.net, group).valid
            tight, open_ = tight * valid[0], open_ * valid[-1]
        out.append((tight, open_))
    return out


def start_weight(prob: Problem) -> Array:
    """(V, E) prior of validity and engine state."""
    return prob.trust[:, None] * prob.priors.states[None, :]
