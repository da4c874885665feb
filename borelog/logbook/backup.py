"""A copy of the whole logbook while it is in use, and the way back from it."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from borelog.logbook import connection, durable, locks, migrating, schema
from borelog.logbook.errors import Conflict, LogbookError, plainly
from borelog.logbook.pictures import Pictures
from borelog.text import one_line

BESIDE = ("tables",)
"""Folders of the logbook, besides the journal and the stills, that nothing else could bring back."""


@dataclass(frozen=True, slots=True)
class Copied:
    """What a backup holds now: entries in all, stills copied this time, and stills that are not what they should be."""

    entries: int
    stills: int
    faulty: tuple[str, ...] = ()


def back_up(folder: Path, db: sqlite3.Connection, dest: Path) -> Copied:
    """Copy the journal, then the stills it names: every still of a journal was there before its entry.

    Raises
    ------
    LogbookError
        If ``dest`` lies inside the logbook, holds something else, or holds entries that the logbook does not.
    """
    if dest.resolve() == folder.resolve() or folder.resolve() in dest.resolve().parents:
        raise LogbookError(
            "the backup would lie inside the logbook; choose another folder, best on another disk"
        )
    target = dest / connection.FILE
    if target.exists():
        _refuse_ahead(db, target)
    elif dest.exists() and (not dest.is_dir() or any(dest.iterdir())):
        raise LogbookError(
            f"{one_line(str(dest), 200)} holds something else; name a new folder, or one with an earlier backup"
        )
    with plainly(dest):
        durable.make_folder(dest)
        fresh = dest / f"journal.{os.getpid()}.new"
        fresh.unlink(missing_ok=True)
        migrating.copy_database(db, fresh)
        os.replace(fresh, target)
        durable.sync_folder(dest)
    copied, faulty = _copy_stills(Pictures(folder), Pictures(dest))
    _copy_beside(folder, dest)
    with contextlib.closing(sqlite3.connect(target)) as copy:
        entries = int(copy.execute("SELECT count(*) FROM entry").fetchone()[0])
    return Copied(entries, copied, faulty)


def _copy_stills(source: Pictures, target: Pictures) -> tuple[int, tuple[str, ...]]:
    copied, faulty = 0, []
    for sha256, path in source.all():
        if target.find(sha256) is None:
            if target.put_copy(path, sha256):
                copied += 1
            else:
                faulty.append(sha256)
    return copied, tuple(faulty)


def _copy_beside(source: Path, target: Path) -> None:
    """Copy a person's own tables; a file of another content in the target is replaced, none is removed."""
    with plainly(target):
        for name in BESIDE:
            for path in sorted((source / name).rglob("*")):
                copy = target / path.relative_to(source)
                if path.is_symlink() or not path.is_file():
                    continue
                data = path.read_bytes()
                if not copy.is_file() or copy.read_bytes() != data:
                    durable.make_folder(copy.parent)
                    durable.write_file(copy, data)


def _refuse_ahead(db: sqlite3.Connection, target: Path) -> None:
    try:
        with contextlib.closing(sqlite3.connect(f"{target.absolute().as_uri()}?mode=ro", uri=True)) as copy:
            if copy.execute("PRAGMA application_id").fetchone()[0] != schema.APPLICATION_ID:
                raise LogbookError(
                    f"{target.parent} holds a database of another program; name another folder"
                )
            digests = copy.execute("SELECT id, digest FROM entry")
            for id_, digest in digests:
                if not db.execute("SELECT 1 FROM entry WHERE id=? AND digest=?", (id_, digest)).fetchone():
                    raise Conflict(
                        f"the backup in {one_line(str(target.parent), 200)} holds entries that this logbook does not; "
                        "it was not touched. Name another folder, or take the backup in as another logbook first"
                    )
    except sqlite3.Error as error:
        raise LogbookError(
            f"the earlier backup in {one_line(str(target.parent), 200)} cannot be read; name another folder"
        ) from error


def restore(backup: Path, folder: Path) -> Path | None:
    """Put the journal of a backup in the place of a damaged one; return where the old one was set aside.

    The stills of the backup are copied beside those that are there. Nothing is deleted: the journal that was there
    keeps its bytes under another name. The logbook gets a writer of its own from here on.

    Raises
    ------
    Busy
        If anybody has the logbook open.
    LogbookError
        If the backup is no logbook.
    """
    with contextlib.closing(connection.connect(backup, create=False, read_only=True)) as db:
        said = db.execute("PRAGMA integrity_check").fetchone()[0]
        if said != "ok":
            raise LogbookError(f"the backup itself is damaged ({one_line(said, 80)}); take an older one")
        with plainly(folder):
            durable.make_folder(folder)
        with locks.alone(folder, "restoring"), plainly(folder):
            _copy_stills(Pictures(backup), Pictures(folder))
            if not any((folder / name).exists() for name in BESIDE):
                _copy_beside(backup, folder)
            target = folder / connection.FILE
            fresh = folder / f"journal.{os.getpid()}.new"
            migrating.copy_database(db, fresh)
            aside: Path | None = None
            if target.exists():
                stamp = datetime.now().strftime("%Y%m%d-%H%M%S-%f")
                aside = folder / f"journal-set-aside-{stamp}.sqlite"
                for ending in ("-journal", ""):
                    held = folder / (connection.FILE + ending)
                    if held.exists():
                        held.rename(folder / (aside.name + ending))
            os.replace(fresh, target)
            durable.sync_folder(folder)
    return aside
