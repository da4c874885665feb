"""What the readings say together: from a sheet to remarks, for an in-line four, a V6 and a flat four."""

from __future__ import annotations

import pytest

from borelog.acts.entering import open_inspection
from borelog.acts.judging import verdict_of
from borelog.acts.learning import TruthError, record_truth
from borelog.acts.sheet.printing import sheet_text
from borelog.acts.sheet.recording import record_text
from borelog.logbook.opened import measured_bills, opened_parts
from borelog.logbook.saying.all import remarks
from borelog.verdict.signs.opened import straight_edge

FOUR = """
[engine]
layout: inline 4
firing order: 1-3-4-2
bore: 82.5
stroke: 92.8
compression ratio: 10.5
altitude: 1500 m
spec min: 11 bar
spec gap: 0.9 mm
"""


@pytest.fixture
def said(bench):
    """Record a sheet and give what its readings say."""

    def of(sheet: str, head: str = FOUR):
        inspection = open_inspection(bench, "bench four")
        result = record_text(bench, inspection, head + sheet)
        assert not [t for t in result.troubles if t.kind == "left out"], result.troubles
        return remarks(bench.inspection(inspection))

    return of


def words(found, kind: str) -> list[str]:
    return [r.words for r in found if r.kind == kind]


@pytest.mark.parametrize(
    ("figures", "name"),
    [
        ("1: 176\n2: 62\n3: 63\n4: 174", "share a gasket bridge"),
        ("1: 176\n2: 62\n3: 173\n4: 174", "cylinder 2 alone is low"),
        ("1: 76\n2: 75\n3: 74\n4: 77", "all low and alike"),
        ("1: 76\n2: 35\n3: 60\n4: 77", "all low and uneven"),
        ("1: 176\n2: 172\n3: 173\n4: 225", "cylinder 4 stands above the rest"),
        ("1: 0\n2: 0\n3: 0\n4: 0", "every cylinder reads zero"),
        ("1: 176\n2: 172\n3: 173\n4: 170", "no cylinder stands out low"),
    ],
)
def test_the_pattern_is_said(said, figures, name):
    (line,) = words(said(f"[compression dry]\n{figures}\n"), "pattern")
    assert name in line


def test_a_whole_bank_of_a_v6_and_the_engine_it_was_entered_as(said):
    head = "[engine]\nlayout: V6\nnumbering: per bank\n"
    found = said("[compression dry]\n1: 178\n2: 175\n3: 176\n4: 120\n5: 118\n6: 122\n", head)
    assert any("all of bank 2 is low" in w for w in words(found, "pattern"))
    assert any("sharing a gasket bridge" in w for w in words(found, "pattern"))
    (order,) = words(found, "order")
    assert "v6-odd" in order and "1-2-3-4-5-6" in order
    assert "bank by bank" in words(found, "numbering")[0]


def test_a_flat_four_is_told_that_oil_lies_on_one_side(said):
    head = "[engine]\nlayout: flat 4\nfiring order: 1-3-2-4\n"
    sheet = "[compression dry]\nall: 150\n[compression wet]\noil amount: 15 ml\n2: 152\n"
    found = said(sheet, head)
    assert any("lies on one side" in w for w in words(found, "oil"))


def test_a_sagging_battery_contradicting_repeats_and_bad_conditions(said):
    sheet = (
        "[compression dry]\norder of testing: 1 2 3 4\nthrottle: shut\n1: 176\n2: 170\n3: 165\n4: 160\n"
        "[compression dry 2]\n2: 150 110\n"
    )
    found = said(sheet)
    assert any("fall 9 %" in w for w in words(found, "trend"))
    assert any("contradict each other" in w and "dry 2" in w for w in words(found, "repeats"))
    assert any("throttle: shut" in w for w in words(found, "conditions"))


def test_the_band_and_the_place_are_context_in_the_unit_of_the_dial(said):
    found = said(
        "[compression dry]\n1: 12 bar\n2: 11.8 bar\n3: 12.1\n4: 12\n".replace("12.1\n4: 12\n", "12.1 bar\n")
    )
    (band,) = words(found, "expected")
    assert "context only, never a limit" in band and " bar" in band
    (place,) = words(found, "altitude")
    assert "83.5 %" in place and "comparisons between cylinders stay" in place


