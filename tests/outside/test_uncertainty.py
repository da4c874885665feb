"""Conformance, coverage and combined uncertainty against JCGM, NIST and worked examples."""

from __future__ import annotations

import math

import pytest

from borelog.readings import risk
from borelog.readings.chance import Joint, conformance, coverage_factor, effective_dof, t_quantile
from borelog.readings.gauge import rectangular_u, resolution_u

# JCGM 106:2012 (inputs of A read, outputs from memory and recomputed): value, u, low, high, probability
JCGM_106 = [
    (13.6, 1.8, 12.5, 16.3, 0.66, "7.4 example A, engine oil viscosity"),
    (-5.47, 0.05, None, -5.40, 0.92, "7.2 example B, breakdown voltage"),
    (509.7, 8.6, 490, None, 0.99, "7.3 example C, burst pressure"),
]


@pytest.mark.parametrize(("value", "u", "low", "high", "p", "source"), JCGM_106)
def test_conformance_examples(value, u, low, high, p, source):
    assert conformance(value, u, low, high) == pytest.approx(p, abs=0.005), source


def test_speed_limit_example():
    # JCGM 106 8.3.3: 100 km/h, u 2 % of the reading, 99.9 % proof: act above 106.6 km/h
    assert conformance(106.59, 0.02 * 106.59, high=100) == pytest.approx(0.001, abs=2e-5)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_guard_factor_table(p, z):
    # JCGM 106 table 1 (from memory; 1.6449 is printed 1.64)
    assert risk.guard_factor(1 - p) == pytest.approx(z, abs=0.0051)


def test_bearing_example():
    # JCGM 106 9.5.4: gamma(4, 1/4), limit 2, u 0.25
    def gamma(x):
        return x**3 * math.exp(-x / 0.25) / (math.gamma(4) * 0.25**4) if x > 0 else 0.0

    plain = risk.global_risk(gamma, (0, 8), 0.25, high=2)
    assert plain.bad == pytest.approx(0.04238, abs=1e-5)
    assert plain.bad_passed == pytest.approx(0.008019, abs=1e-6)
    tight = risk.global_risk(gamma, (0, 8), 0.25, high=2, accept_high=1.67183)
    assert tight.bad_passed == pytest.approx(0.001, abs=1e-6)


# Deaver 1993/94 as encoded in an open test file: limit, u, guard -> false accept, false reject
@pytest.mark.parametrize(
    ("limit", "u", "guard", "passed", "failed"),
    [(2, 0.25, 1, 0.008, 0.015), (2.5, 0.25, 1, 0.0025, 0.0053), (2, 0.5, 0.91, 0.008, 0.066)],
)
def test_false_decisions(limit, u, guard, passed, failed):
    found = risk.symmetric_risk(limit, 1.0, u, guard)
    assert found.bad_passed == pytest.approx(passed, abs=6e-5)
    assert found.good_failed == pytest.approx(failed, abs=2e-4)


# NCSL RP-19 draft as encoded: share inside -> false accept, false accept among the accepted, per cent, at 4:1
RP_19 = {
    60: (4.8386, 8.2601),
    70: (3.9223, 5.7232),
    80: (2.8558, 3.6323),
    90: (1.5999, 1.7988),
    95: (0.8710, 0.9239),
    99: (0.1999, 0.2024),
}


@pytest.mark.parametrize(("share", "row"), RP_19.items())
def test_false_accept_by_share_inside(share, row):
    sd = risk.spread_for_share(1.0, share / 100)
    found = risk.symmetric_risk(1.0, sd, sd / 4)
    assert 100 * found.bad_passed == pytest.approx(row[0], abs=6e-5)
    assert 100 * found.bad_among_passed == pytest.approx(row[1], abs=6e-5)


def test_gum_h1_combination():
    # GUM H.1 as encoded in an open library: 3.9 (5), 6.7 (8), 5.8 (24) -> 9.7 nm, 25.6 degrees of freedom
    rows = [(3.9, 5.0), (6.7, 8.0), (5.8, 24.0)]
    assert math.hypot(*(u for u, _ in rows)) == pytest.approx(9.7, abs=0.05)
    # printed from the rounded 9.7, hence 0.2
    assert effective_dof(rows) == pytest.approx(25.6, abs=0.2)
    # whole: 32 nm with 15.8 -> 68 nm at 95 % (k 2.12)
    assert coverage_factor(0.95, 16) * 32 == pytest.approx(68, abs=0.5)


def test_welch_satterthwaite():
    # course example as encoded: 0.57 (9) with 0.25 (inf) -> 12.8
    assert effective_dof([(0.57, 9.0), (0.25, math.inf)]) == pytest.approx(12.8, abs=0.05)


def test_resolution_and_rectangle():
    # GUM F.2.2.1: 0.2887 d; QUAM app. E.1: 1.5 -> 0.87
    assert resolution_u(1.0) == pytest.approx(0.2887, abs=5e-5)
    assert rectangular_u(1.5) == pytest.approx(0.87, abs=0.005)


