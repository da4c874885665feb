"""The fault tables as arrays, worked out once: states of every item under every combination of causes.

Sizes: ``S`` fault sets of a cylinder (none, one or two faults), ``E`` engine states, ``B`` = 2 (no breach to a
neighbour, breach), ``K`` channels (at most eight), ``2**K`` patterns of channels with bit k for channel k.

A row of the tables says what is seen when that cause stands alone in an otherwise healthy engine, so it already holds
the background. With cumulative rows ``R_c`` and background ``B`` the cause's own part is ``C_c = R_c / B`` (kept between
0 and 1 and rising), and causes combine as ``P(state <= s) = B(s) * prod_c C_c(s)``: the noisy-MAX of Henrion (1989) and
Diez (1993), so that a cause alone draws from its own row.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations
from typing import TypeAlias, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from borelog.knowledge.faults import BACKGROUND, HISTORY, SPOILED, FaultTables, Item
from borelog.verdict.network.types import BREACH, NO_ENGINE_FAULT

Array: TypeAlias = NDArray[np.float64]
T = TypeVar("T")


class Kept:
    """The last results worked out from these tables, thrown away together when there are ``most``.

    Entering one reading changes one cylinder: everything about the others is found here.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._found: dict[Hashable, object] = {}

    def get(self, key: Hashable, work: Callable[[], T]) -> T:
        """What is kept under ``key``, worked out if it is not."""
        found = self._found.get(key)
        if found is None:
            if len(self._found) >= self._most:
                self._found.clear()
            found = self._found[key] = work()
        return cast("T", found)


@dataclass(frozen=True, slots=True)
class Sight:
    """One item as arrays.

    ``by_state[s]`` is P(state s | causes): (1 or E, 1 or B, S) for a cylinder item, (1 or E, 2**K) for an engine item,
    (B,) for a pair item. ``causes`` (H of them, 'sound' first) are what a misreading of the item's group can look
    like, ``shares`` (H,) how often, ``alone`` (H, states) what each shows by itself, ``blind[s]`` the mean of that.
    ``spoiled`` is by state, None for an item without a test.
    """

    item: Item
    by_state: tuple[Array, ...]
    causes: tuple[str, ...]
    shares: Array
    alone: Array
    blind: tuple[float, ...]
    spoiled: tuple[float, ...] | None


@dataclass(frozen=True, slots=True)
class Net:
    """Everything of the tables that does not depend on the engine or the evidence.

    ``index`` gives scope, group and place in the order of states for each (item, state). ``lasting`` keeps what hangs
    on the shape of the engine, ``memo`` what hangs on sights, ``parts`` the large arrays of one engine.
    """

    tables: FaultTables
    faults: tuple[str, ...]
    states: tuple[str, ...]
    channels: tuple[str, ...]
    sets: tuple[tuple[str, ...], ...]
    has: NDArray[np.bool_]
    pair_factor: Array
    silent_set: Array
    silent_breach: Array
    silent_state: Array
    sights: Mapping[str, Sight]
    weights: Mapping[str, float]
    index: Mapping[tuple[str, str], tuple[str, str, int]]
    lasting: Kept = field(default_factory=lambda: Kept(40), repr=False, compare=False)
    memo: Kept = field(default_factory=lambda: Kept(2000), repr=False, compare=False)
    parts: Kept = field(default_factory=lambda: Kept(64), repr=False, compare=False)


def own_part(row: Array, background: Array) -> Array:
    """The cause's own cumulative row: (states,), rising to 1, such that times the background it gives ``row``.

    Where a row looks less telling than the background it cannot be had by a maximum; there it stays at the background.
    """
    ratio = np.cumsum(row)[:-1] / np.cumsum(background)[:-1]
    return np.append(np.maximum.accumulate(np.clip(ratio, 0.0, 1.0)), 1.0)


def _differences(cumulative: Array) -> tuple[Array, ...]:
    """P(state s) for each s from P(<= s) along the last axis."""
    probability = np.diff(cumulative, axis=-1, prepend=0.0)
    return tuple(np.ascontiguousarray(probability[..., s]) for s in range(probability.shape[-1]))


