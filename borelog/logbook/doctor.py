"""What is wrong with a logbook, in plain sentences, and what can be made again. Looks; never deletes or repairs.

Only what is derived (the list's lines, heads, thumbnails) is ever rebuilt, by ``rebuild`` and on request.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from borelog.logbook import chain, connection, locks, schema, summaries, volumes, writers
from borelog.logbook.entries import Correct, EntryError, StillFiled, Stored, decode
from borelog.logbook.errors import DAMAGE, LogbookError, plainly
from borelog.logbook.fold import fold
from borelog.logbook.inspection import Inspection
from borelog.logbook.merging import stills_of
from borelog.logbook.pictures import DIGEST, Pictures, digest_of_file
from borelog.text import one_line


@dataclass(frozen=True, slots=True)
class Ailment:
    """One thing wrong.

    ``kind`` is a short name ('changed entry', 'missing still' ...); ``what`` says what was found and where; ``repair``
    what a person can do; ``rebuildable`` that ``rebuild`` can make it again; ``still`` the digest concerned.
    """

    kind: str
    what: str
    repair: str
    rebuildable: bool = False
    still: str = ""

    @property
    def sentence(self) -> str:
        """What and repair in one line."""
        return f"{self.what}; {self.repair}"


BACKUP = "keep this copy as it is and take the inspection in again from a pack, a backup or another laptop's logbook"


def examine(folder: Path, *, deep: bool = True) -> tuple[Ailment, ...]:
    """Everything wrong with the logbook in ``folder``; empty: sound.

    Parameters
    ----------
    folder
        A logbook; it may be open elsewhere.
    deep
        Read every still and thumbnail in full; else only look whether they are there with the size noted.
    """
    found: list[Ailment] = []
    kind = volumes.kind_of(folder)
    if kind in volumes.NETWORK:
        found.append(
            Ailment("network drive", f"the logbook is on a network drive ({kind})", "move it to a disk here")
        )
    if warning := volumes.synced(folder):
        what, _, repair = warning.partition("; ")
        found.append(Ailment("synced folder", what, repair))
    try:
        db = connection.connect(folder, create=False, read_only=True)
    except LogbookError as error:
        what, _, repair = str(error).partition("; ")
        return (*found, Ailment("journal", what, repair or BACKUP))
    stills = _Filed()
    with closing(db):
        try:
            budget = connection.Budget(db)
            db.execute("BEGIN")  # one state of the journal for the whole look
            found.extend(_database(db))
            for number, id_, entries in _inspections(db, found):
                budget.renew()
                folded = fold(entries, id_)
                found.extend(_derived(db, number, folded))
                stills.note(number, entries, folded)
            found.extend(_set_back(db, folder))
        except DAMAGE as error:
            what = f"the journal cannot be read through ({one_line(str(error), 80)})"
            return (*found, Ailment("damaged journal", what, BACKUP))
    pictures = Pictures(folder)
    found.extend(_stills(pictures, stills, deep=deep))
    found.extend(_strays(pictures, stills))
    if deep:
        found.extend(_thumbs(pictures))
    return tuple(found)


class _Filed:
    """What the entries say of stills: by digest (inspection, size or -1, name), and which are meant to be gone."""

    def __init__(self) -> None:
        self.filed: dict[str, tuple[int, int, str]] = {}
        self._forgotten: set[str] = set()
        self._standing: set[str] = set()

    def note(self, number: int, entries: list[Stored], folded: Inspection) -> None:
        for s in entries:
            said = s.body.body if isinstance(s.body, Correct) else s.body
            if isinstance(said, StillFiled):
                if said.view_copy:
                    self.filed.setdefault(said.view_copy, (number, -1, said.name + " (view copy)"))
                self.filed[said.sha256] = (number, said.size, said.name)
        self._forgotten |= set(folded.forgotten)
        self._standing |= stills_of(folded)

    @property
    def gone(self) -> set[str]:
        return self._forgotten - self._standing


def _database(db: sqlite3.Connection) -> Iterator[Ailment]:
    said = [row[0] for row in db.execute("PRAGMA integrity_check(5)")]
    if said != ["ok"]:
        yield Ailment(
            "damaged journal", f"SQLite finds the journal damaged ({one_line(said[0], 80)})", BACKUP
        )
    if row := db.execute("PRAGMA foreign_key_check").fetchone():
        yield Ailment("damaged journal", f"a row of {row[0]} belongs to no inspection", BACKUP)
    have = dict(db.execute("SELECT name, sql FROM sqlite_schema WHERE type='trigger'").fetchall())
    with closing(sqlite3.connect(":memory:")) as model:
        schema.lay(model)
        want = dict(model.execute("SELECT name, sql FROM sqlite_schema WHERE type='trigger'").fetchall())
    if lacking := sorted(name for name in want if have.get(name) != want[name]):
        yield Ailment(
            "guard missing",
            f"the guard against changed entries is gone or altered ({', '.join(lacking)})",
            "somebody worked on the file with another program; compare the entries with a pack or backup",
        )


def _inspections(db: sqlite3.Connection, found: list[Ailment]) -> Iterator[tuple[int, str, list[Stored]]]:
    """Every inspection's readable entries; what is wrong with entries is added to ``found`` on the way."""
    for number, id_ in db.execute("SELECT number, id FROM inspection ORDER BY number").fetchall():
        entries: list[Stored] = []
        before = 0
        for row, writer, count, clock, entry, digest, raw in db.execute(
            "SELECT row, writer, number, clock, id, digest, raw FROM entry WHERE inspection=? ORDER BY row",
            (number,),
        ):
            if row <= before:
                raise sqlite3.DatabaseError("its pages lead in a circle")
            before = row
            try:
                stored = decode(raw, digest)
            except EntryError:
                what = f"inspection {number}: row {row} is no entry any more"
                found.append(Ailment("changed entry", what, BACKUP))
                continue
            e = stored.entry
            if (e.inspection, e.writer, e.number, e.clock, e.id) != (id_, writer, count, clock, entry):
                what = f"inspection {number}: row {row} says something else than the entry in it"
                found.append(Ailment("changed entry", what, BACKUP))
            entries.append(stored)
        found.extend(
            Ailment("changed entry", f"inspection {number}: {fault}", BACKUP)
            for fault in chain.faults(entries)
        )
        yield number, id_, entries