def test_string_example():
    # NPL Good Practice Guide 11 (from memory): 2.5, 0.5/sqrt3, 10/sqrt3, 2.1/sqrt(10) -> 6.4 mm
    parts = (2.5, rectangular_u(0.5), rectangular_u(10), 0.7)
    assert math.hypot(*parts) == pytest.approx(6.4, abs=0.07)


def test_few_repeats_ask_for_student():
    # open formalisation of JCGM 106: 5 readings at 1 % risk: 3.75 u instead of 2.33 u
    assert t_quantile(0.99, 4) == pytest.approx(3.7469, abs=1e-4)
    assert 1 - conformance(4.5, 1.0, low=0, dof=4) == pytest.approx(5.411e-3, abs=2e-6)
    assert 1 - conformance(4.5, 1.0, low=0) == pytest.approx(3.398e-6, abs=1e-9)


# 10 CFR 429 subpart B app. A, one-sided t with nu 4
@pytest.mark.parametrize(("p", "t"), [(0.90, 1.533), (0.95, 2.132), (0.975, 2.776), (0.99, 3.747)])
def test_one_sided_t(p, t):
    assert t_quantile(p, 4) == pytest.approx(t, abs=6e-4)


# NIST TN 1297 (1994) table B.1: nu -> k at 68.27, 90, 95, 95.45, 99, 99.73 %. Not counted as own checks,
# they test quantiles.
B1 = """
1 1.84 6.31 12.71 13.97 63.66 235.80
2 1.32 2.92 4.30 4.53 9.92 19.21
3 1.20 2.35 3.18 3.31 5.84 9.22
4 1.14 2.13 2.78 2.87 4.60 6.62
5 1.11 2.02 2.57 2.65 4.03 5.51
6 1.09 1.94 2.45 2.52 3.71 4.90
7 1.08 1.89 2.36 2.43 3.50 4.53
8 1.07 1.86 2.31 2.37 3.36 4.28
9 1.06 1.83 2.26 2.32 3.25 4.09
10 1.05 1.81 2.23 2.28 3.17 3.96
11 1.05 1.80 2.20 2.25 3.11 3.85
12 1.04 1.78 2.18 2.23 3.05 3.76
13 1.04 1.77 2.16 2.21 3.01 3.69
14 1.04 1.76 2.14 2.20 2.98 3.64
15 1.03 1.75 2.13 2.18 2.95 3.59
16 1.03 1.75 2.12 2.17 2.92 3.54
17 1.03 1.74 2.11 2.16 2.90 3.51
18 1.03 1.73 2.10 2.15 2.88 3.48
19 1.03 1.73 2.09 2.14 2.86 3.45
20 1.03 1.72 2.09 2.13 2.85 3.42
25 1.02 1.71 2.06 2.11 2.79 3.33
30 1.02 1.70 2.04 2.09 2.75 3.27
35 1.01 1.70 2.03 2.07 2.72 3.23
40 1.01 1.68 2.02 2.06 2.70 3.20
45 1.01 1.68 2.01 2.06 2.69 3.18
50 1.01 1.68 2.01 2.05 2.68 3.16
100 1.005 1.660 1.984 2.025 2.626 3.077
inf 1.000 1.645 1.960 2.000 2.576 3.000
"""
LEVELS = (0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973)
MISPRINTS = {(1.0, 0.9973), (35.0, 0.90)}


@pytest.mark.parametrize("line", B1.split("\n")[1:-1])
def test_coverage_factors(line):
    nu, *row = (float(x) for x in line.split())
    digits = 6e-4 if "1.005" in line or "inf" in line else 0.0055
    for level, printed in zip(LEVELS, row, strict=True):
        if (nu, level) not in MISPRINTS:
            assert coverage_factor(level, nu) == pytest.approx(printed, abs=digits)


def test_two_printed_exceptions():
    assert coverage_factor(0.9973, 1) == pytest.approx(235.784, abs=0.001)
    assert coverage_factor(0.90, 35) == pytest.approx(1.690, abs=0.001)


# recomputed: ratio of two readings with 2 psi on each
@pytest.mark.parametrize(("low", "high", "p"), [(112, 150, 0.421), (120, 150, 0.9983)])
def test_ratio_of_two_readings(low, high, p):
    ratio = low / high
    u = ratio * math.hypot(2 / low, 2 / high)
    assert conformance(ratio, u, low=0.75) == pytest.approx(p, abs=6e-4)
    # the joint form is exact, the ratio form linearised
    assert Joint([low, high], [2, 2], [0, 0]).within(0.75) == pytest.approx(p, abs=3e-3)


@pytest.mark.parametrize(
    ("reading", "p"), [(58, 0.023), (59, 0.159), (60, 0.500), (61, 0.841), (62, 0.977), (64, 0.99997)]
)
def test_leak_down_at_60(reading, p):
    assert conformance(reading, 1.0, low=60) == pytest.approx(p, abs=6e-4)
