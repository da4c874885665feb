"""Evidence checked, sorted into dependence groups, and turned into likelihoods of what was seen together.

``P(group | causes) = (1 - eps) * prod P(e | causes) + eps * M``: items of one group share one misread variable, whose
chance comes only from how the readings were taken. A misreading looks like some plausible engine: ``M`` is the mean of
``prod P(e | h)`` over 'sound' and the group's causes, weighted by their shares. Where a group holds readings taken less
well than its best one, each of those is first blended with its own mean, so that alone or in company a reading is
misread with the chance of how *it* was taken.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np

from borelog.knowledge.faults import HISTORY
from borelog.verdict.network.tables import Array, Net
from borelog.verdict.network.types import Evidence, NetShape, NetworkError, Seen

Place: TypeAlias = int | tuple[int, int] | None
Key: TypeAlias = tuple[tuple[str, int, str], ...]
Keyed: TypeAlias = tuple[str, tuple[str, int, str], Seen]  # group; item, place of the state, way; the entry


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """What was seen of one dependence group at one place (a cylinder, a pair of neighbours, None: the engine).

    The same sights at a place give the same object while the net keeps it, so a group is its own key.
    """

    name: str
    place: Place
    test: str
    seen: tuple[Seen, ...]
    key: Key
    like: Likelihood = field(repr=False)


@dataclass(frozen=True, slots=True)
class Likelihood:
    """``valid`` is P(group | causes) with a good test, as the item arrays broadcast; ``spoiled`` the same when the test
    was spoiled (a number, 1.0 for a group without a test); ``doubt`` is eps * M, ``blind`` is M. ``misread`` is
    ``doubt / valid``, the chance of a misreading given the causes (0 where nothing can have shown this).
    """

    valid: Array
    spoiled: float
    doubt: float
    blind: float
    misread: Array


def _refused(net: Net, seen: Seen) -> NetworkError:
    """What is wrong with an entry whose item and state are not in the index."""
    item = net.tables.items.get(seen.item)
    if item is None:
        return NetworkError(f"{seen.item!r} is no item of the fault tables; see items.csv")
    return NetworkError(f"{seen.item} has no state {seen.state!r}; it has {', '.join(item.states)}")


def _misplaced(shape: NetShape, scope: str, seen: Seen) -> Place:
    """The pair a reading belongs to, or what is wrong with its cylinder."""
    if scope == "cylinder":
        raise NetworkError(f"{seen.item} needs a cylinder of this engine, not {seen.cylinder!r}")
    if scope == "engine":
        raise NetworkError(f"{seen.item} speaks of the whole engine; enter it without a cylinder")
    for pair in shape.pairs:
        if {seen.cylinder, seen.neighbour} == set(pair):
            return pair
    raise NetworkError(f"{seen.item}: {seen.cylinder} and {seen.neighbour} are no neighbours on one head")


def grouped(net: Net, shape: NetShape, evidence: Evidence) -> dict[Place, tuple[Group, ...]]:
    """Everything but the story, by place and dependence group, in an order that entries do not change.

    Raises
    ------
    NetworkError
        An unknown item, state, way of taking or cylinder, naming it.
    """
    at_place: dict[Place, tuple[list[Keyed], list[object]]] = defaultdict(lambda: ([], []))
    index, hows, here = net.index, net.tables.misread, set(shape.cylinders)
    for seen in evidence.seen:
        item, state, how, place = seen.item, seen.state, seen.how, seen.cylinder
        found = index.get((item, state))
        if found is None:
            raise _refused(net, seen)
        if how not in hows:
            raise NetworkError(f"{how!r} is no way of taking a reading; use one of {', '.join(hows)}")
        scope, group, code = found
        if not ((scope == "cylinder" and place in here) or (scope == "engine" and place is None)):
            at: Place = _misplaced(shape, scope, seen)
        elif item == HISTORY:
            continue
        else:
            at = place
        some, words = at_place[at]
        some.append((group, (item, code, how), seen))
        words += item, state, how, place, seen.neighbour
    return {at: _at_place(net, at, some, tuple(words)) for at, (some, words) in at_place.items()}


def _at_place(net: Net, place: Place, some: list[Keyed], words: tuple[object, ...]) -> tuple[Group, ...]:
    """``words`` are all that ``some`` say: hashed at once, where the entries themselves take their time."""

    def work() -> tuple[Group, ...]:
        by_group: dict[str, list[Keyed]] = defaultdict(list)
        for one in some:
            by_group[one[0]].append(one)
        return tuple(_group(net, place, by_group[name]) for name in sorted(by_group))

    return net.memo.get((place, words), work)


def _group(net: Net, place: Place, some: list[Keyed]) -> Group:
    if len(some) > 1:  # most stand alone
        some.sort(key=lambda one: (one[1], one[2].cylinder or 0, one[2].neighbour or 0))
    key = tuple([one[1] for one in some])
    test = net.tables.items[key[0][0]].test
    return Group(some[0][0], place, test, tuple([one[2] for one in some]), key, likelihood(net, key))


def as_group(net: Net, name: str, place: Place, some: Iterable[Seen]) -> Group:
    """One group from its entries, in an order of its own."""
    return _group(net, place, [(name, (s.item, net.index[s.item, s.state][2], s.how), s) for s in some])


def _worked_out(net: Net, key: Key) -> Likelihood:
    sights = [net.sights[item] for item, _, _ in key]
    first, chances = sights[0], [net.tables.misread[how][0] for _, _, how in key]
    eps = min(chances)
    as_is: Array | None = None
    alone: Array | None = None
    spoiled = 1.0
    for sight, (_, state, _), chance in zip(sights, key, chances, strict=True):
        here, shown = sight.by_state[state], sight.alone[:, state]
        ill = 1.0 if sight.spoiled is None else sight.spoiled[state]
        if chance > eps:
            blend = (chance - eps) / (1.0 - eps)
            mean = blend * sight.blind[state]
            here, shown = (1.0 - blend) * here + mean, (1.0 - blend) * shown + mean
            ill = ill if sight.spoiled is None else (1.0 - blend) * ill + mean
        as_is = here if as_is is None else as_is * here
        alone = shown if alone is None else alone * shown
        spoiled *= ill
    assert as_is is not None
    assert alone is not None
    blind = first.blind[key[0][1]] if len(key) == 1 else float(first.shares @ alone)
    doubt = eps * blind
    valid: Array = (1.0 - eps) * as_is
    valid += doubt
    return Likelihood(
        valid,
        (1.0 - eps) * spoiled + doubt if first.item.test else 1.0,
        doubt,
        blind,
        doubt / valid if doubt > 0.0 else np.zeros_like(valid),
    )


def likelihood(net: Net, key: Key) -> Likelihood:
    """The likelihood of what one group shows."""
    return net.memo.get(key, lambda: _worked_out(net, key))


def together(groups: Iterable[Group]) -> dict[str, tuple[Array, float]]:
    """By test ('' for none): P(all groups of a cylinder | causes) with it good, as the items broadcast, and spoiled."""
    alike: dict[tuple[str, tuple[int, ...]], Array] = {}
    spoiled: dict[str, float] = {}
    for group in groups:
        like, test = group.like, group.test
        kind = test, like.valid.shape
        before = alike.get(kind)
        alike[kind] = like.valid if before is None else before * like.valid
        spoiled[test] = spoiled.get(test, 1.0) * like.spoiled
    well: dict[str, Array] = {}
    for (test, _), valid in sorted(
        alike.items(), key=lambda kind: kind[1].size
    ):  # small ones first: less to do
        well[test] = well[test] * valid if test in well else valid
    return {test: (valid, spoiled[test]) for test, valid in well.items()}