Parts = dict[str, Array]


def _base(tables: FaultTables, item: Item) -> Array:
    """The background's cumulative row."""
    base: Array = np.cumsum(tables.rows[BACKGROUND, item.id].probabilities)
    base[-1] = 1.0
    return base


def _parts(tables: FaultTables, items: Iterable[str]) -> dict[str, Parts]:
    """Each cause's own part, by item."""
    background = {i: np.array(tables.rows[BACKGROUND, i].probabilities) for i in items}
    out: dict[str, Parts] = {i: {} for i in background}
    for (cause, name), row in tables.rows.items():
        if name in out and cause not in (BACKGROUND, SPOILED):
            out[name][cause] = own_part(np.array(row.probabilities), background[name])
    return out


def _cylinder_sight(
    tables: FaultTables,
    item: Item,
    parts: Parts,
    faults: tuple[str, ...],
    states: tuple[str, ...],
    sets: tuple[tuple[str, ...], ...],
) -> Array:
    """P(<= s) as (1 or E, 1 or B, S, states).

    A set has a first and a second fault, the last place of ``own`` standing for 'none'; what is hidden by something else
    that is there counts as none.
    """
    base = _base(tables, item)
    ones = np.ones_like(base)
    hides = {(a, b) for i, a, b in tables.masks if i == item.id}
    hiders = {a for a, _ in hides}
    engines: tuple[str, ...] = states if any(e in parts or e in hiders for e in states) else states[:1]
    breaches = (False, True) if BREACH in parts or BREACH in hiders else (False,)
    place = {f: n for n, f in enumerate(faults)}
    none = len(faults)
    members = np.array([[place[f] for f in some] + [none] * (2 - len(some)) for some in sets]).reshape(-1, 2)
    own = np.array([*(parts.get(f, ones) for f in faults), ones])
    hidden = np.zeros((none + 1, none + 1), dtype=bool)
    for hider, hid in hides:
        if hider in place and hid in place:
            hidden[place[hider], place[hid]] = True
    shown = members.copy()
    for k in (0, 1):
        shown[hidden[members[:, 1 - k], members[:, k]], k] = none

    def beside(cause: str, there: tuple[str, ...]) -> Array:
        """(S, states) the part of an engine state or breach beside each set."""
        if cause not in parts or any((h, cause) in hides for h in there):
            return ones[None]
        hiding = np.array([(f, cause) in hides for f in (*faults, "")])
        out: Array = np.where(hiding[members].any(axis=1)[:, None], ones, parts[cause])
        return out

    out = np.empty((len(engines), len(breaches), len(sets), len(base)))
    for e, engine in enumerate(engines):
        for b, breach in enumerate(breaches):
            there = (engine, BREACH) if breach else (engine,)
            gone = np.array([any((h, f) in hides for h in there) for f in (*faults, "")])
            mine = np.where(gone[:, None], ones, own)
            seen = base * mine[shown[:, 0]] * mine[shown[:, 1]] * beside(engine, there[1:])
            out[e, b] = seen * beside(BREACH, there[:1]) if breach else seen
    return out


def _engine_sight(
    tables: FaultTables, item: Item, parts: Parts, states: tuple[str, ...], channels: tuple[str, ...]
) -> Array:
    """P(<= s) as (1 or E, 2**K, states)."""
    base = _base(tables, item)
    ones = np.ones_like(base)
    by_engine = np.array([parts.get(e, ones) for e in states] if any(e in parts for e in states) else [ones])
    by_pattern = np.ones((1, len(base)))
    for channel in channels:
        by_pattern = np.concatenate([by_pattern, by_pattern * parts.get(channel, ones)])
    cumulative: Array = base * by_engine[:, None, :] * by_pattern[None]
    return cumulative


def _alone(tables: FaultTables, item: Item, parts: Parts, causes: tuple[str, ...]) -> Array:
    """P(state | that cause alone), (H, states); a cause without a row looks as the background."""
    base = _base(tables, item)
    cumulative: Array = np.array([base * parts[c] if c in parts else base for c in causes])
    return np.diff(cumulative, axis=1, prepend=0.0)


