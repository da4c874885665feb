"""A writer's name is never shared by two copies of a logbook."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from borelog.logbook import chain, doctor, writers
from borelog.logbook.connection import FILE
from borelog.logbook.entries import Note
from borelog.logbook.journal import Journal


def writer_in(folder: Path) -> str:
    with Journal.open(folder) as journal:
        return journal.writer


def test_the_same_copy_keeps_its_writer_and_another_laptop_gets_its_own(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = writer_in(folder)
    assert writer_in(folder) == first
    monkeypatch.setattr(writers, "machine", lambda: "another laptop with the same disk image")
    assert writer_in(folder) != first
    monkeypatch.undo()
    assert writer_in(folder) == first


def test_a_copied_and_a_moved_folder_get_a_writer_of_their_own(folder: Path, tmp_path: Path) -> None:
    first = writer_in(folder)
    shutil.copytree(folder, tmp_path / "copy")
    shutil.move(folder, tmp_path / "moved")
    assert len({first, writer_in(tmp_path / "copy"), writer_in(tmp_path / "moved")}) == 3


def test_a_journal_put_in_place_of_another_gets_a_writer_of_its_own(folder: Path, tmp_path: Path) -> None:
    first = writer_in(folder)
    shutil.copy(folder / FILE, tmp_path / "kept")
    (tmp_path / "kept").replace(folder / FILE)
    assert writer_in(folder) != first


def test_a_logbook_set_back_in_place_is_noticed_and_forks_nothing(folder: Path, tmp_path: Path) -> None:
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
    old = (folder / FILE).read_bytes()
    with Journal.open(folder) as journal:
        first = journal.writer
        for n in range(3):
            journal.append(id_, Note(str(n)), who="ab")
    shutil.copytree(folder, tmp_path / "newer")
    with open(folder / FILE, "r+b") as file:  # the same file, older bytes: as 'cp' over it does
        file.write(old)
        file.truncate()
    assert [a.kind for a in doctor.examine(folder)] == ["set back"]
    with Journal.open(folder) as journal:
        assert "older copy" in journal.warnings[0]
        journal.append(id_, Note("written on"), who="ab")
        assert journal.writer != first
        journal.merge_logbook(tmp_path / "newer")
        assert [r.body.text for r in journal.inspection(id_).of(Note)].count("written on") == 1
        assert journal.inspection(id_).entries == 5
        assert chain.faults(journal.entries(id_)) == []
    with Journal.open(folder) as journal:
        assert journal.warnings == ()


def test_without_a_place_for_the_second_count_work_goes_on(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    monkeypatch.setenv("HOME", str(tmp_path / "file"))
    with Journal.open(folder) as journal:
        journal.create("One", who="ab")
    with Journal.open(folder) as journal:
        assert journal.summaries()[0].name == "One"


def test_a_machine_has_a_name_of_its_own_even_without_a_number_in_its_files(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(writers, "_MACHINE_FILES", ())
    assert writers.machine()
    assert writers.machine() == writers.machine()
