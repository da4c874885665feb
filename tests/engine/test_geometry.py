"""Volumes, ratios and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.engine import geometry
from borelog.engine.engine import EngineError


@given(st.floats(0, 720), st.floats(1.2, 6))
def test_stroke_share_stays_within_the_stroke(angle, rod_ratio):
    share = geometry.stroke_share(angle, rod_ratio)
    assert -1e-9 <= share <= 1 + 1e-9
    assert share == pytest.approx(geometry.stroke_share(720 - angle, rod_ratio), abs=1e-9)


@given(st.floats(6, 14), st.floats(0, 90))
def test_late_closing_lowers_the_ratio(ratio, closing):
    dynamic = geometry.dynamic_ratio(ratio, closing)
    assert 1 < dynamic <= ratio + 1e-9
    assert geometry.dynamic_ratio(ratio, closing + 20) < dynamic


def test_ratio_there_and_back():
    swept = geometry.swept_cm3(86, 86)
    assert geometry.compression_ratio(swept, geometry.clearance_cm3(swept, 10.5)) == pytest.approx(10.5)


def test_oil_in_the_chamber():
    assert geometry.filled_ratio(10, 500, 0) == pytest.approx(10)
    assert geometry.filled_ratio(10, 500, 15) > 12
    with pytest.raises(EngineError, match="do not crank"):
        geometry.filled_ratio(10, 500, 60)


@pytest.mark.parametrize(
    "call",
    [
        lambda: geometry.swept_cm3(0, 86),
        lambda: geometry.swept_cm3(float("nan"), 86),
        lambda: geometry.clearance_cm3(500, 1),
        lambda: geometry.dynamic_ratio(10, 190),
        lambda: geometry.stroke_share(10, 0.9),
        lambda: geometry.displacement_cm3(86, 86, 0),
        lambda: geometry.filled_ratio(10, 500, -1),
    ],
)
def test_refused(call):
    with pytest.raises(EngineError):
        call()


def test_liquid_takes_the_same_room_from_both_volumes():
    """By hand: chamber 500 / 9 = 55.556; (500 + 55.556 - 15) / (55.556 - 15) = 13.329."""
    assert geometry.filled_ratio(10, 500, 15) == pytest.approx(13.329, abs=1e-3)
