"""The plain-text sheet: what a mechanic writes is what is recorded, and only differences go in a second time."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from borelog.acts import entering
from borelog.acts.bench import Bench
from borelog.acts.sheet.items import questions
from borelog.acts.sheet.lines import SheetError, read_lines
from borelog.acts.sheet.printing import sheet_text
from borelog.acts.sheet.recording import record_text
from borelog.logbook.entries import (
    Codes,
    Conditions,
    Consent,
    Finding,
    Looked,
    Note,
    Prices,
    Reading,
    Seen,
    Told,
)
from borelog.text import BorelogError

SHEET = """\
name: Red saloon

[engine]
layout: inline 4
firing order: 1-3-4-2

[told]
seller 2026-03-02: "never boiled"

[codes]
codes: P0302
battery disturbed: no

[compression dry]
throttle: open
battery: 12.4 V
1: 178 psi
2: 68 70 psi
3: 172
4: not possible: plug stripped

[compression dry 2]
2: 71

[leak-down]
1: 8
2: 62 % exhaust, intake

[plugs]
rest: like the rest
2: wet, fuel; odd one out, gap 1,1

[camera]
2: notch or burnt edge; cross-hatch clear
2 weep: none
3: looked, nothing

[findings]
2: ex_notch @ exhaust valve, severity 3, seen in part, fresh; a sixth of the rim
engine: own oil on the plug wires @ engine, severity 1

[coverage]
2 bore exhaust bottom: could not see - probe too short

[consent]
by: A. Owner
stop price: 900

[prices]
own hour: 20

[notes]
2: plug came out loose
"""


@pytest.fixture
def id_(bench: Bench) -> str:
    """An inspection of which nothing but a name is known."""
    return entering.open_inspection(bench, "x")


def test_a_whole_sheet_goes_in(bench: Bench, id_: str) -> None:
    """Every section ends in its kind of entry."""
    result = record_text(bench, id_, SHEET)
    assert result.clean, result.troubles
    inspection = bench.inspection(id_)
    assert inspection.name == "Red saloon"
    assert {k: len(inspection.of(k)) for k in (Told, Codes, Conditions, Consent, Note, Prices, Finding)} == {
        Told: 1, Codes: 1, Conditions: 1, Consent: 1, Note: 1, Prices: 1, Finding: 2,
    }  # fmt: skip
    readings = {(r.body.test, r.body.cylinder, r.body.series): r.body for r in inspection.of(Reading)}
    assert readings["compression_dry", 2, ""].values == (68.0, 70.0)
    assert readings["compression_dry", 2, "2"].values == (71.0,)
    assert set(readings["leakdown", 2, ""].air) == {"exhaust", "intake"}
    assert readings["plug_gap", 2, ""].values == (1.1,)
    seen = {(r.body.item, r.body.cylinder): r.body.state for r in inspection.of(Seen)}
    assert seen["plug_deposit", 2] == "wet_fuel"
    assert seen["exh_valve_face", 2] == "notch_or_burnt"
    looked = {(r.body.cylinder, r.body.test): r.body.state for r in inspection.of(Looked)}
    assert looked[4, "compression_dry"] == "not possible"
    assert looked[3, "camera"] == "looked, nothing"


def test_the_same_sheet_again_adds_nothing(bench: Bench, id_: str) -> None:
    """Recording is idempotent."""
    record_text(bench, id_, SHEET)
    before = bench.inspection(id_).entries
    result = record_text(bench, id_, SHEET)
    assert result.changes == ()
    assert bench.inspection(id_).entries == before


def test_a_mended_line_becomes_a_correction(bench: Bench, id_: str) -> None:
    """Only the difference goes in, with what stood there before."""
    record_text(bench, id_, SHEET)
    result = record_text(bench, id_, SHEET.replace("3: 172", "3: 127"))
    assert [(c.kind, c.before) for c in result.changes] == [("corrected", "compression dry, cylinder 3: 172")]


def test_a_printed_sheet_reads_back_to_nothing_new(bench: Bench, id_: str) -> None:
    """What the record prints is what the record says."""
    record_text(bench, id_, SHEET)
    printed = sheet_text(bench.inspection(id_))
    result = record_text(bench, id_, printed)
    assert (result.changes, result.troubles) == ((), ())


def test_a_line_id_corrects_even_where_the_key_was_wrong(bench: Bench, id_: str) -> None:
    """A reading entered for cylinder 3 that was cylinder 1's is moved by mending its printed line."""
    record_text(bench, id_, "[engine]\nlayout: inline 4\n[notes]\n3: loose plug\n")
    printed = sheet_text(bench.inspection(id_))
    line = next(x for x in printed.splitlines() if x.startswith("3: loose plug"))
    result = record_text(bench, id_, printed.replace(line, line.replace("loose plug", "tight plug")))
    assert [c.kind for c in result.changes] == ["corrected"]
    assert [r.body.text for r in bench.inspection(id_).of(Note)] == ["tight plug"]


