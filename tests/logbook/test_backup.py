"""Backup while the logbook is open, and the way back."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from borelog.logbook import backup, chain, doctor
from borelog.logbook.connection import FILE
from borelog.logbook.entries import Note, StillFiled
from borelog.logbook.errors import Busy, Conflict, LogbookError
from borelog.logbook.journal import Journal


def file_still(journal: Journal, id_: str, data: bytes) -> str:
    sha256 = journal.pictures.put(data, ".jpg")
    journal.append(id_, StillFiled(sha256, "a.jpg", len(data), "JPEG"), who="ab")
    return sha256


def test_a_backup_taken_while_entries_come_in_is_whole(journal: Journal, tmp_path: Path) -> None:
    id_ = journal.create("One", who="ab")
    stop = threading.Event()

    def work() -> None:
        with Journal.open(journal.folder) as other:
            n = 0
            while not stop.is_set():
                file_still(other, id_, b"still %d" % n)
                n += 1

    worker = threading.Thread(target=work)
    worker.start()
    try:
        for _ in range(4):
            file_still(journal, id_, b"own")
            said = journal.backup(tmp_path / "copy")
            assert said.faulty == ()
            kinds = {a.kind for a in doctor.examine(tmp_path / "copy")}
            assert kinds <= {"stray still"}  # filed after the journal was copied
    finally:
        stop.set()
        worker.join()
    assert said.entries > 4
    with Journal.open(tmp_path / "copy") as copy:
        assert chain.faults(copy.entries(id_)) == []
        assert copy.writer != journal.writer
        copy.append(id_, Note("a backup can be worked on"), who="ab")


def test_a_second_backup_copies_only_what_is_new_and_never_loses_what_only_the_backup_has(
    journal: Journal, tmp_path: Path
) -> None:
    id_ = journal.create("One", who="ab")
    file_still(journal, id_, b"one")
    assert journal.backup(tmp_path / "copy").stills == 1
    file_still(journal, id_, b"two")
    again = journal.backup(tmp_path / "copy")
    assert (again.stills, again.entries) == (1, 3)
    with Journal.open(tmp_path / "copy") as copy:
        copy.append(id_, Note("only here"), who="ab")
    before = (tmp_path / "copy" / FILE).read_bytes()
    with pytest.raises(Conflict, match="holds entries that this logbook does not"):
        journal.backup(tmp_path / "copy")
    assert (tmp_path / "copy" / FILE).read_bytes() == before
    journal.merge_logbook(tmp_path / "copy")
    assert journal.backup(tmp_path / "copy").entries == 4


def test_a_still_that_was_changed_is_not_copied_as_if_it_were_right(journal: Journal, tmp_path: Path) -> None:
    id_ = journal.create("One", who="ab")
    sha256 = file_still(journal, id_, b"right")
    journal.pictures.path(sha256).write_bytes(b"wrong")
    assert journal.backup(tmp_path / "copy").faulty == (sha256,)


def test_places_that_hold_something_else_are_refused(journal: Journal, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "holiday.txt").write_text("x")
    with pytest.raises(LogbookError, match="something else"):
        journal.backup(tmp_path / "full")
    with pytest.raises(LogbookError, match="inside the logbook"):
        journal.backup(journal.folder / "copy")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / FILE).write_bytes(b"no database " * 100)
    with pytest.raises(LogbookError, match="cannot be read"):
        journal.backup(tmp_path / "other")


def test_restoring_sets_the_damaged_journal_aside_and_keeps_every_file(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
        sha256 = file_still(journal, id_, b"one")
        journal.backup(tmp_path / "copy")
        first = journal.writer
        with pytest.raises(Busy, match=r"restoring needs the logbook alone.*process \d+ on"):
            backup.restore(tmp_path / "copy", folder)
        journal.pictures.remove(sha256)
    (folder / FILE).write_bytes(b"torn " * 1000)
    aside = backup.restore(tmp_path / "copy", folder)
    assert aside is not None
    assert aside.read_bytes() == b"torn " * 1000
    with Journal.open(folder) as journal:
        assert journal.inspection(id_).name == "One"
        assert journal.pictures.read(sha256) == b"one"
        assert journal.writer != first
    assert doctor.examine(folder) == ()


def test_a_backup_can_be_restored_to_a_new_place(journal: Journal, tmp_path: Path) -> None:
    id_ = journal.create("One", who="ab")
    journal.backup(tmp_path / "copy")
    assert backup.restore(tmp_path / "copy", tmp_path / "new") is None
    with Journal.open(tmp_path / "new") as new:
        assert new.ids() == [id_]
    with pytest.raises(LogbookError, match="there is no logbook"):
        backup.restore(tmp_path / "nothing", tmp_path / "new")


def test_a_persons_own_tables_travel_along_and_newer_ones_are_not_overwritten_by_restoring(
    folder: Path, tmp_path: Path
) -> None:
    with Journal.open(folder) as journal:
        journal.create("One", who="ab")
        (folder / "tables").mkdir()
        (folder / "tables" / "faults.csv").write_text("mine")
        journal.backup(tmp_path / "copy")
    assert (tmp_path / "copy" / "tables" / "faults.csv").read_text() == "mine"
    (folder / "tables" / "faults.csv").write_text("newer")
    backup.restore(tmp_path / "copy", folder)
    assert (folder / "tables" / "faults.csv").read_text() == "newer"
    backup.restore(tmp_path / "copy", tmp_path / "new")
    assert (tmp_path / "new" / "tables" / "faults.csv").read_text() == "mine"
