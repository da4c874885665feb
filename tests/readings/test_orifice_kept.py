"""The tester's model of two orifices holds its own figures: they were computed from the formula here, so they are a guard
against change and no outside check (those are in `tests/outside/test_leak_and_flow.py`)."""

from __future__ import annotations

import math

import pytest

from borelog.readings import orifice

PSI = 6.894757293168361

# Two orifices in a row, isentropic, pa 14.696 psia, 80 psi supply: values of the formula itself (k -> psi)
K_TO_READING = {
    0.10: 79.78,
    0.25: 78.63,
    0.50: 74.74,
    0.75: 68.87,
    1.00: 61.77,
    2.00: 32.65,
    3.00: 16.87,
    5.00: 5.89,
}
ISO_READING = {0.10: 79.76, 0.25: 78.54, 0.50: 74.43, 0.75: 68.33, 1.00: 61.06, 2.00: 32.65}
READING_TO_K = {
    79: 0.2133, 78: 0.3031, 76: 0.4331, 75: 0.4867, 72: 0.6253, 70: 0.7067, 68: 0.7827, 64: 0.9245,
    60: 1.0586,
    52: 1.3185, 40: 1.7220, 30: 2.1187, 20: 2.7293,
}  # fmt: skip
HOLE_MM = {79: 0.469, 75: 0.709, 70: 0.854, 60: 1.045, 52: 1.167, 40: 1.333, 30: 1.479, 20: 1.678}


@pytest.mark.parametrize(("k", "reading"), K_TO_READING.items())
def test_reading_of_a_leak(k, reading):
    assert orifice.held_for(k, 80 * PSI) / PSI == pytest.approx(reading, abs=0.006)


@pytest.mark.parametrize(("k", "reading"), ISO_READING.items())
def test_reading_by_the_iso_6358_law(k, reading):
    found = orifice.held_for(k, 80 * PSI, law="iso6358") / PSI
    assert found == pytest.approx(reading, abs=0.006)
    assert abs(found - K_TO_READING[k]) < 0.8


@pytest.mark.parametrize(("reading", "k"), READING_TO_K.items())
def test_leak_of_a_reading(reading, k):
    assert orifice.leak_over_orifice(reading * PSI, 80 * PSI) == pytest.approx(k, abs=6e-5)


@pytest.mark.parametrize(("reading", "hole"), HOLE_MM.items())
def test_equivalent_hole(reading, hole):
    assert orifice.leak_of(reading * PSI, orifice.REFERENCE).hole_mm == pytest.approx(hole, abs=6e-4)


# the same formula at 100 psi supply
AT_100 = {95: 0.4402, 90: 0.6361, 85: 0.7968, 80: 0.9420, 70: 1.2138, 75: 1.0796}


@pytest.mark.parametrize(("held", "k"), AT_100.items())
def test_leak_at_100_psi(held, k):
    assert orifice.leak_over_orifice(held * PSI, 100 * PSI) == pytest.approx(k, abs=6e-5)


@pytest.mark.parametrize(("held", "other"), [(60, 75.31), (70, 77.86)])
def test_same_leak_on_a_0_060_tester(held, other):
    two = orifice.Tester(orifice.INCH_60, 80 * PSI)
    assert orifice.convert(held * PSI, orifice.REFERENCE, two) / PSI == pytest.approx(other, abs=0.006)


def test_altitude_hardly_matters_for_leak_down():
    # 1500 m, pa 12.264 psia: 60.00 becomes 60.51
    there = orifice.convert(60 * PSI, orifice.REFERENCE, orifice.REFERENCE, 101.325, 12.264 * PSI) / PSI
    assert there == pytest.approx(60.51, abs=0.006)


def test_ideal_flow_of_a_0_040_hole():
    grams = orifice.mass_flow(math.pi / 4 * 1.016**2, 80 * PSI + 101.325, 101.325)
    assert grams == pytest.approx(1.249, abs=6e-4)
    assert orifice.flow_anr(grams) == pytest.approx(63.3, abs=0.05)
    assert orifice.sonic_conductance(1.0) == pytest.approx(0.199, abs=6e-4)
