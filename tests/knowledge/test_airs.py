"""Where air goes: ids to words and back."""

import pytest

from borelog.knowledge.airs import air_named, air_words, airs


@pytest.mark.parametrize("air", [*airs(), "neighbour:4", "neighbour:12"])
def test_where_air_went_is_told_in_words_and_read_back(air):
    assert ":" not in air_words(air)
    assert air_named(air_words(air)) == air


def test_the_next_hole_names_its_cylinder():
    assert air_words("neighbour:4") == "next plug hole 4"


def test_a_place_from_a_newer_table_is_kept_clean():
    assert air_words("spark\x1btube:3") == "spark␛tube 3"
    assert air_named("spark tube") == "spark tube"
