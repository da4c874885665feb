"""The next test: for each one not yet done, the expected gain in the decision less its minutes, in a safe order."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from borelog.knowledge.faults import FaultTables, NextTest
from borelog.verdict.money.worth import placeholder_value
from borelog.verdict.network.drawing import draws as drawn
from borelog.verdict.network.ordering import HEAD_ON, Course, Done, Place
from borelog.verdict.network.outcomes import Standing, at_cylinder, at_engine, on_each, outcomes
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.tables import Array, Net, compiled
from borelog.verdict.network.types import (
    BREACH,
    NO_ENGINE_FAULT,
    SOUND,
    Advice,
    Draws,
    Evidence,
    NetShape,
    Next,
    Posterior,
    Value,
)
from borelog.verdict.network.worth import Gain, by_kind, of_kinds

DRAWS = 4000
NOISE = 1e-9
SURE = 2.0  # a gain within this many of its standard errors is luck of the draw
RARE = 0.005
LEAST_MOVED = 0.02  # a test that moves no fault by this much on average splits nothing worth naming
MOST_SPLIT = 3
MOST_IDLE = 3
DOUBTFUL = 0.5
SAME_BILL = "the same work either way"
SETTLES = "what it gave is more likely wrong than right: settle it first"


@dataclass(frozen=True, slots=True)
class _Look:
    """One test at one place, as it would stand in the list."""

    test: NextTest
    place: Place
    again: bool


def doubtful(posterior: Posterior, tables: FaultTables, test: NextTest, place: Place) -> bool:
    """Whether what this test gave more likely does not show the engine than it does."""
    kinds = {tables.items[i].test for i in test.items} - {""}
    if place is None and any(posterior.spoiled.get((k, None), 0.0) > DOUBTFUL for k in kinds):
        return True
    return any(posterior.doubted.get((place, tables.items[i].group), 0.0) > DOUBTFUL for i in test.items)


def _left(course: Course, test: NextTest, place: Place) -> NextTest:
    """The test with what is not recorded yet."""
    return replace(test, items=tuple(i for i in test.items if not course.recorded(i, place)))


def _covered(tables: FaultTables, posterior: Posterior, test: NextTest, place: Place) -> bool:
    """Whether a repeat on one cylinder is better done as a repeat on all: the doubt is about the whole test."""
    kinds = {tables.items[i].test for i in test.items}
    whole = {tables.items[i].test for t in tables.tests.values() if t.scope == "engine" for i in t.items} - {
        ""
    }
    return place is not None and any(posterior.spoiled.get((k, None), 0.0) > DOUBTFUL for k in kinds & whole)


def _touched(course: Course, tables: FaultTables, posterior: Posterior, test: NextTest, place: Place) -> bool:
    """Whether it was done; a test of all cylinders also where one of its kind was done on each and has been spoiled."""
    kinds = {tables.items[i].test for i in test.items} - {""}
    return course.touched(test.id, place) or (
        place is None and any((k, None) in posterior.spoiled for k in kinds)
    )


def _looks(shape: NetShape, tables: FaultTables, course: Course, posterior: Posterior) -> list[_Look]:
    out = []
    for test in (t for t in tables.tests.values() if t.items):
        for place in shape.cylinders if test.scope == "cylinder" else (None,):
            if _touched(course, tables, posterior, test, place) and doubtful(posterior, tables, test, place):
                if not _covered(tables, posterior, test, place):
                    out.append(_Look(test, place, True))
            elif not course.is_done(test.id, place):
                out.append(_Look(_left(course, test, place), place, False))
    return out


def _shares(net: Net, joint: Draws, at: Standing, place: Place) -> tuple[list[str], Array]:
    """(u, names) weight of draws by where they stand and what they hold there; for the engine: states, faults anywhere."""
    if place is None:
        states = joint.engine[:, None] == np.arange(len(net.states))
        names = [*net.states, *net.faults]
        holds = np.column_stack([states, net.has[joint.sets].any(axis=1)])
    else:
        sets, breach = at.sets[at.which], at.breach[at.which] > 0
        names = [*net.faults, SOUND, BREACH]
        holds = np.column_stack([net.has[sets], (sets == 0) & ~breach, breach])
    by_kind = [
        np.bincount(at.which, weights=column, minlength=len(at.engine)) for column in holds.T.astype(float)
    ]
    return names, np.column_stack(by_kind) / len(joint)


def _moved(names: list[str], shares: Array, chances: Array, kinds: Array) -> list[tuple[float, str]]:
    """Faults by how far a test moves them on average, most first. ``chances`` (m, u), ``kinds`` (u,) their weight."""
    then = np.einsum("mu,uf->mf", chances, shares)
    shift = np.abs(then - np.einsum("mu,u->m", chances, kinds)[:, None] * shares.sum(0)).sum(0)
    return sorted(((float(s), n) for s, n in zip(shift, names, strict=True)), key=lambda x: (-x[0], x[1]))


def _rare_as_one(chances: Array, kinds: Array) -> Array:
    """The rarest outcomes, ``RARE`` of all chance together, taken as one: they cost most of the time and decide nothing."""
    overall = np.einsum("mu,u->m", chances, kinds)
    order = np.argsort(overall, kind="stable")
    rare = order[np.cumsum(overall[order]) <= RARE]
    if len(rare) < 2:
        return chances
    often = np.setdiff1d(order, rare)
    return np.concatenate([chances[often], chances[rare].sum(0)[None]])


class _Ranking:
    """Values every look on the same draws."""

    def __init__(self, net: Net, joint: Draws, value: Value) -> None:
        self.net, self.joint = net, joint
        self.weights = np.full(len(joint), 1.0 / len(joint))
        self.nets = value.nets(joint)
        now, course = value(joint, self.weights[None])
        self.now = float(now[0]), int(course[0])
        self._standing: dict[Place, tuple[Standing, Array]] = {}
        self._best: dict[Place, float] = {}
        self._named: dict[Place, tuple[list[str], Array]] = {}

    def standing(self, place: Place) -> tuple[Standing, Array]:
        """Where the draws stand there, and what the courses bring by where they stand, (u, c)."""
        if place not in self._standing:
            at = at_engine(self.joint) if place is None else at_cylinder(self.joint, place)
            paid = by_kind(self.nets * self.weights[:, None], at.which, len(at.engine))
            self._standing[place] = at, paid
        return self._standing[place]

    def at_most(self, place: Place) -> float:
        """What knowing that cylinder's (or the engine's) state outright would be worth: no test there is worth more."""
        if place not in self._best:
            self._best[place] = float(self.standing(place)[1].max(axis=1).sum()) - self.now[0]
        return self._best[place]

    def on_all(self, look: _Look, places: dict[str, tuple[int, ...]]) -> tuple[Gain, tuple[str, ...]]:
        """The same for a test that answers an item on every cylinder at once."""
        which = on_each(self.net, look.test, self.joint, places, 0)
        kinds = np.bincount(which) / len(self.joint)
        known = np.eye(len(kinds))
        found = of_kinds(
            self.nets,
            self.weights,
            which,
            by_kind(self.nets * self.weights[:, None], which, len(kinds)),
            self.now,
            known,
        )
        zero = np.zeros(len(kinds), dtype=np.int64)
        moved = _moved(
            *_shares(self.net, self.joint, Standing(which, zero, zero, zero, zero), None), known, kinds
        )
        return found, tuple(n for s, n in moved[:MOST_SPLIT] if s >= LEAST_MOVED)

    def valued(self, look: _Look) -> tuple[Gain, tuple[str, ...]]:
        """Gain of a look, and what it would tell apart."""
        at, paid = self.standing(look.place)
        if look.place not in self._named:
            self._named[look.place] = _shares(self.net, self.joint, at, look.place)
        kinds = np.bincount(at.which, minlength=len(at.engine)) / len(self.joint)
        chances = _rare_as_one(outcomes(self.net, look.test, at), kinds)
        found = of_kinds(self.nets, self.weights, at.which, paid, self.now, chances)
        moved = _moved(*self._named[look.place], chances, kinds)
        return found, tuple(n for s, n in moved[:MOST_SPLIT] if s >= LEAST_MOVED)


def _with_first(found: list[Next], tables: FaultTables, course: Course) -> list[Next]:
    """The list with what must come first put in front of what waits for it, each once."""
    out: list[Next] = []
    listed = {(n.test, n.cylinder): n for n in found}
    seen: set[tuple[str, Place]] = set()
    for item in found:
        for first in item.before:
            place = item.cylinder if tables.tests[first.test].scope == "cylinder" else None
            if (first.test, place) in seen:
                continue
            seen.add((first.test, place))
            known = listed.get((first.test, place))
            minutes = tables.tests[first.test].minutes
            base = known or Next(
                first.test, place, minutes, 0.0, 0.0, (), 0.0, course.before(first.test, place)
            )
            out.append(replace(base, reason=first.reason))
        if (item.test, item.cylinder) not in seen:
            seen.add((item.test, item.cylinder))
            out.append(item)
    return out


def _idle(looks: list[tuple[_Look, tuple[str, ...]]], tables: FaultTables) -> tuple[Next, ...]:
    """Tests that would tell two faults apart but change nothing: the bill is the same."""
    kept = []
    for look, split in looks:
        two = [f for f in split if f not in (SOUND, NO_ENGINE_FAULT)][:2]
        if len(two) == 2 and tables.bill(two[0]) == tables.bill(two[1]):
            kept.append(
                Next(look.test.id, look.place, look.test.minutes, 0.0, 0.0, tuple(two), 0.0, reason=SAME_BILL)
            )
    return tuple(kept[:MOST_IDLE])


def next_tests(
    shape: NetShape,
    evidence: Evidence,
    tables: FaultTables,
    value: Value | None = None,
    rate_per_minute: float = 0.0,
    done: Done = (),
    *,
    head_off: bool = False,
    seed: int = 0,
    draws: Draws | None = None,
    most: int = 12,
) -> Advice:
    """The tests worth doing next.

    Parameters
    ----------
    shape, evidence, tables
        As for ``posteriors``.
    value : Value or None
        What the courses are worth; None: the shipped placeholders, in per cent of the car's value.
    rate_per_minute : float
        What a minute costs, in the unit of ``value``.
    done : collection of (test, cylinder or None)
        Done, or not possible on this engine, beside what the evidence shows as done.
    head_off : bool
        Whether tests on the bare head can be done.
    seed, draws
        Draws to value on; made from ``seed`` when not given.
    most : int
        Length of the list.

    Returns
    -------
    Advice
        Tests whose result is more likely wrong than right come first, to be done again. The rest by gain less minutes;
        what must come first stands in front with its reason. Ties by minutes, test and cylinder.
    """
    net = compiled(tables)
    joint = drawn(shape, evidence, tables, seed, DRAWS) if draws is None else draws
    course = Course(tables, evidence, done, head_off)
    ranking = _Ranking(net, joint, value or placeholder_value(shape, tables, seed))
    found: list[Next] = []
    idle: list[tuple[_Look, tuple[str, ...]]] = []
    held = {}
    for look in _looks(shape, tables, course, posteriors(shape, evidence, tables)):
        cost = rate_per_minute * look.test.minutes
        if not look.again and not look.test.each and ranking.at_most(look.place) <= cost + NOISE:
            continue
        reason = course.held(look.test.id, look.place)
        if reason is not None:
            held[look.test.id] = reason
            continue
        places = {
            i: tuple(c for c in shape.cylinders if look.again or not course.recorded(i, c))
            for i in look.test.each
        }
        gained, split = ranking.on_all(look, places) if any(places.values()) else ranking.valued(look)
        if gained.worth <= cost + SURE * gained.error + NOISE and not look.again:
            idle.append((look, split))
            continue
        before = course.before(look.test.id, look.place)
        net_worth = gained.worth - cost - rate_per_minute * sum(tables.tests[b.test].minutes for b in before)
        found.append(
            Next(
                look.test.id,
                look.place,
                look.test.minutes,
                gained.worth,
                net_worth,
                split,
                gained.changes,
                before,
                SETTLES if look.again else "",
                look.again,
                gained.error,
            )
        )
    found.sort(key=lambda n: (not n.again, -n.net, n.minutes, n.test, n.cylinder or 0))
    listed = _with_first(found[:most], tables, course)
    return Advice(
        tuple(listed),
        not found,
        tuple(r for r in held.values() if r.reason != HEAD_ON),
        _idle(idle, tables),
    )
