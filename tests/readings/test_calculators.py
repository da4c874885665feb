"""Calculators by name."""

from __future__ import annotations

import json

import pytest

from borelog.quantity import QuantityError
from borelog.readings.calc import calculators, run
from borelog.readings.errors import ReadingError

EXAMPLES = [
    ("units", {"pressure": "150 psi"}, "psi", 150.0),
    ("leakdown", {"held": "60"}, "loss_percent", 25.0),
    ("leakdown", {"held": "414 kPa", "supply": "552 kPa"}, "loss_percent", 25.0),
    ("leak", {"held": "60"}, "over_orifice", 1.0586),
    ("convert-leak", {"held": "60"}, "loss_percent", 5.86),
    ("orifice", {"bore": "5.125 in"}, "orifice_mm", 1.524),
    ("flow", {"hole": "0.040 in", "supply": "80"}, "l_min_anr", 63.3),
    ("displacement", {"bore": "4 in", "stroke": "4 in", "cylinders": "6"}, "engine_in3", 301.593),
    ("ratio", {"swept": "500", "clearance": "55"}, "ratio", 10.09),
    (
        "volume",
        {"angle": "90", "bore": "86", "stroke": "86", "rod": "145", "ratio": "10"},
        "volume_cm3",
        343.173,
    ),
    ("dynamic-ratio", {"ratio": "10", "closing": "50", "stroke": "86", "rod": "143"}, "dynamic_ratio", 8.80),
    ("end-pressure", {"ratio": "9", "air": "1013.53 hPa"}, "gauge_kpa", 1662.1),
    ("altitude", {"reading": "99.85", "altitude": "5000 ft"}, "sea_level_kpa", 827.4),
    ("atmosphere", {"altitude": "1000"}, "pressure_kpa", 89.8746),
    ("conformance", {"value": "509.7", "u": "8.6", "low": "490"}, "probability", 0.989),
    ("coverage", {"confidence": "95", "dof": "4"}, "k", 2.776),
    ("plug-gap", {"gap": "1,15", "spec": "0,9"}, "grown_mm", 0.25),
    ("plug-thread", {"name": "m14"}, "pitch_mm", 1.25),
    ("bore", {"thrust": "86.14 86.1 86.02", "pin": "86.09 86.06 86.02"}, "taper_mm", 0.12),
    ("hatch", {"axial": "1", "round": "2.4142"}, "included_deg", 45.0),
    ("risk", {"limit": "2", "inside": "95.45", "u": "0.25"}, "bad_passed", 0.008006),
    ("trend", {"readings": "160 156 151 148 143 140", "tested": "1 3 5 6 4 2"}, "sags", True),
    ("oil-gain", {"dry": "68", "wet": "110", "oil": "1 tbsp"}, "gain", 0.6176),
    ("leak-form", {"held": "59", "bore": "90"}, "loss_percent", 26.25),
    ("leak-form", {"held": "59", "bore": "90", "rerun": "64"}, "loss_percent", 20.0),
    ("displacement", {"bore": "84", "stroke": "90", "speed": "6500"}, "piston_speed_m_s", 19.5),
    ("orifice", {"bore": "5 in", "displacement": "1001"}, "older_orifice_mm", 1.524),
    ("atmosphere", {"altitude": "1000", "height": "geometric"}, "pressure_kpa", 89.8764),
    ("code-bytes", {"value": "0xC123"}, "code", "U0123"),
    ("code-bytes", {"value": "P0301"}, "value", 0x0301),
    ("combine", {"parts": "0.57 0.25", "dofs": "9 1000000"}, "dof", 12.796),
    (
        "part",
        {"part": "head", "figure": "height", "value": "124.9", "limit": "125", "sense": "min"},
        "call",
        "beyond limits (head height): head off",
    ),
]


