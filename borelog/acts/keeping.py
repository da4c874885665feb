"""Lists over the record: inspections, the journal in words, search, one entry by the beginning of its id."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from borelog.acts.bench import Bench
from borelog.logbook.entries import Correct, Redo, Undo, Withdraw
from borelog.logbook.inspection import Inspection, Recorded
from borelog.logbook.summaries import Said, Summary
from borelog.text import BorelogError, one_line

# The list is the first thing the screens show: what only the other lists need is imported where it is used.


class KeepingError(BorelogError):
    """Nothing, or more than one thing, is recorded under what was named."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Row:
    """One inspection in the list.

    ``open`` counts the cylinders with too little evidence, -1 where nothing was said yet; ``taken_in`` says from whom it
    came, where it is another's word and read-only: 'taken in from Ann'.
    """

    number: int
    id: str
    name: str
    demo: bool
    engine: str
    worst: str
    call: str
    open: int
    opened_at: str
    changed_at: str
    entries: int
    taken_in: str = ""


@dataclass(frozen=True, slots=True)
class JournalRow:
    """One entry in words. ``undone`` says that it does not stand any more."""

    id: str
    at: str
    who: str
    how: str
    kind: str
    words: str
    target: str


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found by search."""

    inspection: str
    number: int
    name: str
    entry: str
    words: str
    state: str


def listed(bench: Bench) -> list[Row]:
    """All inspections, the one changed last first; what the cache has not said yet is worked out and kept."""
    from borelog.acts.judging import say_summary, tables_of

    return [
        _row(s, s.said or say_summary(bench, s.id)) for s in bench.journal.summaries(tables_of(bench).digest)
    ]


def listed_at_once(bench: Bench) -> list[Row]:
    """The same as last said, with whatever tables, and nothing worked out: ``open`` is -1 where nothing was said yet."""
    return [_row(s, s.said or Said(open=-1)) for s in bench.journal.summaries()]


def _row(s: Summary, said: Said) -> Row:
    taken = f"taken in from {one_line(s.told_by, 60)}" if s.told_by else ""
    return Row(
        s.number, s.id, one_line(s.name, 60), s.demo, said.engine, said.worst, said.call, said.open, s.opened, s.changed, s.entries, taken
    )  # fmt: skip


def journal_rows(bench: Bench, inspection_id: str) -> list[JournalRow]:
    """Every entry of an inspection in order, corrections, undo and withdrawals included."""
    from borelog.acts.words import body_words

    rows = []
    for s in bench.journal.entries(inspection_id):
        body = s.body
        target = body.target if isinstance(body, Correct | Withdraw | Undo | Redo) else ""
        kind = body.kind if hasattr(body, "kind") else type(body).__name__.lower()
        rows.append(
            JournalRow(s.entry.id, s.entry.at, s.entry.who, s.entry.how, kind, body_words(body, 200), target)
        )
    return rows


def entry_named(inspection: Inspection, text: str) -> Recorded[Any]:
    """The recorded thing whose id begins with ``text`` (at least four characters).

    Raises
    ------
    KeepingError
        If none or several do.
    """
    wanted = text.strip().lower()
    if len(wanted) < 4:
        raise KeepingError("give at least four characters of the entry's id; 'borelog journal' lists them")
    hits = [
        r
        for group in inspection.things.values()
        for r in group
        if any(v.entry.startswith(wanted) for v in (r.version, *r.earlier, *r.rivals))
        or r.id.startswith(wanted)
    ]
    if len(hits) == 1:
        return hits[0]
    what = "several entries begin" if hits else "no entry begins"
    raise KeepingError(f"{what} with {one_line(text, 40)!r}; 'borelog journal' lists the ids")


def search(bench: Bench, words: str) -> list[Hit]:
    """Everything recorded, in any inspection, that holds all the words (any case), the latest first."""
    from borelog.logbook.search import search as found

    return [
        Hit(
            h.inspection,
            bench.journal.number(h.inspection),
            one_line(h.name, 60),
            h.entry,
            one_line(h.words, 160),
            h.state,
        )
        for h in found(bench.journal, words)
    ]
