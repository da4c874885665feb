"""Who is writing: one id per copy of a logbook, never shared by two copies.

A writer id is bound to the machine, the folder's path and the journal file's number on its file system. A copied
folder, a restored backup or a moved disk therefore gets a writer of its own: a new writer is always safe, while one
writer in two copies would number different entries alike. A logbook set back in place (an older file written over
the newer one) is noticed by the count of entries kept outside the logbook in the person's own state folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import sqlite3
import uuid
from pathlib import Path

_MACHINE_FILES = ("/etc/machine-id", "/var/lib/dbus/machine-id")


def machine() -> str:
    """A text that tells this machine from another; the host name is part of it because disks get cloned."""
    for name in _MACHINE_FILES:
        with contextlib.suppress(OSError):
            return Path(name).read_text("ascii", "replace").strip() + platform.node()
    node = uuid.getnode()
    multicast = node >> 40 & 1
    return platform.node() if multicast else f"{node:012x}{platform.node()}"


def place_of(journal: Path) -> str:
    """The digest of where a journal lies: machine, path, file number."""
    text = f"{machine()}\n{journal.resolve()}\n{journal.stat().st_ino}"
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()


def _mark(writer: str) -> Path:
    import platformdirs

    return Path(platformdirs.user_state_dir("borelog", appauthor=False)) / "writers" / writer


def writer_for(connection: sqlite3.Connection, journal: Path) -> str:
    """The writer id of this copy, made and kept in the logbook where there is none yet.

    Call inside a write transaction.
    """
    place = place_of(journal)
    row = connection.execute("SELECT writer FROM writer WHERE place=?", (place,)).fetchone()
    if row is not None and not _set_back(connection, row[0]):
        return str(row[0])
    writer = uuid.uuid4().hex
    connection.execute(
        "INSERT INTO writer VALUES (?, ?) ON CONFLICT (place) DO UPDATE SET writer=excluded.writer",
        (place, writer),
    )
    return writer


def _set_back(connection: sqlite3.Connection, writer: str) -> bool:
    return written(connection) < _noted(writer)


def _noted(writer: str) -> int:
    try:
        return int(_mark(writer).read_text("ascii"))
    except (OSError, ValueError):
        return 0


def remembered(connection: sqlite3.Connection, journal: Path) -> int:
    """How many entries this copy held when this person last wrote to it; 0 if that is not known."""
    row = connection.execute("SELECT writer FROM writer WHERE place=?", (place_of(journal),)).fetchone()
    return _noted(row[0]) if row else 0


def set_back_words(connection: sqlite3.Connection, folder: Path) -> str:
    """What to say where an older copy was put in the place of a newer one; '' where that is not so."""
    before, held = remembered(connection, folder / "journal.sqlite"), written(connection)
    if held >= before:
        return ""
    return (
        f"this logbook once held {before} entries and now holds {held}: an older copy was put in its place; "
        "if that was not wanted, take the newer copy in as another logbook"
    )


def written(connection: sqlite3.Connection) -> int:
    """How many entries this copy has ever held."""
    return int(connection.execute("SELECT coalesce(max(row), 0) FROM entry").fetchone()[0])


class Mark:
    """The count of entries written, kept outside the logbook. Unsynced on purpose: it is a second pair of eyes."""

    def __init__(self, writer: str) -> None:
        self._handle = -1
        path = _mark(writer)
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)

    def note(self, count: int) -> None:
        """Note that the logbook holds ``count`` entries."""
        if self._handle >= 0:
            with contextlib.suppress(OSError):
                os.lseek(self._handle, 0, os.SEEK_SET)
                os.write(self._handle, b"%020d" % count)

    def close(self) -> None:
        """Let go of the file."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1