def _derived(db: sqlite3.Connection, number: int, folded: Inspection) -> Iterator[Ailment]:
    again = "it can be made again from the entries"
    line = db.execute("SELECT head, entries, name FROM summary WHERE inspection=?", (number,)).fetchone()
    if summaries.heads(db, number) != folded.heads:
        yield Ailment(
            "wrong head", f"inspection {number}: the noted ends of its chains are not right", again, True
        )
    elif line != (chain.head_digest(folded.heads), folded.entries, folded.name):
        yield Ailment("wrong line", f"inspection {number}: its line in the list is not right", again, True)


def _set_back(db: sqlite3.Connection, folder: Path) -> Iterator[Ailment]:
    if said := writers.set_back_words(db, folder):
        what, _, repair = said.partition("; ")
        yield Ailment("set back", what, repair)


def _stills(pictures: Pictures, stills: _Filed, *, deep: bool) -> Iterator[Ailment]:
    gone = stills.gone
    for sha256, (number, size, name) in stills.filed.items():
        if sha256 in gone:
            continue
        here = f"inspection {number}: still {sha256[:12]} ({one_line(name, 60)})"
        held = pictures.find(sha256)
        if held is None:
            repair = (
                "filing the same picture again, or taking in a pack or backup that holds it, brings it back"
            )
            yield Ailment("missing still", f"{here} is missing", repair, still=sha256)
            continue
        try:
            right = held.stat().st_size == size or size < 0
            right = right and (not deep or digest_of_file(held) == sha256)
        except OSError:
            right = False
        if not right:
            repair = "set the file aside under another name and file the picture again, or copy it from a pack or backup"
            yield Ailment("changed still", f"{here} is not the picture that was filed", repair, still=sha256)