def test_dry_run_changes_nothing(bench: Bench, id_: str) -> None:
    """It says what would happen."""
    before = bench.inspection(id_).entries
    result = record_text(bench, id_, SHEET, dry_run=True)
    assert result.changes
    assert bench.inspection(id_).entries == before


def test_a_broken_line_is_named_and_the_rest_goes_in(bench: Bench, id_: str) -> None:
    """Line number, reason, repair; nothing else is lost."""
    result = record_text(
        bench, id_, "[engine]\nlayout: V6\n[compression dry]\n1: 150\n9: 140\n2: minus five\n"
    )
    assert [(t.kind, t.line) for t in result.troubles] == [("left out", 5), ("left out", 6)]
    assert "no cylinder 9" in result.troubles[0].words
    assert len(bench.inspection(id_).of(Reading)) == 1


def test_toml_is_taken_too(bench: Bench, id_: str) -> None:
    """The same sheet as TOML, with its line numbers."""
    text = '[engine]\nlayout = "inline 4"\n[compression_dry]\n1 = [178, 176]\n3 = 68\n8 = 1\n'
    result = record_text(bench, id_, text)
    assert [t.line for t in result.troubles] == [6]
    assert [r.body.values for r in bench.inspection(id_).of(Reading)] == [(178.0, 176.0), (68.0,)]


def test_every_question_of_the_evidence_table_can_be_recorded(bench: Bench, id_: str) -> None:
    """Each item, each answer, in the words of the trade."""
    record_text(bench, id_, "[engine]\nlayout: inline 4\n")
    wanted = 0
    for q in questions().values():
        if q.scope == "pair":
            continue
        for state, wording in q.states:
            key = q.label if q.scope == "engine" else f"2 {q.label}"
            result = record_text(bench, id_, f"[{q.section}]\n{key}: {wording}\n")
            assert result.clean, (q.id, state, result.troubles)
            (last,) = [r for r in bench.inspection(id_).of(Seen) if r.body.item == q.id]
            assert last.body.state == state
        wanted += 1
    assert wanted >= 63


def test_how_it_was_taken_is_read_from_brackets(bench: Bench, id_: str) -> None:
    """(in part), (told by the seller); other brackets stay text."""
    record_text(
        bench, id_, "[engine]\nlayout: inline 4\n[camera]\n2 exhaust valve: notch or burnt edge (in part)\n"
    )
    (r,) = bench.inspection(id_).of(Seen)
    assert r.how == "part"


def test_a_line_that_is_no_line_names_itself() -> None:
    """Neither section nor name: value."""
    with pytest.raises(SheetError, match="line 2"):
        read_lines("[engine]\nwhat is this\n")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    """No sheet can take the program down."""
    try:
        read_lines(text)
    except BorelogError as error:
        assert "line" in str(error) or "text" in str(error)


def _said(bench: Bench, id_: str, section: str, line: str) -> str:
    """What recording one line of a section answers: the trouble's words, or '' where it went in."""
    result = record_text(bench, id_, f"layout: inline 4\n[{section}]\n{line}\n")
    return result.troubles[0].words if result.troubles else ""


@pytest.mark.parametrize(
    ("section", "line", "words"),
    [
        ("compression dry", "1-99999999999: 150", "names no cylinder"),
        ("compression dry", f"{'9' * 5000}: 150", "names no cylinder"),
        ("compression dry", "0: 150", "names no cylinder"),
        ("compression dry", "1: puffs none", "needle after each puff"),
        ("codes", "battery disturbed: maybe", "yes or no"),
        ("findings", "1: ex_notch @ exhaust valve, severity 35", "severity 35 does not exist"),
        ("notes", "all: dirty\nrest: clean", "leaves no cylinder"),
    ],
)
def test_a_line_that_says_nothing_sensible_is_left_out_and_told(
    bench: Bench, id_: str, section: str, line: str, words: str
) -> None:
    """No line ends the program, and none is taken for something that it does not say."""
    assert words in _said(bench, id_, section, line)
    assert not bench.inspection(id_).of(Finding)


def test_a_span_of_cylinders_may_be_typed_either_way_round(bench: Bench, id_: str) -> None:
    """'3-1' means the same as '1-3'."""
    assert _said(bench, id_, "compression dry", "3-1: 150") == ""
    assert [r.body.cylinder for r in bench.inspection(id_).of(Reading)] == [1, 2, 3]
