"""An older logbook becomes one of today: a copy first, then each step in one transaction of its own."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Mapping
from pathlib import Path

from borelog.logbook import durable, locks, schema
from borelog.logbook.errors import LogbookError, plainly

BEFORE = "before-migration"


def copy_database(db: sqlite3.Connection, target: Path) -> None:
    """A whole, checked copy of the database that is on the medium when this returns.

    Raises
    ------
    LogbookError
        If the target exists or the copy does not pass SQLite's check.
    """
    if target.exists():
        raise LogbookError(f"{target} is there already; move it away first")
    with plainly(target.parent):
        durable.make_folder(target.parent)
        part = target.with_name(f".{target.name}.part")
        part.unlink(missing_ok=True)
        try:
            db.execute("VACUUM INTO ?", (str(part),))
            with contextlib.closing(sqlite3.connect(part)) as copy:
                said = copy.execute("PRAGMA integrity_check").fetchone()[0]
            if said != "ok":
                raise LogbookError(f"the copy in {target.parent} is not sound ({said}); run 'borelog doctor'")
            with open(part, "rb+") as file:
                durable.sync_handle(file.fileno())
            part.rename(target)
            durable.sync_folder(target.parent)
        finally:
            part.unlink(missing_ok=True)


def migrate(
    folder: Path, db: sqlite3.Connection, steps: Mapping[int, str] | None = None, version: int | None = None
) -> Path | None:
    """Bring the database to ``version``; return where the copy from before lies (None: nothing to do).

    Raises
    ------
    Busy
        If anybody else has the logbook open.
    LogbookError
        If a step fails; the logbook is then as it was after the step before.
    """
    steps = schema.STEPS if steps is None else steps
    version = schema.VERSION if version is None else version
    with locks.alone(folder, "migration"), plainly(folder):
        found = int(db.execute("PRAGMA user_version").fetchone()[0])
        if found >= version:
            return None
        if missing := [n for n in range(found, version) if n not in steps]:
            raise LogbookError(
                f"the logbook is of version {found}, and this borelog has no way on from version {missing[0]}; "
                "use the borelog that wrote it"
            )
        kept = folder / BEFORE / f"journal-version-{found}.sqlite"
        if not kept.exists():
            copy_database(db, kept)
        for number in range(found, version):
            _step(db, steps[number], number + 1)
    return kept


def _step(db: sqlite3.Connection, script: str, version: int) -> None:
    db.execute("BEGIN EXCLUSIVE")
    try:
        for statement in schema.statements(script):
            db.execute(statement)
        if wrong := db.execute("PRAGMA foreign_key_check").fetchone():
            raise LogbookError(
                f"migration to version {version} would break a link ({wrong[0]}); nothing was changed"
            )
        db.execute(f"PRAGMA user_version={version}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
