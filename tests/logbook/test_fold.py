"""What the entries of one or several writers add up to."""

from __future__ import annotations

from typing import Any

from borelog.logbook.entries import (
    Conditions,
    Correct,
    Facts,
    Forgotten,
    Note,
    Opened,
    Prices,
    Reading,
    Redo,
    Seen,
    StillFiled,
    Undo,
    Withdraw,
)
from borelog.logbook.fold import conditions_of, fold


def psi(value: float) -> Reading:
    return Reading("compression_dry", 3, f"{value:g}", (value,), "psi")


def test_a_correction_names_its_entry_and_the_earlier_wording_stays(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    second = a.add(Correct(first.entry.id, psi(119)))
    a.add(Correct(second.entry.id, psi(118)))
    (thing,) = fold(a.stored).of(Reading)
    assert thing.id == first.entry.id
    assert thing.body == psi(118)
    assert [v.body for v in thing.earlier] == [psi(110), psi(119)]
    assert thing.rivals == ()


def test_corrections_made_apart_stand_side_by_side_until_somebody_who_saw_both_settles_it(
    copies: Any,
) -> None:
    a = copies("a")
    first = a.add(psi(110))
    b = a.branch("b")
    a.add(Correct(first.entry.id, psi(119)))
    b.add(Correct(first.entry.id, psi(101)))
    b.take(a)
    (thing,) = fold(b.stored).of(Reading)
    assert {thing.body, *(r.body for r in thing.rivals)} == {psi(119), psi(101)}
    b.add(Correct(thing.version.entry, psi(119)))
    (thing,) = fold(b.stored).of(Reading)
    assert thing.body == psi(119)
    assert thing.rivals == ()
    assert len(thing.earlier) == 3


def test_the_same_correction_made_twice_is_no_dispute(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    b = a.branch("b")
    a.add(Correct(first.entry.id, psi(119)))
    b.add(Correct(first.entry.id, psi(119)))
    a.take(b)
    assert fold(a.stored).of(Reading)[0].rivals == ()


def test_two_screens_that_corrected_the_same_wording_are_rivals_too(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    a.add(Correct(first.entry.id, psi(119)))
    a.add(Correct(first.entry.id, psi(101)))
    (thing,) = fold(a.stored).of(Reading)
    assert (thing.body, [r.body for r in thing.rivals]) == (psi(101), [psi(119)])


def test_a_later_answer_replaces_what_its_writer_had_seen_and_stands_beside_what_it_had_not(
    copies: Any,
) -> None:
    a = copies("a")
    a.add(Seen("plug_colour", 1, "tan"))
    b = a.branch("b")
    a.add(Seen("plug_colour", 1, "black"))
    a.add(Note("a writes more, so that a's clock is ahead"))
    b.add(Seen("plug_colour", 1, "wet"))
    a.take(b)
    (thing,) = fold(a.stored).of(Seen)
    assert {thing.body.state, *(r.body.state for r in thing.rivals)} == {"black", "wet"}
    a.add(Seen("plug_colour", 1, "wet"))
    (thing,) = fold(a.stored).of(Seen)
    assert (thing.body.state, thing.rivals) == ("wet", ())


def test_facts_said_apart_are_disputed_and_the_next_word_settles_them(copies: Any) -> None:
    a = copies("a")
    a.add(Facts({"bore": "86", "stroke": "86"}))
    b = a.branch("b")
    a.add(Facts({"bore": "86.5"}))
    b.add(Facts({"bore": "87"}))
    b.take(a)
    folded = fold(b.stored)
    (other,) = folded.disputed["facts", "bore"]
    assert {folded.facts["bore"], other.body.values["bore"]} == {"86.5", "87"}
    assert folded.facts["stroke"] == "86"
    b.add(Facts({"bore": "86.5"}))
    assert fold(b.stored).facts["bore"] == "86.5"
    assert fold(b.stored).disputed == {}


def test_an_empty_fact_takes_it_back_and_a_correction_of_an_older_entry_counts_by_its_own_time(
    copies: Any,
) -> None:
    a = copies("a")
    first = a.add(Facts({"bore": "86"}))
    a.add(Facts({"bore": "87"}))
    a.add(Correct(first.entry.id, Facts({"bore": "88"})))
    assert fold(a.stored).facts == {"bore": "88"}
    a.add(Facts({"bore": ""}))
    a.add(Prices({"hour": "90"}))
    folded = fold(a.stored)
    assert (folded.facts, folded.prices) == ({}, {"hour": "90"})
    assert folded.sources == {("prices", "hour"): a.stored[-1].entry.id}


def test_a_withdrawal_does_not_take_along_what_its_writer_never_saw(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    b = a.branch("b")
    b.add(Correct(first.entry.id, psi(119)))
    a.add(Note("later clock"))
    a.add(Withdraw(first.entry.id, "wrong hose"))
    a.take(b)
    (thing,) = fold(a.stored).of(Reading)
    assert thing.body == psi(119)
    a.add(Withdraw(thing.id, "wrong hose"))
    assert fold(a.stored).of(Reading) == ()
    assert fold(a.stored).all(Reading)[0].withdrawn == "wrong hose"


def test_a_correction_by_one_who_did_not_know_of_the_withdrawal_stands(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    b = a.branch("b")
    a.add(Withdraw(first.entry.id, "wrong hose"))
    b.add(Note("later clock"))
    b.add(Correct(first.entry.id, psi(119)))
    a.take(b)
    assert [t.body for t in fold(a.stored).of(Reading)] == [psi(119)]


def test_undo_takes_back_only_ones_own_and_redo_brings_it_back(copies: Any) -> None:
    a = copies("a")
    note = a.add(Note("mine"))
    b = a.branch("b")
    b.add(Undo(note.entry.id))
    assert len(fold(b.stored).of(Note)) == 1
    a.add(Undo(note.entry.id))
    assert fold(a.stored).of(Note) == ()
    a.add(Redo(note.entry.id))
    assert len(fold(a.stored).of(Note)) == 1


def test_a_correction_of_a_correction_that_was_undone_is_not_lost(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    wrong = a.add(Correct(first.entry.id, psi(911)))
    b = a.branch("b")
    b.add(Correct(wrong.entry.id, psi(119)))
    a.add(Undo(wrong.entry.id))
    a.take(b)
    (thing,) = fold(a.stored).of(Reading)
    assert thing.body == psi(119)


def test_undoing_a_withdrawal_lets_the_thing_stand_again(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    gone = a.add(Withdraw(first.entry.id, "typo"))
    a.add(Undo(gone.entry.id))
    assert fold(a.stored).of(Reading)[0].body == psi(110)


def test_forgetting_lasts_against_undo_and_ends_when_somebody_who_knew_files_the_picture_again(
    copies: Any,
) -> None:
    a = copies("a")
    still = StillFiled("f" * 64, "a.jpg", 10, "JPEG")
    a.add(still)
    b = a.branch("b")
    gone = a.add(Forgotten("f" * 64, "number plate"))
    a.add(Undo(gone.entry.id))
    b.add(Note("later"))
    b.add(still)
    a.take(b)
    assert fold(a.stored).forgotten == {"f" * 64: "number plate"}
    a.add(still)
    assert fold(a.stored).forgotten == {}


def test_a_clock_of_the_wall_that_jumps_does_not_reorder(copies: Any) -> None:
    a = copies("a")
    a.add(Opened("One"))
    one = a.add(Note("one"))
    two = a.add(Note("two"))
    assert [s.entry.clock for s in a.stored] == [1, 2, 3]
    assert [t.id for t in fold(reversed(a.stored)).of(Note)] == [one.entry.id, two.entry.id]


def test_nothing_recorded_is_an_empty_inspection() -> None:
    assert fold([], "x").id == "x"
    assert fold([], "x").entries == 0


def test_conditions_of_a_test_with_the_cylinders_own_laid_over_them(copies: Any) -> None:
    a = copies("a")
    a.add(Conditions("compression_dry", {"throttle": "open", "battery": "12.4"}))
    a.add(Conditions("compression_dry", {"battery": "11.9"}, cylinder=3))
    a.add(Conditions("compression_dry", {"throttle": "closed"}, series="2"))
    a.add(Conditions("compression_wet", {"throttle": "closed"}))
    whole = {"throttle": "open", "battery": "12.4"}
    folded = fold(a.stored)
    assert conditions_of(folded, "compression_dry") == whole
    assert conditions_of(folded, "compression_dry", 3) == whole | {"battery": "11.9"}
    assert conditions_of(folded, "compression_dry", 4) == whole
    assert conditions_of(folded, "compression_dry", 3, "2") == {"throttle": "closed"}


def test_a_thing_is_found_by_any_of_its_versions(copies: Any) -> None:
    a = copies("a")
    first = a.add(psi(110))
    b = a.branch("b")
    second = a.add(Correct(first.entry.id, psi(119)))
    rival = b.add(Correct(first.entry.id, psi(101)))
    a.take(b)
    folded = fold(a.stored)
    ids = (first.entry.id, second.entry.id, rival.entry.id)
    assert {folded.find(id_) for id_ in ids} == {folded.all(Reading)[0]}
    assert folded.find("nothing") is None
    assert folded.all(Reading)[0].how == ""
