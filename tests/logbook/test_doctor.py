"""The doctor finds what was changed, is missing, stray or broken; says what can be made again; and touches nothing."""

from __future__ import annotations

import io
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

from borelog.logbook import doctor
from borelog.logbook.connection import FILE
from borelog.logbook.entries import Note, StillFiled
from borelog.logbook.journal import Journal


def small(_: Path) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 6), "grey").save(out, "JPEG")
    return out.getvalue()


@pytest.fixture
def logbook(folder: Path) -> tuple[Path, str]:
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
        journal.append(id_, Note("first"), who="ab")
        sha256 = journal.pictures.put(b"picture bytes", ".jpg")
        journal.append(id_, StillFiled(sha256, "a.jpg", 13, "JPEG"), who="ab")
        journal.pictures.thumb(sha256, small)
        journal.create("Two", who="ab")
    return folder, sha256


def state(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def tamper(folder: Path, *statements: str) -> None:
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        for trigger in ("entry_never_changed", "entry_never_removed", "inspection_never_changed"):
            db.execute(f"DROP TRIGGER {trigger}")
        for statement in statements:
            db.execute(statement)


def found(folder: Path) -> dict[str, doctor.Ailment]:
    before = state(folder)
    ailments = doctor.examine(folder)
    assert state(folder) == before
    assert all("\n" not in a.sentence and "; " in a.sentence for a in ailments)
    return {a.kind: a for a in ailments}


def test_a_sound_logbook_has_nothing_wrong_even_while_it_is_open(logbook: tuple[Path, str]) -> None:
    with Journal.open(logbook[0]):
        assert found(logbook[0]) == {}


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (
            "UPDATE entry SET raw=replace(CAST(raw AS TEXT), 'first', 'fifth') WHERE row=2",
            "do not have the digest",
        ),
        (
            "UPDATE entry SET raw=CAST(replace(CAST(raw AS TEXT), 'first', 'fifth') AS BLOB) WHERE row=2",
            "digest",
        ),
        ("UPDATE entry SET raw=x'00' WHERE row=2", "row 2 is no entry any more"),
        ("UPDATE entry SET clock=77 WHERE row=2", "row 2 says something else"),
        ("UPDATE entry SET inspection=2, number=9 WHERE row=2", "inspection 2: row 2 says something else"),
        ("DELETE FROM entry WHERE row=2", "what lies between is missing"),
    ],
)
def test_a_changed_row_is_found(logbook: tuple[Path, str], statement: str, said: str) -> None:
    if "raw=replace" in statement:
        statement = statement.replace("raw=replace", "raw=CAST(replace").replace(
            ") WHERE", ") AS BLOB) WHERE"
        )
    tamper(logbook[0], statement)
    ailments = doctor.examine(logbook[0])
    assert any(a.kind == "changed entry" and said in a.what for a in ailments)
    assert any(a.kind == "guard missing" for a in ailments)
    assert not any(a.rebuildable for a in ailments if a.kind == "changed entry")


def test_a_row_rewritten_with_its_digest_breaks_the_link_of_the_next(logbook: tuple[Path, str]) -> None:
    import hashlib

    with closing(sqlite3.connect(logbook[0] / FILE)) as db, db:
        (raw,) = db.execute("SELECT raw FROM entry WHERE row=2").fetchone()
        forged = raw.replace(b"first", b"fifth")
        db.execute("DROP TRIGGER entry_never_changed")
        digest = hashlib.sha256(forged).hexdigest()
        db.execute("UPDATE entry SET raw=?, digest=? WHERE row=2", (forged, digest))
    assert "does not follow" in found(logbook[0])["changed entry"].what


def test_removed_last_entries_are_noticed_by_the_count_kept_outside(logbook: tuple[Path, str]) -> None:
    tamper(logbook[0], "DELETE FROM entry WHERE row=4")
    assert {"set back", "wrong head"} <= set(found(logbook[0]))


def test_missing_changed_and_stray_stills(logbook: tuple[Path, str]) -> None:
    folder, sha256 = logbook
    held = folder / "stills" / sha256[:2] / f"{sha256}.jpg"
    held.write_bytes(b"picture bytez")
    (folder / "stills" / "00").mkdir()
    (folder / "stills" / "00" / ("00" * 32 + ".png")).write_bytes(b"?")
    (folder / "stills" / "holiday \x1b[31m.jpg").write_bytes(b"?")
    (folder / "stills" / ".x.part").write_bytes(b"?")
    ailments = doctor.examine(folder)
    assert sorted(a.kind for a in ailments) == ["changed still", "left over", "stray still", "stray still"]
    assert not any("\x1b" in a.sentence for a in ailments)
    assert [a.kind for a in doctor.examine(folder, deep=False) if a.still == sha256] == []
    held.write_bytes(b"short")
    assert [a.kind for a in doctor.examine(folder, deep=False) if a.still == sha256] == ["changed still"]
    held.unlink()
    ailments = doctor.examine(folder)
    (missing,) = [a for a in ailments if a.kind == "missing still"]
    assert "a.jpg" in missing.what
    assert "brings it back" in missing.repair
    with Journal.open(folder) as journal:
        journal.pictures.put(b"picture bytes", ".jpg")
    assert "missing still" not in found(folder)


def test_a_broken_thumbnail_is_found_and_made_again(logbook: tuple[Path, str]) -> None:
    folder, sha256 = logbook
    thumb = folder / "thumbs" / sha256[:2] / f"{sha256}.jpg"
    thumb.write_bytes(thumb.read_bytes()[:-200])
    ailment = found(folder)["broken thumbnail"]
    assert ailment.rebuildable
    assert doctor.rebuild(folder, (ailment,), small) == 1
    assert found(folder) == {}


def test_heads_and_lines_of_the_list_are_made_again_from_the_entries(logbook: tuple[Path, str]) -> None:
    folder, _ = logbook
    with closing(sqlite3.connect(folder / FILE)) as db, db:
        db.execute("DELETE FROM head WHERE inspection=1")
        db.execute("UPDATE summary SET name='forged' WHERE inspection=2")
    ailments = doctor.examine(folder)
    assert sorted(a.kind for a in ailments) == ["wrong head", "wrong line"]
    assert doctor.rebuild(folder, ailments) == 2
    assert doctor.examine(folder) == ()
    with Journal.open(folder) as journal:
        assert [s.name for s in journal.summaries()] == ["Two", "One"]
        stored = journal.append(journal.find("One"), Note("goes on"), who="ab")
        assert stored.entry.number == 4


def test_a_torn_database_and_a_missing_one_are_one_sentence(logbook: tuple[Path, str]) -> None:
    folder, _ = logbook
    size = (folder / FILE).stat().st_size
    with open(folder / FILE, "r+b") as file:
        file.seek(size // 2)
        file.write(os.urandom(size // 2))
    kinds = {a.kind for a in doctor.examine(folder)}
    assert kinds & {"damaged journal", "journal", "changed entry"}
    (folder / FILE).unlink()
    assert [a.kind for a in doctor.examine(folder)] == ["journal"]


def test_a_folder_that_a_service_copies_is_pointed_out(tmp_path: Path) -> None:
    place = tmp_path / "Dropbox" / "logbook"
    with Journal.open(place) as journal:
        assert "Move it" in journal.warnings[0]
    assert [a.kind for a in doctor.examine(place)] == ["synced folder"]
