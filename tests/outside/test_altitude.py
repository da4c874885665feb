"""Standard atmosphere and what altitude does to a cranking gauge."""

from __future__ import annotations

import pytest

from borelog.readings import air

FOOT = 0.3048
PSI = 6.894757293168361

# ISO 2533:1975 table values as carried in an open source file: m -> (Pa, m/s); T from -6.5 K/km
ISA = {
    0: (101325.0, 340.294, 288.15), 500: (95460.8, 338.370, 284.90), 1000: (89874.6, 336.434, 281.65),
    1500: (84556.0, 334.487, 278.40), 2000: (79495.2, 332.529, 275.15), 2500: (74682.5, 330.560, 271.90),
    3000: (70108.5, 328.578, 268.65),
}  # fmt: skip


@pytest.mark.parametrize(("height", "row"), ISA.items())
def test_standard_atmosphere(height, row):
    pascal, sound, kelvin = row
    assert air.isa_pressure(height) * 1000 == pytest.approx(pascal, abs=0.1)
    assert air.sound_speed(height) == pytest.approx(sound, abs=6e-4)
    assert air.isa_temperature(height) == pytest.approx(kelvin, abs=1e-9)


# Imperial table on a reference page: ft -> psia. The 4000 ft row is a known misprint (12.682 for 12.692).
IMPERIAL = {
    0: 14.696, 500: 14.430, 1000: 14.175, 2000: 13.664, 3000: 13.173, 5000: 12.230, 6000: 11.778,
    7000: 11.341,
    8000: 10.914, 9000: 10.506, 10000: 10.108,
}  # fmt: skip


@pytest.mark.parametrize(("feet", "psia"), IMPERIAL.items())
def test_imperial_rows(feet, psia):
    assert air.isa_pressure(feet * FOOT) / PSI == pytest.approx(psia, abs=0.004)


def test_known_misprint_is_not_reproduced():
    found = air.isa_pressure(4000 * FOOT) / PSI
    assert found == pytest.approx(12.692, abs=0.001)
    assert abs(found - 12.682) > 0.008


# Motorcycle service table: ft -> factor. Whole thousands are the density ratio, halves another straight line.
TABLE = {
    500: 0.987, 1000: 0.971, 1500: 0.960, 2000: 0.943, 2500: 0.933, 3000: 0.915, 3500: 0.907, 4000: 0.888,
    4500: 0.880,
    5000: 0.862, 5500: 0.853, 6000: 0.836,
}  # fmt: skip


@pytest.mark.parametrize(("feet", "factor"), [(f, v) for f, v in TABLE.items() if f % 1000 == 0])
def test_service_table_follows_density_and_we_follow_pressure(feet, factor):
    assert air.density_ratio(feet * FOOT) == pytest.approx(factor, abs=5e-4)
    assert air.pressure_ratio(feet * FOOT) < factor - 0.006


@pytest.mark.parametrize(("feet", "factor"), [(f, v) for f, v in TABLE.items() if f % 1000 == 500])
def test_half_rows_of_the_service_table_are_a_straight_line(feet, factor):
    assert factor == pytest.approx(1 - 0.0267 * feet / 1000, abs=1.1e-3)


def test_why_is_said():
    assert "0.862" in air.WHY_NOT_THE_TABLE
    assert "0.832" in air.WHY_NOT_THE_TABLE


def test_120_psi_at_5000_feet():
    # reader letter: about 100 psi, derived from absolute pressures; 120 x 0.8320 = 99.85
    assert 120 * air.air_factor(5000 * FOOT) == pytest.approx(99.85, abs=0.02)
    assert 120 * air.air_factor(5000 * FOOT) != pytest.approx(120 * (1 - 0.01 * 5000 / 250), abs=1)


# V. W. Page, Aviation Engines (1917/18), r 4.5, n 1.3: (barometer psia, absolute, gauge) as printed to the pound
@pytest.mark.parametrize(("barometer", "absolute", "gauge"), [(14.7, 104, 89.3), (11.25, 79.4, 68.15)])
def test_worked_example_of_1918(barometer, absolute, gauge):
    found = air.end_pressure(4.5, 1.3, barometer * PSI) / PSI
    assert found == pytest.approx(gauge, abs=0.2)
    assert found + barometer == pytest.approx(absolute, abs=0.2)


def test_worked_example_recomputed():
    assert air.end_pressure(4.5, 1.3, 14.7 * PSI) / PSI == pytest.approx(89.17, abs=0.01)
    assert air.end_pressure(4.5, 1.3, 11.25 * PSI) / PSI == pytest.approx(68.24, abs=0.01)
    assert air.isa_pressure(7000 * FOOT) / PSI == pytest.approx(11.340, abs=0.002)


def test_widget_value():
    # calculator page: ratio 9, exponent 1.3 -> 241.06 psig
    assert air.end_pressure(9, 1.3, 14.7 * PSI) / PSI == pytest.approx(241.06, abs=0.07)


def test_geometric_and_geopotential_height():
    # reference text naming ISO 2533: 1000 m geometric is 999.84 m geopotential
    assert air.geopotential(1000) == pytest.approx(999.84, abs=0.005)


@pytest.mark.parametrize(("feet", "psi"), [(2500, 480), (5000, 440), (7500, 410), (10000, 380)])
def test_army_table_lies_between_pressure_and_density(feet, psi):
    # TM 5-3895-359-14&P table 1: minimum against altitude, 515 psi at 500 ft; direction and size only
    share = psi / 515
    pressure = air.pressure_ratio(feet * FOOT) / air.pressure_ratio(500 * FOOT)
    density = air.density_ratio(feet * FOOT) / air.density_ratio(500 * FOOT)
    assert pressure - 0.005 < share < density


def test_factor_is_free_of_ratio_and_exponent():
    for ratio in (8.0, 10.0, 12.5):
        for exponent in (1.15, 1.25, 1.3):
            high = air.end_pressure(ratio, exponent, air.isa_pressure(1800))
            sea = air.end_pressure(ratio, exponent)
            assert high / sea == pytest.approx(air.air_factor(1800), rel=1e-12)


@pytest.mark.parametrize("height", [-300, 0, 1500, 4000])
def test_a_gauge_taken_up_and_brought_down_again_reads_the_same(height):
    """A cranking gauge scales with local pressure (Boyle): what it loses on the way up comes back at sea level."""
    up = 1000 * air.pressure_ratio(height)
    assert air.at_sea_level(up, height) == pytest.approx(1000)
    assert air.at_sea_level(up, None, air.isa_pressure(height)) == pytest.approx(1000)