@pytest.mark.parametrize(("name", "typed", "key", "value"), EXAMPLES)
def test_examples(name, typed, key, value):
    result = run(name, typed)
    assert result.values[key] == (value if isinstance(value, str) else pytest.approx(value, rel=6e-4))
    assert result.text
    assert result.values["calculation"] == name
    json.dumps(result.values)


@pytest.mark.parametrize("name", sorted(calculators()))
@pytest.mark.parametrize("blank", ["", "  ", "-"])
def test_what_must_be_given_and_is_blank_is_asked_for(name, blank):
    """Each in turn, with the others as in an example: 'bore=' and 'bore=-' end in a line, never in a fault."""
    given = next((typed for n, typed, *_ in EXAMPLES if n == name), {})
    for parameter in calculators()[name].parameters:
        if (parameter.kind == "text" or "|" in parameter.kind) and blank == "-":
            continue
        if parameter.default is None:
            with pytest.raises(ReadingError, match=f"{name} needs {parameter.name}="):
                run(name, {**dict.fromkeys(_required(name), "1"), **given, parameter.name: blank})


def _required(name):
    """In the order asked for; every one but the tried one holds something."""
    return [p.name for p in calculators()[name].parameters if p.default is None]


def test_a_blank_for_a_usual_value_is_the_usual_value():
    assert run("leakdown", {"held": "60", "supply": ""}) == run("leakdown", {"held": "60"})


def test_engine_calculators():
    plan = run("plan", {"layout": "V8", "numbering": "din 73021"})
    assert "DIN 73021" in plan.text
    assert len(plan.values["cells"]) == 8
    assert run("firing", {"layout": "V8", "order": "18436572"}).values["companions"][0] == [1, 6]
    assert len(run("firing", {"layout": "V8"}).values["presets"]) == 4
    turning = run("turning", {"layout": "I4", "order": "1342", "start": "3"})
    assert [t["cylinder"] for t in turning.values["plan"]] == [3, 4, 2, 1]
    assert "half a turn" in turning.text
    assert "SAE J824" in run("numberings", {}).text


def test_spread_and_codes():
    spread = run("spread", {"readings": "150 148 112 149 psi", "least": "100"})
    assert spread.values["rules"]["ratio75"]["result"] == "cannot tell"
    assert spread.values["rules"]["manual_min"]["result"] == "pass"
    assert "coil" in run("codes", {"text": "P0353"}).text
    assert run("codes", {"text": "nothing"}).text == "no code in this text"


def test_words_of_patterns():
    found = run("pattern", {"readings": "178 90 88 176", "layout": "inline 4"})
    assert found.values["pairs"] == [[2, 3]]
    assert run("needle", {"puffs": "50 55 60", "good": "160"}).values["shape"] == "low, does not build"
    assert run("leak-bands", {"held": "75 74 76"}).values["band"] == "good"
    assert "rings" in run("leak-change", {"before": "40", "after": "15", "kind": "wet"}).text
    plugs = run(
        "plugs",
        {"deposits": "normal_tan normal_tan wet_oil normal_tan", "specks": "none none aluminium_beads none"},
    )
    assert (plugs.values["odd"], plugs.values["metal"]) == ([3], [3])
    assert run("trend", {"readings": "150 148"}).values["sags"] is None


def test_words_of_the_sheet_and_several_figures_are_taken():
    plugs = run("plugs", {"deposits": "dry soot, tan, tan or light grey, tan"})
    assert plugs.values["odd"] == [1]
    gains = run("oil-gain", {"dry": "63 60", "wet": "70 98", "oil": "15"}).values["cylinders"]
    assert [g["state"] for g in gains] == ["some 10 to 25 %", "big over 25 %"]
    assert run("leakdown", {"held": "60/80 psi"}).values["loss_percent"] == pytest.approx(25)
    assert run("volume", {"angle": "-30", "bore": "86", "stroke": "86", "rod": "145", "ratio": "10:1"}).values
    assert run(
        "plug-gap", {"gap": "1.2", "spec": "0.9", "distance": "60 000 km", "electrode": "nickel"}
    ).values["expected_mm"]


