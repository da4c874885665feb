"""Evidence on one engine as the arrays that are summed: weights of fault sets, links, engine-wide signs."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping
from dataclasses import dataclass
from math import log

import numpy as np

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.algebra import Algebra, Patterns, Silent
from borelog.verdict.network.groups import Group, Place, grouped, together
from borelog.verdict.network.priors import Priors, history, priors
from borelog.verdict.network.tables import Array, Net, compiled
from borelog.verdict.network.types import Evidence, NetShape
from borelog.verdict.network.validity import chance_spoiled

ENGINE_TESTS = ("compression_dry", "compression_wet")
LEAK_DOWN = "leak_down"
NOTHING_SEEN = np.ones((1, 1, 1)), 1.0


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

    @property
    def prior_sets(self) -> Array:
        """(E, 1, S) prior of one cylinder's fault sets."""
        return self.priors.sets[:, None, :]


def _line(shape: NetShape) -> tuple[tuple[int, ...], tuple[tuple[int, int] | None, ...]]:
    line = tuple(c for chain in shape.chains for c in chain)
    pairs = set(shape.pairs)
    return line, tuple((a, b) if (a, b) in pairs else None for a, b in zip(line, line[1:], strict=False))  # noqa: RUF007


def _spoken_of(net: Net, items: Collection[str]) -> tuple[int, ...]:
    """The channels on which one of the engine-wide items hangs."""
    rows = net.tables.rows
    return tuple(k for k, name in enumerate(net.channels) if any((name, i) in rows for i in items))


def problem(shape: NetShape, evidence: Evidence, tables: FaultTables, net: Net | None = None) -> Problem:
    """Check the evidence and lay the sum out. ``net`` stands in for the compiled tables where they differ in a few rows.

    Raises
    ------
    NetworkError
        Evidence that names something the tables or the engine do not have.
    """
    net = net or compiled(tables)
    groups = grouped(net, shape, evidence)
    used = {g.test for some in groups.values() for g in some}
    active = tuple(t for t in ENGINE_TESTS if t in used)
    combos: list[tuple[bool, ...]] = [()]
    trust = np.ones(1)
    for test in active:
        spoiled = chance_spoiled(tables, evidence, test, None)
        combos = [(*c, s) for c in combos for s in (False, True)]
        trust = np.outer(trust, [1.0 - spoiled, spoiled]).ravel()
    items = frozenset(s.item for g in groups.get(None, ()) for s in g.seen)
    channels = net.memo.get(("channels", items), lambda: _spoken_of(net, items))
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
    net = prob.net
    make = Silent if way == "inclusion" else Patterns
    return net.lasting.get(
        (way, prob.channels), lambda: make(net.silent_set, net.silent_state, net.silent_breach, prob.channels)
    )


@dataclass(frozen=True, slots=True)
class Local:
    """One cylinder: ``weight`` (V, E, 2, S), scaled so that its largest entry is 1, and the log of what was taken out.

    ``leak_good`` is the chance that its leak-down was good, given the causes (broadcasting over E, 2, S).
    """

    weight: Array
    log_scale: float
    leak_good: Array


def local_parts(prob: Problem, way_name: str, way: Algebra) -> tuple[tuple[Local, ...], list[Array]]:
    """Each cylinder's weights, and the same over subsets or patterns of channels (V, E, 2, X)."""

    def one(cylinder: int) -> tuple[Local, Array]:
        found = local(prob, cylinder, prob.groups.get(cylinder, ()))
        return found, way.local(found.weight)

    stories = tuple(sorted((s.state, s.how) for s in history(prob.evidence)))
    both = [
        prob.net.parts.get(
            (
                way_name,
                prob.shape,
                prob.active,
                prob.channels,
                stories,
                c,
                prob.leak[c],
                prob.groups.get(c, ()),
            ),
            lambda c=c: one(c),  # type: ignore[misc]
        )
        for c in prob.line
    ]
    return tuple(part for part, _ in both), [summed for _, summed in both]


def local(prob: Problem, cylinder: int, groups: Iterable[Group]) -> Local:
    """The weights of one cylinder's fault sets under ``groups`` (usually its own; fewer when some are left out)."""
    by_test, chance = together(groups), prob.leak[cylinder]
    leak, spoiled = by_test.get(LEAK_DOWN, NOTHING_SEEN)
    mixed = (1.0 - chance) * leak + chance * spoiled
    lost = chance * spoiled
    leak_good: Array = 1.0 - (lost / mixed if lost > 0.0 else np.zeros_like(mixed))
    parts: list[Array] = [by_test.get("", NOTHING_SEEN)[0] * mixed * prob.prior_sets]
    for test in prob.active:
        parts = [part * factor for part in parts for factor in by_test.get(test, NOTHING_SEEN)]
    top = max(float(part.max()) for part in parts)
    weight: Array = np.zeros((len(parts), len(prob.net.states), 2, len(prob.net.sets)))
    if top <= 0.0:
        return Local(weight, -np.inf, leak_good)
    for v, part in enumerate(parts):
        np.multiply(part, 1.0 / top, out=weight[v])
    return Local(weight, log(top), leak_good)


def over_channels(prob: Problem, values: Array) -> Array:
    """(..., 2**all) values over patterns of all channels to those over the channels in play, the others silent."""
    if values.ndim == 1 or len(prob.channels) == len(prob.net.channels):
        return values
    patterns = np.zeros(1, dtype=np.int64)
    for k in prob.channels:
        patterns = np.concatenate([patterns, patterns | (1 << k)])
    return values[..., patterns]


def signs(prob: Problem, groups: Iterable[Group]) -> tuple[Array, float]:
    """Engine-wide signs (V, E, 2**K) over the channels in play, scaled to a largest entry of 1, and the log taken out."""
    some = tuple(groups)
    return prob.net.parts.get(signs_key(prob, some), lambda: _signs(prob, some))


def signs_key(prob: Problem, groups: tuple[Group, ...]) -> Hashable:
    """What engine-wide signs hang on."""
    return "signs", prob.active, prob.channels, tuple(g.key for g in groups)


def _signs(prob: Problem, groups: tuple[Group, ...]) -> tuple[Array, float]:
    free: Array = np.ones((len(prob.net.states), 1 << len(prob.channels)))
    for group in groups:
        if not group.test:
            free *= over_channels(prob, group.like.valid)
    out: Array = np.repeat(free[None], len(prob.validity), axis=0)
    for group in groups:
        if group.test:
            place = prob.active.index(group.test)
            valid = over_channels(prob, group.like.valid)
            for v, combo in enumerate(prob.validity):
                out[v] *= group.like.spoiled if combo[place] else valid
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
            valid = group.like.valid
            tight, open_ = tight * valid[0], open_ * valid[-1]
        out.append((tight, open_))
    return out


def start_weight(prob: Problem) -> Array:
    """(V, E) prior of validity and engine state."""
    return prob.trust[:, None] * prob.priors.states[None, :]
