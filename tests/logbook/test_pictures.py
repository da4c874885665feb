"""Pictures under the digest of their bytes: once, whole, and safe before anything names them."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from borelog.logbook import durable
from borelog.logbook.errors import DiskFailed, LogbookError
from borelog.logbook.pictures import Pictures, suffix_of


@pytest.fixture
def pictures(tmp_path: Path) -> Pictures:
    return Pictures(tmp_path)


def test_the_digest_is_the_name_and_the_same_bytes_are_one_file(pictures: Pictures, tmp_path: Path) -> None:
    data = os.urandom(3000)
    sha256 = pictures.put(data, ".JPG")
    assert sha256 == hashlib.sha256(data).hexdigest()
    assert pictures.path(sha256) == tmp_path / "stills" / sha256[:2] / f"{sha256}.jpg"
    assert pictures.put(data, ".png") == sha256
    (tmp_path / "film.avi").write_bytes(data)
    assert pictures.put_file(tmp_path / "film.avi") == sha256
    assert [p for _, p in pictures.all()] == [pictures.path(sha256)]
    assert pictures.read(sha256) == data
    assert not list(tmp_path.rglob("*.part"))


def test_a_cut_off_file_is_made_whole_by_filing_again(pictures: Pictures) -> None:
    sha256 = pictures.put(b"whole picture", ".png")
    pictures.path(sha256).write_bytes(b"who")
    pictures.put(b"whole picture", ".png")
    assert pictures.read(sha256) == b"whole picture"


@pytest.mark.parametrize(
    ("name", "suffix"),
    [
        ("a.JPG", ".jpg"),
        (".tiff", ".tiff"),
        ("x.tar.gz", ".gz"),
        ("con", ".con"),
        ("", ".bin"),
        ("a.", ".bin"),
        ("a./../b", ".b"),
        ("a.p\x1bn\ng", ".png"),
        ("é.ß☃", ".bin"),
        ("a." + "x" * 300, ".xxxxxxxx"),
    ],
)
def test_suffixes_are_plain(name: str, suffix: str) -> None:
    assert suffix_of(name) == suffix


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "A" * 64, "0" * 63, "*" * 64])
def test_what_is_no_digest_is_nowhere(pictures: Pictures, name: str) -> None:
    assert pictures.find(name) is None
    with pytest.raises(LogbookError, match="borelog doctor"):
        pictures.path(name)


def test_the_file_and_its_folder_are_synced_before_the_digest_is_told(
    pictures: Pictures, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    real = durable.sync_handle
    monkeypatch.setattr(
        durable, "sync_handle", lambda h: (told.append(os.readlink(f"/proc/self/fd/{h}")), real(h))[1]
    )
    if not os.path.exists("/proc/self/fd"):
        pytest.skip("this system does not show what a file handle stands for")
    sha256 = pictures.put(b"x", ".png")
    held = pictures.path(sha256)
    names = [Path(t.removesuffix(" (deleted)")) for t in told]
    assert names[-1] == held.parent  # the name
    assert names[-2].name.endswith(".part")  # the bytes
    assert names[-3] == held.parent.parent  # the sub-folder's name
    count = len(told)
    pictures.put(b"x", ".png")
    assert len(told) == count


def test_a_failing_sync_leaves_nothing_that_looks_whole(
    pictures: Pictures, monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures.put(b"before", ".png")

    def fail(_: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(durable, "sync_handle", fail)
    with pytest.raises(DiskFailed, match="reported a fault"):
        pictures.put(b"after", ".png")
    assert pictures.find(hashlib.sha256(b"after").hexdigest()) is None
    assert not list(pictures.folder.rglob("*.part"))


def test_a_file_that_is_not_there_is_named(pictures: Pictures, tmp_path: Path) -> None:
    with pytest.raises(LogbookError, match=r"gone\.avi cannot be read"):
        pictures.put_file(tmp_path / "gone.avi")


def test_thumbnails_are_made_once_and_a_place_that_cannot_be_written_harms_nothing(
    pictures: Pictures,
) -> None:
    sha256 = pictures.put(b"still", ".png")
    made: list[Path] = []

    def make(path: Path) -> bytes:
        made.append(path)
        return b"small"

    assert pictures.thumb(sha256) is None
    first = pictures.thumb(sha256, make)
    assert first is not None
    assert first.read_bytes() == b"small"
    assert pictures.thumb(sha256, make) == first
    assert made == [pictures.path(sha256)]
    assert pictures.thumb("f" * 64, make) is None
    other = pictures.put(b"another", ".png")
    (pictures.thumbs / other[:2]).write_text("a file where the folder should be")
    assert pictures.thumb(other, make) is None


def test_removing_takes_still_and_thumbnail(pictures: Pictures) -> None:
    sha256 = pictures.put(b"still", ".png")
    pictures.set_thumb(sha256, b"small")
    assert pictures.remove(sha256) is True
    assert pictures.remove(sha256) is False
    assert list(pictures.files()) == list(pictures.thumb_files()) == []
