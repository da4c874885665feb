"""Limits of plugs, bores and fits against manuals, standards and trade texts."""

from __future__ import annotations

import pytest

from borelog.quantity import Quantity, parse
from borelog.readings import opened, parts, plugs
from borelog.readings.parts import BoreMeasure

MILE_KM = 1.609344

# ISO 724 table page: thread -> (pitch diameter d2, minor D1, root d3)
ISO_724 = {
    "M10x1": (9.350, 8.917, 8.773),
    "M12x1.25": (11.188, 10.647, 10.466),
    "M14x1.25": (13.188, 12.647, 12.466),
    "M18x1.5": (17.026, 16.376, 16.160),
}


@pytest.mark.parametrize(("name", "index"), [(n, i) for n in ISO_724 for i in range(3)])
def test_plug_threads(name, index):
    t = plugs.threads()[name]
    assert (t.pitch_diameter, t.minor_diameter, t.root_diameter)[index] == pytest.approx(
        ISO_724[name][index], abs=6e-4
    )


# ISO 28741:2013 summary page: thread pitches
@pytest.mark.parametrize(
    ("name", "pitch"), [("M10x1", 1.0), ("M12x1.25", 1.25), ("M14x1.25", 1.25), ("M18x1.5", 1.5)]
)
def test_plug_pitches(name, pitch):
    assert plugs.threads()[name].pitch == pitch
    assert name.startswith(f"M{plugs.threads()[name].diameter:g}")


def test_ten_pitches_are_a_scale():
    # M14: ten pitches are 12.5 mm; tolerance 6H of the hole 12.647 to 12.912 (ANSI/ASME B1.13M-1995) is about 1 % each way
    thread = plugs.threads()["M14x1.25"]
    assert 10 * thread.pitch == pytest.approx(12.5)
    assert thread.minor_diameter == pytest.approx(12.647, abs=1e-3)
    assert (12.912 - 12.647) / 12.78 / 2 < 0.011


# plug maker training text: nickel 0.10 to 0.15 mm per 10 000 km
@pytest.mark.parametrize(
    ("km", "low", "high"), [(10_000, 0.10, 0.15), (30_000, 0.30, 0.45), (0, 0, 0), (48_000, 0.48, 0.72)]
)
def test_nickel_wear(km, low, high):
    assert plugs.expected_wear(km) == pytest.approx((low, high))


def test_no_rate_for_precious_metal():
    assert plugs.expected_wear(30_000, "iridium") is None


# small-engine maker page: worn at 0.010 in (0.25 mm) over specification
@pytest.mark.parametrize(
    ("gap", "state"), [(1.15, "worn_wide"), (1.14, "in_spec"), (0.9, "in_spec"), (0.4, "closed_hammered")]
)
def test_worn_gap(gap, state):
    assert plugs.judge_gap(gap, 0.9).state == state


# car gaps 0.7 to 0.8 (TM 10-3930-653-14&P) and 1.0 +-0.1 mm; aero 0.016 to 0.021 in (owner pages)
@pytest.mark.parametrize(
    ("gap", "spec"), [(0.7, 0.75), (0.8, 0.75), (0.9, 1.0), (1.1, 1.0), (0.41, 0.47), (0.53, 0.47)]
)
def test_published_gaps_are_in_spec(gap, spec):
    assert plugs.judge_gap(gap, spec).state == "in_spec"


def limit(name):
    return next(x for x in parts.limits() if x.id == name)


# (limit, mm, source)
@pytest.mark.parametrize(
    ("name", "mm", "source"),
    [
        ("bore_rering", 0.008 * 25.4, "TM 10-3930-671-24 p. F-173: 0.008 in (0.20 mm)"),
        ("bore_taper_old", 0.006 * 25.4, "trade page: 0.006 in (0.152 mm)"),
        ("bore_taper", 0.002 * 25.4, "machine-shop page: 0.051 mm"),
        ("bore_ovality", 0.050, "machine-shop page: 0.050 mm = 0.002 in"),
        ("bore_ovality_old", 0.005 * 25.4, "trade page: over 0.005 in rebore"),
        ("bore_roundness_diesel", 0.03, "diesel maker page: 0.03 mm limit"),
        ("bore_service", 0.07, "machine-shop page: +0.05 to 0.07 mm"),
    ],
)
def test_bore_limits(name, mm, source):
    assert limit(name).value == pytest.approx(mm, abs=0.004), source