def test_published_orders_by_name():
    names = [p["name"] for p in run("firing", {"layout": "V6"}).values["presets"]]
    assert "v6-odd" in names
    odd = run("firing", {"layout": "V6", "order": "v6-odd"})
    assert list(odd.values["angles_deg"].values()) == [0, 150, 240, 390, 480, 630]


def test_band_is_context():
    assert "never a limit" in run("expected", {"ratio": "10"}).text


def test_every_calculator_has_an_example_a_source_and_words():
    tried = {name for name, *_ in EXAMPLES} | {
        "plan",
        "firing",
        "turning",
        "numberings",
        "spread",
        "codes",
        "expected",
        "pattern",
        "needle",
        "leak-bands",
        "leak-change",
        "plugs",
    }
    assert set(calculators()) <= tried
    for c in calculators().values():
        assert c.source
        assert c.summary
        assert all(p.usage.startswith((p.name, "[")) for p in c.parameters)


@pytest.mark.parametrize(
    ("name", "typed", "says"),
    [
        ("spraed", {}, "did you mean spread"),
        ("xyzzy", {}, "there are"),
        ("leak", {}, "needs held=psi"),
        ("leak", {"held": "60", "foo": "1"}, "has no 'foo'"),
        ("leak", {"held": "sixty"}, "held: "),
        ("leak", {"held": "1,100"}, "1.1 or 1100"),
        ("leak", {"held": "90"}, "holds between"),
        ("plug-gap", {"gap": "1", "spec": "1", "electrode": "wood"}, "not one of"),
        ("conformance", {"value": "1", "u": "1"}, "needs low"),
        ("plug-thread", {"name": "M13"}, "no plug thread"),
        ("bore", {"thrust": "86 86", "pin": "86 86 86"}, "three diameters"),
        ("altitude", {"reading": "150", "air": "10 hPa"}, "no air pressure"),
        ("pattern", {"readings": "150 148", "layout": "inline 4"}, "has 4 cylinders"),
        ("trend", {"readings": "150 148 147", "tested": "1 2"}, "each of the 3"),
        ("plugs", {"deposits": "normal_tan", "specks": "none none"}, "as many specks"),
        ("leak-form", {"held": "90", "bore": "90"}, "swap the two"),
        ("hatch", {"axial": "1", "round": "0"}, "above 0"),
        ("coverage", {"confidence": "100"}, "from 1 to"),
        ("combine", {"parts": "1 2", "dofs": "4 0"}, "above 0"),
        ("combine", {"parts": "-1 2"}, "0 or more"),
        ("conformance", {"value": "1", "u": "1", "low": "2", "high": "1"}, "swap"),
        ("displacement", {"bore": "86", "stroke": "86", "cylinders": "4.5"}, "whole number"),
        ("spread", {"readings": "150 150", "class": "-1"}, "class: -1 cannot be"),
        ("spread", {"readings": "1100 150"}, "1100 kPa is 160 psi"),
        ("leak", {"held": "60", "orifice": "0.040"}, "from 0.2 to 6 mm"),
        ("leak-bands", {"held": "85"}, "from 0 to 80"),
        ("flow", {"hole": "-1", "supply": "80"}, "cannot be"),
        ("plugs", {"deposits": "wet, tan"}, "fits several"),
        ("code-bytes", {"value": "zz"}, "two bytes in hex"),
        ("oil-gain", {"dry": "63 60", "wet": "70"}, "cylinder for cylinder"),
        ("part", {"part": "ring_gap", "figure": "gap", "value": "0.4"}, "type bore="),
        ("part", {"part": "head", "figure": "height", "value": "124"}, "manual's figure"),
    ],
)
def test_refused_in_plain_words(name, typed, says):
    with pytest.raises((ReadingError, QuantityError), match=says):
        run(name, typed)
