"""Enter, correct, withdraw, undo and redo."""

from __future__ import annotations

from pathlib import Path

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench
from borelog.acts.entering import ActError
from borelog.acts.facts import FactError, set_facts
from borelog.acts.packing import hand_over
from borelog.acts.typed import typed_reading
from borelog.engine.engine import EngineError
from borelog.logbook.described import engine_of
from borelog.logbook.entries import CallTaken, Note, Reading


@pytest.fixture
def four(bench: Bench) -> str:
    """An in-line four."""
    return entering.open_inspection(bench, "Grey wagon", facts={"layout": "inline 4"})


def test_a_name_is_enough_to_begin(bench: Bench) -> None:
    """All but the name may come later."""
    id_ = entering.open_inspection(bench, "anything")
    assert bench.inspection(id_).name == "anything"
    assert engine_of(bench.inspection(id_)) is None


def test_an_empty_name_is_refused(bench: Bench) -> None:
    """An inspection without a name could not be found again."""
    with pytest.raises(ActError, match="needs a name"):
        entering.open_inspection(bench, "  ")


def test_undo_and_redo_say_what_they_did(bench: Bench, four: str) -> None:
    """Each step is named in words and the state follows."""
    entering.enter(bench, four, typed_reading("compression dry", 3, "68"))
    assert entering.undo(bench, four) == "compression dry, cylinder 3: 68"
    assert not bench.inspection(four).of(Reading)
    assert entering.redo(bench, four) == "compression dry, cylinder 3: 68"
    assert [r.body.values for r in bench.inspection(four).of(Reading)] == [(68.0,)]


def test_a_new_entry_closes_the_way_forward(bench: Bench, four: str) -> None:
    """After undo and something new there is nothing to redo."""
    entering.enter(bench, four, Note(text="one"))
    entering.undo(bench, four)
    entering.enter(bench, four, Note(text="two"))
    with pytest.raises(ActError, match="nothing to redo"):
        entering.redo(bench, four)


def test_undo_leaves_what_a_pack_was_made_with(bench: Bench, four: str, tmp_path: Path) -> None:
    """After a pack the last thing undone is what was entered before it, not the call that is in the pack."""
    entering.enter(bench, four, typed_reading("compression dry", 3, "68"))
    hand_over(bench, four, tmp_path)
    assert entering.undo(bench, four) == "compression dry, cylinder 3: 68"
    assert [r.body.why for r in bench.inspection(four).of(CallTaken)] == ["handed over"]


def test_a_correction_keeps_what_was_said(bench: Bench, four: str) -> None:
    """Nothing recorded is overwritten."""
    first = entering.enter(bench, four, typed_reading("compression dry", 3, "86"))
    entering.correct(bench, four, first.entry.id, typed_reading("compression dry", 3, "68"))
    (now,) = bench.inspection(four).of(Reading)
    assert now.body.values == (68.0,)
    assert [v.body.values for v in now.earlier] == [(86.0,)]


def test_a_correction_must_say_the_same_kind_of_thing(bench: Bench, four: str) -> None:
    """A reading cannot become a note."""
    first = entering.enter(bench, four, typed_reading("compression dry", 3, "86"))
    with pytest.raises(ActError, match="same kind"):
        entering.correct(bench, four, first.entry.id, Note(text="x"))


def test_withdrawn_stays_in_the_journal(bench: Bench, four: str) -> None:
    """A withdrawal is an entry too."""
    first = entering.enter(bench, four, Note(text="wrong car"))
    entering.withdraw(bench, four, first.entry.id, "other car")
    inspection = bench.inspection(four)
    assert not inspection.of(Note)
    assert inspection.all(Note)[0].withdrawn == "other car"


def test_facts_are_checked_together_before_anything_is_entered(bench: Bench, four: str) -> None:
    """A firing order of another length is refused and nothing is recorded."""
    with pytest.raises(EngineError):
        set_facts(bench, four, {"firing order": "1-2-3-4-5-6"})
    assert "firing_order" not in bench.inspection(four).facts


@pytest.mark.parametrize(
    ("name", "typed", "part"),
    [("colour", "red", "no fact"), ("fuel", "steam", "none of"), ("bore", "-3", "below zero")],
)
def test_a_fact_that_cannot_be_says_what_can(
    bench: Bench, four: str, name: str, typed: str, part: str
) -> None:
    """One line, with the repair."""
    with pytest.raises(FactError, match=part):
        set_facts(bench, four, {name: typed})
