"""Whatever is typed or pasted, the logbook's own pack can be taken in again: words are made recordable at the one door."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from borelog.acts.bench import NOT_NAMED, Bench, default_person, open_bench, recordable_body
from borelog.acts.entering import correct, enter, open_inspection, withdraw
from borelog.acts.packing import hand_over
from borelog.acts.taking import take_in
from borelog.logbook import entries as e
from borelog.logbook.journal import Journal
from borelog.marks.places import Place
from borelog.marks.shapes import Box, Label
from borelog.pack.check import check
from borelog.text import recordable

CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")
NASTY = (
    "\x1b]52;c;aGk=\x07 then \x1b[2J",
    "C1 \x9b31m \x85 \x90q",
    "nul \x00 del \x7f bell \x07\x08",
    "lone \ud800 surrogate",
    "windows\r\nline\rends",
    "right to left \u202egnp.exe\u202c and שלום",
    "[@click=app.quit]markup[/] {{ 7*7 }} <script>alert(1)</script>",
    "=cmd|' /C calc'!A0",
    "\ufeffmark, \u2028 separators \u2029",
    "x" * 5000,
)


def test_line_ends_become_newlines_and_controls_signs():
    assert recordable("a\r\nb\rc\td") == "a\nb\nc\td"
    assert recordable("\x1b[2J\x9b") == "␛[2J<9B>"
    assert recordable("שלום \u202e") == "שלום \u202e"


@given(st.text(st.characters(exclude_categories=()), max_size=60))
def test_no_control_character_is_left_and_a_second_cleaning_changes_nothing(text: str):
    kept = recordable(text)
    assert not CONTROL.search(kept)
    assert recordable(kept) == kept


def bodies(text: str) -> list[tuple[e.Known, str]]:
    """One of each kind that holds words of a person."""
    return [
        (e.Facts({"make": text, text[:30] or "x": "y"}), text),
        (e.Note(text, cylinder=1), text),
        (e.Told(text, text, text), "told"),
        (e.Consent(text, text, text, text, text), ""),
        (e.Codes(text, frozen=text), ""),
        (e.Reading("compression_dry", 1, text[:50], (100.0,), "psi", note=text), "measured"),
        (e.Seen("arrival_state", None, text[:20], text), ""),
        (e.Looked("could not see", cylinder=1, place=Place("bore", "exhaust", "top"), why=text), ""),
        (e.Finding("own_words", cylinder=1, own=text, severity=2, note=text), "seen"),
        (e.Prices({"currency": text[:20]}), ""),
        (e.Conditions("compression_dry", {"battery": text}), ""),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text", ["\n".join(NASTY[:-1]), NASTY[0], NASTY[3]], ids=["all", "codes", "surrogate"]
)
def test_a_pack_of_hostile_words_is_taken_in_and_reads_the_same(text: str, tmp_path: Path):
    with open_bench(tmp_path / "here", who=text).journal as journal:
        bench = Bench(journal, who=recordable(text)[:40])
        id_ = open_inspection(bench, "Car " + text[:100], facts={"layout": "inline 4"})
        stored = bench.append(id_, bodies(text))
        correct(bench, id_, stored[1].entry.id, e.Note("corrected " + text, cylinder=1))
        withdraw(bench, id_, stored[2].entry.id, text)
        built = hand_over(bench, id_, tmp_path / "out", reader="archive", zipped=True).built
        other = hand_over(bench, id_, tmp_path / "out", reader="customer").built
        entries = [s.raw for s in journal.entries(id_)]
    for pack in (built.folder, built.zip, other.folder):
        assert check(pack).good, check(pack).lines
    with Journal.open(tmp_path / "there") as journal:
        there = Bench(journal, who="T")
        assert take_in(there, built.zip).inspection == id_
        took = {s.raw for s in journal.entries(id_)}
        assert took <= set(entries)
        assert len(took) >= len(bodies(text)) + 4
        assert take_in(there, other.folder).entries > 5


def test_nested_words_are_reached_and_numbers_stay(tmp_path: Path):
    mark = e.Mark("a" * 64, Label(1.0, 2.0, "here\x1b"), label="x\x07")
    found = e.Finding("own_words", own="\x00", marks=(mark, e.Mark("b" * 64, Box(1.5, 2.25, 3, 4))))
    kept = recordable_body(e.Correct("t", found))
    assert isinstance(kept, e.Correct)
    assert isinstance(kept.body, e.Finding)
    assert kept.body.marks[0].label == "x␇"
    assert kept.body.marks[0].shape == Label(1.0, 2.0, "here␛")
    assert kept.body.marks[1] == found.marks[1]
    plain = e.Note("nothing to do", cylinder=3)
    assert recordable_body(plain) is plain


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(text=st.text(st.characters(exclude_categories=()), max_size=80))
def test_whatever_is_typed_the_entry_travels(text: str):
    from borelog.logbook.entries import Entry, encode
    from borelog.pack.coding import travels

    for body, how in bodies(text):
        kept = recordable_body(body)
        raw = encode(
            Entry(id="a", inspection="b", writer="c", number=1, prev="", clock=1, at="x", who="w", how=recordable(how), seen={}, body=kept)
        )  # fmt: skip
        assert travels(raw)


def test_the_login_name_is_never_taken(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    for name in ("LOGNAME", "USER", "LNAME", "USERNAME"):
        monkeypatch.setenv(name, "quokkalogin")
    monkeypatch.delenv("BORELOG_WHO", raising=False)
    assert default_person() == NOT_NAMED
    with open_bench(tmp_path / "logbook").journal as journal:
        bench = Bench(journal)
        id_ = open_inspection(bench, "Grey wagon", facts={"layout": "inline 4"})
        enter(bench, id_, e.Note("hello"))
        handed = hand_over(bench, id_, tmp_path / "out", reader="archive")
        assert any("not named" in r for r in handed.remarks)
        for path in handed.built.folder.rglob("*"):
            assert path.is_dir() or b"quokkalogin" not in path.read_bytes()
        assert all(s.entry.who == NOT_NAMED for s in journal.entries(id_))
    monkeypatch.setenv("BORELOG_WHO", "  M. Bench\x1b ")
    assert default_person() == "M. Bench␛"
