"""Places, shapes and the vocabulary of findings."""

from __future__ import annotations

import pytest

from borelog.knowledge import tables
from borelog.marks.places import Place, PlaceError, grid_places, parse_place, place_words, views
from borelog.marks.shapes import (
    Box,
    Ellipse,
    Freehand,
    Line,
    Polygon,
    area,
    bounds,
    is_closed,
    moved,
    outline,
)
from borelog.marks.vocabulary import FindingError, search, term, terms


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("crown", Place("crown")),
        ("bore exhaust top", Place("bore", "exhaust", "top")),
        ("exhaust valve", Place("exhaust_valve")),
        ("Bore wall, intake side, middle band", Place("bore", "intake", "middle")),
        ("plug tray", Place("plug_tray")),
    ],
)
def test_places_are_read_in_words(text: str, place: Place) -> None:
    assert parse_place(text) == place


@pytest.mark.parametrize("text", ["boiler", "crown exhaust", "bore sideways", ""])
def test_a_place_that_does_not_exist_names_those_that_do(text: str) -> None:
    with pytest.raises(PlaceError, match="bore wall"):
        parse_place(text)


def test_the_grid_holds_a_bore_at_three_heights_and_four_sides() -> None:
    """US Army TM 9-2815-200-35: three levels; four quarters: common practice."""
    assert sum(p.view == "bore" for p in grid_places()) == 12
    assert all(parse_place(place_words(p)) == p for p in grid_places())


def test_areas_and_bounds_of_plain_shapes() -> None:
    assert area(Box(1, 2, 3, 4)) == 12
    assert area(Polygon(((0, 0), (4, 0), (0, 3)))) == 6
    assert area(Ellipse(0, 0, 2, 1, 30)) == pytest.approx(2 * 3.141592653589793)
    assert area(Line(0, 0, 3, 4)) == 0
    box = bounds(moved(Ellipse(5, 5, 2, 1), 1, -1))
    assert (box.x, box.y, box.width, box.height) == pytest.approx((4, 3, 4, 2), abs=0.02)
    assert not is_closed(Freehand(((0, 0), (1, 1))))
    assert len(outline(Box(0, 0, 1, 1))) == 4


def test_every_term_of_the_vocabulary_is_whole() -> None:
    for t in terms().values():
        assert 0 <= t.severity <= 4
        assert t.looks_like and t.means


def test_a_term_is_found_by_name_id_or_its_only_match() -> None:
    assert term("ex_notch").id == "ex_notch"
    assert search("burnt")
    with pytest.raises(FindingError, match="own words"):
        term("zzz")


def test_every_finding_that_is_a_sign_points_to_an_item_and_state_there_are() -> None:
    states = {(r["item"], r["state"]) for r in tables.rows("item_states.csv", "item", "state", "wording")}
    for name in ("finding_signs.csv", "place_signs.csv", "missing_metal.csv"):
        for r in tables.rows(name, "item", "state"):
            assert (r["item"], r["state"]) in states, (name, r)
    assert {r["term"] for r in tables.rows("finding_signs.csv", "term")} <= set(terms())
    assert {r["view"] for r in tables.rows("place_signs.csv", "view")} <= set(views())