def _strays(pictures: Pictures, stills: _Filed) -> Iterator[Ailment]:
    gone = stills.gone
    for path in pictures.files():
        shown = one_line(str(path.relative_to(pictures.folder)), 120)
        sha256 = path.name.partition(".")[0]
        if path.name.endswith(".part"):
            yield Ailment(
                "left over", f"{shown} is a picture cut off while it was copied", "it can be deleted by hand"
            )
        elif sha256 in gone:
            repair = "forget it once more, or delete the file by hand"
            yield Ailment(
                "not gone", f"{shown} was to be forgotten but its bytes are still there", repair, still=sha256
            )
        elif not DIGEST.fullmatch(sha256) or sha256 not in stills.filed:
            repair = "file it with 'borelog add', or move it away by hand"
            yield Ailment("stray still", f"{shown} belongs to no inspection", repair, still=sha256)


def _thumbs(pictures: Pictures) -> Iterator[Ailment]:
    from PIL import Image

    for path in pictures.thumb_files():
        try:
            with Image.open(path) as image:
                image.load()
        except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
            shown = one_line(str(path.relative_to(pictures.folder)), 120)
            repair = "it can be made again from the still"
            yield Ailment(
                "broken thumbnail", f"{shown} cannot be shown", repair, True, path.name.partition(".")[0]
            )


def rebuild(
    folder: Path, ailments: tuple[Ailment, ...], make: Callable[[Path], bytes | None] | None = None
) -> int:
    """Make again what is derived: heads, lines of the list, and thumbnails; return how many things were made.

    Parameters
    ----------
    make
        Makes a thumbnail (JPEG bytes, None if the still is no picture) from a still's path; without it thumbnails stay
        as they are.

    Raises
    ------
    Busy
        If anybody has the logbook open.
    """
    wanted = [a for a in ailments if a.rebuildable]
    if not wanted:
        return 0
    done = 0
    with locks.alone(folder, "rebuilding"):
        if any(not a.still for a in wanted):
            with plainly(folder), closing(connection.connect(folder, create=False, read_only=False)) as db:
                db.execute("BEGIN IMMEDIATE")
                for number, id_, entries in list(_inspections(db, [])):
                    done += _relay(db, number, id_, entries)
                db.execute("COMMIT")
        pictures = Pictures(folder)
        for a in wanted:
            held = pictures.find(a.still) if a.still and make is not None else None
            data = make(held) if held is not None and make is not None else None
            done += int(data is not None and pictures.set_thumb(a.still, data) is not None)
    return done


def _relay(db: sqlite3.Connection, number: int, id_: str, entries: list[Stored]) -> int:
    """Heads and line of one inspection, from its entries."""
    folded = fold(entries, id_)
    clocks = {s.entry.writer: s.entry.clock for s in sorted(entries, key=lambda s: s.order)}
    line = db.execute("SELECT head, entries, name FROM summary WHERE inspection=?", (number,)).fetchone()
    head = chain.head_digest(folded.heads)
    if summaries.heads(db, number) == folded.heads and line == (head, folded.entries, folded.name):
        return 0
    db.execute("DELETE FROM head WHERE inspection=?", (number,))
    db.executemany(
        "INSERT INTO head (inspection, writer, number, clock, digest) VALUES (?, ?, ?, ?, ?)",
        [(number, w, n, clocks[w], d) for w, (n, d) in folded.heads.items()],
    )
    last = db.execute("SELECT coalesce(max(row), 0) FROM entry WHERE inspection=?", (number,)).fetchone()[0]
    db.execute("DELETE FROM summary WHERE inspection=?", (number,))
    db.execute(
        "INSERT INTO summary (inspection, head, last, entries, name, demo, opened, changed) VALUES (?,?,?,?,?,?,?,?)",
        (number, head, last, folded.entries, folded.name, folded.demo, folded.opened_at, folded.changed_at),
    )
    return 1
