"""Taking a pack in: merged or told, all or nothing, and the report made anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from borelog.logbook import entries as e
from borelog.logbook.described import engine_of
from borelog.logbook.errors import LogbookError
from borelog.logbook.journal import Journal
from borelog.pack import take as module
from borelog.pack.build import build
from borelog.pack.check import check
from borelog.pack.errors import PackError, Refused
from borelog.pack.take import take


def tree(folder: Path) -> set[str]:
    return {
        p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file() and "borelog" not in p.name
    }


def test_an_archive_becomes_the_same_inspection(scene, packs, logbook):
    taken = take(logbook, packs["archive"].folder, who="T")
    assert (taken.merged, taken.read_only, taken.entries, taken.stills) == (
        False,
        False,
        len(scene.entries),
        7,
    )
    assert logbook.inspection(scene.id) == scene.inspection
    for sha256 in scene.digests.values():
        assert logbook.pictures.read(sha256) == scene.journal.pictures.read(sha256)


def test_taking_the_same_again_adds_nothing(packs, logbook):
    take(logbook, packs["archive"].folder, who="T")
    again = take(logbook, packs["archive"].zip, who="T")
    assert (again.merged, again.entries, again.stills) == (True, 0, 0)
    assert "joined to the inspection already here" in again.words[0]


def test_a_pack_without_journal_is_told(scene, packs, logbook, scenes):
    taken = take(logbook, packs["customer"].folder, who="T", at=scenes.AT)
    assert taken.read_only
    assert taken.inspection != scene.id
    inspection = logbook.inspection(taken.inspection)
    kept = inspection.of(e.TakenIn)[0].body
    assert kept.by == scenes.WHO
    assert kept.document["about"]["inspection"] == scene.id
    for kind in (e.Reading, e.Finding, e.Note, e.Told, e.Seen, e.Codes, e.StillFiled):
        rows = inspection.of(kind)
        assert len(rows) == len(
            [r for r in scene.inspection.of(kind) if getattr(r.body, "format", "") != "AVI"]
        ), kind
        assert all(r.how.startswith("told by ") for r in rows), kind
    low = next(
        r.body for r in inspection.of(e.Reading) if r.body.cylinder == 3 and r.body.test == "compression_dry"
    )
    assert (low.typed, low.values, low.unit) == ("108", (108.0,), "psi")
    assert engine_of(inspection) == scene.engine
    pits = next(r.body for r in inspection.of(e.Finding) if r.body.term == "crown_pits")
    mine = next(r.body for r in scene.inspection.of(e.Finding) if r.body.term == "crown_pits")
    assert (pits.place, pits.severity, pits.certainty, len(pits.marks)) == (mine.place, 3, "seen in part", 3)
    assert [m.shape for m in pits.marks] == [m.shape for m in mine.marks]


def test_conditions_and_coverage_come_back(scene, packs, logbook):
    from borelog.logbook.fold import conditions_of

    taken = take(logbook, packs["customer"].folder, who="T")
    inspection = logbook.inspection(taken.inspection)
    assert conditions_of(inspection, "compression_dry") == conditions_of(scene.inspection, "compression_dry")
    states = {(r.body.cylinder, r.body.place, r.body.test): r.body.state for r in inspection.of(e.Looked)}
    for r in scene.inspection.of(e.Looked):
        assert states[(r.body.cylinder, r.body.place, r.body.test)] == r.body.state


def test_the_report_is_made_anew_and_says_told(scene, packs, logbook, tmp_path):
    taken = take(logbook, packs["buyer"].folder, who="T")
    inspection = logbook.inspection(taken.inspection)
    built = build(
        inspection,
        engine_of(inspection),
        scene.verdict,
        logbook.pictures,
        tmp_path / "again",
        entries=logbook.entries(inspection.id),
        pdf=False,
        sync=False,
    )
    html = (built.folder / "report.html").read_text()
    assert "all of it counts as told by M. Invented" in html
    assert check(built.folder).good


def test_the_same_told_pack_twice_is_one(packs, logbook):
    first = take(logbook, packs["buyer"].folder, who="T")
    second = take(logbook, packs["buyer"].zip, who="T")
    assert second.inspection == first.inspection
    assert "is here already" in second.words[0]
    assert len(logbook.ids()) == 1


def test_a_fork_is_refused_before_any_still_is_written(scenes, packs, tmp_path):
    """The same writer's number stands for two things: a copy of the logbook was set back and written on."""
    import shutil

    scene = scenes.build_scene(tmp_path / "one")
    scene.journal.close()
    shutil.copytree(tmp_path / "one", tmp_path / "two")
    with Journal.open(tmp_path / "one") as one:
        one.append(scene.id, e.Note("this way"), who="A", at=scenes.AT)
        inspection = one.inspection(scene.id)
        pack = build(
            inspection,
            engine_of(inspection),
            scene.verdict,
            one.pictures,
            tmp_path / "pack",
            entries=one.entries(scene.id),
            pdf=False,
            sync=False,
        )
        chain = one.entries(scene.id)
    with Journal.open(tmp_path / "fresh") as fresh:
        raw = [s for s in chain if s.entry.number <= len(chain) - 1]
        fresh.merge(raw)
        _forge(fresh, scene.id, chain[-1])
        before = tree(tmp_path / "fresh")
        with pytest.raises(Refused) as refused:
            take(fresh, pack.folder, who="T")
        assert refused.value.fault.kind == "journal"
        assert tree(tmp_path / "fresh") == before


