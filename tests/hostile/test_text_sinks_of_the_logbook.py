"""Text from outside in every sentence that the logbook says: names, digests, paths, notes, other programs' files."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from borelog.logbook import doctor, locks, volumes
from borelog.logbook.entries import Note, StillFiled, Unknown, decode
from borelog.logbook.errors import LogbookError, plain
from borelog.logbook.journal import Journal
from borelog.logbook.search import search

NASTY = "\x1b]52;c;aGk=\x07\x1b[2J[@click=app.quit]x[/]\u202egnp.exe\r\n=cmd|' /C calc'!A0 \x9b31m\x00"
RAW = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def clean(said: str) -> bool:
    return not RAW.search(said)


@pytest.fixture
def journal(tmp_path: Path):  # type: ignore[no-untyped-def]
    with Journal.open(tmp_path / "logbook") as opened:
        yield opened


def test_finding_an_inspection(journal: Journal) -> None:
    journal.create(NASTY + " one", who="ab")
    journal.create(NASTY + " two", who="ab")
    for text in (NASTY, "gnp", "nothing" + NASTY):
        with pytest.raises(LogbookError) as caught:
            journal.find(text)
        assert clean(str(caught.value))


def test_an_unknown_inspection(journal: Journal) -> None:
    with pytest.raises(LogbookError) as caught:
        journal.append(NASTY, Note("a"), who="ab")
    assert clean(str(caught.value))


def test_search_hits(journal: Journal) -> None:
    id_ = journal.create("One" + NASTY, who=NASTY)
    journal.append(id_, Note("needle " + NASTY), who=NASTY, at=NASTY)
    (hit,) = search(journal, "needle")
    assert all(clean(text) for text in (hit.words, hit.name, hit.who, hit.kind, hit.at))
    assert "gnp" in hit.words


def test_forgetting(journal: Journal) -> None:
    id_ = journal.create("One", who="ab")
    for data in (b"x", b"y"):
        sha256 = journal.pictures.put(data, NASTY)
        assert clean(journal.pictures.path(sha256).name)
        journal.append(id_, StillFiled(sha256, NASTY, 1, "JPEG"), who="ab")
    for text in (NASTY, "nothing" + NASTY):
        with pytest.raises(LogbookError) as caught:
            journal.forget(text, who="ab", why=NASTY)
        assert clean(str(caught.value))


def test_the_doctor(journal: Journal) -> None:
    id_ = journal.create("One", who="ab")
    journal.append(id_, StillFiled("a" * 64, NASTY, 1, "JPEG"), who="ab")
    journal.pictures.put(b"x")
    name = NASTY.replace("/", "_").replace("\x00", "")
    (journal.pictures.stills / name).write_bytes(b"")
    ailments = doctor.examine(journal.folder)
    assert {a.kind for a in ailments} == {"missing still", "stray still"}
    assert all(clean(a.sentence) for a in ailments)


def test_errors_of_disk_and_database(tmp_path: Path) -> None:
    for error in (OSError(2, "gone", NASTY), OSError(77, NASTY), OSError(28, NASTY)):
        assert clean(str(plain(error, NASTY)))
    folder = tmp_path / NASTY.replace("/", "_").replace("\x00", "")
    with pytest.raises(LogbookError) as caught:
        Journal.open(folder, create=False)
    assert clean(str(caught.value))


def test_who_holds_the_lock() -> None:
    assert clean(locks.Holder(1, NASTY, NASTY, NASTY).words)


def test_a_synced_folder(tmp_path: Path) -> None:
    folder = tmp_path / ("Dropbox" + NASTY.replace("/", "_").replace("\x00", ""))
    folder.mkdir()
    assert clean(volumes.synced(folder))


def test_kinds_from_a_newer_version_show_as_they_are_only_in_data() -> None:
    raw = (
        b'{"id":"1","inspection":"2","writer":"3","number":1,"prev":"","clock":1,"at":"","who":"",'
        b'"body":{"kind":"\\u001b[2J"}}'
    )
    body = decode(raw).body
    assert isinstance(body, Unknown)
    assert body.kind == "\x1b[2J"  # the record keeps what came; cleaning is the showing side's


def test_a_search_hit_of_such_a_kind_is_cleaned(journal: Journal) -> None:
    raw = (
        b'{"id":"1","inspection":"2","writer":"3","number":1,"prev":"","clock":1,"at":"","who":"",'
        b'"body":{"kind":"\\u001b[2J","t":"needle"}}'
    )
    journal.merge([decode(raw)])
    (hit,) = search(journal, "needle")
    assert clean(hit.kind)
