"""The table of conditions and what answers mean."""

from __future__ import annotations

import pytest

from borelog.quantity import Quantity, QuantityError
from borelog.readings.conditions import appraise, conditions, conditions_of, read_answer
from borelog.readings.errors import ReadingError


def test_every_row_can_be_asked_and_names_its_source():
    for c in conditions().values():
        assert c.tests
        assert c.question.endswith("?")
        assert c.kind in ("number", "choice", "text")
        assert bool(c.choices) == (c.kind == "choice")
        assert c.source
        assert set(c.effect) <= {"level", "drift", "spread", "common", "resolution", "model", "side"}
        for answer in (c.good + "|" + c.bad).split("|") if c.kind == "choice" else ():
            assert not answer or answer in c.choices


@pytest.mark.parametrize(
    "name",
    [
        "battery",
        "throttle",
        "plugs_out",
        "warm",
        "pulses",
        "gauge_class",
        "graduation",
        "hose_valve",
        "adapter_ml",
        "gauge_compared",
        "order",
    ],
)
def test_compression_asks_for(name):
    assert name in {c.id for c in conditions_of("compression_dry")}


@pytest.mark.parametrize("name", ["supply_read", "orifice", "tdc", "core_out", "dial", "tester"])
def test_leak_down_asks_for(name):
    assert name in {c.id for c in conditions_of("leakdown")}


def test_only_wet_tests_ask_for_oil():
    assert "oil_ml" in {c.id for c in conditions_of("compression_wet")}
    assert "oil_ml" not in {c.id for c in conditions_of("compression_dry")}


@pytest.mark.parametrize(
    ("test", "name", "answer", "state"),
    [
        ("compression_dry", "battery", "12,2 V", "met"),
        ("compression_dry", "battery", "9.0", "doubtful"),
        ("compression_dry", "battery", "8", "not met"),
        ("compression_dry", "throttle", "open", "met"),
        ("compression_dry", "throttle", "WOT", "met"),
        ("compression_dry", "throttle", "shut", "not met"),
        ("compression_dry", "throttle", "part", "doubtful"),
        ("compression_dry", "throttle", "", "not noted"),
        ("compression_dry", "throttle", "not known", "not noted"),
        ("compression_dry", "pulses", "6", "met"),
        ("compression_dry", "pulses", "2", "not met"),
        ("compression_dry", "pulses", "lots", "doubtful"),
        ("compression_dry", "order", "1 2 3 4", "noted"),
        ("compression_dry", "battery", "n/a", "noted"),
        ("compression_wet", "oil_ml", "1 tbsp", "met"),
        ("compression_wet", "oil_ml", "50 ml", "not met"),
        ("compression_wet", "bank_lean", "flat", "not met"),
        ("leakdown", "core_out", "n", "not met"),
        ("leakdown", "tdc", "proven", "met"),
        ("leakdown", "supply_read", "before", "not met"),
    ],
)
def test_answers(test, name, answer, state):
    found = next(a for a in appraise(test, {name: answer}).appraisals if a.condition.id == name)
    assert found.state == state
    if state in ("not met", "doubtful"):
        assert found.condition.words in found.words


def test_nothing_noted_is_no_fault():
    standing = appraise("compression_dry", {})
    assert standing.trust == "partly noted"
    assert standing.spoiled_by == ()
    assert not standing.touches("level")


def test_standing_says_what_it_touches():
    standing = appraise("compression_dry", {"throttle": "shut", "battery": "12"})
    assert standing.trust == "spoiled"
    assert standing.spoiled_by == ("throttle",)
    assert standing.touches("level")
    assert not standing.touches("spread")


def test_choices_are_forgiving_but_not_guessing():
    with pytest.raises(ReadingError, match="not one of"):
        read_answer(conditions()["throttle"], "maybe")
    assert read_answer(conditions()["hose_valve"], "plug") == "plug end"
    assert read_answer(conditions()["graduation"], "0.1 bar") == Quantity(0.1, "bar", "0.1 bar")
    with pytest.raises(QuantityError):
        read_answer(conditions()["battery"], "150 psi")
