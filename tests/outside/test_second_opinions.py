"""General-purpose reference libraries as second opinions; skipped with a message where they are not installed."""

from __future__ import annotations

import math

import pytest

from borelog import quantity
from borelog.quantity import Quantity
from borelog.readings import air, chance, orifice
from borelog.readings.chance import Joint

PSI = 6.894757293168361


def library(name):
    return pytest.importorskip(name, reason=f"reference library {name} is not installed")


@pytest.mark.parametrize("height", [-200.0, 0.0, 350.0, 1500.0, 2743.0, 5000.0, 9000.0])
def test_atmosphere_by_ambiance(height):
    ambiance = library("ambiance")
    geometric = 6356766.0 * height / (6356766.0 - height)
    other = ambiance.Atmosphere(geometric)
    assert air.isa_pressure(height) * 1000 == pytest.approx(float(other.pressure[0]), rel=2e-6)
    assert air.isa_temperature(height) == pytest.approx(float(other.temperature[0]), abs=1e-3)
    assert air.density_ratio(height) * 1.225 == pytest.approx(float(other.density[0]), rel=2e-5)
    assert air.sound_speed(height) == pytest.approx(float(other.speed_of_sound[0]), rel=1e-5)


@pytest.mark.parametrize("height", [100.0, 1609.0, 3000.0])
def test_atmosphere_by_fluids(height):
    fluids = library("fluids")
    other = fluids.ATMOSPHERE_1976(6356766.0 * height / (6356766.0 - height))
    assert air.isa_pressure(height) * 1000 == pytest.approx(other.P, rel=3e-5)


@pytest.mark.parametrize("gamma", [1.4, 1.33, 1.67])
def test_critical_ratio_by_fluids(gamma):
    fluids = library("fluids")
    assert orifice.critical_ratio(gamma) == pytest.approx(fluids.P_critical_flow(1.0, gamma), rel=1e-12)


@pytest.mark.parametrize("mach", [0.1, 0.33, 0.7, 0.95])
def test_flow_function_by_fluids(mach):
    fluids = library("fluids")
    ratio = (1 + 0.2 * mach**2) ** -3.5
    density_ratio, speed = ratio ** (1 / 1.4), mach * math.sqrt(1.4 / (1 + 0.2 * mach**2))
    assert orifice.flow_function(ratio) == pytest.approx(density_ratio * speed, rel=1e-12)
    stagnation = fluids.P_stagnation(1.0, 300.0, 300.0 * (1 + 0.2 * mach**2), 1.4)
    assert ratio == pytest.approx(1 / stagnation, rel=1e-12)


AIR_G_PER_MOL = 8314.46261815324 / orifice.R_AIR


def area_by_api_520(fluids, grams_per_second, upstream, downstream):
    """Orifice area, mm2, by API Std 520-1 (equations for critical and subcritical gas flow) as the library has them."""
    return 1e6 * fluids.API520_A_g(
        m=grams_per_second / 1e3, T=293.15, Z=1.0, MW=AIR_G_PER_MOL, k=1.4, P1=upstream * 1e3, P2=downstream * 1e3,
        Kd=1.0, Kb=1.0, Kc=1.0,
    )  # fmt: skip


# The standard's two equations carry constants rounded to three and four digits: 0.06 % apart where the regimes mix.
API_ROUNDED = 7e-4


@pytest.mark.parametrize("supply", [80, 100])
@pytest.mark.parametrize("held", [79, 76, 75, 70, 64, 60, 52, 40, 36, 30, 20, 12, 5])
def test_leak_over_orifice_by_api_520(supply, held):
    fluids = library("fluids")
    p0, p1, p2 = (p * PSI + 101.325 for p in (supply, held, 0))
    other = area_by_api_520(fluids, 1.0, p1, p2) / area_by_api_520(fluids, 1.0, p0, p1)
    assert orifice.leak_over_orifice(held * PSI, supply * PSI) == pytest.approx(other, rel=API_ROUNDED)


@pytest.mark.parametrize(("up", "down"), [(652.9, 101.325), (300, 101.325), (200, 150), (120, 101.325)])
def test_mass_flow_by_api_520(up, down):
    fluids = library("fluids")
    area = area_by_api_520(fluids, orifice.mass_flow(math.pi / 4 * 1.016**2, up, down), up, down)
    assert area == pytest.approx(math.pi / 4 * 1.016**2, rel=API_ROUNDED)


@pytest.mark.parametrize("ratio", [0.54, 0.6, 0.7, 0.8, 0.9, 0.97])
def test_mass_flow_by_the_expansibility_of_iso_5167(ratio):
    """ISO 5167-3: expansibility of a nozzle, here so small that the velocity of approach is nothing."""
    fluids = library("fluids")
    up = 652.9e3
    expansibility = fluids.flow_meter.nozzle_expansibility(D=1.0, Do=1e-4, P1=up, P2=ratio * up, k=1.4)
    density = up / (orifice.R_AIR * 293.15)
    other = 1e-6 * expansibility * math.sqrt(2 * density * up * (1 - ratio)) * 1e3
    assert orifice.mass_flow(1.0, up / 1e3, ratio * up / 1e3) == pytest.approx(other, rel=1e-9)


