"""The grammar of a number: what a person types, what is read, what is asked."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog import quantity
from borelog.quantity import (
    Ambiguous,
    NoValue,
    Quantity,
    QuantityError,
    parse,
    parse_pair,
    parse_repeats,
    slip_question,
)


@pytest.mark.parametrize(
    ("typed", "default", "value", "unit", "mark"),
    [
        ("12,5", "mm", 12.5, "mm", ""),
        ("12.5", "mm", 12.5, "mm", ""),
        ("150 psi", "kPa", 150.0, "psi", ""),
        ("150psi", "kPa", 150.0, "psi", ""),
        ("~150", "psi", 150.0, "psi", "~"),
        ("≈ 150", "psi", 150.0, "psi", "~"),
        ("10,5 bar", "psi", 10.5, "bar", ""),
        ("3/8 in", "mm", 0.375, "in", ""),
        ("3 3/8 in", "mm", 3.375, "in", ""),
        ("<0.05", "mm", 0.05, "mm", "<"),
        ("> 200", "psi", 200.0, "psi", ">"),
        ("11 kg/cm²", "psi", 11.0, "kgf/cm2", ""),
        ('0.040"', "mm", 0.040, "in", ""),
        ("0,125", "mm", 0.125, "mm", ""),
        (",5", "mm", 0.5, "mm", ""),
        ("-5", "degC", -5.0, "degC", ""),
        ("−5 °C", "degC", -5.0, "degC", ""),
        ("1.234", "mm", 1.234, "mm", ""),
        ("0", "psi", 0.0, "psi", ""),
        ("60 ft-lb", "Nm", 60.0, "lbft", ""),
        ("  150  ", "psi", 150.0, "psi", ""),
    ],
)
def test_one_number(typed, default, value, unit, mark):
    found = parse(typed, default)
    assert (found.value, found.unit, found.mark) == (value, unit, mark)
    assert found.typed == " ".join(typed.split())


@pytest.mark.parametrize(
    ("typed", "values"),
    [
        ("11.2 11.4 11.3", (11.2, 11.4, 11.3)),
        ("11,2 11,4 11,3", (11.2, 11.4, 11.3)),
        ("11,2, 11,4", (11.2, 11.4)),
        ("150; 148; 151", (150, 148, 151)),
        ("150\t148", (150, 148)),
        ("148, 150", (148, 150)),
    ],
)
def test_repeats(typed, values):
    assert tuple(q.value for q in parse_repeats(typed, "psi")) == values


def test_one_unit_typed_holds_for_all():
    assert {q.unit for q in parse_repeats("11.2 11.4 11.3 bar", "psi")} == {"bar"}
    assert {q.unit for q in parse_repeats("150 kPa 148", "psi")} == {"kPa"}
    assert [q.unit for q in parse_repeats("10 bar 150 psi", "psi")] == ["bar", "psi"]


@pytest.mark.parametrize(
    ("typed", "state"),
    [
        ("n/a", "not applicable"),
        ("N/A", "not applicable"),
        ("-", "not done"),
        ("not possible", "not possible"),
    ],
)
def test_deliberate_blanks(typed, state):
    with pytest.raises(NoValue) as caught:
        parse(typed, "psi")
    assert caught.value.state == state
    assert quantity.absence(typed) == state


def test_thousands_are_asked_about():
    with pytest.raises(Ambiguous) as caught:
        parse("1,100", "psi")
    assert caught.value.choices == (1.1, 1100.0)
    assert "type 1.1 or 1100" in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("1.234,5", "two decimal marks"),
        ("1,234.5", "two decimal marks"),
        ("12.5.3", "two decimal marks"),
        ("abc", "not a number"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("1e3", "no unit"),
        ("150 xyz", "no unit"),
        ("150 mm", "no unit of pressure"),
        ("60/80", "fraction or a pair"),
        ("", "nothing typed"),
        ("   ", "nothing typed"),
        ("12,", "not a number"),
        ("150 psia", "absolute"),
        ("150 148", "holds 2 numbers"),
        ("3/0 in", "pressure"),
        ("١٢٣", "not a number"),
    ],
)
def test_refused_in_plain_words(typed, says):
    with pytest.raises(QuantityError, match=says):
        parse(typed, "psi")


def test_division_by_nothing():
    with pytest.raises(QuantityError, match="divides by nothing"):
        parse("3/0 in", "mm")


def test_pairs_of_gauges():
    held, supply = parse_pair("60/80", "psi")
    assert (held.value, supply.value, held.unit) == (60, 80, "psi")
    held, supply = parse_pair("5,2 / 5,5 kgf/cm2", "psi")
    assert (held.value, held.unit, supply.unit) == (5.2, "kgf/cm2", "kgf/cm2")
    with pytest.raises(QuantityError, match="no pair"):
        parse_pair("60", "psi")


@pytest.mark.parametrize(
    ("typed", "kind", "question"),
    [
        ("1100", "compression", "1100 psi? 1100 kPa is 160 psi"),
        ("11.2", "compression", "11.2 psi? 11.2 bar is 162 psi"),
        ("11", "compression", None),
        ("12,5", "compression", "12.5 psi? 12.5 bar is 181 psi"),
        ("0", "compression", None),
        ("150", "compression", None),
        ("11 psi", "compression", None),
        ("60", "compression", None),
        ("5.5", "supply", "5.5 psi? 5.5 bar is 79.8 psi"),
    ],
)
def test_slips(typed, kind, question):
    assert slip_question(parse(typed, "psi"), kind) == question


def test_impossible_figure_without_another_unit_is_asked_about():
    assert "More than 360 psi" in slip_question(parse("450", "psi"), "compression")


@pytest.mark.parametrize(
    ("typed", "default", "kind"), [("40", "mm", "gap"), ("3.4", "mm", "bore"), ("8", "mm", "wear")]
)
def test_slips_in_lengths(typed, default, kind):
    assert slip_question(parse(typed, default), kind)


def test_dimensions_are_kept_apart():
    with pytest.raises(QuantityError, match="pressure"):
        Quantity(1, "psi").to("mm")
    assert Quantity(1, "psi").dimension == "pressure"


UNITS = [u for u in quantity._UNITS if u]


@given(st.floats(-1e6, 1e6), st.sampled_from(UNITS), st.data())
def test_units_there_and_back(value, unit, data):
    other = data.draw(st.sampled_from(quantity.units_of(quantity.dimension_of(unit))))
    back = Quantity(Quantity(value, unit).to(other), other).to(unit)
    assert math.isclose(back, value, rel_tol=1e-9, abs_tol=1e-6)


@given(
    st.floats(0, 99999, allow_nan=False),
    st.sampled_from(["psi", "kPa", "bar", "kgf/cm2"]),
    st.sampled_from(".,"),
)
def test_what_is_printed_is_read_again(value, unit, mark):
    text = f"{value:.2f}".replace(".", mark)
    assert parse(f"{text} {unit}", "psi") == Quantity(float(f"{value:.2f}"), unit, f"{text} {unit}")


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_a_plain_error(text):
    said = ""
    found = ()
    try:
        found = parse_repeats(text, "psi")
    except QuantityError as error:
        said = str(error)
    assert found or said
    assert "\x1b" not in said
    assert all(math.isfinite(q.value) for q in found)


@pytest.mark.parametrize(
    "typed", ["9" * 400, "1/" + "9" * 400, "9" * 400 + "/3 in", "0." + "1" * 400, "9" * 5000]
)
def test_more_digits_than_a_gauge_has_are_no_number(typed):
    for unit in ("psi", "mm"):
        with pytest.raises(QuantityError):
            parse(typed, unit)


@pytest.mark.parametrize("typed", ["", " ", ";", " ; ;\t\n"])
def test_separators_alone_are_nothing_typed(typed):
    with pytest.raises(QuantityError, match="nothing typed"):
        parse(typed, "V")
