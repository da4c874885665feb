"""Opening the journal's database: settings that make 'saved' true, and refusal of what is not ours."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from borelog.logbook import schema
from borelog.logbook.errors import LogbookError, NotUnderstood, plainly
from borelog.text import one_line

FILE = "journal.sqlite"
WAIT_MS = 5000


LONGEST = 64 << 20
"""Bytes in the longest value that is read: a damaged length must not ask for gigabytes."""


class Budget:
    """An end to every piece of work in the database: the pages of a damaged file may point at each other in a circle.

    The work allowed is many times what reading the whole file takes; ``renew`` at the beginning of each piece.
    """

    STEP = 1_000_000

    def __init__(self, connection: sqlite3.Connection) -> None:
        pages = int(connection.execute("PRAGMA page_count").fetchone()[0])
        size = pages * int(connection.execute("PRAGMA page_size").fetchone()[0])
        self._allowed: int = 30 + size // (4 * self.STEP)
        self._used = 0
        connection.set_progress_handler(self._step, self.STEP)

    def _step(self) -> bool:
        self._used += 1
        return self._used > self._allowed

    def renew(self) -> None:
        """A new piece of work begins."""
        self._used = 0


def sound(connection: sqlite3.Connection) -> str:
    """What SQLite finds wrong with the file's structure; '' if nothing."""
    said = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
    return "" if said == "ok" else one_line(said, 80)


def connect(folder: Path, *, create: bool, read_only: bool) -> sqlite3.Connection:
    """A connection with every setting of the protocol set and read back.

    Rollback journal with synchronous EXTRA and not a write-ahead log: SQLite up to 3.51.2 can damage the latter, and a
    copy made without its side file loses tables.
    """
    path = folder / FILE
    if not path.is_file() and (read_only or not create):
        raise LogbookError(
            f"there is no logbook in {one_line(str(folder), 200)}; look at --logbook, or make one with 'borelog new'"
        )
    if sqlite3.sqlite_version_info < (3, 37):  # pragma: no cover
        raise LogbookError("SQLite 3.37 or newer is needed; use a newer Python")
    with plainly(folder):
        if read_only and path.with_name(FILE + "-journal").exists() and os.access(folder, os.W_OK):
            _opened(path, "rw").close()  # a write was cut off: only a writer may take it back
        connection = _opened(path, "ro" if read_only else "rwc" if create else "rw")
        try:
            _settle(connection, folder, read_only=read_only)
            if not read_only and _bare(connection):
                schema.lay(connection)
            _ours(connection, folder)
        except BaseException:
            connection.close()
            raise
    return connection


def _opened(path: Path, mode: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
        timeout=WAIT_MS / 1000,
    )
    try:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _bare(connection: sqlite3.Connection) -> bool:
    """An empty file, as a plug pulled at the very beginning leaves it."""
    return not connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]


def _settle(connection: sqlite3.Connection, folder: Path, *, read_only: bool) -> None:
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST)
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA recursive_triggers=ON")  # so that REPLACE cannot go round the triggers
    connection.execute("PRAGMA trusted_schema=OFF")
    connection.execute("PRAGMA temp_store=MEMORY")
    if read_only:
        return
    connection.execute("PRAGMA journal_mode=DELETE")
    connection.execute("PRAGMA synchronous=EXTRA")
    connection.execute("PRAGMA fullfsync=ON")
    wanted = {"journal_mode": "delete", "synchronous": 3, "foreign_keys": 1}
    for name, value in wanted.items():
        got = connection.execute(f"PRAGMA {name}").fetchone()[0]
        if got != value:  # pragma: no cover
            raise LogbookError(f"SQLite would not set {name} to {value} for {folder}; use a newer Python")


def version_of(connection: sqlite3.Connection) -> int:
    """The schema's version in the file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _ours(connection: sqlite3.Connection, folder: Path) -> None:
    made_by = connection.execute("PRAGMA application_id").fetchone()[0]
    version = version_of(connection)
    where = one_line(str(folder), 200)
    if made_by != schema.APPLICATION_ID:
        raise NotUnderstood(f"{where} holds a database of another program; choose another --logbook")
    if version < 1:
        raise NotUnderstood(f"the journal in {where} is damaged: it has no version; take it from a backup")
    if version > schema.VERSION:
        raise NotUnderstood(
            f"the logbook {where} was written by a newer borelog (version {version}, this one knows up to "
            f"{schema.VERSION}); use the newer borelog. Nothing was changed"
        )
