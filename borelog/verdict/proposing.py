"""The next three tests in words: what gains most, and what a called fault asks for before its work begins."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from borelog.knowledge.faults import FaultTables, NextTest, WorkCheck
from borelog.knowledge.procedures import cautions_of_next
from borelog.verdict.judged import NextTest as Proposed
from borelog.verdict.network.ordering import HEAD_ON, Course, Done, Place
from borelog.verdict.network.types import NO_ENGINE_FAULT, SOUND, Advice, Evidence, Next
from borelog.verdict.wording import listed

MOST = 3

Called = tuple[tuple[str, Place], ...]
"""Faults that are called: (fault, cylinder or None), the leader of each cylinder with enough evidence and the engine's."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What the proposals are made for: cylinders of the engine, evidence, tests done or not possible, faults called."""

    cylinders: tuple[int, ...]
    evidence: Evidence
    done: Done
    called: Called
    facts: Mapping[str, str] = field(default_factory=dict)


def proposals(
    advice: Advice | None, tables: FaultTables, scope: Scope, *, currency: str | None, material: float
) -> tuple[Proposed, ...]:
    """The first three.

    ``currency`` is what a gain is counted in, None where nothing is priced.
    Repeats that settle a doubt stand first, then tests that gain more than ``material``, what the called faults ask for
    before their work, and what gains a little.
    """
    if advice is None:
        return ()
    checks = list(_work_checks(tables, scope))
    settle = [_of_next(n, tables, currency, scope.facts) for n in advice.tests if n.again]
    clear = [_of_next(n, tables, currency, scope.facts) for n in _clearing(advice, tables, scope)]
    much, little = (
        [_of_next(n, tables, currency, scope.facts) for n in some] for some in _by_gain(advice, material)
    )
    again = [c for c in checks if c.test in _TEST_FIRST]
    rest = [c for c in checks if c not in again]
    # One of the three is what the called fault asks for, where it asks for anything.
    ordered = [*settle, *clear, *again, *much[: MOST - 1], *rest[:1], *much[MOST - 1 :], *rest[1:], *little]
    out: list[Proposed] = []
    for proposed in ordered:
        if not any(_covers(o, proposed) for o in out):
            out.append(proposed)
    return tuple(out[:MOST])


def _by_gain(advice: Advice, material: float) -> tuple[list[Next], list[Next]]:
    """What gains more than ``material`` and what gains less, each behind what must come before it."""
    much: list[Next] = []
    little: list[Next] = []
    first: list[Next] = []
    for n in advice.tests:
        if n.again:
            continue
        if n.reason and n.worth < material:
            first.append(n)
            continue
        (much if n.worth >= material else little).extend([*first, n])
        first = []
    return much, [*little, *first]


def _clearing(advice: Advice, tables: FaultTables, scope: Scope) -> list[Next]:
    """What would clear the tests that are held back, with the reason why they are: turning by hand before the starter."""
    course = Course(tables, scope.evidence, scope.done, head_off=False)
    for held in advice.held:
        needs = tables.tests[held.test].needs
        for rule in tables.order:
            item = rule.first.partition("=")[0]
            if rule.kind == "clears" and rule.then in needs:
                for test in tables.tests.values():
                    if (
                        item in test.items
                        and not course.is_done(test.id, None)
                        and course.held(test.id) is None
                    ):
                        return [Next(test.id, None, test.minutes, 0.0, 0.0, (), 0.0, reason=held.reason)]
    return []


_TEST_FIRST = ("compression_run",)  # the cure is the test: nothing else is worth its minutes before


def _covers(one: Proposed, other: Proposed) -> bool:
    return one.test == other.test and one.cylinder in (None, other.cylinder)


def _of_next(n: Next, tables: FaultTables, currency: str | None, facts: Mapping[str, str]) -> Proposed:
    test = tables.tests[n.test]
    on = f" on {n.cylinder}" if n.cylinder is not None else ""
    again = " again" if n.again else ""
    words = f"{test.label}{on}{again}, {n.minutes:g} minutes"
    words += _splits(n, tables)
    for before in n.before:
        words += f"; first {_small(tables.tests[before.test].label)} ({before.reason})"
    return Proposed(
        words=f"{words}.",
        test=n.test,
        cylinder=n.cylinder,
        minutes=n.minutes,
        worth=None if currency is None else round(n.worth, 2),
        gain=f"worth about {_round(n.worth)} {currency}".rstrip()
        if currency is not None and n.worth >= 1
        else "",
        cautions=cautions_of_next(n.test, facts),
    )


_NOTHING = (SOUND, NO_ENGINE_FAULT)


def _splits(n: Next, tables: FaultTables) -> str:
    """': tells A from B', ': speaks for or against A' where B is that nothing is wrong, or the reason why it is in the list."""
    if n.again and n.reason:
        return f": {n.reason}"
    names = [_small(tables.faults[f].label) for f in n.splits[:2] if f in tables.faults and f not in _NOTHING]
    if len(names) > 1:
        return f": tells {names[0]} from {names[1]}"
    if len(n.splits) > 1 and names:
        return f": speaks for or against {names[0]}"
    return f": {n.reason}" if n.reason else ""


def _small(label: str) -> str:
    return label[0].lower() + label[1:]


def _round(value: float) -> str:
    digits = 1 if value < 100 else 2
    scale = 10 ** max(0, len(str(int(value))) - digits)
    return f"{round(value / scale) * scale:.0f}"


def _work_checks(tables: FaultTables, scope: Scope) -> Iterator[Proposed]:
    """What the called faults ask for and nobody has looked at yet, each test once."""
    course = Course(tables, scope.evidence, scope.done, head_off=False)
    seen: set[str] = set()
    for fault in dict.fromkeys(f for f, _ in scope.called):
        here = [c for f, c in scope.called if f == fault and c is not None]
        for check in tables.work:
            test = tables.tests[check.test]
            if check.fault != fault or test.id in seen or not _may(course, test):
                continue
            where = [c for c in _places(check, here, scope.cylinders) if not _done(course, test, c)]
            if where:
                seen.add(test.id)
                yield _of_check(check, test, where, scope)


def _may(course: Course, test: NextTest) -> bool:
    """Whether nothing holds the test back; that the head is still on does not: it comes off with this work."""
    held = course.held(test.id)
    return held is None or held.reason == HEAD_ON


def _done(course: Course, test: NextTest, place: Place) -> bool:
    return course.is_done(test.id, place) if test.items else (test.id, place) in course.named


def _places(check: WorkCheck, here: Sequence[int], cylinders: Iterable[int]) -> list[Place]:
    if check.where == "engine":
        return [None]
    if check.where == "here":
        return list(here)
    return [c for c in cylinders if check.where == "all" or c not in here]


def _of_check(check: WorkCheck, test: NextTest, where: list[Place], scope: Scope) -> Proposed:
    numbers = [str(c) for c in where if c is not None]
    on = (
        ""
        if not numbers
        else " on all"
        if len(numbers) == len(scope.cylinders) > 1
        else f" on {listed(numbers)}"
    )
    each = " each" if len(numbers) > 1 else ""
    return Proposed(
        words=f"Before the work: {_small(test.label)}{on} ({test.minutes:g} minutes{each}): {check.why.split(';')[0]}.",
        test=test.id,
        cylinder=where[0] if len(where) == 1 else None,
        minutes=test.minutes,
        cautions=cautions_of_next(test.id, scope.facts),
    )
