"""Restoring and rebuilding as a person asks for them: nothing deleted, entries that only the logbook holds are pointed out."""

from __future__ import annotations

import io
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

from borelog.acts import mending
from borelog.cli.main import main
from borelog.logbook import doctor
from borelog.logbook.connection import FILE
from borelog.logbook.entries import Note, StillFiled
from borelog.logbook.errors import Busy
from borelog.logbook.journal import Journal


def still(journal: Journal, id_: str) -> str:
    out = io.BytesIO()
    Image.new("RGB", (64, 48), "red").save(out, "JPEG")
    sha256 = journal.pictures.put(out.getvalue(), ".jpg")
    journal.append(id_, StillFiled(sha256, "a.jpg", len(out.getvalue()), "JPEG", 64, 48), who="ab")
    return sha256


def test_a_logbook_that_holds_more_is_not_replaced_unasked(folder: Path, tmp_path: Path, capsys):
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
        journal.backup(tmp_path / "copy")
        journal.append(id_, Note("after the backup"), who="ab")
    before = (folder / FILE).read_bytes()
    with pytest.raises(mending.MendingError, match=r"holds 1 entry that the backup does not: 'borelog take"):
        mending.restore(folder, tmp_path / "copy")
    assert main(["--logbook", str(folder), "restore", str(tmp_path / "copy")]) == 5
    assert (folder / FILE).read_bytes() == before
    assert main(["--logbook", str(folder), "restore", str(tmp_path / "copy"), "--yes"]) == 0
    said = capsys.readouterr().out
    assert "is kept as journal-set-aside-" in " ".join(said.split())
    (aside,) = folder.glob("journal-set-aside-*.sqlite")
    assert aside.read_bytes() == before
    with Journal.open(folder) as journal:
        assert len(journal.entries(id_)) == 1


def test_a_torn_logbook_is_restored_at_once(folder: Path, tmp_path: Path):
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
        sha256 = still(journal, id_)
        journal.backup(tmp_path / "copy")
        journal.pictures.remove(sha256)
    (folder / FILE).write_bytes(b"torn " * 1000)
    done = mending.restore(folder, tmp_path / "copy")
    assert done.aside is not None
    assert done.ailments == ()


def test_nothing_is_restored_or_rebuilt_while_somebody_has_it_open(folder: Path, tmp_path: Path):
    with Journal.open(folder) as journal:
        journal.create("One", who="ab")
        journal.backup(tmp_path / "copy")
        with pytest.raises(Busy, match="restoring needs the logbook alone"):
            mending.restore(folder, tmp_path / "copy")
        wrong = (doctor.Ailment("wrong line", "x", "y", rebuildable=True),)
        with pytest.raises(Busy, match="rebuilding needs the logbook alone"):
            mending.rebuild(folder, wrong)


def test_the_doctor_rebuilds_lines_and_thumbnails_on_request(folder: Path, capsys):
    from borelog.stills.thumbs import thumbnail

    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
        sha256 = still(journal, id_)
        thumb = journal.pictures.thumb(sha256, lambda p: thumbnail(p.read_bytes()))
    assert thumb is not None
    thumb.write_bytes(b"no picture")
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        db.execute("UPDATE summary SET name='forged'")
    stills = sorted(p.read_bytes() for p in (folder / "stills").rglob("*.jpg"))
    assert main(["--logbook", str(folder), "doctor"]) == 1
    assert "'borelog doctor --rebuild'" in " ".join(capsys.readouterr().out.split())
    assert main(["--logbook", str(folder), "doctor", "--rebuild"]) == 0
    assert "made again: 2" in capsys.readouterr().out
    assert doctor.examine(folder) == ()
    with Image.open(thumb) as made:
        assert made.size == (64, 48)
    assert sorted(p.read_bytes() for p in (folder / "stills").rglob("*.jpg")) == stills


def test_what_a_full_disk_kept_from_being_saved_is_named(folder: Path, monkeypatch, capsys):
    from borelog.logbook import journal as module

    assert main(["--logbook", str(folder), "--who", "ab", "new", "One"]) == 0

    def fail(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(module.Journal, "_record", fail)
    assert main(["--logbook", str(folder), "--who", "ab", "set", "last", "make=quokka"]) != 0
    said = capsys.readouterr().err
    assert re.search(r"not saved: \S.* quokka", said)
    assert "full" in said


def test_what_the_logbook_warns_of_is_said_by_commands(tmp_path: Path, capsys):
    place = tmp_path / "Dropbox" / "logbook"
    assert main(["--logbook", str(place), "--who", "ab", "new", "One"]) == 0
    assert "Move it" in capsys.readouterr().err
