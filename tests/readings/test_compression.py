"""Compression: values, budgets, judgement and its properties."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from borelog.quantity import parse_repeats
from borelog.readings.air import at_sea_level
from borelog.readings.chance import Joint
from borelog.readings.compression import (
    CompressionReading,
    check_repeats,
    compare,
    make_test,
    reading_from,
    widening,
)
from borelog.readings.conditions import appraise
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import Gauge, budget, gauge_from, pooled_repeatability
from borelog.readings.rules import called, chance_words, judge, manual_rules


def dry(*typed, unit="psi", **rest):
    return make_test(
        "dry", [reading_from(i, parse_repeats(t, unit)) for i, t in enumerate(typed, 1)], unit, **rest
    )


def test_mixed_units_in_one_day():
    test = dry("150 psi", "10.3 bar", "1034 kPa", "10.5 kgf/cm2")
    assert all(r.mean_kpa == pytest.approx(1032, abs=4) for r in test.readings)
    assert judge(test).outcome("ratio75").holds


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ([CompressionReading(1, (-5.0,))], "does not read -5"),
        ([CompressionReading(1, (math.nan,))], "does not read nan"),
        ([CompressionReading(1, (math.inf,))], "does not read inf"),
        ([CompressionReading(1, ())], "no number"),
        ([CompressionReading(1, (900.0,)), CompressionReading(1, (900.0,))], "twice"),
        ([CompressionReading(1, (900.0,), (-1.0,))], "does not read -1"),
    ],
)
def test_refused(readings, says):
    with pytest.raises(ReadingError, match=says):
        make_test("dry", readings)


def test_unknown_kind():
    with pytest.raises(ReadingError, match="choose dry, wet, warm"):
        make_test("damp", [])


def test_zero_is_a_reading_and_all_zero_has_no_spread():
    assert judge(dry("150", "0")).outcome("ratio75").figure == 0
    all_zero = judge(dry("0", "0", "0"))
    assert {o.result for o in all_zero.outcomes} == {"does not apply"}
    assert "no spread" in all_zero.line


def test_single_cylinder_has_only_its_floor():
    found = judge(dry("150"), manual_rules(900))
    assert found.outcome("manual_min").result == "pass"
    assert found.outcome("ratio75").result == "does not apply"
    assert "no spread to judge" in found.line


def test_nothing_to_judge():
    assert judge(make_test("dry", [])).outcomes == ()


def test_doubtful_reading_is_left_out_and_named():
    readings = [
        CompressionReading(1, (1034.0,)),
        CompressionReading(2, (1000.0,)),
        CompressionReading(3, (7584.0,), doubt="1100 psi?"),
    ]
    found = judge(make_test("dry", readings))
    assert found.left_out == (3,)
    assert "cylinder 3 left out" in found.line
    assert found.outcome("ratio75").holds


def test_manual_rule_comes_first_and_leads_the_line():
    found = judge(dry("150", "148"), manual_rules(1100, 80))
    assert found.outcomes[0].rule.id == "manual_min"
    assert found.outcomes[0].result == "fail"
    assert found.line.startswith("service manual: fail, pass")


@pytest.mark.parametrize(
    "bad",
    [
        {"min_kpa": 0},
        {"min_kpa": -3},
        {"ratio_percent": 120},
        {"ratio_percent": math.nan},
        {"drop_kpa": math.inf},
    ],
)
def test_manual_figures_that_make_no_rule(bad):
    with pytest.raises(ReadingError, match="makes no rule"):
        manual_rules(**bad)


def test_line_says_as_far_as_the_gauge_goes():
    found = judge(dry("150", "112"))
    assert found.outcome("ratio75").result == "cannot tell"
    assert found.line.endswith("(as far as the gauge goes)")
    assert "as far as the gauge goes" in found.outcome("ratio75").words


def test_diesel_rule_is_shown_but_not_counted():
    found = judge(dry("445", "440", "405", "435"))
    assert found.outcome("spread25").rule.status == "contrast"
    assert sum(int(n) for n in found.line.replace(":", " ").replace(",", " ").split() if n.isdigit()) == 8


@pytest.mark.parametrize(
    ("p", "words", "result"),
    [
        (0.999, "over 99 %", "pass"),
        (0.949, "94 %", "cannot tell"),
        (0.95, "95 %", "pass"),
        (0.05, "5 %", "fail"),
        (0.0501, "6 %", "cannot tell"),
        (0.001, "under 1 %", "fail"),
        (0.5, "50 %", "cannot tell"),
    ],
)
def test_words_of_a_chance_never_contradict_the_call(p, words, result):
    assert chance_words(p) == words
    assert called(p) == result


def test_assumptions_are_said():
    assert len(judge(dry("150", "148")).assumed) == 4
    noted = dry("150 151", "148 149", gauge=Gauge(1.6, 2068.0, 6.9))
    assert judge(noted).assumed == ()


def test_class_error_cancels_in_a_ratio_and_counts_at_a_floor():
    fine = dry("150", "118", gauge=Gauge(0.1, 2068.0, 7.0))
    coarse = dry("150", "118", gauge=Gauge(4.0, 2068.0, 7.0))
    assert judge(fine).outcome("ratio75").probability == pytest.approx(
        judge(coarse).outcome("ratio75").probability, abs=1e-9
    )
    floor = manual_rules(118 * 6.894757 * 0.97)
    sure, unsure = judge(fine, floor).outcome("manual_min"), judge(coarse, floor).outcome("manual_min")
    assert unsure.probability < sure.probability


def test_repeats_bring_student_in():
    few, many = (
        budget([(150.0, 152.0), (148.0, 149.0)], Gauge(), "psi"),
        budget([(150.0, 152.0, 151.0, 150.0)] * 4, Gauge(), "psi"),
    )
    assert (few.dof, many.dof) == (2, 12)
    assert budget([(150.0,), (148.0,)], Gauge(), "psi").dof == math.inf
    assert pooled_repeatability([(1.0,), (2.0,)]) == (0.0, 0.0)
    assert pooled_repeatability([(1.0, 3.0), (5.0, 5.0)])[0] == pytest.approx(1.0)


def test_gauge_out_of_conditions_as_typed():
    gauge = gauge_from(
        {"gauge_class": "1,6", "gauge_full_scale": "20 bar", "graduation": "5", "throttle": "open"}
    )
    assert (gauge.class_percent, gauge.full_scale_kpa) == (1.6, 2000.0)
    assert gauge.graduation_kpa == pytest.approx(34.47, abs=0.01)
    assert gauge_from({"gauge_class": "good", "graduation": "0"}) == Gauge()


def test_bad_conditions_weaken_and_never_refuse():
    good = dry("150", "118", standing=appraise("compression_dry", {"gauge_held": "screwed in"}))
    bad = dry("150", "118", standing=appraise("compression_dry", {"pulses_equal": "no"}))
    assert widening(good.standing) == 1.0
    assert widening(bad.standing) > 1.0
    assert abs(judge(bad).outcome("ratio75").probability - 0.5) < abs(
        judge(good).outcome("ratio75").probability - 0.5
    )


def test_about_weakens():
    plain, about = dry("150", "118"), dry("150", "~118")
    assert judge(about).outcome("ratio75").probability < judge(plain).outcome("ratio75").probability


def test_compare_with_the_others():
    rows = {c.cylinder: c for c in compare(dry("150", "148", "75", "152"))}
    assert rows[3].to_highest == pytest.approx(75 / 152)
    assert rows[3].to_middle == pytest.approx(0.5)
    assert rows[4].to_highest == 1.0
    assert compare(dry("150"))[0].to_middle is None
    assert compare(dry("0", "0"))[0].to_highest is None


@pytest.mark.parametrize(
    ("typed", "agree"), [("150 152 149", True), ("150 90", False), ("0 0", True), ("0 40", False)]
)
def test_repeats_that_contradict(typed, agree):
    (found,) = check_repeats(dry(typed))
    assert found.agree is agree
    assert ("contradict" in found.words) is not agree


def test_all_pairs_count_and_not_the_two_extremes():
    # twelve equal cylinders: the more there are, the likelier one pair is apart
    two, twelve = Joint([150] * 2, [3] * 2, [0] * 2), Joint([150] * 12, [3] * 12, [0] * 12)
    assert twelve.within(1.0, 10) < two.within(1.0, 10) - 0.2


figures = st.lists(st.integers(20, 250), min_size=2, max_size=8)


@settings(deadline=None)
@given(figures, st.randoms(use_true_random=False))
def test_order_of_cylinders_does_not_matter(values, random):
    shuffled = list(values)
    random.shuffle(shuffled)
    one, two = judge(dry(*map(str, values))), judge(dry(*map(str, shuffled)))
    for a, b in zip(one.outcomes, two.outcomes, strict=True):
        assert a.holds == b.holds
        assert a.probability == pytest.approx(b.probability, abs=1e-9)


@settings(deadline=None)
@given(figures, st.floats(0, 4000))
def test_altitude_leaves_every_ratio_alone(values, altitude):
    here = [CompressionReading(i, (float(v),)) for i, v in enumerate(values)]
    sea = [CompressionReading(i, (at_sea_level(float(v), altitude),)) for i, v in enumerate(values)]
    for rule in ("ratio75", "within10", "within20", "mean20"):
        one, two = judge(make_test("dry", here)).outcome(rule), judge(make_test("dry", sea)).outcome(rule)
        assert one.figure == pytest.approx(two.figure)
        assume(abs(one.figure - one.rule.value) > 1e-6)
        assert one.holds == two.holds


@settings(deadline=None)
@given(figures)
def test_units_do_not_change_a_verdict(values):
    psi, kpa = dry(*map(str, values)), dry(*(f"{v * 6.894757293168361}" for v in values), unit="kPa")
    for a, b in zip(judge(psi).outcomes, judge(kpa).outcomes, strict=True):
        assert a.holds == b.holds


@settings(deadline=None)
@given(figures, st.integers(1, 60))
def test_a_lower_lowest_is_never_likelier_to_pass(values, less):
    values = sorted(values)
    lower = [max(0, values[0] - less), *values[1:]]
    joint = [Joint(v, [3.0] * len(v), [0.5] * len(v)) for v in (values, lower)]
    assert joint[1].within(0.75) <= joint[0].within(0.75) + 1e-6
    assert joint[1].within(1.0, 10.0) <= joint[0].within(1.0, 10.0) + 1e-6
    assert joint[1].at_least(100) <= joint[0].at_least(100) + 1e-6


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.floats(10, 250), min_size=1, max_size=12),
    st.floats(0.01, 30),
    st.sampled_from([1, 2, 3, 8, 30, math.inf]),
)
def test_chances_stay_chances(values, sd, dof):
    joint = Joint(values, [sd] * len(values), [0.3] * len(values), dof, 0.02)
    for p in (
        joint.within(0.75),
        joint.within(1, 10),
        joint.within(0.7, 0, 100),
        joint.at_least(100),
        joint.near_mean(0.8),
    ):
        assert 0 <= p <= 1 + 1e-9
