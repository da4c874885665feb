"""Two copies of an inspection become one again: the union of their entries, nothing lost, nothing changed."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from borelog.logbook import chain, connection
from borelog.logbook.entries import EntryError, StillFiled, Stored, decode
from borelog.logbook.errors import Conflict, LogbookError, NotUnderstood
from borelog.logbook.fold import fold
from borelog.logbook.summaries import SHOP
from borelog.text import one_line

if TYPE_CHECKING:
    from borelog.logbook.inspection import Inspection
    from borelog.logbook.journal import Journal

_NAME = re.compile(r"[0-9A-Za-z_-]{1,64}")


@dataclass(frozen=True, slots=True)
class Merged:
    """What came in: entries added by inspection, inspections that are new here, and what was refused, with why.

    ``stills`` counts files copied; ``missing`` names stills that the other side had not either; ``prices_left`` says that
    the other logbook has prices of its own, which stay there.
    """

    added: dict[str, int] = field(default_factory=dict)
    fresh: tuple[str, ...] = ()
    refused: dict[str, str] = field(default_factory=dict)
    stills: int = 0
    missing: tuple[str, ...] = ()
    prices_left: bool = False


def by_inspection(stored: Iterable[Stored]) -> dict[str, list[Stored]]:
    """Entries by inspection; names that no honest copy writes are refused.

    Raises
    ------
    Conflict
        For an id, writer or inspection that is no plain identifier.
    """
    out: dict[str, list[Stored]] = {}
    for given in stored:
        s = decode(given.raw)
        for name in (s.entry.inspection, s.entry.writer, s.entry.id):
            if not _NAME.fullmatch(name):
                raise Conflict(
                    f"an entry carries the name {one_line(repr(name), 80)}, which no borelog writes; refused"
                )
        out.setdefault(s.entry.inspection, []).append(s)
    return out


def refuse_known_ids(db: sqlite3.Connection, news: Iterable[Stored]) -> None:
    """Raise where a new entry carries the id of one already here.

    Raises
    ------
    Conflict
        Names the entry.
    """
    for s in news:
        if db.execute("SELECT 1 FROM entry WHERE id=?", (s.entry.id,)).fetchone():
            raise Conflict(
                f"entry {s.entry.id[:12]} is here already with other content; nothing was taken in. Compare the two copies"
            )


def stills_of(inspection: Inspection) -> set[str]:
    """Digests of all stills an inspection needs, view copies included, without the forgotten ones."""
    filed = inspection.all(StillFiled)
    wanted = {r.body.sha256 for r in filed} | {r.body.view_copy for r in filed if r.body.view_copy}
    gone = {
        d for r in filed if r.body.sha256 in inspection.forgotten for d in (r.body.sha256, r.body.view_copy)
    }
    return wanted - gone - set(inspection.forgotten)


def merge_logbook(journal: Journal, folder: Path) -> Merged:
    """Take in everything of the logbook in ``folder``; see ``Journal.merge_logbook``."""
    from borelog.logbook.journal import Journal as _Journal

    if folder.resolve() == journal.folder.resolve():
        raise LogbookError("that is this logbook itself; name the other one")
    added: dict[str, int] = {}
    fresh: list[str] = []
    refused: dict[str, str] = {}
    missing: set[str] = set()
    copied = 0
    with _Journal.open(folder, read_only=True) as other:
        if wrong := connection.sound(other._db):
            raise NotUnderstood(
                f"the other logbook is damaged ({wrong}); nothing was taken in. Restore it from a backup"
            )
        own = set(journal.ids())
        theirs = other.ids()
        for id_ in theirs:
            # Another shop's hour is not yours: its prices would count in every inspection here.
            if id_ == SHOP:
                continue
            try:
                entries = other.entries(id_)
                held = journal.entries(id_) if id_ in own else []
                wanted = stills_of(fold(chain.union(held, entries), id_))
                for sha256 in sorted(wanted):
                    if journal.pictures.find(sha256) is None:
                        path = other.pictures.find(sha256)
                        if path is not None and journal.pictures.put_copy(path, sha256):
                            copied += 1
                        else:
                            missing.add(sha256)
                merged = journal.merge(entries)
            except (Conflict, EntryError) as error:
                refused[id_] = str(error)
                continue
            added |= merged.added
            fresh.extend(merged.fresh)
    return Merged(added, tuple(fresh), refused, copied, tuple(sorted(missing)), SHOP in theirs)