@pytest.mark.parametrize(("wear", "result"), [(0.15, "pass"), (0.26, "fail"), (0.20, "cannot tell")])
def test_bore_wear_decides_rering_or_rebore(wear, result):
    found = parts.judge_part("bore", "wear", wear, 0.007)
    assert next(o for o in found if o.limit.id == "bore_rering").result == result


def test_bore_at_three_heights_by_two_axes():
    # the shape of the record is that of a bore gauge chart; the figures are made up
    result = parts.bore_result(BoreMeasure(1, (86.12, 86.08, 86.03), (86.05, 86.04, 86.02), 86.0))
    assert result.taper == pytest.approx(0.09)
    assert result.ovality == pytest.approx(0.07)
    assert result.oversize == pytest.approx(0.12)
    assert result.largest_at == "top, thrust axis"


# honing: tan(angle/2) = axial over round (review lists the speeds; formula from memory)
@pytest.mark.parametrize(("share", "angle"), [(0.4142, 45), (0.5774, 60), (0.2679, 30)])
def test_hatch_geometry(share, angle):
    assert parts.hatch_included(share) == pytest.approx(angle, abs=0.01)


# ring maker and machine shops: 30 to 60 degrees included are usual, 45 the middle
@pytest.mark.parametrize(
    ("angle", "word"), [(45, "usual"), (30, "usual"), (60, "usual"), (20, "flat"), (75, "steep")]
)
def test_hatch_range(angle, word):
    assert parts.hatch_words(angle).startswith(word)


@pytest.mark.parametrize("unit_pair", [(0.050, 0.002), (0.20, 0.008), (0.152, 0.006), (0.127, 0.005)])
def test_printed_unit_pairs(unit_pair):
    # millimetres and inches as the sources of limits.csv print them side by side
    mm, inch = unit_pair
    assert Quantity(mm, "mm").to("in") == pytest.approx(inch, abs=2.0e-4)
    assert parse(f"{inch} in", "mm").to("mm") == pytest.approx(mm, abs=5.0e-3)


# ISO 28741:2013 summary page: hexagons of 16, 18, 20.8 and 21 mm
@pytest.mark.parametrize("name", list(ISO_724))
def test_plug_hexagons(name):
    assert plugs.threads()[name].hex in (16.0, 18.0, 20.8, 21.0)


# machine-shop page: bores go to 0.25, then 0.50 mm oversize
@pytest.mark.parametrize(("largest", "step"), [(86.15, "0.25"), (86.40, "0.50")])
def test_rebore_steps(largest, step):
    assert f"cleans up at {step} mm" in opened.rebore_words(86.0, largest)


# service pages (2000-2002): taper 0.05 mm at most; a pair of units printed beside it, 0.050 mm = 0.002 in
@pytest.mark.parametrize(("taper", "result"), [(0.03, "pass"), (0.08, "fail")])
def test_taper_of_a_modern_engine(taper, result):
    (found,) = parts.judge_part("bore", "taper", taper, 0.005)
    assert found.result == result


# cross-hatch as printed: 45 (car maker), 32 to 45 (machine shop), 30 to 60 as the range (ring maker)
@pytest.mark.parametrize("angle", [32, 45, 50])
def test_published_hatches_are_usual(angle):
    assert parts.hatch_words(angle).startswith("usual")


# owner pages: aviation plugs 0.016 to 0.021 in printed as 0.41 to 0.53 mm; car 0.028 to 0.031 in as 0.7 to 0.8 mm (TM)
@pytest.mark.parametrize(("inch", "mm"), [(0.016, 0.41), (0.021, 0.53), (0.028, 0.7), (0.031, 0.8)])
def test_printed_gap_pairs(inch, mm):
    assert Quantity(inch, "in").to("mm") == pytest.approx(mm, abs=0.013)


def test_half_worn_electrode_life():
    # plug maker training text: about 48 000 km (30 000 mi)
    assert pytest.approx(48_000, rel=0.01) == 30_000 * MILE_KM
    low, high = plugs.expected_wear(48_000)
    assert low > plugs.WORN_OVER - 1e-9 and high < 0.8
