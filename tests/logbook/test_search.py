"""Search over everything recorded."""

from __future__ import annotations

from typing import Any

from borelog.logbook.entries import Codes, Correct, Finding, Note, Reading, Undo, Withdraw, decode
from borelog.logbook.journal import Journal
from borelog.logbook.search import search


def test_every_word_anywhere_in_what_was_recorded(journal: Journal) -> None:
    one = journal.create("Grey estate", who="ab")
    two = journal.create("Blue van", who="cd")
    journal.append(one, Codes("P0303 cylinder 3 misfire"), who="ab")
    journal.append(two, Finding("scuff", 2, own='Größe "0,4" \\ tief'), who="cd")
    journal.append(two, Reading("compression_dry", 2, "142,5", (142.5,), "psi"), who="cd", how="measured")
    hits = search(journal, "misfire p0303")
    assert [(h.inspection, h.name, h.kind, h.state) for h in hits] == [
        (one, "Grey estate", "codes", "stands")
    ]
    assert "P0303" in hits[0].words
    for text in ("GRÖSSE", 'größe "0,4"', "\\ tief", "scuff", "142.5 psi", "142,5", "cd measured"):
        assert {h.inspection for h in search(journal, text)} == {two}, text
    assert search(journal, "estate")[0].kind == "opened"
    for nothing in ("", "  ", "raw", "cylinder_", "kind", "P0303 van"):
        assert search(journal, nothing) == ()


def test_the_state_of_each_find_and_the_limit(journal: Journal) -> None:
    one = journal.create("One", who="ab")
    first = journal.append(one, Note("needle a"), who="ab")
    journal.append(one, Correct(first.entry.id, Note("needle b")), who="ab")
    second = journal.append(one, Note("needle c"), who="ab")
    journal.append(one, Withdraw(second.entry.id, "needle in the wrong stack"), who="ab")
    third = journal.append(one, Note("needle d"), who="ab")
    journal.append(one, Undo(third.entry.id), who="ab")
    states = {h.words.partition("needle ")[2][0]: h.state for h in search(journal, "needle")}
    assert states == {"a": "replaced", "b": "stands", "c": "withdrawn", "i": "stands", "d": "undone"}
    assert len(search(journal, "needle", limit=2)) == 2


def test_kinds_from_a_newer_version_are_searched_too(journal: Journal, copies: Any) -> None:
    a = copies("a" * 32)
    a.add(Note("whiff of coolant"))
    journal.merge([decode(a.stored[0].raw.replace(b'"kind":"note"', b'"kind":"smell"'))])
    assert [h.kind for h in search(journal, "coolant")] == ["smell"]
