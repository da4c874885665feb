"""One grammar for a reading, wherever it is typed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.acts.typed import TypedError, typed_reading
from borelog.logbook.entries import Looked, Reading
from borelog.text import BorelogError


def reading(test: str, text: str) -> Reading:
    """The field as a reading."""
    body = typed_reading(test, 3, text)
    assert isinstance(body, Reading)
    return body


@pytest.mark.parametrize(
    ("text", "values", "unit"),
    [
        ("178", (178.0,), "psi"),
        ("178 176 psi", (178.0, 176.0), "psi"),
        ("12,5 bar", (12.5,), "bar"),
        ("11.2 11.4 11.3 bar", (11.2, 11.4, 11.3), "bar"),
        ("0", (0.0,), "psi"),
    ],
)
def test_numbers_with_units_and_repeats(text: str, values: tuple[float, ...], unit: str) -> None:
    """Both decimal marks, a unit typed once, repeats side by side; zero is a reading."""
    body = reading("compression dry", text)
    assert (body.values, body.unit, body.typed) == (values, unit, text)


def test_about_is_kept() -> None:
    """'about 150' weighs less and is shown as such."""
    assert reading("compression dry", "~150").about == "~"


def test_puffs_in_both_forms() -> None:
    """First and last, or every pulse."""
    assert reading("compression dry", "150 first 60").puffs == (60.0, 150.0)
    assert reading("compression dry", "puffs 60 100 130 150 psi").values == (150.0,)


@pytest.mark.parametrize(
    ("text", "values", "supply", "air"),
    [
        ("62 % exhaust", (62.0,), None, ("exhaust",)),
        ("60/80 psi xo", (60.0,), 80.0, ("exhaust", "crankcase")),
        ("8", (8.0,), None, ()),
        ("45 % next plug hole 4", (45.0,), None, ("neighbour:4",)),
        ("9 % nowhere", (9.0,), None, ("none",)),
    ],
)
def test_leakdown_with_where_the_air_goes(text: str, values: object, supply: object, air: object) -> None:
    """Per cent or two gauges, then places in words or letters."""
    body = reading("leak-down dry", text)
    assert (body.values, body.supply, body.air) == (values, supply, air)


def test_a_unit_slip_is_asked_and_kept_as_typed() -> None:
    """'1100' psi is likelier 1100 kPa: kept, marked doubtful."""
    body = reading("compression dry", "1100")
    assert body.values == (1100.0,)
    assert body.doubt == "1100 psi? 1100 kPa is 160 psi"


def test_gauges_the_wrong_way_round_are_asked_about() -> None:
    """More held than fed in cannot be."""
    assert "held/supplied" in reading("leak-down dry", "80/60 psi").doubt


@pytest.mark.parametrize(
    ("text", "state", "why"),
    [
        ("not possible: seized", "not possible", "seized"),
        ("not done", "not looked", ""),
        ("n/a", "not possible", "not applicable"),
        ("seized", "not possible", "seized"),
        ("could not", "not possible", ""),
    ],
)
def test_not_possible_differs_from_not_done(text: str, state: str, why: str) -> None:
    """A seized engine is not an unfinished test."""
    body = typed_reading("compression dry", 3, text)
    assert isinstance(body, Looked)
    assert (body.state, body.why) == (state, why)


@pytest.mark.parametrize("text", ["-5", "abc", "1,2,3,4", "", "12..5"])
def test_what_is_no_reading_is_refused_with_a_sentence(text: str) -> None:
    """Never a traceback, never a silent zero."""
    with pytest.raises(BorelogError):
        typed_reading("compression dry", 3, text)


def test_an_unknown_test_names_those_there_are() -> None:
    """The error helps."""
    with pytest.raises(TypedError, match="Compression dry"):
        typed_reading("boost test", 1, "5")


@given(st.text(max_size=30))
def test_any_text_gives_a_body_or_a_sentence(text: str) -> None:
    """Nothing a person types can take the program down."""
    for test in ("compression_dry", "leakdown", "plug_gap"):
        try:
            typed_reading(test, 1, text)
        except BorelogError as error:
            assert str(error)
