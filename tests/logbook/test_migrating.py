"""An older logbook becomes a newer one: after a copy, step by step, alone."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from borelog.logbook import locks, migrating, schema
from borelog.logbook.connection import FILE
from borelog.logbook.entries import Note
from borelog.logbook.errors import Busy, LogbookError
from borelog.logbook.journal import Journal

GOOD = {
    1: "ALTER TABLE summary ADD COLUMN colour TEXT NOT NULL DEFAULT 'grey'; CREATE TABLE two (x INTEGER) STRICT;",
    2: "CREATE TABLE three (x INTEGER) STRICT;",
}


@pytest.fixture
def old(folder: Path) -> tuple[Path, str]:
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
        journal.append(id_, Note("kept"), who="ab")
    return folder, id_


def newer(monkeypatch: pytest.MonkeyPatch, steps: dict[int, str], version: int) -> None:
    monkeypatch.setattr(schema, "STEPS", steps)
    monkeypatch.setattr(schema, "VERSION", version)


def version_in(path: Path) -> int:
    with closing(sqlite3.connect(path)) as db, db:
        return int(db.execute("PRAGMA user_version").fetchone()[0])


def test_opening_brings_an_older_logbook_forward_and_keeps_a_copy(
    old: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, id_ = old
    newer(monkeypatch, GOOD, 3)
    with Journal.open(folder) as journal:
        assert journal._db.execute("SELECT colour FROM summary").fetchone() == ("grey",)
        journal.append(id_, Note("goes on"), who="ab")
        assert journal.inspection(id_).entries == 3
    assert version_in(folder / FILE) == 3
    kept = folder / migrating.BEFORE / "journal-version-1.sqlite"
    assert version_in(kept) == 1
    with Journal.open(folder):
        pass


@pytest.mark.parametrize(
    "bad",
    [
        "CREATE TABLE three (x INTEGER); SELECT no_such_function();",
        "DROP TRIGGER entry_never_removed; DROP TRIGGER inspection_never_removed; PRAGMA defer_foreign_keys=ON; "
        "DELETE FROM inspection;",
    ],
)
def test_a_step_that_fails_leaves_the_state_before_it(
    old: tuple[Path, str], monkeypatch: pytest.MonkeyPatch, bad: str
) -> None:
    folder, id_ = old
    newer(monkeypatch, {1: GOOD[1], 2: bad}, 3)
    with pytest.raises(LogbookError):
        Journal.open(folder)
    assert version_in(folder / FILE) == 2
    newer(monkeypatch, GOOD, 3)
    with Journal.open(folder) as journal:
        assert journal.inspection(id_).entries == 2


def test_a_way_that_is_missing_is_said_and_nothing_is_changed(
    old: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    newer(monkeypatch, {2: GOOD[2]}, 3)
    with pytest.raises(LogbookError, match="no way on from version 1"):
        Journal.open(old[0])
    assert version_in(old[0] / FILE) == 1


def test_migration_waits_for_nobody_and_names_who_is_in_the_way(
    old: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with Journal.open(old[0]):
        newer(monkeypatch, GOOD, 3)
        with pytest.raises(
            Busy, match=r"migration needs the logbook alone.*process \d+ on .* since .*close it"
        ):
            Journal.open(old[0])
        assert version_in(old[0] / FILE) == 1
    with (
        locks.alone(old[0], "migration"),
        pytest.raises(Busy, match=r"held alone by process \d+ .*\(migration\)"),
    ):
        Journal.open(old[0])


def test_every_past_version_kept_as_a_sample_still_opens() -> None:
    assert sorted(schema.STEPS) == list(range(1, schema.VERSION))


def test_what_another_program_has_migrated_meanwhile_is_left_alone(old: tuple[Path, str]) -> None:
    with closing(sqlite3.connect(old[0] / FILE)) as db, db:
        assert migrating.migrate(old[0], db, {}, schema.VERSION) is None
    assert not (old[0] / migrating.BEFORE).exists()


def test_a_copy_never_goes_over_a_file_that_is_there(journal: Journal, tmp_path: Path) -> None:
    (tmp_path / "there").write_text("mine")
    with pytest.raises(LogbookError, match="is there already"):
        migrating.copy_database(journal._db, tmp_path / "there")
    assert (tmp_path / "there").read_text() == "mine"
