"""Patterns, trend, needle build and gains."""

from __future__ import annotations

import pytest

from borelog.engine.engine import make_engine
from borelog.readings.air import expected_band
from borelog.readings.compression import CompressionReading, make_test
from borelog.readings.patterns import (
    build_shape,
    gain_words,
    good_level,
    pattern,
    trend,
    warm_changes,
    wet_gains,
)

I4 = make_engine("inline", 4, firing_order="1342")
V6 = make_engine("vee", 6)


@pytest.mark.parametrize(
    ("engine", "figures", "floor", "name", "cylinders"),
    [
        (I4, (178, 174, 68, 176), None, "one low", (3,)),
        (I4, (178, 90, 88, 176), None, "adjacent pair", (2, 3)),
        (I4, (90, 178, 176, 88), None, "several low", (1, 4)),
        (I4, (178, 174, 175, 176), None, "none low", ()),
        (I4, (110, 108, 109, 111), 120, "all low and even", (1, 2, 3, 4)),
        (I4, (110, 108, 109, 111), None, "none low", ()),
        (I4, (110, 60, 90, 111), 120, "all low, uneven", (1, 2, 3, 4)),
        (I4, (220, 150, 152, 149), None, "one high", (1,)),
        (I4, (0, 0, 0, 0), None, "all zero", (1, 2, 3, 4)),
        (I4, (150, 0, 150, 150), None, "one low", (2,)),
        (V6, (150, 152, 148, 90, 92, 88), None, "whole bank", (4, 5, 6)),
        (V6, (150, 90, 148, 150, 92, 151), None, "several low", (2, 5)),
        (V6, (150, 152, 148, 151, 92, 90), None, "adjacent pair", (5, 6)),
    ],
)
def test_patterns(engine, figures, floor, name, cylinders):
    found = pattern(dict(zip(engine.cylinders, figures, strict=True)), engine, floor)
    assert (found.name, found.cylinders) == (name, cylinders)
    assert found.words


def test_adjacent_is_where_they_stand_and_not_when_they_fire():
    alternating = make_engine("vee", 6, "alternating")
    figures = {1: 150, 2: 151, 3: 90, 4: 149, 5: 92, 6: 150}
    assert pattern(figures, alternating).name == "adjacent pair"
    assert pattern(figures, make_engine("vee", 6)).name == "several low"
    assert pattern(figures, make_engine("vee", 6, "alternating", heads="each")).name == "several low"


def test_one_cylinder_shows_no_pattern():
    assert pattern({1: 150.0}, I4).name == "cannot say"


def test_good_level_is_that_of_the_better_half():
    assert good_level([178, 174, 68, 176]) == 178
    assert good_level([150, 151, 152, 60, 61, 62]) == 151
    assert good_level([5]) == 5


def session(figures, order=None, kind="dry", oil=None):
    readings = [CompressionReading(c, v if isinstance(v, tuple) else (float(v),)) for c, v in figures.items()]
    return make_test(kind, readings, order=order or (), oil_ml=oil)


def test_a_sagging_battery_is_a_fall_over_the_order():
    found = trend(session({1: 160, 2: 156, 3: 151, 4: 148, 5: 143, 6: 140}, (1, 2, 3, 4, 5, 6)))
    assert found.sags
    assert found.change == pytest.approx(-0.13, abs=0.03)
    assert "battery" in found.words


@pytest.mark.parametrize(
    "figures",
    [
        {1: 160, 2: 158, 3: 161, 4: 159, 5: 160, 6: 60},
        {1: 150, 2: 151, 3: 149, 4: 150, 5: 151, 6: 150},
        {1: 140, 2: 144, 3: 148, 4: 152, 5: 155, 6: 160},
        {1: 150, 2: 150, 3: 150, 4: 150, 5: 150, 6: 150},
    ],
)
def test_no_sag(figures):
    assert not trend(session(figures, tuple(figures))).sags


