"""Leak-down and orifice flow against tables of compressible flow, an aviation circular and worked arithmetic."""

from __future__ import annotations

import math

import pytest

from borelog.readings import leakdown, orifice
from borelog.readings.leakdown import LeakReading

PSI = 6.894757293168361
PSI_STAR = orifice.flow_function(0.0)


def pressure_at(mach):
    """p/p0 of isentropic flow, gamma 1.4."""
    return (1 + 0.2 * mach * mach) ** -3.5


# Aircraft and engineering text, appendix table A.1 (gamma 1.4): Mach -> (A/A*, p/p0). Two printed last digits are one off,
# hence 1e-4.
TABLE_A1 = {
    0.05: (11.5914, 0.9983), 0.10: (5.8218, 0.9930), 0.15: (3.9103, 0.9844), 0.50: (1.3398, 0.8430),
    0.52: (1.3034, 0.8317), 0.54: (1.2703, 0.8201), 0.56: (1.2403, 0.8082), 0.58: (1.2130, 0.7962),
    0.60: (1.1882, 0.7840), 0.62: (1.1657, 0.7716), 0.64: (1.1452, 0.7591), 0.82: (1.0305, 0.6430),
    0.84: (1.0237, 0.6300), 0.86: (1.0179, 0.6170), 0.88: (1.0129, 0.6041), 0.90: (1.0089, 0.5913),
}  # fmt: skip


@pytest.mark.parametrize(("mach", "row"), TABLE_A1.items())
def test_area_ratio_is_choked_over_actual_flow(mach, row):
    area, pressure = row
    assert pressure_at(mach) == pytest.approx(pressure, abs=6e-5)
    assert PSI_STAR / orifice.flow_function(pressure_at(mach)) == pytest.approx(area, abs=1.1e-4)


# Farokhi, Aircraft Propulsion (2014) app. B: Mach -> A/A*
FAROKHI = {
    0.02: 28.942, 0.04: 14.481, 0.06: 9.6658, 0.08: 7.2615, 0.12: 4.8643, 0.14: 4.1823, 0.16: 3.6727,
    0.18: 3.2779,
    0.20: 2.9635, 0.22: 2.7076, 0.24: 2.4955, 0.26: 2.3173, 0.28: 2.1655, 0.30: 2.0350,
}  # fmt: skip


@pytest.mark.parametrize(("mach", "area"), FAROKHI.items())
def test_area_ratio_at_low_speed(mach, area):
    assert PSI_STAR / orifice.flow_function(pressure_at(mach)) == pytest.approx(
        area, rel=4e-5
    )  # printed to five digits


# Aeronautical Engineer's Data Book app. 4: Mach -> (p/p0, A/A*)
NEAR_SONIC = {
    0.87: (0.6106, 1.0153), 0.92: (0.5785, 1.0056), 0.95: (0.5595, 1.0021), 0.97: (0.5469, 1.0008),
    0.99: (0.5345, 1.0001), 1.00: (0.5283, 1.0000),
}  # fmt: skip


@pytest.mark.parametrize(("mach", "row"), NEAR_SONIC.items())
def test_near_sonic_rows(mach, row):
    assert pressure_at(mach) == pytest.approx(row[0], abs=6e-5)
    assert PSI_STAR / orifice.flow_function(
        max(pressure_at(mach), orifice.critical_ratio())
    ) == pytest.approx(row[1], abs=6e-5)


def test_critical_ratio():
    # isentropic tables, gamma 1.4: 0.5283; upstream over downstream 1.893 (calculator notes)
    assert orifice.critical_ratio() == pytest.approx(0.528282, abs=1e-6)
    assert 1 / orifice.critical_ratio() == pytest.approx(1.893, abs=5e-4)


def test_regime_borders():
    # a published choked-flow tutorial gives 35.30 psig for 80 psig (14.7 and 0.528 rounded); 13.12 from 14.696/0.52828
    leak = orifice.leak_of(35.3 * PSI, orifice.REFERENCE)
    assert leak.choked == (True, True)
    assert orifice.leak_of(35.4 * PSI, orifice.REFERENCE).choked == (True, False)
    assert orifice.leak_of(13.2 * PSI, orifice.REFERENCE).choked[0]
    assert not orifice.leak_of(13.0 * PSI, orifice.REFERENCE).choked[0]