def test_ratio_of_readings_by_uncertainties():
    uncertainties = library("uncertainties")
    low, high = uncertainties.ufloat(112, 2), uncertainties.ufloat(150, 2)
    ratio = low / high
    assert ratio.s == pytest.approx(112 / 150 * math.hypot(2 / 112, 2 / 150), rel=1e-9)
    p = chance.conformance(ratio.n, ratio.s, low=0.75)
    assert Joint([112, 150], [2, 2], [0, 0]).within(0.75) == pytest.approx(p, abs=4e-3)


@pytest.mark.parametrize("dof", [0.7, 1, 2.5, 4, 9, 33.3, 250])
def test_student_by_scipy(dof):
    stats = library("scipy.stats")
    for t in (-40.0, -3.1, -0.2, 0.0, 0.9, 2.6, 12.0):
        assert chance.t_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), abs=1e-13, rel=1e-9)
    for p in (0.001, 0.2, 0.5, 0.9, 0.9999):
        assert chance.t_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("a", "b", "x"), [(0.5, 0.5, 0.3), (2, 7, 0.05), (40, 0.5, 0.97), (3, 3, 0.5)])
def test_incomplete_beta_by_scipy(a, b, x):
    special = library("scipy.special")
    assert chance.incomplete_beta(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-12)


@pytest.mark.parametrize("dof", [3, 6, 15, 40, math.inf])
def test_joint_of_two_is_student(dof):
    stats = library("scipy.stats")
    u = 2 * math.hypot(1, 0.75)
    for low in (106, 112, 118):
        found = Joint([low, 150], [2, 2], [0, 0], dof).within(0.75)
        assert found == pytest.approx(stats.t.cdf((low - 112.5) / u, dof), abs=2e-5)


def test_joint_of_many_by_drawing():
    numpy = library("numpy")
    rng = numpy.random.default_rng(7)
    means = numpy.array([150, 148, 141, 140, 149, 139.0])
    sd = numpy.array([1, 2, 1.5, 2, 1, 3.0])
    drawn = means + sd * rng.standard_normal((1_000_000, 6))
    joint = Joint(means, sd, 0 * sd)
    low, high = drawn.min(axis=1), drawn.max(axis=1)
    assert joint.within(1, 12) == pytest.approx((high - low <= 12).mean(), abs=2e-3)
    assert joint.within(0.93, 0, 137) == pytest.approx(((low >= 0.93 * high) & (low >= 137)).mean(), abs=2e-3)
    assert joint.near_mean(0.95) == pytest.approx((low >= 0.95 * drawn.mean(axis=1)).mean(), abs=5e-3)
    assert joint.at_least(136) == pytest.approx((low >= 136).mean(), abs=2e-3)


PINT_NAMES = {
    "kgf/cm2": "kilogram_force / centimeter ** 2", "in3": "inch ** 3", "in2": "inch ** 2",
    "floz": "US_fluid_ounce", "tbsp": "tablespoon",
    "tsp": "teaspoon", "thou": "thou", "inHg": "inch_Hg", "mmHg": "millimeter_Hg", "degC": "degC",
    "degF": "degF",
    "lbft": "force_pound * foot", "Nm": "newton * meter", "l/min": "liter / minute",
    "cfm": "foot ** 3 / minute", "mm2": "millimeter ** 2",
    "mi": "mile", "um": "micrometer", "us": "microsecond", "h": "hour", "in": "inch", "ft": "foot",
    "l": "liter", "ml": "milliliter",
}  # fmt: skip
BASES = {
    "pressure": "kPa", "length": "mm", "distance": "km", "volume": "milliliter", "time": "second",
    "current": "ampere", "voltage": "volt",
    "resistance": "ohm", "temperature": "degC", "flow": "liter / minute", "torque": "newton * meter",
    "area": "millimeter ** 2", "mass": "gram",
}  # fmt: skip
OURS = {
    "time": "s",
    "current": "A",
    "voltage": "V",
    "volume": "ml",
    "flow": "l/min",
    "torque": "Nm",
    "area": "mm2",
    "mass": "g",
}


@pytest.mark.parametrize("dimension", BASES)
def test_units_by_pint(dimension):
    pint = library("pint")
    registry = pint.UnitRegistry()
    target = OURS.get(dimension, BASES[dimension])
    for unit in quantity.units_of(dimension):
        name = PINT_NAMES.get(unit, unit)
        other = registry.Quantity(12.5, name).to(BASES[dimension]).magnitude
        # mercury columns are conventional to five or more digits
        close = 1e-4 if unit in ("inHg", "mmHg") else 1e-9
        assert Quantity(12.5, unit).to(target) == pytest.approx(other, rel=close), unit
