"""The journal on disk: any process appends, nothing is ever changed, and 'saved' means on the medium.

``Journal.append`` returns after SQLite's commit with synchronous EXTRA. Several processes may hold one logbook open:
each write takes ``BEGIN IMMEDIATE``, reads its own head and inserts; readers follow by ``version``.
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from borelog.logbook import chain, connection, durable, summaries, writers
from borelog.logbook.entries import Entry, Known, Opened, Scalar, Stored, decode, digest_of, encode
from borelog.logbook.errors import DiskFailed, LogbookError, plain, plainly
from borelog.logbook.fold import fold
from borelog.logbook.inspection import Inspection
from borelog.logbook.pictures import Pictures
from borelog.logbook.summaries import Said, Summary
from borelog.text import one_line

KEPT = 12
"""Inspections whose entries stay in memory."""


def now() -> str:
    """Local time with offset, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


class _Held:
    """Entries of one inspection in memory, and their fold."""

    __slots__ = ("entries", "folded", "last")

    def __init__(self) -> None:
        self.entries: list[Stored] = []
        self.last = 0
        self.folded: Inspection | None = None


class Journal:
    """A logbook opened for reading and writing. Use as a context manager, or ``close`` it."""

    def __init__(self, folder: Path, db: sqlite3.Connection, *, read_only: bool) -> None:
        self.folder = folder
        self.read_only = read_only
        self.pictures = Pictures(folder)
        self.unsaved: list[tuple[str, Known, str, str]] = []
        self._db = db
        self._own = 0
        self._writer = ""
        self._mark: writers.Mark | None = None
        self._stopped = ""
        self._held: dict[int, _Held] = {}
        self._guard = threading.RLock()

    @classmethod
    def open(cls, folder: Path, create: bool = True, read_only: bool = False) -> Journal:
        """Open the logbook in ``folder``; made where there is none and ``create`` is set.

        Raises
        ------
        LogbookError
            Missing, unreadable, read-only, of another program, newer, on a network drive or held for exclusive work.
        """
        folder = Path(folder)
        if create and not read_only and not (folder / connection.FILE).exists():
            with plainly(folder):
                durable.make_folder(folder)
        return cls(
            folder, connection.connect(folder, create=create, read_only=read_only), read_only=read_only
        )

    @property
    def writer(self) -> str:
        """The id under which this copy of the logbook writes ('' when read-only)."""
        if not self._writer and not self.read_only:
            with self._writing():
                self._become_writer()
        return self._writer

    def create(
        self,
        name: str,
        *,
        who: str,
        demo: bool = False,
        earlier: str = "",
        at: str | datetime | None = None,
    ) -> str:
        """Begin an inspection; return its id."""
        id_ = uuid.uuid4().hex
        self._append(id_, [(Opened(name, demo, earlier), "")], who, at, new=True)
        return id_

    def append(
        self, inspection: str, body: Known, *, who: str, how: str = "", at: str | datetime | None = None
    ) -> Stored:
        """Record one body. When this returns, the entry is on the disk.

        Raises
        ------
        LogbookError
            One plain sentence; nothing of it was recorded. The body is then in ``unsaved``.
        """
        return self._append(inspection, [(body, how)], who, at)[0]

    def append_many(
        self,
        inspection: str,
        bodies: Iterable[tuple[Known, str]],
        *,
        who: str,
        at: str | datetime | None = None,
    ) -> tuple[Stored, ...]:
        """Record several (body, how) in one transaction: all of them or none."""
        return self._append(inspection, list(bodies), who, at)

    def _append(
        self,
        inspection: str,
        bodies: list[tuple[Known, str]],
        who: str,
        at: str | datetime | None,
        new: bool = False,
    ) -> tuple[Stored, ...]:
        if not bodies:
            return ()
        when = at.isoformat(timespec="seconds") if isinstance(at, datetime) else at or now()
        try:
            with self._writing():
                number = self._new_number(inspection) if new else self._number(inspection)
                stored = self._chained(number, inspection, bodies, who, when)
                self._insert(number, stored)
                opened = next((b for b, _ in bodies if isinstance(b, Opened)), None) if new else None
                summaries.touch(
                    self._db,
                    number,
                    name=opened.name if opened else None,
                    demo=bool(opened and opened.demo),
                    opened=when,
                    changed=when,
                )
        except LogbookError:
            self.unsaved.extend((inspection, body, who, how) for body, how in bodies)
            raise
        return tuple(stored)

    def _chained(
        self, number: int, inspection: str, bodies: list[tuple[Known, str]], who: str, when: str
    ) -> list[Stored]:
        self._become_writer()
        clock, own, prev, others = 0, 0, "", {}
        for writer, count, high, digest in self._db.execute(
            "SELECT writer, number, clock, digest FROM head WHERE inspection=?", (number,)
        ):
            clock = max(clock, high)
            if writer == self._writer:
                own, prev = count, digest
            else:
                others[writer] = count
        seen = self._news(number, others, own)
        out: list[Stored] = []
        for step, (body, how) in enumerate(bodies, 1):
            entry = Entry(
                id=uuid.uuid4().hex,
                inspection=inspection,
                writer=self._writer,
                number=own + step,
                prev=prev,
                clock=clock + step,
                at=when,
                who=who,
                how=how,
                seen=seen,
                body=body,
            )
            raw = encode(entry)
            prev, seen = digest_of(raw), {}
            out.append(Stored(entry, body, raw, prev))
        return out

    def _news(self, number: int, others: dict[str, int], own: int) -> dict[str, int]:
        """What came in from other writers since the writer's previous entry."""
        if not others:
            return {}
        known: dict[str, int] = {}
        for s in self._load(number).entries:
            if s.entry.writer == self._writer and s.entry.number <= own:
                known.update({w: max(n, known.get(w, 0)) for w, n in s.entry.seen.items()})
        return {w: n for w, n in others.items() if n > known.get(w, 0)}

    def _insert(self, number: int, stored: Iterable[Stored]) -> None:
        rows = [
            (number, s.entry.writer, s.entry.number, s.entry.clock, s.entry.id, s.digest, s.raw)
            for s in stored
        ]
        self._db.executemany(
            "INSERT INTO entry (inspection, writer, number, clock, id, digest, raw) VALUES (?, ?, ?, ?, ?, ?, ?)",
            rows,
        )
        self._db.executemany(
            """INSERT INTO head (inspection, writer, number, clock, digest) VALUES (?, ?, ?, ?, ?)
            ON CONFLICT (inspection, writer) DO UPDATE SET number=excluded.number, clock=excluded.clock,
            digest=excluded.digest WHERE excluded.number > head.number""",
            [(n, writer, count, clock, digest) for n, writer, count, clock, _, digest, _ in rows],
        )

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One write transaction; on any error nothing of it stays, and the error is one plain sentence."""
        with self._guard:
            if self.read_only:
                raise LogbookError(
                    f"the logbook {one_line(str(self.folder), 200)} is open for reading only; nothing was saved"
                )
            if self._stopped:
                raise DiskFailed(self._stopped)
            try:
                self._db.execute("BEGIN IMMEDIATE")
                yield
                self._db.execute("COMMIT")
            except BaseException as error:
                self._roll_back()
                if not isinstance(error, sqlite3.Error | OSError):
                    raise
                told = plain(error, self.folder)
                if isinstance(told, DiskFailed):
                    self._stopped = str(told)
                raise told from error
            self._own += 1
            if self._writer and self._mark is None:
                self._mark = writers.Mark(self._writer)
            if self._mark is not None:
                self._mark.note(writers.written(self._db))

    def _roll_back(self) -> None:
        self._writer = self._writer if self._mark is not None else ""
        try:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
        except sqlite3.Error:
            self._stopped = (
                "the disk failed while a change was taken back; close borelog and run 'borelog doctor'"
            )

    def _become_writer(self) -> None:
        if not self._writer:
            self._writer = writers.writer_for(self._db, self.folder / connection.FILE)

    def _new_number(self, inspection: str) -> int:
        return int(self._db.execute("INSERT INTO inspection (id) VALUES (?)", (inspection,)).lastrowid or 0)

    def _number(self, inspection: str) -> int:
        row = self._db.execute("SELECT number FROM inspection WHERE id=?", (inspection,)).fetchone()
        if row is None:
            raise LogbookError(
                f"no inspection {one_line(inspection, 40)} in this logbook; 'borelog' lists them"
            )
        return int(row[0])

    def _load(self, number: int) -> _Held:
        held = self._held.pop(number, None) or _Held()
        self._held[number] = held
        while len(self._held) > KEPT:
            del self._held[next(iter(self._held))]
        rows = self._db.execute(
            "SELECT row, raw FROM entry WHERE inspection=? AND row>? ORDER BY row", (number, held.last)
        ).fetchall()
        if rows and self._db.in_transaction:
            fresh = _Held()
            fresh.entries = held.entries + [decode(raw) for _, raw in rows]
            return fresh
        if rows:
            held.entries = held.entries + [decode(raw) for _, raw in rows]
            held.last, held.folded = rows[-1][0], None
        return held

    def entries(self, inspection: str) -> list[Stored]:
        """All entries of an inspection in order of arrival here."""
        with self._guard, plainly(self.folder):
            return list(self._load(self._number(inspection)).entries)

    def inspection(self, inspection: str) -> Inspection:
        """The inspection as it stands; folded again only after something came in."""
        with self._guard, plainly(self.folder):
            held = self._load(self._number(inspection))
            if held.folded is None:
                held.folded = fold(held.entries, inspection)
            return held.folded

    def ids(self) -> list[str]:
        """Ids of all inspections by short number."""
        with self._guard, plainly(self.folder):
            return [row[0] for row in self._db.execute("SELECT id FROM inspection ORDER BY number")]

    def number(self, inspection: str) -> int:
        """The short number of an inspection in this logbook."""
        with self._guard, plainly(self.folder):
            return self._number(inspection)

    def head(self, inspection: str) -> str:
        """The digest of the state of an inspection's journal."""
        with self._guard, plainly(self.folder):
            return chain.head_digest(summaries.heads(self._db, self._number(inspection)))

    def summaries(self, tables: str | None = None) -> list[Summary]:
        """All inspections, the one last written to first.

        Parameters
        ----------
        tables
            Digest of the tables in use; what was said with others counts as nothing said. None: any.
        """
        with self._guard, plainly(self.folder):
            return summaries.listed(self._db, tables)

    def say(self, inspection: str, said: Said, *, head: str, tables: str = "") -> None:
        """Keep what an act says of an inspection at ``head``; a cache, so a failure to keep it is no error."""
        if self.read_only or self._stopped:
            return
        with self._guard:
            try:
                with self._writing():
                    summaries.say(self._db, self._number(inspection), head, tables, said)
            except LogbookError:
                return

    def find(self, text: str) -> str:
        """The id of the inspection meant by a short number, a unique part of its name, or 'last'.

        Raises
        ------
        LogbookError
            None or several fit; the sentence names them.
        """
        rows = self.summaries()
        if not rows:
            raise LogbookError("this logbook is empty; begin with 'borelog new NAME'")
        wanted = text.strip().casefold()
        if wanted == "last":
            return rows[0].id
        for fits in (
            [s for s in rows if wanted.isdecimal() and s.number == int(wanted)],
            [s for s in rows if s.id == wanted],
            [s for s in rows if s.name.casefold() == wanted],
            [s for s in rows if wanted and wanted in s.name.casefold()],
        ):
            if len(fits) == 1:
                return fits[0].id
            if fits:
                names = ", ".join(f"{s.number} {one_line(s.name, 40)}" for s in fits[:6])
                raise LogbookError(
                    f"{one_line(text, 40)!r} fits several inspections ({names}); say the number"
                )
        raise LogbookError(
            f"no inspection {one_line(text, 40)!r}; 'borelog' lists them, 'last' is the latest"
        )

    def version(self) -> int:
        """A number that changes whenever anybody wrote to the logbook."""
        with self._guard, plainly(self.folder):
            return int(self._db.execute("PRAGMA data_version").fetchone()[0]) * (1 << 32) + self._own

    def whereabouts(self) -> dict[str, Scalar]:
        """Where the person is at (inspection, cylinder, place ...), as the screens last noted it; {} if nowhere."""
        try:
            found: Any = json.loads((self.folder / "whereabouts.json").read_bytes())
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}

    def set_whereabouts(self, where: dict[str, Scalar]) -> None:
        """Note where the person is at. Unsynced on purpose: it is written at every step of the cursor."""
        if self.read_only:
            return
        part = self.folder / f".whereabouts.{os.getpid()}.part"
        try:
            part.write_text(json.dumps(where), "utf-8")
            os.replace(part, self.folder / "whereabouts.json")
        except OSError:
            return

    def close(self) -> None:
        """Let go of the logbook."""
        with self._guard:
            if self._mark is not None:
                self._mark.close()
                self._mark = None
            self._db.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
