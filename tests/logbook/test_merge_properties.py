"""Copies written apart and joined in any order: the union is one and the same, and nothing is lost."""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from borelog.logbook import chain
from borelog.logbook.entries import (
    Correct,
    Facts,
    Forgotten,
    Known,
    Note,
    Opened,
    Redo,
    Seen,
    StillFiled,
    Undo,
    Withdraw,
    decode,
)
from borelog.logbook.errors import Conflict
from borelog.logbook.fold import fold

STILL = StillFiled("a" * 64, "x.jpg", 3, "JPEG")
BODIES: list[Known] = [
    Note("n"),
    Seen("plug_colour", 1, "tan"),
    Seen("plug_colour", 1, "black"),
    Facts({"bore": "86"}),
    Facts({"bore": "87"}),
    Facts({"bore": ""}),
    STILL,
    Forgotten("a" * 64, "why"),
]
step = st.tuples(st.sampled_from("abc"), st.integers(0, 13), st.integers(0, 30), st.sampled_from("abc"))


def played(make: Any, steps: list[tuple[str, int, int, str]]) -> dict[str, Any]:
    """Three copies after a random story of entries, corrections, withdrawals, undos and exchanges."""
    start = make("a")
    start.add(Opened("One"))
    copies = {"a": start, "b": start.branch("b"), "c": start.branch("c")}
    for who, what, where, other in steps:
        copy = copies[who]
        target = copy.stored[where % len(copy.stored)].entry.id
        own = [s for s in copy.stored if s.entry.writer == who]
        mine = own[where % len(own)].entry.id if own else target
        if what < len(BODIES):
            copy.add(BODIES[what])
        elif what in (8, 9):
            copy.add(
                Correct(
                    target, Note(f"{who}{where}") if what == 8 else Seen("plug_colour", 1, f"{who}{where}")
                )
            )
        elif what == 10:
            copy.add(Withdraw(target, who))
        elif what in (11, 12):
            copy.add(Undo(mine) if what == 11 else Redo(mine))
        elif other != who:
            copy.take(copies[other])
    return copies


calm = settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])


@calm
@given(steps=st.lists(step, max_size=40))
def test_union_is_commutative_associative_and_idempotent(copies: Any, steps: list[Any]) -> None:
    a, b, c = (x.stored for x in played(copies, steps).values())
    whole = chain.union(a, b, c)
    assert chain.union(a, b) == chain.union(b, a)
    assert chain.union(chain.union(a, b), c) == chain.union(a, chain.union(b, c)) == whole
    assert chain.union(whole, whole, a) == whole
    assert {s.digest for s in whole} == {s.digest for s in (*a, *b, *c)}
    assert chain.faults(whole) == []


@calm
@given(steps=st.lists(step, max_size=40), seed=st.integers(0, 2**16))
def test_order_of_arrival_does_not_matter(copies: Any, steps: list[Any], seed: int) -> None:
    a, b, c = (x.stored for x in played(copies, steps).values())
    whole = list(chain.union(a, b, c))
    straight = fold(whole)
    random.Random(seed).shuffle(whole)
    assert fold(whole) == straight
    assert fold(decode(s.raw) for s in whole) == straight


@calm
@given(steps=st.lists(step, max_size=40))
def test_everything_said_shows_as_standing_rival_earlier_withdrawn_or_undone(
    copies: Any, steps: list[Any]
) -> None:
    whole = chain.union(*(x.stored for x in played(copies, steps).values()))
    folded = fold(whole)
    shown = {
        v.entry for group in folded.things.values() for t in group for v in (t.version, *t.earlier, *t.rivals)
    }
    said = {s.entry.id for s in whole if not isinstance(s.body, Correct | Withdraw | Undo | Redo | Forgotten)}
    dead = {s.body.target for s in whole if isinstance(s.body, Undo)}
    assert said - dead <= shown | _equal_rivals(folded, whole)


def _equal_rivals(folded: Any, whole: Any) -> set[str]:
    """Tips that say word for word the same as what stands are not listed as rivals."""
    standing = [t.body for group in folded.things.values() for t in group]
    return {s.entry.id for s in whole if s.body in standing}


@calm
@given(steps=st.lists(step, max_size=30))
def test_who_has_seen_everything_settles_every_dispute(copies: Any, steps: list[Any]) -> None:
    played_copies = played(copies, steps)
    a = played_copies["a"]
    a.take(*played_copies.values())
    a.add(Seen("plug_colour", 1, "settled"))
    a.add(Facts({"bore": "settled"}))
    folded = fold(a.stored)
    answers = [t for t in folded.of(Seen) if t.body.state == "settled"]
    assert answers
    assert all(t.rivals == () for t in answers)
    assert folded.facts["bore"] == "settled"
    assert folded.disputed == {}


def test_a_writers_number_with_two_contents_is_a_fork_and_refused(copies: Any) -> None:
    a = copies("a")
    a.add(Note("one"))
    twin = copies("a", a.stored)
    a.add(Note("two"))
    twin._random.seed("other")
    twin.add(Note("another two"))
    for pair in ((a, twin), (twin, a)):
        with pytest.raises(Conflict, match=r"two versions.*Nothing was taken in"):
            chain.union(*(c.stored for c in pair))


def test_a_gap_a_changed_entry_and_a_forged_clock_are_refused(copies: Any) -> None:
    a = copies("a")
    for n in range(4):
        a.add(Note(str(n)))
    with pytest.raises(Conflict, match="missing"):
        chain.union(a.stored[:1] + a.stored[2:])
    changed = decode(a.stored[1].raw.replace(b'"1"', b'"7"'))
    with pytest.raises(Conflict, match="two versions"):
        chain.union(a.stored, [changed])
    with pytest.raises(Conflict, match="does not follow"):
        chain.union([a.stored[0], changed, *a.stored[2:]])
    ahead = decode(a.stored[0].raw.replace(b'"clock":1', b'"clock":99999999999999999'))
    with pytest.raises(Conflict, match="clock"):
        chain.union([ahead])