def _sight(
    net_faults: tuple[str, ...],
    states: tuple[str, ...],
    channels: tuple[str, ...],
    sets: tuple[tuple[str, ...], ...],
    tables: FaultTables,
    item: Item,
    parts: Parts,
    causes: tuple[str, ...],
) -> Sight:
    if item.scope == "cylinder":
        cumulative = _cylinder_sight(tables, item, parts, net_faults, states, sets)
    elif item.scope == "engine":
        cumulative = _engine_sight(tables, item, parts, states, channels)
    else:
        base = _base(tables, item)
        cumulative = np.array([base, base * parts.get(BREACH, np.ones_like(base))])
    spoiled = tables.rows.get((SPOILED, item.id))
    weights = np.array([tables.faults[c].weight for c in causes])
    shares, alone = weights / weights.sum(), _alone(tables, item, parts, causes)
    return Sight(
        item,
        _differences(cumulative),
        causes,
        shares,
        alone,
        tuple((shares @ alone).tolist()),
        tuple(spoiled.probabilities) if spoiled else None,
    )


def _group_causes(tables: FaultTables) -> dict[str, tuple[str, ...]]:
    """Per dependence group: 'sound' and every cause with a row on one of its items, in table order."""
    linked: dict[str, set[str]] = {}
    for cause, name in tables.rows:
        if cause != SPOILED:
            linked.setdefault(tables.items[name].group, set()).add(cause)
    order = {f: n for n, f in enumerate(tables.faults)}
    return {g: tuple(sorted(some, key=lambda c: order[c])) for g, some in linked.items()}


def _pair_factor(tables: FaultTables, some: tuple[str, ...]) -> float:
    if len(some) < 2:
        return 1.0
    first, second = sorted(some)
    return tables.pairs.get((first, second), 1.0)


@lru_cache(maxsize=6)
def _compiled(digest: str, holder: _Holder) -> Net:
    tables = holder.tables
    faults = tables.of_scope("cylinder")
    states = (NO_ENGINE_FAULT, *(e for e in tables.of_scope("engine") if e != NO_ENGINE_FAULT))
    channels = tables.of_scope("channel")
    sets: tuple[tuple[str, ...], ...] = ((), *((f,) for f in faults), *combinations(faults, 2))
    has = np.array([[f in some for f in faults] for some in sets], dtype=bool).reshape(len(sets), len(faults))
    strength = np.array([[tables.channels.get((c, f), 0.0) for c in channels] for f in faults]).reshape(
        len(faults), len(channels)
    )
    silent = np.array([np.prod(1.0 - strength[row], axis=0) for row in has]).reshape(len(sets), len(channels))
    groups = _group_causes(tables)
    parts = _parts(tables, (i for i in tables.items if i != HISTORY))
    return Net(
        tables=tables,
        faults=faults,
        states=states,
        channels=channels,
        sets=sets,
        has=has,
        pair_factor=np.array([_pair_factor(tables, some) for some in sets]),
        silent_set=silent,
        silent_breach=np.array([1.0 - tables.channels.get((c, BREACH), 0.0) for c in channels]),
        silent_state=np.array([[1.0 - tables.channels.get((c, e), 0.0) for c in channels] for e in states]),
        sights={
            i.id: _sight(faults, states, channels, sets, tables, i, parts[i.id], groups[i.group])
            for i in tables.items.values()
            if i.id != HISTORY
        },
        weights={f.id: f.weight for f in tables.faults.values()},
        index={
            (i.id, s): (i.scope, i.group, n) for i in tables.items.values() for n, s in enumerate(i.states)
        },
    )


class _Holder:
    """Tables under their digest, so that equal tables are compiled once."""

    def __init__(self, tables: FaultTables) -> None:
        self.tables = tables

    def __hash__(self) -> int:
        return hash(self.tables.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Holder) and other.tables.digest == self.tables.digest


def compiled(tables: FaultTables) -> Net:
    """The tables as arrays, kept for the last few tables used (about 0.2 s the first time, at once after that)."""
    return _compiled(tables.digest, _Holder(tables))
