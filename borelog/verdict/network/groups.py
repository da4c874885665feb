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
    together: dict[Place, list[Seen]] = defaultdict(list)
    index, hows, here = net.index, net.tables.misread, set(shape.cylinders)
    for seen in evidence.seen:
        found = index.get((seen.item, seen.state))
        if found is None:
            raise _refused(net, seen)
        if seen.how not in hows:
            raise NetworkError(f"{seen.how!r} is no way of taking a reading; use one of {', '.join(hows)}")
        scope, place = found[0], seen.cylinder
        if (scope == "cylinder" and place in here) or (scope == "engine" and place is None):
            if seen.item != HISTORY:
                together[place].append(seen)
        else:
            together[_misplaced(shape, scope, seen)].append(seen)
    return {place: _at_place(net, place, tuple(some)) for place, some in together.items()}


def _at_place(net: Net, place: Place, some: tuple[Seen, ...]) -> tuple[Group, ...]:
    def work() -> tuple[Group, ...]:
        by_group: dict[str, list[Seen]] = defaultdict(list)
        for seen in some:
            by_group[net.index[seen.item, seen.state][1]].append(seen)
        return tuple(as_group(net, name, place, by_group[name]) for name in sorted(by_group))

    return net.memo.get((place, some), work)


def as_group(net: Net, name: str, place: Place, some: Iterable[Seen]) -> Group:
    """One group from its entries, in an order of its own."""
    seen, index = tuple(some), net.index
    if len(seen) == 1:  # most are
        one = seen[0]
        key: Key = ((one.item, index[one.item, one.state][2], one.how),)
    else:
        keyed = [((s.item, index[s.item, s.state][2], s.how), s) for s in seen]
        keyed.sort(key=lambda pair: (*pair[0], pair[1].cylinder or 0, pair[1].neighbour or 0))
        seen = tuple(s for _, s in keyed)
        key = tuple(k for k, _ in keyed)
    return Group(name, place, net.tables.items[seen[0].item].test, seen, key, likelihood(net, key))


def _worked_out(net: Net, key: Key) -> Likelihood:
    first = net.sights[key[0][0]]
    weights = np.array([net.weights[c] for c in first.causes])
    shares = weights / weights.sum()
    chances = [net.tables.misread[how][0] for _, _, how in key]
    eps = min(chances)
    as_is: Array = np.ones(1)
    alone = np.ones(len(shares))
    spoiled = 1.0
    for (item, state, _), chance in zip(key, chances, strict=True):
        sight = net.sights[item]
        seen_alone = sight.alone[:, state]
        blend = (chance - eps) / (1.0 - eps)
        mean = blend * float(shares @ seen_alone)
        as_is = as_is * ((1.0 - blend) * sight.by_state[state] + mean)
        alone = alone * ((1.0 - blend) * seen_alone + mean)
        if sight.spoiled is not None:
            spoiled *= (1.0 - blend) * float(sight.spoiled[state]) + mean
    blind = float(shares @ alone)
    doubt = eps * blind
    valid: Array = (1.0 - eps) * as_is + doubt
    misread: Array = np.divide(doubt, valid, out=np.zeros_like(valid), where=valid > 0.0)
    return Likelihood(valid, (1.0 - eps) * spoiled + doubt if first.item.test else 1.0, doubt, blind, misread)


def likelihood(net: Net, key: Key) -> Likelihood:
    """The likelihood of what one group shows."""
    return net.memo.get(key, lambda: _worked_out(net, key))
