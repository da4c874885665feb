"""The same inspection worked on in two places, joined by archive packs or by taking in the other logbook."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from borelog.acts import entering, filing
from borelog.acts.bench import Bench, open_bench
from borelog.acts.disputes import disputes
from borelog.acts.packing import hand_over
from borelog.acts.taking import take_in
from borelog.logbook import chain, doctor
from borelog.logbook.entries import Facts, Note, Reading, Seen, StillFiled
from borelog.pack.errors import PackError
from borelog.text import BorelogError


def psi(value: float) -> Reading:
    return Reading("compression_dry", 3, f"{value:g}", (value,), "psi")


def picture(folder: Path, name: str, shade: int) -> str:
    folder.mkdir(exist_ok=True)
    image = Image.effect_noise((64, 48), shade).convert("RGB")
    image.save(folder / name)
    return str(folder / name)


@pytest.fixture
def benches(tmp_path: Path) -> Iterator[tuple[Bench, Bench]]:
    bay, office = (open_bench(tmp_path / name, who=name) for name in ("bay", "office"))
    yield bay, office
    bay.journal.close()
    office.journal.close()


def packed(bench: Bench, id_: str, folder: Path) -> Path:
    return hand_over(bench, id_, folder, reader="archive").built.folder


def test_archive_packs_carry_both_ways_and_nothing_is_lost(
    benches: tuple[Bench, Bench], tmp_path: Path
) -> None:
    bay, office = benches
    id_ = entering.open_inspection(bay, "Grey estate", facts={"layout": "in-line 4"})
    reading = entering.enter(bay, id_, psi(110)).entry.id
    filing.add_pictures(bay, id_, [picture(tmp_path / "p", "one.png", 30)])
    take_in(office, packed(bay, id_, tmp_path / "first"))
    entering.correct(bay, id_, reading, psi(119))
    entering.enter(bay, id_, Seen("plug_colour", 1, "tan"))
    entering.correct(office, id_, reading, psi(101))
    filing.add_pictures(office, id_, [picture(tmp_path / "p", "two.png", 90)])
    there, back = packed(bay, id_, tmp_path / "there"), packed(office, id_, tmp_path / "back")
    take_in(office, there)
    take_in(bay, back)
    for kind in (Reading, Seen, StillFiled):
        assert bay.inspection(id_).all(kind) == office.inspection(id_).all(kind)
    take_in(bay, office.journal.folder)  # brings the last hand-over too, which no pack can hold
    take_in(office, bay.journal.folder)
    assert bay.inspection(id_) == office.inspection(id_)
    assert bay.journal.head(id_) == office.journal.head(id_)
    (thing,) = bay.inspection(id_).of(Reading)
    assert {thing.body, *(r.body for r in thing.rivals)} == {psi(119), psi(101)}
    (dispute,) = disputes(bay.inspection(id_))
    assert {(w.who, w.words.rpartition(" ")[2]) for w in dispute.wordings} == {
        ("bay", "119"),
        ("office", "101"),
    }
    assert [w.stands for w in dispute.wordings] == [True, False]
    for bench in benches:
        assert chain.faults(bench.journal.entries(id_)) == []
        assert len(bench.inspection(id_).of(StillFiled)) == 2
        assert doctor.examine(bench.journal.folder) == ()
        head = bench.journal.head(id_)
        take_in(bench, there)
        take_in(bench, back)
        assert bench.journal.head(id_) == head


def test_facts_given_differently_apart_are_shown_side_by_side_and_settled(
    benches: tuple[Bench, Bench], tmp_path: Path
) -> None:
    bay, office = benches
    id_ = entering.open_inspection(bay, "Grey estate")
    office.journal.merge(bay.journal.entries(id_))
    entering.enter(bay, id_, Facts({"bore": "86"}))
    entering.enter(office, id_, Facts({"bore": "87\x1b[2J"}))
    take_in(bay, office.journal.folder)
    (dispute,) = disputes(bay.inspection(id_))
    assert "bore 86 (bay" in dispute.sentence
    assert "bore 87" in dispute.sentence
    assert "\x1b" not in dispute.sentence
    entering.enter(bay, id_, Facts({"bore": "86"}))
    assert disputes(bay.inspection(id_)) == ()


def test_forgotten_bytes_do_not_come_back_in_an_older_pack(
    benches: tuple[Bench, Bench], tmp_path: Path
) -> None:
    bay, office = benches
    id_ = entering.open_inspection(bay, "Grey estate", facts={"layout": "in-line 4"})
    filing.add_pictures(bay, id_, [picture(tmp_path / "p", "plate.png", 30)])
    (still,) = bay.inspection(id_).of(StillFiled)
    pack = packed(bay, id_, tmp_path / "first")
    take_in(office, pack)
    bay.journal.forget(still.body.sha256, who="bay", why="number plate")
    take_in(bay, pack)
    take_in(bay, office.journal.folder)
    assert bay.journal.pictures.find(still.body.sha256) is None
    assert bay.inspection(id_).forgotten == {still.body.sha256: "number plate"}
    assert doctor.examine(bay.journal.folder) == ()


def test_a_pack_from_a_logbook_that_was_set_back_and_written_on_unseen_is_refused_whole(
    benches: tuple[Bench, Bench], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bay, office = benches
    id_ = entering.open_inspection(bay, "Grey estate", facts={"layout": "in-line 4"})
    bay.journal.close()
    shutil.copytree(bay.journal.folder, tmp_path / "twin")
    # A disk image restored on another machine: nothing in reach tells the two apart.
    monkeypatch.setattr("borelog.logbook.writers.place_of", lambda _: "the same place")
    monkeypatch.setattr("borelog.logbook.writers._noted", lambda _: 0)
    for name, text in (("bay", "one history"), ("twin", "another history")):
        with open_bench(tmp_path / name, who=name).journal as journal:
            journal._db.execute("DELETE FROM writer")
            journal._db.execute(
                "INSERT INTO writer VALUES ('the same place', ?)", (journal.entries(id_)[0].entry.writer,)
            )
        bench = open_bench(tmp_path / name, who=name)
        entering.enter(bench, id_, Note(text))
        take_or_refuse = packed(bench, id_, tmp_path / f"pack-{name}")
        if name == "bay":
            take_in(office, take_or_refuse)
        else:
            head = office.journal.head(id_)
            with pytest.raises(PackError, match="two versions"):
                take_in(office, take_or_refuse)
            assert office.journal.head(id_) == head
        bench.journal.close()
    assert [r.body.text for r in office.inspection(id_).of(Note)] == ["one history"]


def test_a_damaged_logbook_is_not_taken_in(benches: tuple[Bench, Bench], tmp_path: Path) -> None:
    bay, office = benches
    id_ = entering.open_inspection(bay, "Grey estate")
    for n in range(200):
        entering.enter(bay, id_, Note("x" * 200 + str(n)))
    bay.journal.close()
    path = bay.journal.folder / "journal.sqlite"
    raw = bytearray(path.read_bytes())
    raw[9000:20000] = bytes(11000)
    path.write_bytes(bytes(raw))
    with pytest.raises(BorelogError, match="damaged"):
        take_in(office, bay.journal.folder)
    assert office.journal.ids() == []
