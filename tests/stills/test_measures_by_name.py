"""Measures by name, as the command line gives them."""

from __future__ import annotations

import numpy as np
import pytest

from borelog.stills import StillError
from borelog.stills.measuring import MEASURES, run
from borelog.stills.typed import points

GREY = np.full((120, 160, 3), 90, np.uint8)


def test_a_length_with_a_scale_of_two_points() -> None:
    """100 px are 5 mm: another 100 px are 5 mm too, with an uncertainty."""
    found = run("distance", GREY, {"points": "10,10 110,10", "scale": "0,0 100,0 5 mm"})
    assert found.values["value"] == pytest.approx(5.0)
    assert found.values["unit"] == "mm"
    assert 0 < found.values["u"] < 0.5


def test_without_a_scale_only_pixels() -> None:
    """Nothing is claimed in millimetres that nothing carries."""
    assert run("distance", GREY, {"points": "10,10 110,10"}).values["unit"] == "px"


def test_area_angle_and_share() -> None:
    """Plain geometry comes out right."""
    assert run("area", GREY, {"points": "0,0 10,0 10,10 0,10"}).values["value"] == pytest.approx(100.0)
    assert run("angle", GREY, {"points": "10,0 0,0 0,10"}).values["value"] == pytest.approx(90.0)
    half = {"points": "0,0 5,0 5,10 0,10", "whole": "0,0 10,0 10,10 0,10"}
    assert run("share", GREY, half).values["value"] == pytest.approx(50.0)


@pytest.mark.parametrize(
    ("name", "options", "part"),
    [
        ("lenght", {}, "no measure"),
        ("distance", {}, "needs points"),
        ("distance", {"points": "1,2"}, "at least 2"),
        ("distance", {"points": "1,2 3,4", "colour": "red"}, "has no 'colour'"),
        ("distance", {"points": "1,2 3,4", "scale": "1,1 2,2"}, "distance of the two points"),
    ],
)
def test_what_cannot_be_measured_says_why(name: str, options: dict[str, str], part: str) -> None:
    """One sentence with the repair."""
    with pytest.raises(StillError, match=part):
        run(name, GREY, options)


def test_every_measure_says_what_it_takes() -> None:
    """The list is complete and readable."""
    for m in MEASURES.values():
        assert m.summary
        assert all(p.usage for p in m.parameters)


def test_points_are_read_in_any_spacing() -> None:
    """'1, 2  3,4' is two points."""
    assert points("1, 2  3.5,4", "points", 2) == [(1.0, 2.0), (3.5, 4.0)]


@pytest.mark.parametrize("far", ["9" * 400 + ",1", "99999999999,3", "10,-99999999999"])
@pytest.mark.parametrize("name", ["distance", "area", "angle", "gap"])
def test_points_outside_every_picture_are_refused(name: str, far: str) -> None:
    image = np.full((60, 80, 3), 90, np.uint8)
    with pytest.raises(StillError, match="outside every picture"):
        run(name, image, {"points": f"10,10 40,20 {far}"})


@pytest.mark.parametrize("typed", ["nan", "inf", "1e999", "two"])
def test_a_number_that_is_none(typed: str) -> None:
    image = np.full((60, 80, 3), 90, np.uint8)
    with pytest.raises(StillError, match="is no number"):
        run("hone", image, {"axis": typed})