def test_oil_heat_and_needle(said):
    sheet = (
        "[compression dry]\n1: 176\n2: 80 first 20\n3: 173\n4: 174\n[compression wet]\noil amount: 10 ml\n2: 130\n"
        "[compression warm retest]\n2: 165\n"
    )
    found = said(sheet)
    assert any("+62 %" in w and "rings or bore" in w for w in words(found, "oil"))
    assert any("washed or dried-out rings" in w for w in words(found, "warm"))
    assert any("rings or bore" in w for w in words(found, "needle"))


def test_leak_down_says_limit_air_testers_second_test_and_form(said):
    sheet = (
        "[leak-down dry]\ntester orifice: 0.040 in\n1: 76/80 psi none\n2: 36/80 psi tailpipe\n3: 74/80 psi\n4: 73/80\n"
        "[leak-down at mid-stroke]\ntester orifice: 0.040 in\n2: 60/80 psi\n"
    )
    found = said(sheet)
    assert any("55 % is in excess of 25 %" in w for w in words(found, "limit"))
    assert any("exhaust valve" in w for w in words(found, "air"))
    assert any("tapered at the top" in w for w in words(found, "second"))
    assert any("2 36/80" in w for w in words(found, "aviation form"))
    assert any("run at least 3 minutes" in w for w in words(found, "aviation form"))
    assert any("common practice and no standard" in w for w in words(found, "bands"))
    # 74/80 on 0.040 in: a hole of about 0.75 mm (two orifices in a row, recomputed)
    (leak,) = words(found, "leak")
    assert "0.060 in at 80 psi would show" in leak and "equal discharge coefficients assumed" in leak


def test_a_dial_of_per_cent_is_kept_and_a_perfect_seal_is_asked_about(said):
    found = said("[leak-down dry]\ndial: per cent only\n1: 0 %\n2: 8 %\n3: 7 %\n4: 9 %\n")
    assert any("not with another tester's" in w for w in words(found, "testers"))
    assert any("valve core" in w for w in words(found, "question"))


def test_the_manuals_leak_limit_goes_first(said):
    found = said("spec leak: 10\n[leak-down dry]\n1: 15 %\n2: 5 %\n")
    (line,) = [r for r in found if r.kind == "limit" and r.level == "watch"]
    assert "in excess of 10 %" in line.words and line.source == "service manual, as entered"


def test_plugs_tell_one_cylinder_from_upstream(said):
    one = said(
        "[plugs]\n1,3,4: tan or light grey\n2: wet, oil\n2 specks: shiny beads\n1,3,4 specks: none\n[plug gap]\n2: 1.2\n1: 0.9\n"
    )
    assert any("metal spray on 2 only" in w for w in words(one, "set"))
    assert any("cylinder 2 is the odd one out" in w for w in words(one, "set"))
    assert any("worn wide" in w for w in words(one, "gap"))
    every = said("[plugs]\nall specks: shiny beads\n")
    assert any("upstream" in w for w in words(every, "set"))


OPENED = """
spec head height: 125.0
[bore diameter]
instrument: bore gauge
1: 82.53 82.53 82.52 82.53 82.53 82.51
2 thrust: 82.75 82.70 82.55
2 pin: 82.62 82.60 82.54
[ring end gap]
2 top: 0.95
[piston to wall]
2 piston: 82.44
[head height]
reading: 124.9
[crank journal]
main 5: 54.97 54.95
"""


def test_opened_parts_are_held_against_the_manual_and_the_published_limits(said, bench):
    found = said(OPENED)
    parts = {r.words.partition(":")[0]: r.words for r in found if r.kind == "part" and ";" in r.words}
    assert "within limits" in parts["bore 1"]
    assert "wear 0.21 mm" in parts["bore 2"] and "rebuild" in parts["bore 2"]
    assert "beyond limits (head height)" in parts["head"]
    # 82.70 at the middle of the thrust axis less 82.44
    assert "clearance to the wall 0.26 mm" in parts["piston 2"]
    assert any("cleans up at 0.50 mm" in w for w in words(found, "part"))
    (call,) = words(found, "call")
    assert "bore 2" in call and call.count("rebuild") == 1
    inspection = bench.inspection(bench.journal.find("bench four"))
    assert measured_bills(opened_parts(inspection)) == {"bottom": frozenset({2}), "head": None}


def test_a_sheet_of_opened_parts_comes_back_and_says_nothing_new(said, bench):
    said(OPENED)
    inspection = bench.journal.find("bench four")
    result = record_text(bench, inspection, sheet_text(bench.inspection(inspection)))
    assert result.changes == () and result.clean


