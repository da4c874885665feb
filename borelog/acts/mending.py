"""A damaged logbook: put a backup in its place, or make again what can be derived. Nothing is deleted by either."""

from __future__ import annotations

import contextlib
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from borelog.logbook import backup, connection, doctor
from borelog.text import BorelogError, one_line


class MendingError(BorelogError):
    """A backup that is not put in place without being asked for twice."""

    exit_code = 5


@dataclass(frozen=True, slots=True)
class Restored:
    """``aside`` is where the journal that was there lies now (None: there was none); ``ailments`` what is still wrong."""

    aside: Path | None
    ailments: tuple[doctor.Ailment, ...]


def only_here(folder: Path, copy: Path) -> int:
    """How many entries the logbook holds that the backup does not; 0 where the journal cannot be read."""
    if not (folder / connection.FILE).exists():
        return 0
    try:
        with contextlib.closing(connection.connect(folder, create=False, read_only=True)) as db:
            here = {row[0] for row in db.execute("SELECT digest FROM entry")}
        with contextlib.closing(connection.connect(copy, create=False, read_only=True)) as db:
            there = {row[0] for row in db.execute("SELECT digest FROM entry")}
    except (sqlite3.Error, BorelogError):
        return 0
    return len(here - there)


def restore(folder: Path, copy: Path, *, sure: bool = False) -> Restored:
    """Put the journal of a backup in the place of the logbook's, and bring back the stills that are missing.

    Raises
    ------
    MendingError
        If the logbook can be read and holds entries that the backup lacks, unless ``sure``.
    LogbookError
        If somebody has the logbook open, or the backup is none or is damaged; nothing was changed then.
    """
    lost = 0 if sure else only_here(folder, copy)
    if lost:
        entries = "1 entry" if lost == 1 else f"{lost} entries"
        raise MendingError(
            f"the logbook can be read and holds {entries} that the backup does not: 'borelog take "
            f"{one_line(str(copy), 120)}' unites both; --yes sets the journal here aside all the same"
        )
    aside = backup.restore(copy, folder)
    return Restored(aside, doctor.examine(folder))


def rebuild(folder: Path, ailments: tuple[doctor.Ailment, ...]) -> int:
    """Make again what was found wrong and is derived from entries and stills; returns how many things were made."""
    from borelog.stills import StillError
    from borelog.stills.thumbs import thumbnail

    def small(path: Path) -> bytes | None:
        try:
            return thumbnail(path.read_bytes(), name=path.name)
        except (StillError, OSError):
            return None

    return doctor.rebuild(folder, ailments, small)
