"""Plugs as witnesses and measured parts."""

from __future__ import annotations

import pytest

from borelog.readings import parts
from borelog.readings.errors import ReadingError
from borelog.readings.parts import (
    BoreMeasure,
    clearance,
    judge_bore,
    judge_part,
    manual_limit,
    worth_rebuilding,
)
from borelog.readings.plugs import PlugState, judge_gap, judge_plugs, make_plug, odd_ones, plug_words


def test_metal_spray_in_one_or_in_all():
    # FAA AC 43.13-1B 8-16d
    one = judge_plugs(
        [PlugState(c, "normal_tan", "aluminium_beads" if c == 2 else "none") for c in range(1, 5)]
    )
    assert one.metal == (2,)
    assert "mostly the piston" in one.remarks[0]
    every = judge_plugs([PlugState(c, "normal_tan", "aluminium_beads") for c in range(1, 5)])
    assert "upstream" in every.remarks[0]


def test_fused_electrode_forces_a_look_inside_and_flashover_does_not():
    # FAA AC 43.13-1B 8-16b and 8-16e
    found = judge_plugs([PlugState(1, ceramic="electrode_melted"), PlugState(2, ceramic="flashover")])
    assert any("must be examined" in r for r in found.remarks)
    assert any("not from inside" in r for r in found.remarks)


@pytest.mark.parametrize(
    ("deposits", "odd"),
    [
        (("normal_tan", "normal_tan", "dry_soot", "normal_tan"), (3,)),
        (("normal_tan", "dry_soot"), ()),
        (("normal_tan", "normal_tan", "dry_soot", "dry_soot"), ()),
        (("dry_soot",) * 4, ()),
    ],
)
def test_the_odd_one_out(deposits, odd):
    assert odd_ones([PlugState(i, d) for i, d in enumerate(deposits, 1)]) == odd


def test_closed_gap_asks_for_the_camera():
    found = judge_plugs([PlugState(2, gap_mm=0.1)], {2: judge_gap(0.1, 0.9)})
    assert any("camera before cranking" in r for r in found.remarks)


def test_gap_against_distance():
    assert "driven further" in judge_gap(1.6, 0.9, 20_000, "nickel").words
    assert "younger plugs" in judge_gap(0.9, 0.9, 60_000, "nickel").words
    assert "fits the distance" in judge_gap(1.2, 0.9, 25_000, "nickel").words
    assert "no published wear rate" in judge_gap(1.2, 0.9, 25_000, "iridium").words


@pytest.mark.parametrize(
    "plug",
    [
        PlugState(1, "shiny"),
        PlugState(1, gap_mm=9.0),
        PlugState(1, gap_mm=-0.1),
        PlugState(1, specks="glitter"),
    ],
)
def test_plugs_refused(plug):
    with pytest.raises(ReadingError):
        make_plug(plug)


def test_every_abnormal_plug_state_points_somewhere():
    for (_, state), word in plug_words().items():
        assert word.words
        assert word.points_to or state in ("none", "in_spec", "whole")
        assert word.source or not word.points_to


def test_manual_stands_before_the_published_limits():
    outcomes = judge_part("bore", "taper", 0.06, 0.005, [manual_limit("bore", "taper", 0.10)])
    assert outcomes[0].limit.status == "entered"
    assert outcomes[0].result == "pass"
    assert worth_rebuilding(outcomes) == "within limits"
    assert (
        "rebuild" in worth_rebuilding(outcomes[1:]) or worth_rebuilding(outcomes[1:]) == "too close to call"
    )


def test_bore_leads_to_a_course():
    bad = BoreMeasure(2, (86.40, 86.20, 86.05), (86.20, 86.10, 86.03), 86.0)
    assert "rebuild" in worth_rebuilding(judge_bore(bad))
    good = BoreMeasure(2, (86.015, 86.012, 86.010), (86.012, 86.010, 86.009), 86.0)
    assert worth_rebuilding(judge_bore(good)) == "within limits"
    assert worth_rebuilding(()) == "nothing measured"


@pytest.mark.parametrize(
    ("part", "quantity", "value", "bore", "result", "course"),
    [
        ("head", "flatness", 0.20, None, "fail", "head_off"),
        ("deck", "flatness", 0.02, None, "pass", ""),
        ("ring_gap", "gap", 0.40, 86.0, "pass", ""),
        ("ring_gap", "gap", 1.20, 86.0, "fail", "rebuild"),
        ("journal", "ovality", 0.05, None, "fail", "rebuild"),
        ("piston", "clearance", 0.20, None, "fail", "rebuild"),
    ],
)
def test_parts(part, quantity, value, bore, result, course):
    outcomes = judge_part(part, quantity, value, 0.003, (), bore)
    assert outcomes[0].result == result
    assert outcomes[0].course == course


def test_limit_by_the_bore_needs_the_bore():
    assert judge_part("ring_gap", "gap", 0.4, 0.01) == ()


@pytest.mark.parametrize(
    "bore",
    [
        BoreMeasure(1, (86.0, 86.0, 8.6), (86.0, 86.0, 86.0)),
        BoreMeasure(1, (86.0, 86.0, 90.6), (86.0, 86.0, 86.0)),
        BoreMeasure(1, (float("nan"), 86.0, 86.0), (86.0, 86.0, 86.0)),
    ],
)
def test_bores_refused(bore):
    with pytest.raises(ReadingError):
        parts.bore_result(bore)


def test_piston_does_not_go_into_a_smaller_bore():
    assert clearance(86.03, 85.97) == pytest.approx(0.06)
    with pytest.raises(ReadingError, match="does not go"):
        clearance(85.9, 86.0)


def test_head_height_has_only_the_manual():
    assert judge_part("head", "height", 120.1, 0.02) == ()
    assert (
        judge_part("head", "height", 120.1, 0.02, [manual_limit("head", "height", 120.0, "min")])[0].result
        == "pass"
    )
    with pytest.raises(ReadingError):
        manual_limit("head", "height", -1.0)
