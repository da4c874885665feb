"""Two laptops: entries taken in through the journal, and whole logbooks joined."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from borelog.logbook import doctor
from borelog.logbook.entries import Correct, Note, Opened, Reading, StillFiled, decode
from borelog.logbook.errors import Conflict, LogbookError
from borelog.logbook.journal import Journal


def psi(value: float) -> Reading:
    return Reading("compression_dry", 3, f"{value:g}", (value,), "psi")


def filed(journal: Journal, id_: str, data: bytes) -> str:
    sha256 = journal.pictures.put(data, ".jpg")
    journal.append(id_, StillFiled(sha256, "a.jpg", len(data), "JPEG"), who="ab")
    return sha256


def test_a_copied_folder_writes_under_a_name_of_its_own_and_both_join_again(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "bay") as bay:
        id_ = bay.create("One", who="ab")
        reading = bay.append(id_, psi(110), who="ab")
    shutil.copytree(tmp_path / "bay", tmp_path / "office")
    with Journal.open(tmp_path / "bay") as bay, Journal.open(tmp_path / "office") as office:
        bay.append(id_, Correct(reading.entry.id, psi(119)), who="ab")
        bay_still = filed(bay, id_, b"bay")
        office.append(id_, Correct(reading.entry.id, psi(101)), who="cd")
        office_still = filed(office, id_, b"office")
        second = office.create("Two", who="cd")
        assert bay.writer != office.writer
        merged = bay.merge_logbook(tmp_path / "office")
        assert merged.added == {id_: 2, second: 1}
        assert (merged.fresh, merged.stills, merged.missing, merged.refused) == ((second,), 1, (), {})
        office.merge_logbook(tmp_path / "bay")
        assert bay.inspection(id_) == office.inspection(id_)
        assert bay.head(id_) == office.head(id_)
        (thing,) = bay.inspection(id_).of(Reading)
        assert {thing.body, thing.rivals[0].body} == {psi(119), psi(101)}
        for journal in (bay, office):
            assert {bay_still, office_still} <= {sha for sha, _ in journal.pictures.all()}
        assert bay.merge_logbook(tmp_path / "office").added == {id_: 0, second: 0}
        settled = bay.append(id_, Correct(thing.version.entry, psi(119)), who="ab")
        assert settled.entry.seen == {office.writer: 2}
        assert bay.inspection(id_).of(Reading)[0].rivals == ()
        assert bay.append(id_, Note("x"), who="ab").entry.seen == {}
    assert doctor.examine(tmp_path / "bay") == doctor.examine(tmp_path / "office") == ()


def test_the_list_knows_what_was_taken_in(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "a") as a, Journal.open(tmp_path / "b") as b:
        id_ = a.create("One", who="ab")
        a.append(id_, Opened("Renamed"), who="ab")
        b.create("Mine", who="cd")
        b.merge(a.entries(id_))
        first = b.summaries()[0]
        assert (first.number, first.name, first.entries, first.head) == (2, "Renamed", 2, a.head(id_))
        assert b.find("last") == id_


def test_a_merge_in_any_order_of_batches_gives_the_same(tmp_path: Path, copies: Any) -> None:
    a = copies("a" * 32)
    a.add(Opened("One"))
    b = a.branch("b" * 32)
    for n in range(5):
        a.add(Note(f"a{n}"))
        b.add(Note(f"b{n}"))
    heads = set()
    for order in ((a, b), (b, a)):
        with Journal.open(tmp_path / order[0].writer) as journal:
            for copy in order:
                journal.merge(reversed(copy.stored))
            heads.add(journal.head(a.stored[0].entry.inspection))
            assert journal.inspection(a.stored[0].entry.inspection).entries == 11
    assert len(heads) == 1


def test_a_refused_merge_leaves_nothing_behind(journal: Journal, copies: Any) -> None:
    a = copies("a" * 32)
    for n in range(3):
        a.add(Note(str(n)))
    journal.merge(a.stored[:2])
    version = journal.version()
    forged = decode(a.stored[1].raw.replace(b'"1"', b'"9"'))
    for batch in ([a.stored[0], forged, a.stored[2]], [forged]):
        with pytest.raises(Conflict):
            journal.merge(batch)
    id_ = a.stored[0].entry.inspection
    assert journal.version() == version
    assert [s.raw for s in journal.entries(id_)] == [s.raw for s in a.stored[:2]]
    journal.merge(a.stored)
    assert journal.inspection(id_).entries == 3


def test_entries_of_kinds_from_a_newer_version_travel_on_unchanged(tmp_path: Path, copies: Any) -> None:
    a = copies("a" * 32)
    a.add(Note("x"))
    strange = decode(a.stored[0].raw.replace(b'"kind":"note"', b'"kind":"smell"'))
    with Journal.open(tmp_path / "a") as one, Journal.open(tmp_path / "b") as two:
        one.merge([strange])
        two.merge_logbook(tmp_path / "a")
        (kept,) = two.entries(strange.entry.inspection)
        assert kept.raw == strange.raw
        assert [u.kind for u in two.inspection(strange.entry.inspection).unknown] == ["smell"]


@pytest.mark.parametrize("field", ["inspection", "writer", "id"])
def test_names_that_no_copy_writes_are_refused(journal: Journal, copies: Any, field: str) -> None:
    a = copies("a" * 32)
    a.add(Note("x"))
    entry = a.stored[0].entry
    raw = a.stored[0].raw.replace(getattr(entry, field).encode(), b"../../x\\u001b]52;c;\\u0007")
    with pytest.raises(Conflict) as caught:
        journal.merge([decode(raw)])
    assert "\x1b" not in str(caught.value)
    assert journal.ids() == []


def test_an_entry_id_that_stands_elsewhere_is_refused(journal: Journal, copies: Any) -> None:
    a, b = copies("a" * 32), copies("b" * 32)
    a.add(Note("x"))
    b.add(Note("y"))
    journal.merge(a.stored)
    twin = decode(b.stored[0].raw.replace(b.stored[0].entry.id.encode(), a.stored[0].entry.id.encode()))
    with pytest.raises(Conflict, match=r"same id|here already"):
        journal.merge([twin])
    elsewhere = decode(twin.raw.replace(b'"inspection":"' + b"1" * 32, b'"inspection":"' + b"2" * 32))
    with pytest.raises(Conflict, match="here already"):
        journal.merge([elsewhere])
    assert len(journal.ids()) == 1


def test_another_logbook_with_one_bad_inspection_gives_the_good_ones(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "a") as a, Journal.open(tmp_path / "b") as b:
        good = a.create("Good", who="ab")
        bad = a.create("Bad", who="ab")
        b.merge(a.entries(bad))
        (first,) = b.entries(bad)
        a._db.execute("DROP TRIGGER entry_never_changed")
        raw = first.raw.replace(b"Bad", b"Mad")
        a._db.execute(
            "UPDATE entry SET raw=?, digest=? WHERE id=?", (raw, decode(raw).digest, first.entry.id)
        )
        merged = b.merge_logbook(tmp_path / "a")
        assert merged.fresh == (good,)
        assert "two versions" in merged.refused[bad]
        assert b.entries(bad) == [first]


def test_a_still_with_other_bytes_is_not_taken_in_under_the_name_of_the_right_one(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "a") as a, Journal.open(tmp_path / "b") as b:
        id_ = a.create("One", who="ab")
        sha256 = filed(a, id_, b"right bytes")
        a.pictures.path(sha256).write_bytes(b"wrong bytes")
        assert b.merge_logbook(tmp_path / "a").missing == (sha256,)
        assert list(b.pictures.files()) == []


def test_a_logbook_is_not_taken_into_itself(journal: Journal) -> None:
    with pytest.raises(LogbookError, match="itself"):
        journal.merge_logbook(journal.folder)
