"""Leak-down: what is refused, converted, compared and asked."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.readings import leakdown, orifice
from borelog.readings.conditions import appraise
from borelog.readings.errors import ReadingError
from borelog.readings.leakdown import LeakReading, make_leak

PSI = 6.894757293168361


def gauges(cylinder, held, supply=80.0, orifice_in: float | None = 0.040, **rest):
    wide = None if orifice_in is None else orifice_in * 25.4
    return LeakReading(cylinder, held_kpa=held * PSI, supply_kpa=supply * PSI, orifice_mm=wide, **rest)


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (LeakReading(1, held_kpa=90.0, supply_kpa=80.0), "swap the two"),
        (LeakReading(1, held_kpa=60.0), "held/supplied"),
        (LeakReading(1), "held/supplied"),
        (LeakReading(1, held_kpa=-1.0, supply_kpa=80.0), "does not hold"),
        (LeakReading(1, held_kpa=0.0, supply_kpa=0.0), "supply above 0"),
        (LeakReading(1, percent=120.0), "cannot be lost"),
        (LeakReading(1, kind="damp", percent=10.0), "choose dry"),
        (LeakReading(1, percent=10.0, orifice_mm=40.0), "no tester"),
    ],
)
def test_refused(reading, says):
    with pytest.raises(ReadingError, match=says):
        make_leak(reading)


def test_percent_needs_no_gauges_and_is_kept():
    reading = make_leak(LeakReading(1, percent=20.0, orifice_mm=1.0))
    figure = leakdown.on_reference(reading)
    assert (figure.loss, figure.converted) == (20.0, False)
    assert "only per cent" in figure.words


def test_reference_figure():
    assert leakdown.on_reference(gauges(1, 75.31, orifice_in=0.060)).loss == pytest.approx(25.0, abs=0.05)
    assert leakdown.on_reference(gauges(1, 60)).loss == pytest.approx(25.0, abs=1e-6)
    unknown = leakdown.on_reference(gauges(1, 60, orifice_in=None))
    assert not unknown.converted
    assert "orifice not noted" in unknown.words


def test_sagging_supply_falls_out_of_the_model():
    reading = gauges(1, 60, standing=appraise("leakdown", {"supply_read": "before"}))
    figure = leakdown.on_reference(reading)
    assert not figure.converted
    assert "not read while it leaked" in figure.words


def test_nothing_held_has_no_size():
    with pytest.raises(ReadingError, match="too large"):
        orifice.leak_of(0.0, orifice.REFERENCE)
    assert orifice.convert(0.0, orifice.REFERENCE, orifice.REFERENCE) == 0.0
    assert orifice.held_for(float("inf"), 500.0) == 0.0
    assert orifice.held_for(0.0, 500.0) == 500.0


@pytest.mark.parametrize(
    ("reading", "says"),
    [
        (gauges(1, 79.9), "valve core"),
        (gauges(1, 20), "top on compression"),
        (gauges(1, 200, supply=220), "80 psi is usual"),
        (gauges(1, 40, air=("none",)), "nothing heard"),
    ],
)
def test_questions(reading, says):
    assert any(says in q for q in leakdown.questions(reading))


def test_no_question_where_it_was_answered():
    standing = appraise("leakdown", {"core_out": "yes", "tdc": "proven"})
    assert leakdown.questions(gauges(1, 79.9, standing=standing)) == ()
    assert leakdown.questions(gauges(1, 20, standing=standing)) == ()
    assert leakdown.questions(gauges(1, 20, kind="mid")) == ()


def test_testers_are_compared_only_when_converted():
    same = leakdown.side_by_side([gauges(1, 60), gauges(2, 72)])
    assert same.comparable
    assert same.warning == ""
    converted = leakdown.side_by_side([gauges(1, 60), gauges(2, 75.31, orifice_in=0.060)])
    assert converted.comparable
    assert converted.losses[1] == pytest.approx(converted.losses[2], abs=0.05)
    apart = leakdown.side_by_side([gauges(1, 60), LeakReading(2, percent=20.0, tester="other")])
    assert not apart.comparable
    assert "cannot be converted" in apart.warning
    with pytest.raises(ReadingError, match="different tests"):
        leakdown.side_by_side([gauges(1, 60), gauges(2, 60, kind="wet")])


# trade article (2009): the four leaves
@pytest.mark.parametrize(
    ("kind", "before", "after", "state", "says"),
    [
        ("mid", 50, 70, "drops", "tapered"),
        ("mid", 50, 50, "unchanged", "rings or piston"),
        ("wet", 50, 70, "drops", "rings"),
        ("wet", 50, 51, "unchanged", "piston"),
        ("mid", 70, 50, "more", "score or crack"),
        ("tap", 50, 70, "drops", "held the valve open"),
    ],
)
def test_what_a_second_test_changes(kind, before, after, state, says):
    found = leakdown.change(gauges(2, before), gauges(2, after, kind=kind))
    assert found.state == state
    assert says in found.words


def test_change_needs_one_cylinder_and_one_tester():
    with pytest.raises(ReadingError, match="same cylinder"):
        leakdown.change(gauges(1, 50), gauges(2, 60, kind="wet"))
    found = leakdown.change(gauges(1, 50), LeakReading(1, kind="wet", percent=20.0, tester="b"))
    assert found.state == "cannot compare"


def test_form_on_another_tester_is_converted():
    line = leakdown.faa_line(gauges(3, 95, supply=100), 90.0)
    assert line.converted
    assert 75 < line.held_psi < 77
    big = leakdown.faa_line(gauges(3, 60), 5.2 * 25.4)
    assert big.converted
    assert not big.in_excess
    assert leakdown.faa_line(LeakReading(1, percent=30.0), None).in_excess


def test_where_the_air_goes():
    assert leakdown.paths(["exhaust", "crankcase"])[0] == "exhaust: exhaust valve"
    with pytest.raises(ReadingError, match="no place to listen"):
        leakdown.paths(["sunroof"])


def test_limit_with_doubt():
    assert leakdown.against(25.0).result == "cannot tell"
    assert leakdown.against(20.0).result == "pass"
    assert leakdown.against(30.0).result == "fail"
    with pytest.raises(ReadingError, match="no limit"):
        leakdown.against(10.0, 0)


held = st.floats(0.5, 79.5)


@given(held, held)
def test_more_held_is_less_leak(one, two):
    low, high = sorted((one, two))
    assert orifice.leak_over_orifice(high * PSI, 80 * PSI) <= orifice.leak_over_orifice(low * PSI, 80 * PSI)


@given(held, st.floats(0.3, 3), st.floats(30, 150), st.floats(70, 105))
def test_there_and_back_over_testers(reading, wide, supply, air):
    one, two = orifice.Tester(1.016, 80 * PSI), orifice.Tester(wide, supply * PSI)
    there = orifice.convert(reading * PSI, one, two, air)
    assert 0 < there <= supply * PSI
    if there < 0.9999 * supply * PSI and there > 0.01:
        assert orifice.convert(there, two, one, air) == pytest.approx(reading * PSI, rel=1e-4, abs=1e-3)


@given(st.floats(0.01, 20), st.sampled_from(orifice.LAWS))
def test_reading_and_leak_are_inverse(k, law):
    reading = orifice.held_for(k, 552.0, law=law)
    assert orifice.leak_over_orifice(reading, 552.0, law=law) == pytest.approx(k, rel=1e-6)


@given(st.floats(0, 1))
def test_flow_functions_are_bounded(ratio):
    assert 0 <= orifice.flow_function(ratio) <= 0.68474
    assert 0 <= orifice.iso_flow_function(ratio) <= 1


@pytest.mark.parametrize(
    "call",
    [
        lambda: orifice.flow_function(1.2),
        lambda: orifice.iso_flow_function(-0.1),
        lambda: orifice.held_for(-1, 500),
        lambda: orifice.leak_over_orifice(600, 500),
        lambda: orifice.leak_over_orifice(100, 500, air=5),
        lambda: orifice.held_for(1, 500, law="magic"),
    ],
)
def test_flow_refuses(call):
    with pytest.raises(ReadingError):
        call()


def test_a_blank_beside_a_figure_is_no_other_tester():
    known, blank = gauges(1, 60), LeakReading(2, held_kpa=70 * PSI, supply_kpa=80 * PSI)
    beside = leakdown.side_by_side([known, blank])
    assert beside.comparable and beside.warning == ""
    assert beside.losses == pytest.approx({1: 25.0, 2: 12.5})
    again = LeakReading(1, "mid", held_kpa=64 * PSI, supply_kpa=80 * PSI)
    assert leakdown.change(known, again).state == "unchanged"
    dial = LeakReading(1, "mid", percent=10.0)
    apart = leakdown.change(known, dial)
    assert apart.state == "cannot compare"
    assert (apart.before, apart.after) == pytest.approx((25.0, 10.0))
    assert "-1" not in apart.words
