"""A pack says what the record says, is the same from the same record, and comes back whole."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from borelog.logbook import entries as e
from borelog.logbook.described import engine_of
from borelog.logbook.fold import fold
from borelog.logbook.inspection import Inspection
from borelog.logbook.journal import Journal
from borelog.pack.build import build, pack_name
from borelog.pack.check import check
from borelog.pack.coding import decode
from borelog.pack.errors import PackError
from borelog.pack.gather import gather
from borelog.pack.take import take


def again(journal: Journal, id_: str, scene, target: Path, **more):
    inspection = journal.inspection(id_)
    return build(
        inspection, engine_of(inspection), scene.verdict, journal.pictures, target, entries=journal.entries(id_),
        rules=scene.rules, pdf=False, sync=False, **more,
    )  # fmt: skip


def files(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()
    }


def test_every_reader_gets_a_whole_pack(packs):
    for built in packs.values():
        for path in (built.folder, built.zip):
            answer = check(path)
            assert answer.good, answer.lines
            assert answer.lines[0].startswith("whole: ")
            assert answer.lines[1] == "not signed"


def test_the_document_carries_the_record(packs):
    raw = (packs["archive"].folder / "data/inspection.json").read_bytes()
    document = decode(raw)
    assert document == packs["archive"].document
    assert [line.cylinder for line in document.lines] == [1, 2, 3, 4]
    low = next(r for r in document.readings if r.cylinder == 3 and r.test == "compression_dry")
    assert (low.typed, low.values, low.unit) == ("108", (108.0,), "psi")
    # 1 psi = 6.894757 kPa (NIST SP 811, appendix B.8)
    assert low.standard == pytest.approx(108 * 6.894757, abs=0.01)
    assert [x.words for x in low.earlier] == ["110"]
    # P0303 is the standard code for a misfire on cylinder 3 (SAE J2012)
    assert document.codes[0].explained[0].startswith("P0303: ")
    assert "cylinder 3" in document.codes[0].explained[0]
    states = {(c.cylinder, c.where): c.state for c in document.coverage}
    assert states[(1, "bore wall, exhaust side, top band")] == "looked, nothing"
    assert states[(4, "exhaust valve")] == "could not see"
    assert states[(3, "piston crown")] == "found"
    assert states[(3, "exhaust valve")] == "still, not judged"
    assert states[(2, "intake valve")] == "not looked"
    tests = {(t.test, t.cylinder): t.state for t in document.tests}
    assert tests[("compression_dry", 1)] == "done"
    assert tests[("leakdown", 2)] == "not possible"
    assert tests[("leakdown", 4)] == "not done"
    blank = {c.condition for c in document.conditions if not c.value}
    assert {"Cranking speed", "Gauge"} <= blank


def test_numbers_are_rounded_to_six_digits(packs):
    raw = (packs["archive"].folder / "data/inspection.json").read_text()
    for number in re.findall(r"(?<=[:\[ ])-?\d+\.\d+(?:e-?\d+)?(?=[,\s\]}])", raw):
        assert float(number) == float(f"{float(number):.6g}"), number


def test_same_record_same_bytes(scene, packs, tmp_path):
    built = again(scene.journal, scene.id, scene, tmp_path / "archive", zipped=True)
    assert files(built.folder) == files(packs["archive"].folder)
    assert built.zip.read_bytes() == packs["archive"].zip.read_bytes()


def test_export_import_export_is_byte_identical(scene, packs, logbook, tmp_path):
    taken = take(logbook, packs["archive"].zip, who="T")
    assert not taken.read_only
    built = again(logbook, taken.inspection, scene, tmp_path / "archive", zipped=True)
    assert files(built.folder) == files(packs["archive"].folder)
    assert built.zip.read_bytes() == packs["archive"].zip.read_bytes()


def test_originals_are_byte_for_byte(scene, packs):
    held = packs["archive"]
    for row in held.document.stills:
        assert (held.folder / row.file).read_bytes() == scene.journal.pictures.read(row.original)


def test_every_copy_names_its_original(scene, packs):
    for reader in ("customer", "buyer", "machinist", "insurer"):
        assert {s.original for s in packs[reader].document.stills} == set(scene.digests.values())


def test_number_and_changes_come_from_hand_overs(scenes, tmp_path):
    scene = scenes.build_scene(tmp_path / "log")
    first = again(scene.journal, scene.id, scene, tmp_path / "one", reader="buyer")
    assert first.document.about.number == 1
    assert first.document.about.changed_since == ()
    scene.journal.append(scene.id, first.handed_over, who="T", at=scenes.AT)
    second = again(scene.journal, scene.id, scene, tmp_path / "two", reader="archive")
    assert second.document.about.number == 2
    assert second.document.about.changed_since == ("nothing since pack 1",)
    assert second.document.about.earlier_packs[0].digest == first.digest
    scene.journal.append(scene.id, e.Note("later"), who="T", at=scenes.AT)
    scene.journal.append(scene.id, e.Reading("leakdown", 1, "8 %", (8.0,), "%"), who="T", at=scenes.AT)
    third = again(scene.journal, scene.id, scene, tmp_path / "three", reader="archive")
    assert third.document.about.changed_since == ("1 x note since pack 1", "1 x reading since pack 1")
    scene.journal.close()


def test_the_hand_over_entry_holds_digest_and_journal_state(scene, packs):
    built = packs["buyer"]
    over = built.handed_over
    assert (over.number, over.reader, over.head) == (1, "buyer", scene.journal.head(scene.id))
    import hashlib

    whole = (built.folder / "tagmanifest-sha256.txt").read_bytes()
    assert over.digest == hashlib.sha256(whole).hexdigest()
    assert "the number plate" in over.left_out


def test_a_taken_target_is_left_alone(scene, packs, tmp_path):
    target = tmp_path / "there"
    target.mkdir()
    (target / "mine.txt").write_text("mine")
    with pytest.raises(PackError, match="there already") as refused:
        again(scene.journal, scene.id, scene, target)
    assert refused.value.exit_code == 5
    assert files(target) == {"mine.txt": b"mine"}
    assert list(tmp_path.iterdir()) == [target]


def test_a_changed_original_stops_the_pack(scenes, tmp_path):
    scene = scenes.build_scene(tmp_path / "log")
    path = scene.journal.pictures.find(scene.digests["IMG_0001.JPG"])
    raw = bytearray(path.read_bytes())
    raw[-100] ^= 1
    path.chmod(0o644)
    path.write_bytes(raw)
    with pytest.raises(PackError, match="digest has changed"):
        again(scene.journal, scene.id, scene, tmp_path / "pack")
    assert not (tmp_path / "pack").exists()
    assert not list(tmp_path.glob(".pack*"))
    scene.journal.close()


def test_a_missing_still_is_said_not_hidden(scenes, tmp_path):
    scene = scenes.build_scene(tmp_path / "log")
    scene.journal.pictures.find(scene.digests["crown.png"]).unlink()
    built = again(scene.journal, scene.id, scene, tmp_path / "pack")
    row = next(s for s in built.document.stills if s.original == scene.digests["crown.png"])
    assert (row.file, row.missing) == ("", "the file is not in the logbook")
    assert any("not in the logbook" in r for r in built.remarks)
    assert check(built.folder).good
    assert b"the file is not in the logbook" in (built.folder / "report.html").read_bytes()
    scene.journal.close()


def test_an_inspection_with_nothing_but_a_name(tmp_path):
    from borelog.verdict.judged import Verdict

    with Journal.open(tmp_path / "log") as journal:
        id_ = journal.create("bare", who="T")
        inspection = journal.inspection(id_)
        for reader in ("archive", "buyer"):
            built = build(
                inspection, None, Verdict(call="Test first."), journal.pictures, tmp_path / reader, reader=reader,
                entries=journal.entries(id_), pdf=False,
            )  # fmt: skip
            assert check(built.folder).good
            assert built.document.engine.words == "layout not said"


def test_progress_runs_to_the_end(scene, tmp_path):
    seen = []
    again(
        scene.journal,
        scene.id,
        scene,
        tmp_path / "pack",
        progress=lambda done, of, words: seen.append((done, of)),
    )
    assert seen == sorted(seen)
    assert seen[-1][0] == seen[-1][1] == len(scene.digests) + 3


def test_unknown_reader_and_item(scene, tmp_path):
    with pytest.raises(PackError, match="readers: archive, customer"):
        again(scene.journal, scene.id, scene, tmp_path / "x", reader="neighbour")
    with pytest.raises(PackError, match="it can add"):
        again(scene.journal, scene.id, scene, tmp_path / "x", reader="buyer", also=("everything",))


def test_large_stills_lie_beside_the_page(scene, tmp_path, monkeypatch):
    """Above 15 MB of stills the page holds previews and opens the whole ones beside it (the split rule)."""
    from borelog.pack import build as module

    monkeypatch.setattr(module, "INSIDE", 1000)
    built = again(scene.journal, scene.id, scene, tmp_path / "pack", reader="buyer")
    html = (built.folder / "report.html").read_text()
    assert 'data-full="data/stills/s001.jpg"' in html
    assert "img-src &#39;self&#39; data:" in html or "img-src 'self' data:" in html
    assert "unzip the whole pack first" in (built.folder / "README.txt").read_text()
    assert any("beside report.html" in r for r in built.remarks)
    assert check(built.folder).good


def test_the_name_of_a_pack(scene):
    assert pack_name(scene.inspection, 3, "buyer") == "grey-saloon-cylinder-3-dead-pack-3-buyer"
    assert pack_name(Inspection("x", name="Ωμέγα"), 1, "archive") == "inspection-pack-1-archive"


def test_a_full_disk_leaves_nothing(scene, tmp_path, monkeypatch):
    from borelog.pack import bag

    def full(self, name, data, digest=""):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bag.BagWriter, "put", full)
    with pytest.raises(PackError, match="No space left"):
        again(scene.journal, scene.id, scene, tmp_path / "pack")
    assert list(tmp_path.iterdir()) == []


def test_readme_and_bag_info_tell_a_stranger_what_this_is(packs):
    for reader, built in packs.items():
        readme = (built.folder / "README.txt").read_text()
        assert "sha256sum -c manifest-sha256.txt tagmanifest-sha256.txt" in readme
        assert f"FOR THE {reader.upper()}" in readme
        for left in built.document.about.left_out:
            assert left.what in readme
        info = (built.folder / "bag-info.txt").read_text()
        assert f"External-Identifier: {built.document.about.inspection}" in info


def test_two_laptops_become_one(scenes, tmp_path):
    """A pack taken in twice, each side written on, merges without loss: entries by id, stills by digest."""
    ours = scenes.build_scene(tmp_path / "ours")
    pack = again(ours.journal, ours.id, ours, tmp_path / "pack")
    with Journal.open(tmp_path / "theirs") as theirs:
        take(theirs, pack.folder, who="B")
        theirs.append(ours.id, e.Note("theirs"), who="B", at=scenes.AT)
        ours.journal.append(ours.id, e.Note("ours"), who="A", at=scenes.AT)
        back = again(theirs, ours.id, ours, tmp_path / "back")
        taken = take(ours.journal, back.folder, who="A")
        assert (taken.merged, taken.entries, taken.stills) == (True, 1, 0)
        forth = again(ours.journal, ours.id, ours, tmp_path / "forth")
        take(theirs, forth.folder, who="B")
        one, other = (again(j, ours.id, ours, tmp_path / n) for j, n in ((ours.journal, "x"), (theirs, "y")))
        shutil.rmtree(tmp_path / "pack")
        assert files(one.folder) == files(other.folder)
        notes = {n.text for n in one.document.notes}
        assert {"ours", "theirs"} <= notes
    ours.journal.close()


def test_annotations_point_at_files_in_the_pack(packs):
    for built in packs.values():
        page = json.loads((built.folder / "data/annotations/annotations.jsonld").read_text())
        assert page["items"]
        for item in page["items"]:
            target = built.folder / "data/annotations" / item["target"]["source"]
            assert target.resolve().is_file()


def test_answers_count_as_looks(scenes, tmp_path):
    """An ordinary answer about a view says 'nothing' of all its places; another says that it was looked at, not where."""
    scene = scenes.build_scene(tmp_path / "log")
    bodies = [
        (e.Seen("bore_surface", 1, "hatch_clear"), "seen"),
        (e.Seen("bore_surface", 2, "deep_scores"), "seen"),
        (e.Seen("exh_valve_face", 1, "notch_or_burnt"), "seen"),
        (e.Seen("crown_deposit", 2, "thin_normal"), "seen"),
        (e.Seen("crown_melt", 2, "hole"), "seen"),
    ]
    scene.journal.append_many(scene.id, bodies, who="T", at=scenes.AT)
    document = again(scene.journal, scene.id, scene, tmp_path / "pack").document
    states = {(c.cylinder, c.view, c.side, c.height): c.state for c in document.coverage}
    assert states[(1, "bore", "front", "middle")] == "looked, nothing"
    assert states[(2, "bore", "front", "middle")] == "answered, place not said"
    assert states[(1, "exhaust_valve", "", "")] == "found"
    assert states[(2, "crown", "", "")] == "found"
    assert states[(4, "bore", "front", "middle")] == "not looked"
    scene.journal.close()


def test_the_first_screen_has_room(scenes, tmp_path):
    """A long word of the verdict is cut at its first clause on the first screen; the whole stands with the cylinder."""
    import msgspec

    scene = scenes.build_scene(tmp_path / "log")
    long = "not enough evidence: looks sound so far, but no test of its squeeze that counts"
    first = msgspec.structs.replace(scene.verdict.cylinders[0], words=long)
    scene.verdict = msgspec.structs.replace(scene.verdict, cylinders=(first, *scene.verdict.cylinders[1:]))
    built = again(scene.journal, scene.id, scene, tmp_path / "pack")
    assert built.document.lines[0].word == "not enough evidence"
    assert long in (built.folder / "report.html").read_text()
    scene.journal.close()


def test_a_still_without_a_digest_is_no_file_of_ours(scene) -> None:
    """Another laptop's journal may hold any text where a digest belongs; the pack leaves such a still out."""
    filed = e.StillFiled("not a digest", "x.jpg", 1, "JPEG")
    body = e.Entry(
        id="f" * 32, inspection=scene.inspection.id, writer="w" * 32, number=1, prev="", clock=1, at="", who="", body=filed
    )  # fmt: skip
    inspection = fold([e.decode(e.encode(body))])
    assert gather(inspection, None, scene.verdict).stills == ()