def test_no_order_no_trend():
    assert trend(session({1: 160, 2: 150, 3: 140, 4: 130})) is None
    assert trend(session({1: 160, 2: 150}, (1, 2))) is None
    assert trend(session(dict.fromkeys(range(1, 6), 0), (1, 2, 3, 4, 5))) is None


# direction: car maker service pages 2006 and 2009
@pytest.mark.parametrize(
    ("puffs", "shape"),
    [
        ((100, 140, 155, 160), "quick and even"),
        ((40, 70, 95, 110), "builds slow"),
        ((50, 55, 58, 60), "low, does not build"),
        ((0, 0, 0), "low, does not build"),
        ((40, 160), "builds slow"),
        ((100, 160), "quick and even"),
        ((100,), "cannot say"),
        ((100, 60, 150), "cannot say"),
        ((0, 80), "builds slow"),
    ],
)
def test_needle(puffs, shape):
    assert build_shape(puffs, 160).shape == shape


@pytest.mark.parametrize(
    ("before", "after", "state"),
    [
        (100, 105, "none under 10 %"),
        (100, 118, "some 10 to 25 %"),
        (68, 110, "big over 25 %"),
        (100, 95, "none under 10 %"),
    ],
)
def test_oil(before, after, state):
    (found,) = wet_gains(session({3: before}), session({3: after}, kind="wet", oil=15.0), I4)
    assert found.state == state
    assert found.gain == pytest.approx(after / before - 1)
    assert found.warnings == ()
    assert "cylinder 3" in gain_words(found)


def test_oil_warnings():
    assert "not noted" in wet_gains(session({3: 100}), session({3: 120}, kind="wet"), I4)[0].warnings[0]
    much = make_engine("inline", 4, bore_mm=86, stroke_mm=86, compression_ratio=10)
    warnings = " ".join(
        wet_gains(session({3: 100}), session({3: 140}, kind="wet", oil=40.0), much)[0].warnings
    )
    assert "much" in warnings
    assert "filling alone" in warnings
    flat = wet_gains(session({3: 100}), session({3: 102}, kind="wet", oil=15.0), make_engine("flat", 4))
    assert "lie flat" in " ".join(flat[0].warnings)
    steep = make_engine("vee", 6, bank_angle_deg=90.0)
    assert "lean far over" in " ".join(
        wet_gains(session({3: 100}), session({3: 102}, kind="wet", oil=15.0), steep)[0].warnings
    )


def test_gain_from_zero_has_no_share():
    (found,) = wet_gains(session({3: 0}), session({3: 60}, kind="wet", oil=15.0), I4)
    assert (found.gain, found.state) == (None, "cannot say")


@pytest.mark.parametrize(("after", "state"), [(130, "recovers"), (103, "same"), (80, "worse")])
def test_warm(after, state):
    assert warm_changes(session({2: 100}), session({2: after}, kind="warm"))[0].state == state


def test_expected_band_is_wide_and_context_only():
    assert expected_band(I4) is None
    sea = expected_band(make_engine("inline", 4, compression_ratio=10.0))
    high = expected_band(make_engine("inline", 4, compression_ratio=10.0, altitude_m=1500.0))
    known = expected_band(
        make_engine(
            "inline",
            4,
            compression_ratio=10.0,
            intake_closing_deg=45.0,
            altitude_m=0.0,
            rod_mm=145.0,
            stroke_mm=86.0,
        )
    )
    assert sea.low < 1000 < 1700 < sea.high
    assert high.high / sea.high == pytest.approx(0.8345, abs=1e-3)
    assert known.assumed == ()
    assert sea.low < known.low < known.high < sea.high
    # published car figures 173 to 185 psi (service pages 1994-2000) lie inside for ratio 9.5
    car = expected_band(make_engine("inline", 4, compression_ratio=9.5))
    assert car.low < 173 * 6.895 < 185 * 6.895 < car.high
