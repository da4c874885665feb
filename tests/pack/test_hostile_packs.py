"""Every threat of the import table, built and refused; see docs/pack-format.md for the table with its sources."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from borelog.logbook.journal import Journal
from borelog.pack.check import check
from borelog.pack.errors import PackError, Refused
from borelog.pack.take import take

spoil = sys.modules["pack_spoil"]
more = sys.modules["pack_spoil_more"]


def tree(folder: Path) -> dict[str, bytes | None]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() if p.is_file() else None
        for p in sorted(folder.rglob("*"))
    }


def test_there_are_enough_of_them():
    assert len(spoil.SPOILERS) >= 120


def test_the_forger_forges_well(copy_of, logbook: Journal):
    """With nothing changed a forged journal is taken: what is refused below is refused for what it says."""
    assert take(logbook, more.forged_unchanged(copy_of("archive")), who="T").entries > 20


@pytest.mark.parametrize("name", sorted(spoil.SPOILERS))
def test_refused_and_nothing_left_behind(name: str, copy_of, logbook: Journal, tmp_path: Path):
    kind, reader, make = spoil.SPOILERS[name]
    pack = make(copy_of(reader))
    here = tmp_path / "here"
    before = tree(here)
    with pytest.raises(Refused) as refused:
        take(logbook, pack, who="T")
    assert refused.value.fault.kind == kind, refused.value
    assert tree(here) == before
    assert logbook.ids() == []
    words = str(refused.value)
    assert words.isprintable()
    assert "\u202e" not in words
    assert not (tmp_path / "evil.txt").exists()


@pytest.mark.parametrize("name", sorted(set(spoil.SPOILERS) - {"hollow_png", "too_many_files"}))
def test_check_names_it_too(name: str, copy_of):
    kind, reader, make = spoil.SPOILERS[name]
    answer = check(make(copy_of(reader)))
    assert not answer.good
    assert kind in {f.kind for f in answer.faults}
    assert all(line.isprintable() for line in answer.lines)


def test_no_pack_at_all(tmp_path: Path, logbook: Journal):
    with pytest.raises(PackError, match="no pack at"):
        take(logbook, tmp_path / "nowhere", who="T")
    (tmp_path / "empty").mkdir()
    with pytest.raises(Refused, match="belongs to every pack"):
        take(logbook, tmp_path / "empty", who="T")


def test_a_pack_zipped_again_by_other_tools_is_taken(copy_of, logbook: Journal):
    """Folder entries, another top folder, deflated pictures: what desk-top zippers write."""
    pack = copy_of("customer")
    again = spoil.zipped(pack, lambda z: z.writestr("elsewhere/data/", ""), top="elsewhere")
    assert take(logbook, again, who="T").read_only


def test_a_zip_without_top_folder_is_taken(copy_of, logbook: Journal, tmp_path: Path):
    import shutil

    made = shutil.make_archive(str(tmp_path / "flat"), "zip", copy_of("buyer"))
    assert take(logbook, Path(made), who="T").entries > 10
