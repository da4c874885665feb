"""Why a cylinder is called as it is: what speaks for and against, and the one result that would flip the call.

Leaving a group out is exact re-inference. Everything outside the cylinder is one message, which stays as it is while the
cylinder's own groups are left out one by one; leaving out an engine-wide group changes the signs only.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log, log1p

import numpy as np

from borelog.knowledge.faults import HISTORY, FaultTables
from borelog.verdict.network.algebra import pattern_chances
from borelog.verdict.network.around import Around, Varied, around, leader, presence
from borelog.verdict.network.flips import flip
from borelog.verdict.network.groups import Group
from borelog.verdict.network.problem import signs
from borelog.verdict.network.tables import Array, Net
from borelog.verdict.network.types import BREACH, SOUND, Case, Evidence, NetShape, Reasons, Seen, Weight

TELLING = log(
    2.0
)  # a group supports a fault when its sights are at least twice as likely under it as on a sound cylinder
TELLING_SOUND = log(
    1.25
)  # ... and 'sound' when they are a quarter likelier than on the mean of what they could be
LIMIT = 1e-15


def log_odds(p: float) -> float:
    """Natural log odds, kept finite."""
    p = min(max(p, LIMIT), 1.0 - LIMIT)
    return log(p) - log1p(-p)


def _of_set(net: Net, fault: str) -> tuple[int, int]:
    """Where 'this fault alone' stands: (breach, index of the set)."""
    if fault in (SOUND, BREACH):
        return int(fault == BREACH), 0
    return 0, 1 + net.faults.index(fault)


def _chance_alone(net: Net, group: Group, fault: str) -> float:
    """P(group | this fault alone in an otherwise healthy engine, the test good)."""
    breach, some = _of_set(net, fault)
    valid = group.like.valid
    if isinstance(group.place, tuple):
        return float(valid[min(breach, len(valid) - 1)])
    if group.place is None:
        silent = net.silent_breach if breach else net.silent_set[some]
        by_pattern: Array = np.broadcast_to(
            valid, (valid.shape[0] if valid.ndim > 1 else 1, 1 << len(net.channels))
        )[0]
        return float(pattern_chances(silent, range(len(net.channels))) @ by_pattern)
    if valid.ndim < 3:
        return float(valid.ravel()[0])
    return float(valid[0, min(breach, valid.shape[1] - 1), some if valid.shape[2] > 1 else 0])


def alone(net: Net, group: Group, fault: str) -> float:
    """Natural log of how many times likelier these sights are under the fault alone than on a healthy engine.

    For 'sound' itself: than on the mean of what they could be.
    """
    here = _chance_alone(net, group, fault)
    other = group.like.blind if fault == SOUND else _chance_alone(net, group, SOUND)
    return log(max(here, LIMIT)) - log(max(other, LIMIT))


def _left_out(at: Around) -> Iterator[tuple[Group, dict[str, float]]]:
    """Each group of the cylinder and of the whole engine, with what would be believed without it."""
    net = at.prob.net
    for group in at.own:
        yield group, presence(net, Varied(at, [g for g in at.own if g is not group]).without())
    here = at.done.locals_[at.place].weight
    whole = at.prob.groups.get(None, ())
    for group in whole:
        rest, _ = signs(at.prob, [g for g in whole if g is not group])
        factor = at.done.way.weigh(at.outside, at.done.way.against(rest))
        yield group, presence(net, np.einsum("vebs,vebs->bs", here, factor))


def _now(at: Around) -> dict[str, float]:
    return presence(at.prob.net, np.einsum("vebs,vebs->bs", at.done.locals_[at.place].weight, at.factor))


def _stories_left_out(
    at: Around, shape: NetShape, tables: FaultTables
) -> Iterator[tuple[Seen, dict[str, float]]]:
    evidence = at.prob.evidence
    for seen in evidence.seen:
        if seen.item == HISTORY:
            rest = Evidence(tuple(s for s in evidence.seen if s is not seen), evidence.spoils)
            yield seen, _now(around(shape, rest, tables, at.cylinder))


def _bridges_left_out(
    at: Around, shape: NetShape, tables: FaultTables
) -> Iterator[tuple[Group, dict[str, float]]]:
    """What was heard between this cylinder and a neighbour belongs to both."""
    evidence = at.prob.evidence
    for place, groups in at.prob.groups.items():
        if isinstance(place, tuple) and at.cylinder in place:
            for group in groups:
                rest = Evidence(tuple(s for s in evidence.seen if s not in group.seen), evidence.spoils)
                yield group, _now(around(shape, rest, tables, at.cylinder))


def _case(
    fault: str, now: dict[str, float], without: list[tuple[Weight, dict[str, float]]], net: Net, at: Around
) -> Case:
    groups = {g.seen: g for some in at.prob.groups.values() for g in some}
    found = []
    for mark, before in without:
        group = groups.get(mark.seen)
        shift = log_odds(now[fault]) - log_odds(before[fault])
        found.append(
            Weight(mark.group, mark.cylinder, shift, alone(net, group, fault) if group else shift, mark.seen)
        )
    return Case(fault, now[fault], tuple(sorted(found, key=lambda w: (-abs(w.shift), w.group))))


def reasons(shape: NetShape, evidence: Evidence, tables: FaultTables, cylinder: int) -> Reasons:
    """What speaks for and against the two likeliest faults of a cylinder, and what would flip the call.

    Parameters
    ----------
    shape, evidence, tables
        As for ``posteriors``.
    cylinder : int

    Returns
    -------
    Reasons
        ``support`` counts the dependence groups that by themselves speak for the leader. Weights are natural-log odds,
        strongest first. With evidence nothing can explain, the priors are shown without weights.

    Raises
    ------
    NetworkError
        No such cylinder, or evidence that names something unknown.
    """
    at = around(shape, evidence, tables, cylinder)
    now = _now(at)
    if not now:
        return reasons(
            shape, Evidence(tuple(s for s in evidence.seen if s.item == HISTORY)), tables, cylinder
        )
    first = leader(now)
    second = leader({f: p for f, p in now.items() if f != first})
    net = at.prob.net
    without = [
        (Weight(g.name, g.place if isinstance(g.place, int) else None, 0.0, 0.0, g.seen), p)
        for g, p in _left_out(at)
        if p
    ]
    without += [
        (Weight(g.name, at.cylinder, 0.0, 0.0, g.seen), p)
        for g, p in _bridges_left_out(at, shape, tables)
        if p
    ]
    without += [
        (Weight(HISTORY, None, 0.0, 0.0, (s,)), p) for s, p in _stories_left_out(at, shape, tables) if p
    ]
    cases = [_case(fault, now, without, net, at) for fault in (first, second)]
    least = TELLING_SOUND if first == SOUND else TELLING
    support = {(w.group, w.cylinder) for w in cases[0].weights if w.alone >= least and w.group != HISTORY}
    return Reasons(cylinder, cases[0], cases[1], len(support), flip(at, first))
