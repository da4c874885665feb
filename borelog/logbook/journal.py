"""The journal on disk: any process appends, nothing is ever changed, and 'saved' means on the medium.

``Journal.append`` returns after SQLite's commit with synchronous EXTRA. Several processes may hold one logbook open:
each write takes ``BEGIN IMMEDIATE``, reads its own head and inserts; readers follow by ``version``.
"""

from __future__ import annotations

import json
import os
import sqlite3
import uuid
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from borelog.logbook import (
    backup,
    chain,
    connection,
    durable,
    forgetting,
    locks,
    merging,
    migrating,
    schema,
    summaries,
    volumes,
    writers,
)
from borelog.logbook.entries import (
    Correct,
    Entry,
    Forgotten,
    Known,
    Opened,
    Redo,
    Scalar,
    Stored,
    Undo,
    Withdraw,
    digest_of,
    encode,
)
from borelog.logbook.errors import DAMAGE, DiskFailed, LogbookError, plain, plainly
from borelog.logbook.fold import fold
from borelog.logbook.reader import WHEREABOUTS, Reader
from borelog.logbook.summaries import Said
from borelog.text import one_line


def now() -> str:
    """Local time with offset, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def _may_rename(body: Known) -> bool:
    return isinstance(body, Opened | Undo | Redo | Withdraw) or (
        isinstance(body, Correct) and isinstance(body.body, Opened)
    )


class Journal(Reader):
    """A logbook opened for reading and writing. Use as a context manager, or ``close`` it."""

    def __init__(
        self, folder: Path, db: sqlite3.Connection, hold: locks.Hold | None, *, read_only: bool
    ) -> None:
        super().__init__(folder, db)
        self.read_only = read_only
        self.unsaved: list[tuple[str, Known, str, str]] = []
        with plainly(folder):
            self.warnings = tuple(filter(None, [volumes.synced(folder), writers.set_back_words(db, folder)]))
        self._hold = hold
        self._writer = ""
        self._mark: writers.Mark | None = None
        self._stopped = ""

    @classmethod
    def open(cls, folder: Path, create: bool = True, read_only: bool = False) -> Journal:
        """Open the logbook in ``folder``; made where there is none and ``create`` is set.

        Raises
        ------
        LogbookError
            Missing, unreadable, read-only, of another program, newer, on a network drive or held for exclusive work.
        """
        folder = Path(folder)
        volumes.refuse_network(folder)
        if create and not read_only and not (folder / connection.FILE).exists():
            with plainly(folder):
                durable.make_folder(folder)
        elif not (folder / connection.FILE).exists():
            connection.connect(folder, create=False, read_only=read_only)
        hold = locks.share(folder)
        db: sqlite3.Connection | None = None
        try:
            db = connection.connect(folder, create=create, read_only=read_only)
            if not read_only and connection.version_of(db) < schema.VERSION:
                if hold is not None:
                    hold.release()
                migrating.migrate(folder, db)
                hold = locks.share(folder)
            return cls(folder, db, hold, read_only=read_only)
        except BaseException:
            if hold is not None:
                hold.release()
            if db is not None:
                db.close()
            raise

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
        id_: str | None = None,
    ) -> str:
        """Begin an inspection; return its id (``id_`` names one fixed beforehand, for what counts for a whole logbook)."""
        id_ = id_ or uuid.uuid4().hex
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
                stored = self._record(number, inspection, bodies, who, when)
        except LogbookError as error:
            if error.unsaved:
                self.unsaved.extend((inspection, body, who, how) for body, how in bodies)
            raise
        return tuple(stored)

    def _record(
        self, number: int, inspection: str, bodies: list[tuple[Known, str]], who: str, when: str
    ) -> list[Stored]:
        """Chain and insert bodies inside the running transaction."""
        stored = self._chained(number, inspection, bodies, who, when)
        renames = any(_may_rename(body) for body, _ in bodies)
        before = self._load(number).entries if renames else []
        self._insert(number, stored)
        self._touch(number, len(stored), when, [*before, *stored] if renames else None)
        return stored

    def _touch(self, number: int, added: int, changed: str, entries: list[Stored] | None) -> None:
        """Keep the list's line right; ``entries`` where the name may have become another."""
        folded = fold(entries) if entries is not None else None
        summaries.touch(
            self._db,
            number,
            added=added,
            name=folded.name if folded else None,
            demo=bool(folded and folded.demo),
            opened=folded.opened_at if folded else "",
            changed=folded.changed_at if folded else changed,
        )

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
        """Counts of those other writers from whom something came in after the writer's previous entry."""
        if not others:
            return {}
        since = self._db.execute(
            "SELECT coalesce(max(row), 0) FROM entry WHERE inspection=? AND writer=? AND number=?",
            (number, self._writer, own),
        ).fetchone()[0]
        fresh = self._db.execute(
            "SELECT DISTINCT writer FROM entry WHERE inspection=? AND row>?", (number, since)
        )
        return {writer: others[writer] for (writer,) in fresh if writer in others}

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

    def merge(self, stored: Iterable[Stored]) -> merging.Merged:
        """Take in entries written elsewhere, of one or several inspections: all of them, or none.

        Raises
        ------
        Conflict
            If the histories do not fit together; the sentence says where.
        """
        incoming = merging.by_inspection(stored)
        added: dict[str, int] = {}
        fresh: list[str] = []
        with self._writing():
            for id_, entries in incoming.items():
                row = self._db.execute("SELECT number FROM inspection WHERE id=?", (id_,)).fetchone()
                held = self._load(row[0]).entries if row else []
                whole = chain.union(held, entries)
                have = {s.digest for s in held}
                news = [s for s in whole if s.digest not in have]
                merging.refuse_known_ids(self._db, news)
                if row is None:
                    fresh.append(id_)
                if news:
                    number = row[0] if row else self._new_number(id_)
                    self._insert(number, news)
                    self._touch(number, len(news), "", list(whole))
                added[id_] = len(news)
        return merging.Merged(added, tuple(fresh))

    def merge_logbook(self, folder: Path) -> merging.Merged:
        """Take in everything of another logbook: stills first, then entries, inspection by inspection.

        What does not fit together is refused with a sentence in the answer; the rest goes in.
        """
        return merging.merge_logbook(self, Path(folder))

    def forget(self, still: str, *, who: str, why: str) -> tuple[str, ...]:
        """Remove the bytes of a still and its view copy for good, in every inspection of this logbook.

        Digest, who, when and why stay in the journal, and its chains stay valid. Returns the inspections concerned.
        Copies in packs and backups made before are beyond reach.

        Parameters
        ----------
        still
            Digest, the beginning of one, or a file name that only one still has.
        """
        with self._guard:
            sha256, copies = forgetting.meant(self, still)
            when = now()
            with self._writing():
                concerned = forgetting.inspections_with(self._db, sha256)
                for number, id_ in concerned:
                    bodies: list[tuple[Known, str]] = [(Forgotten(d, why), "") for d in (sha256, *copies)]
                    self._record(number, id_, bodies, who, when)
            for digest in (sha256, *copies):
                self.pictures.remove(digest)
        return tuple(id_ for _, id_ in concerned)

    def backup(self, dest: Path) -> backup.Copied:
        """Copy the logbook to a folder while it is open; a second backup to the same folder copies what is new."""
        with self._guard:
            return backup.back_up(self.folder, self._db, Path(dest))

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One write transaction; on any error nothing of it stays, and the error is one plain sentence."""
        with self._guard:
            if self.read_only:
                raise LogbookError(
                    f"the logbook {one_line(str(self.folder), 200)} is open for reading only; nothing was saved"
                )
            if self._stopped:
                refusal = DiskFailed(self._stopped)
                refusal.unsaved = True
                raise refusal
            try:
                self._budget.renew()
                self._db.execute("BEGIN IMMEDIATE")
                yield
                self._db.execute("COMMIT")
            except BaseException as error:
                self._roll_back()
                if not isinstance(error, DAMAGE):
                    raise
                told = plain(error, self.folder)
                told.unsaved = True
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
        if inspection == summaries.SHOP:  # it takes no number from an engine
            self._db.execute("INSERT INTO inspection (number, id) VALUES (0, ?)", (inspection,))
            return 0
        return int(self._db.execute("INSERT INTO inspection (id) VALUES (?)", (inspection,)).lastrowid or 0)

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

    def set_whereabouts(self, where: dict[str, Scalar]) -> bool:
        """Note where the person is at; whether that could be done.

        Unsynced on purpose: it is written at every step of the cursor.
        """
        if self.read_only:
            return False
        part = self.folder / f".whereabouts.{os.getpid()}.part"
        try:
            part.write_text(json.dumps(where), "utf-8")
            os.replace(part, self.folder / WHEREABOUTS)
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Let go of the logbook."""
        with self._guard:
            if self._mark is not None:
                self._mark.close()
                self._mark = None
            self._db.close()
            if self._hold is not None:
                self._hold.release()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