def test_what_was_measured_stands_beside_the_truth(said, bench):
    said(OPENED)
    inspection = bench.journal.find("bench four")
    with pytest.raises(TruthError, match="cylinder 2 measured beyond"):
        record_truth(bench, inspection, [], "opened")
    one, two = record_truth(bench, inspection, ["1=sound", "2=worn_rings_bore"], "opened", "as feared")
    assert one.note == "as feared"
    assert (
        two.note.startswith("as feared; measured beyond the limits: ") and "bore taper 0.200 mm" in two.note
    )


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("[bore diameter]\n3: 82.53 82.54 82.51", "thrust"),
        ("[crank journal]\n3: 47.9 47.9 47.9", "takes 1, 2, 4"),
        ("[crank journal]\n3: 4.79", "15 to 150 mm"),
        ("[ring end gap]\n3: 40", "40 mm"),
        ("[head height]\nreading: 12.5", "30 to 400 mm"),
    ],
)
def test_an_odd_number_of_diameters_is_kept_and_asked_about(bench, line, asks):
    inspection = open_inspection(bench, "odd")
    result = record_text(bench, inspection, f"{FOUR}\n{line}\n")
    (trouble,) = result.troubles
    assert trouble.kind == "doubtful" and asks in trouble.words
    assert not opened_parts(bench.inspection(inspection))


def test_one_height_with_both_axes(said):
    found = said(
        "[bore diameter]\n3 top: 82.60 82.55\n3 middle: 82.57 82.54\n3 bottom: 82.52 82.51\n4 across: 82.55 82.54 82.52\n"
    )
    parts = [r.words for r in found if r.kind == "part"]
    assert "wear 0.09 mm, taper 0.08 mm, out of round 0.05 mm" in parts[0]
    assert "taper 0.03 mm" in parts[-1] and "not at three heights by two axes" in parts[-1]


def test_a_place_that_no_part_has_is_left_out(bench):
    inspection = open_inspection(bench, "odd")
    result = record_text(
        bench, inspection, f"{FOUR}\n[bore diameter]\n3 sideways: 82.5\n[head flatness]\nbank 9: 0.1\n"
    )
    assert [t.kind for t in result.troubles] == ["left out", "left out"]
    assert "thrust, pin" in result.troubles[0].words


def test_published_orders_by_name_and_facts_that_do_not_go_together(bench):
    inspection = open_inspection(bench, "six")
    record_text(bench, inspection, "layout: V6\nfiring order: v6-odd\n")
    facts = bench.inspection(inspection).facts
    assert (facts["firing_order"], facts["intervals"]) == ("1-6-5-4-3-2", "150 90 150 90 150 90")
    wrong = record_text(bench, inspection, "layout: inline 4\nfiring order: 1-2-3-4\nbore: 81\n")
    # the intervals of the six stand in the way of the four
    assert [t.kind for t in wrong.troubles].count("left out") >= 1
    right = record_text(bench, inspection, "layout: inline 4\nfiring order: i4\nbore: 81\n")
    assert right.clean
    assert bench.inspection(inspection).facts["layout"] == "inline 4"


def test_the_sheet_says_how_far_to_turn_and_which_orders_there_are(bench):
    inspection = open_inspection(bench, "four")
    record_text(bench, inspection, "layout: inline 4\n")
    blank = sheet_text(bench.inspection(inspection))
    assert "# published: i4 1-3-4-2" in blank and "Turning plan: needs" in blank
    record_text(bench, inspection, "firing order: i4\n")
    filled = sheet_text(bench.inspection(inspection))
    assert "[ ] turn 180 degrees (half a turn) in running direction: cylinder 3" in filled
    assert "go back at least half a turn" in filled and "feed 20 psi first" in filled
    assert "cylinder 1 is nearest the timing drive" in filled


def test_the_needles_climb_stands_with_its_figure_and_never_as_repeats(bench):
    inspection = open_inspection(bench, "four")
    result = record_text(bench, inspection, f"{FOUR}[compression dry]\n3: 60\n3 puffs: 20 40 60\n")
    (trouble,) = result.troubles
    assert "3: puffs 20 40 60" in trouble.words
    record_text(bench, inspection, "[compression dry 2]\n3: first 20 last 55\n")
    found = remarks(bench.inspection(inspection))
    assert not words(found, "repeats")


