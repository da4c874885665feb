"""Undo and redo on a real journal, without limit and over sessions, against a plain list."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from borelog.logbook import chain
from borelog.logbook.entries import Correct, Note, Redo, Undo
from borelog.logbook.journal import Journal
from borelog.logbook.undoing import own_stacks


class UndoAndRedo(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.journal = Journal.open(self.folder / "logbook")
        self.id = self.journal.create("One", who="ab")
        self.states: list[dict[str, str]] = [{}]
        self.place = 0

    def teardown(self) -> None:
        self.journal.close()
        shutil.rmtree(self.folder)

    def _become(self, state: dict[str, str]) -> None:
        self.states = [*self.states[: self.place + 1], state]
        self.place += 1

    @rule(text=st.text(max_size=5))
    def write(self, text: str) -> None:
        stored = self.journal.append(self.id, Note(text), who="ab")
        self._become(self.states[self.place] | {stored.entry.id: text})

    @precondition(lambda self: self.states[self.place])
    @rule(text=st.text(max_size=5), pick=st.integers(0, 99))
    def correct(self, text: str, pick: int) -> None:
        state = self.states[self.place]
        thing = list(state)[pick % len(state)]
        version = next(r for r in self.journal.inspection(self.id).of(Note) if r.id == thing).version.entry
        self.journal.append(self.id, Correct(version, Note(text)), who="ab")
        self._become(state | {thing: text})

    @rule()
    def undo(self) -> None:
        done, _ = own_stacks(self.journal.entries(self.id), self.journal.writer)
        assert bool(done) == (self.place > 0)
        if done:
            self.journal.append(self.id, Undo(done[-1].entry.id), who="ab")
            self.place -= 1

    @rule()
    def redo(self) -> None:
        _, gone = own_stacks(self.journal.entries(self.id), self.journal.writer)
        assert bool(gone) == (self.place < len(self.states) - 1)
        if gone:
            self.journal.append(self.id, Redo(gone[-1].entry.id), who="ab")
            self.place += 1

    @rule()
    def another_session(self) -> None:
        self.journal.close()
        self.journal = Journal.open(self.folder / "logbook")

    @invariant()
    def shows_what_the_model_shows(self) -> None:
        shown = {r.id: r.body.text for r in self.journal.inspection(self.id).of(Note)}
        assert shown == self.states[self.place]
        assert chain.faults(self.journal.entries(self.id)) == []


UndoAndRedo.TestCase.settings = settings(max_examples=15, stateful_step_count=25, deadline=None)
test_undo_and_redo = UndoAndRedo.TestCase


def test_a_new_entry_closes_the_way_forward(tmp_path: Path) -> None:
    """What was undone before it can no longer be brought back."""
    journal = Journal.open(tmp_path / "logbook")
    id_ = journal.create("One", who="ab")
    first = journal.append(id_, Note("first"), who="ab")
    journal.append(id_, Undo(target=first.entry.id), who="ab")
    _, gone = own_stacks(journal.entries(id_), first.entry.writer)
    assert [s.entry.id for s in gone] == [first.entry.id]
    second = journal.append(id_, Note("second"), who="ab")
    done, gone = own_stacks(journal.entries(id_), first.entry.writer)
    assert (done[-1].entry.id, gone) == (second.entry.id, [])
    journal.close()