def _forge(journal: Journal, id_: str, last: e.Stored) -> None:
    """Another entry under the same writer and number, as a logbook set back and written on would hold."""
    import msgspec

    other = msgspec.structs.replace(last.entry, id="0" * 31 + "1", body=e.Note("that way"))
    raw = e.encode(other)
    journal.merge([e.decode(raw)])


def test_a_disk_that_fails_at_the_end_leaves_no_stills(packs, logbook, monkeypatch):
    def fail(self, stored):
        raise LogbookError("the disk is full")

    before = tree(logbook.folder)
    monkeypatch.setattr(Journal, "merge", fail)
    with pytest.raises(Refused, match="disk is full"):
        take(logbook, packs["archive"].folder, who="T")
    assert tree(logbook.folder) == before


def test_a_file_swapped_under_way_is_noticed(copy_of, logbook, monkeypatch):
    """Between look and use nothing is trusted: each still is hashed again as it is stored."""
    pack = copy_of("archive")
    look = module._look

    def look_then_swap(source, document, progress):
        found = look(source, document, progress)
        path = pack / "data/stills/s002.jpg"
        raw = bytearray(path.read_bytes())
        raw[-50] ^= 1
        path.write_bytes(raw)
        return found

    before = tree(logbook.folder)
    monkeypatch.setattr(module, "_look", look_then_swap)
    with pytest.raises(Refused, match="changed while"):
        take(logbook, pack, who="T")
    assert tree(logbook.folder) == before
    assert logbook.ids() == []


def test_a_read_only_logbook_takes_nothing(packs, tmp_path):
    Journal.open(tmp_path / "log").close()
    with (
        Journal.open(tmp_path / "log", read_only=True) as journal,
        pytest.raises(PackError, match="reading only"),
    ):
        take(journal, packs["archive"].folder, who="T")


def test_unknown_entries_travel(scenes, tmp_path, logbook):
    """An entry of a kind this version does not know is kept byte for byte through pack and take."""
    import json

    scene = scenes.build_scene(tmp_path / "log")
    last = max((s for s in scene.entries), key=lambda s: s.order)
    body = {
        **json.loads(last.raw),
        "id": "f" * 32,
        "number": last.entry.number + 1,
        "clock": last.entry.clock + 1,
    }
    body |= {"prev": last.digest, "body": {"kind": "from_tomorrow", "x": 1}, "seen": {}}
    raw = json.dumps(body, sort_keys=True, separators=(",", ":")).encode()
    scene.journal.merge([e.decode(raw)])
    inspection = scene.journal.inspection(scene.id)
    built = build(
        inspection,
        scene.engine,
        scene.verdict,
        scene.journal.pictures,
        tmp_path / "pack",
        entries=scene.journal.entries(scene.id),
        pdf=False,
        sync=False,
    )
    assert built.document.about.from_newer_version == 1
    assert "1 of them from a newer version" in (built.folder / "report.html").read_text()
    take(logbook, built.folder, who="T")
    assert any(s.raw == raw for s in logbook.entries(scene.id))
    scene.journal.close()


def test_words_for_the_terminal_are_clean(scenes, tmp_path, logbook):
    scene = scenes.build_scene(tmp_path / "log", name="right \u202e left", note="x \u202e y")
    for reader in ("archive", "buyer"):
        built = build(
            scene.inspection,
            scene.engine,
            scene.verdict,
            scene.journal.pictures,
            tmp_path / reader,
            reader=reader,
            entries=scene.entries,
            pdf=False,
            sync=False,
        )
        assert check(built.folder).good
        taken = take(logbook, built.folder, who="T")
        assert all(w.isprintable() for w in taken.words)
        assert "\u202e" not in (built.folder / "report.html").read_text()
    scene.journal.close()


def test_progress_is_told(packs, logbook):
    seen: list[str] = []
    take(logbook, packs["archive"].folder, who="T", progress=lambda done, of, words: seen.append(words))
    assert len(seen) == 7
    assert seen[0] == "looking at s001"


def test_an_entry_that_will_not_travel_is_said(scenes, tmp_path, logbook):
    scene = scenes.build_scene(tmp_path / "log")
    scene.journal.append(scene.id, e.Note("beep \x07 \x1b[2J"), who="T", at=scenes.AT)
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack",
        entries=scene.entries, pdf=False, sync=False,
    )  # fmt: skip
    assert any("1 entries hold control characters" in r for r in built.remarks)
    assert "\x1b" not in (built.folder / "report.html").read_text()
    with pytest.raises(Refused):
        take(logbook, built.folder, who="T")
    scene.journal.close()