def test_choked_mass_flow_factor():
    # course notes: m sqrt(T0) / (A p0) = 0.04042 s sqrt(K)/m for air
    m = orifice.mass_flow(1.0, 1000.0, 0.0, 300.0) / 1e3
    assert m * math.sqrt(300.0) / (1e-6 * 1e6) == pytest.approx(0.04042, abs=6e-6)


# supply 100 psi, trade articles: held -> per cent lost
@pytest.mark.parametrize(("held", "loss"), [(97, 3), (95, 5), (90, 10), (85, 15)])
def test_percent_at_100_psi(held, loss):
    assert leakdown.loss_percent(held, 100) == pytest.approx(loss)


# AC 43.13-1B para 8-14 (i): 'in excess of 25 %'
@pytest.mark.parametrize(("held", "excess"), [(60, False), (59, True), (61, False), (59.9, True)])
def test_25_percent_boundary(held, excess):
    assert leakdown.against(leakdown.loss_percent(held, 80)).exceeds is excess


def test_second_source_for_25_percent():
    # vehicle maker service page 2002: 552 kPa in, at least 414 kPa held
    assert leakdown.loss_percent(414, 552) == pytest.approx(25.0, abs=0.01)
    assert pytest.approx(80.06, abs=0.005) == 552 / PSI
    assert pytest.approx(60.05, abs=0.005) == 414 / PSI


def test_rerun_before_removal():
    # AC 43.13-1B para 8-14: after running at least 3 min
    bad = LeakReading(2, held_kpa=59 * PSI, supply_kpa=80 * PSI, orifice_mm=orifice.INCH_40)
    assert "run at least 3 minutes" in leakdown.faa_line(bad, 90).action
    assert "off" in leakdown.faa_line(bad, 90, rerun=bad).action
    good = LeakReading(2, held_kpa=64 * PSI, supply_kpa=80 * PSI, orifice_mm=orifice.INCH_40)
    assert not leakdown.faa_line(bad, 90, rerun=good).in_excess


# FAASTeam Maintenance Safety Tip Nov 2011 (AC 43.13-1B Change 1): orifice by bore
@pytest.mark.parametrize(
    ("bore_in", "orifice_in"), [(4.99, 0.040), (5.00, 0.060), (5.125, 0.060), (3.5, 0.040)]
)
def test_orifice_by_bore(bore_in, orifice_in):
    assert leakdown.faa_orifice(bore_in * 25.4).diameter_mm == pytest.approx(orifice_in * 25.4)


@pytest.mark.parametrize(("cubic_inches", "orifice_in"), [(999, 0.040), (1001, 0.060)])
def test_older_rule_by_displacement(cubic_inches, orifice_in):
    # AC 43.13-1A ch. 14 para 692, reprint
    assert leakdown.older_orifice(cubic_inches).diameter_mm == pytest.approx(orifice_in * 25.4)


# service instruction 1191A as quoted in an aviation article
@pytest.mark.parametrize(
    ("held", "band"),
    [
        ((75, 74, 76, 73), "good"), ((70, 75), "good"), ((72, 78), "retest"), ((64, 66), "retest"), ((69, 69), "retest"),
        ((62, 76), "retest"), ((59, 60), "investigate"), ((62, 78), "investigate"),
    ],
)  # fmt: skip
def test_three_bands_of_a_service_instruction(held, band):
    assert leakdown.aero_band(held)[0] == band


def test_form_is_staged():
    # AC 43.13-1B 8-14 (c), (e)-(h): 100 to 120 psi supply, 20 psi first, both gauges agree, then 80
    text = " ".join(leakdown.FAA_STEPS)
    for words in ("100 to 120 psi", "20 psi first", "80 psi", "half a turn", "3 minutes", "25 %"):
        assert words in text


def test_trade_bands_are_never_called_a_standard():
    for loss in range(0, 101):
        for band in leakdown.bands(loss):
            if band.use == "trade":
                assert band.status == "common practice"
                assert "standard" not in band.words