def test_a_line_of_its_own_goes_before_all_and_codes_add_up(bench):
    inspection = open_inspection(bench, "four")
    sheet = f"{FOUR}[plug gap]\nall: 0.9\n3: 1.2\n[codes]\ncodes: P0301\nP0303: stored, twice\n[camera]\n3 crown: hole\n"
    result = record_text(bench, inspection, sheet)
    assert result.clean
    found = remarks(bench.inspection(inspection))
    assert [r.words for r in found if r.kind == "gap"][-1].startswith("cylinder 3: gap 1.2 mm")
    assert [r.cylinders for r in found if r.kind == "code"] == [(1,), (3,)]
    assert record_text(bench, inspection, sheet).changes == ()


BURNT = """
[compression dry]
1: 176
2: 90
3: 174
4: 175
[leak-down dry]
2: 45 % tailpipe
1,3,4: 6 %
[camera]
2 exhaust valve: notch or burnt edge
[prices]
value running: 5000
value as it stands: 1500
paid hour: 70
"""


def test_a_bore_beyond_its_limit_moves_the_courses_and_is_said_with_the_call(bench):
    plain, worn = open_inspection(bench, "plain"), open_inspection(bench, "worn")
    record_text(bench, plain, FOUR + BURNT)
    record_text(bench, worn, FOUR + BURNT + "[bore diameter]\n3: 82.80 82.75 82.60 82.70 82.65 82.58\n")
    before, after = (verdict_of(bench, i).verdict for i in (plain, worn))
    head = [next(c.middle for c in v.money.courses if c.course == "head_off") for v in (before, after)]
    rebuild = [next(c.middle for c in v.money.courses if c.course == "rebuild") for v in (before, after)]
    assert head[1] < head[0] - 500
    assert rebuild[1] > rebuild[0] - 200
    assert "bore 3; that asks for: rebuild" in after.call
    assert "Measured" not in before.call


def test_a_bowed_head_is_a_sign(bench):
    inspection = open_inspection(bench, "bowed")
    record_text(bench, inspection, FOUR + "[head flatness]\nreading: 0.3\n")
    (sign,) = straight_edge(bench.inspection(inspection))
    assert (sign.seen.item, sign.seen.state) == ("straight_edge", "bowed")
    record_text(bench, inspection, "[head flatness 2]\nreading: 0.01\n")
    (sign,) = straight_edge(bench.inspection(inspection))
    assert sign.seen.state == "flat"


def test_an_order_that_is_not_noted_is_asked_for_where_the_readings_fall(said):
    found = said("[compression dry]\nthrottle: shut\n1: 112\n2: 108\n3: 104\n4: 99\n")
    (asked,) = [r for r in found if r.kind == "trend"]
    assert asked.level == "ask" and "were they tested in that order" in asked.words
    (pattern,) = words(found, "pattern")
    assert pattern.endswith("the test was not done as it should be: repeat it first")


def test_what_is_alike_stands_in_one_line(said):
    found = said(
        "[plug gap]\nall: 0.95\n[compression dry]\n1: 176 first 120\n2: 172 first 118\n3: 60 first 20\n4: 170\n"
    )
    assert words(found, "gap") == ["cylinders 1, 2, 3 and 4: gap 0.95 mm against 0.9 mm: within bounds"]
    assert "dry, cylinders 1 and 2: the needle is quick and even, as on a sound cylinder" in words(
        found, "needle"
    )


def test_a_bare_number_among_figures_of_another_unit_is_asked_about(bench):
    inspection = open_inspection(bench, "mixed")
    sheet = (
        FOUR
        + "[compression dry]\n1: 11,2 bar\n2: 11 bar\n3: 10\n4: 160\n[leak-down dry]\n1: 5.2/5.5 bar\n2: 5.0\n3: 4 %\n"
    )
    result = record_text(bench, inspection, sheet)
    asked = [t.words for t in result.troubles]
    assert len(asked) == 2 and all(t.kind == "doubtful" for t in result.troubles)
    assert "10 psi? The others are in bar; 10 bar is 145 psi" in asked[0]
    assert "type held/supplied" in asked[1]
    assert "cylinder 3" not in " ".join(words(remarks(bench.inspection(inspection)), "pattern"))
    # answered with the unit, in one line, it is judged
    again = record_text(bench, inspection, "[compression dry]\n3: 10 bar\n")
    assert again.clean and again.changes[0].kind == "corrected"
    # a dead cylinder in the unit of the test is none
    other = open_inspection(bench, "plain")
    assert record_text(bench, other, FOUR + "[compression dry]\n1: 160\n2: 155\n3: 10\n4: 0\n").clean
