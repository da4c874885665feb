"""What is made never replaces what it was made from."""

from __future__ import annotations

import hashlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from borelog.acts.outputs import OutputError, write_made
from borelog.acts.picturing import PicturingError, compare_files, measure_file, shown_as


def test_an_original_stays(tmp_path: Path) -> None:
    original = tmp_path / "IMG_1.jpg"
    original.write_bytes(b"the only one")
    digest = hashlib.sha256(b"the only one").hexdigest()
    with pytest.raises(OutputError, match="is the original itself"):
        write_made(original, b"a copy", never=[digest])
    assert original.read_bytes() == b"the only one"


def test_another_file_is_replaced_and_its_folder_made(tmp_path: Path) -> None:
    there = tmp_path / "new" / "out.png"
    for data in (b"first", b"second"):
        assert write_made(there, data, never=[hashlib.sha256(b"other").hexdigest()]) == there
        assert there.read_bytes() == data


def test_the_disk_refuses_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(OutputError, match="cannot be written") as said:
        write_made(tmp_path / "file" / "out.png", b"x", never=())
    assert "\n" not in str(said.value)


def test_a_picture_shown_clearer_is_never_its_own_copy(tmp_path: Path) -> None:
    picture = tmp_path / "a.png"
    Image.new("RGB", (40, 30), (90, 60, 30)).save(picture)
    before = picture.read_bytes()
    with pytest.raises(OutputError, match="original"):
        shown_as(picture, {"contrast": "2"}, picture)
    assert picture.read_bytes() == before
    shown_as(picture, {"contrast": "2"}, tmp_path / "b.png")
    assert (tmp_path / "b.png").is_file()


def test_a_bore_laid_flat_is_never_written_over_its_view(tmp_path: Path) -> None:
    picture = tmp_path / "view.png"
    Image.new("RGB", (40, 30), (90, 60, 30)).save(picture)
    before = picture.read_bytes()
    with pytest.raises(OutputError, match="original"):
        measure_file("unroll", picture, {"bore": "80", "pose": "1", "out": str(picture)})
    assert picture.read_bytes() == before


def test_two_pictures_compared_where_they_lie_stay(tmp_path: Path) -> None:
    """The usual names beside the pictures: nothing is replaced, and what is no file of the comparison is not removed."""
    dice = np.random.default_rng(3)
    for name in ("earlier.png", "later.png"):
        Image.fromarray(dice.integers(0, 255, (60, 80, 3), np.uint8)).save(tmp_path / name)
    (tmp_path / "blink.gif").write_bytes(b"my own")
    before = {p: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(OutputError, match=r"earlier\.png is the original"):
        compare_files(tmp_path / "earlier.png", tmp_path / "later.png", tmp_path)
    assert {p: p.read_bytes() for p in tmp_path.iterdir()} == before
    done = compare_files(tmp_path / "earlier.png", tmp_path / "later.png", tmp_path / "out")
    assert not any("blink" in line for line in done.lines)
    assert (tmp_path / "blink.gif").read_bytes() == b"my own"


def test_a_copy_shown_clearer_is_a_picture_by_its_name(tmp_path: Path) -> None:
    Image.new("RGB", (40, 30), (90, 60, 30)).save(tmp_path / "a.png")
    with pytest.raises(PicturingError, match=r"written as \.png or \.jpg"):
        shown_as(tmp_path / "a.png", {"contrast": "2"}, tmp_path / "notes.txt")
    assert not (tmp_path / "notes.txt").exists()


def test_what_the_fast_way_cannot_lay_is_given_to_the_thorough_one(tmp_path: Path) -> None:
    """A flat picture foreshortened to two fifths: ORB loses it, SIFT does not."""
    from skimage import data

    image = cv2.resize(cv2.cvtColor(data.coffee(), cv2.COLOR_RGB2BGR), (720, 480))
    matrix = np.array([[0.9, 0.2, 10.0], [-0.05, 0.4, 130.0], [0, 0, 1.0]])
    for name, picture in (("a.png", image), ("b.png", cv2.warpPerspective(image, matrix, (720, 480)))):
        cv2.imwrite(str(tmp_path / name), picture)
    done = compare_files(tmp_path / "a.png", tmp_path / "b.png", tmp_path / "out")
    assert done.aligned
    assert done.values["alignment"]["method"] == "features, thorough"
