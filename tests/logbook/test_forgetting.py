"""Forgetting a still: the bytes go, digest, who and why stay, and the chains hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from borelog.logbook import chain, doctor
from borelog.logbook.entries import Forgotten, StillFiled
from borelog.logbook.errors import LogbookError
from borelog.logbook.journal import Journal


def file_still(journal: Journal, id_: str, data: bytes, name: str, copy: bytes = b"") -> str:
    sha256 = journal.pictures.put(data, ".heic")
    view = journal.pictures.put(copy, ".jpg") if copy else ""
    journal.append(id_, StillFiled(sha256, name, len(data), "HEIF", view_copy=view), who="ab")
    return sha256


def test_the_bytes_go_everywhere_and_who_and_why_stay(journal: Journal) -> None:
    one, two = journal.create("One", who="ab"), journal.create("Two", who="ab")
    sha256 = file_still(journal, one, b"SECRET plate", "plate.heic", b"SECRET copy")
    file_still(journal, two, b"SECRET plate", "again.heic")
    other = file_still(journal, two, b"crown", "crown.heic")
    journal.pictures.set_thumb(sha256, b"SECRET thumb")
    assert journal.forget("plate.heic", who="cd", why="number plate") == (one, two)
    for path in journal.folder.rglob("*"):
        assert not path.is_file() or b"SECRET" not in path.read_bytes()
    assert [d for d, _ in journal.pictures.all()] == [other]
    for id_ in (one, two):
        assert journal.inspection(id_).forgotten[sha256] == "number plate"
        assert chain.faults(journal.entries(id_)) == []
    last = next(s for s in journal.entries(two) if isinstance(s.body, Forgotten))
    assert (last.entry.who, last.body.still, last.body.why) == ("cd", sha256, "number plate")
    assert doctor.examine(journal.folder) == ()


def test_forgotten_bytes_that_are_still_there_are_found_and_forgetting_again_ends_it(
    journal: Journal,
) -> None:
    one = journal.create("One", who="ab")
    sha256 = file_still(journal, one, b"plate", "plate.heic")
    journal.append(one, Forgotten(sha256, "cut off before the file went"), who="ab")
    assert [a.kind for a in doctor.examine(journal.folder)] == ["not gone"]
    journal.forget(sha256[:8], who="ab", why="again")
    assert doctor.examine(journal.folder) == ()


def test_taking_in_a_copy_does_not_bring_forgotten_bytes_back(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "a") as a, Journal.open(tmp_path / "b") as b:
        one = a.create("One", who="ab")
        sha256 = file_still(a, one, b"plate", "plate.heic")
        b.merge_logbook(tmp_path / "a")
        assert b.pictures.find(sha256)
        a.forget(sha256, who="ab", why="plate")
        merged = a.merge_logbook(tmp_path / "b")
        assert (merged.stills, merged.missing) == (0, ())
        assert a.pictures.find(sha256) is None
        b.merge_logbook(tmp_path / "a")
        assert [x.kind for x in doctor.examine(tmp_path / "b")] == ["not gone"]


def test_filing_the_same_picture_again_brings_it_back(journal: Journal) -> None:
    one = journal.create("One", who="ab")
    sha256 = file_still(journal, one, b"plate", "plate.heic")
    journal.forget(sha256, who="ab", why="mistake")
    file_still(journal, one, b"plate", "plate.heic")
    assert journal.inspection(one).forgotten == {}
    assert doctor.examine(journal.folder) == ()


@pytest.mark.parametrize(
    ("text", "said"), [("nothing", "no still"), ("same.heic", "several"), ("ab", "no still")]
)
def test_what_fits_none_or_several_is_said(journal: Journal, text: str, said: str) -> None:
    one = journal.create("One", who="ab")
    file_still(journal, one, b"x", "same.heic")
    file_still(journal, one, b"y", "same.heic")
    with pytest.raises(LogbookError, match=said):
        journal.forget(text, who="ab", why="")
    assert len(list(journal.pictures.all())) == 2
