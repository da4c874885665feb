"""Cautions stand at the step that can hurt somebody, in every table that proposes or asks for one."""

from __future__ import annotations

import pytest

from borelog.knowledge import tables
from borelog.knowledge.faults import shipped
from borelog.knowledge.procedures import cautions, cautions_of, cautions_of_next, procedures

NEXT = {
    r["test"]: r["cautions"].split() for r in tables.rows("next_cautions.csv", "test", "cautions", "source")
}
PROPOSED = shipped().tests


def test_every_proposed_test_has_its_row_and_every_row_its_test() -> None:
    assert set(NEXT) == set(PROPOSED)


def test_every_caution_is_worded_and_shown_at_some_step() -> None:
    named = {c for row in NEXT.values() for c in row} | {c for p in procedures().values() for c in p.cautions}
    assert named | {"hv"} == set(cautions())


@pytest.mark.parametrize(
    ("need", "wanted"),
    [("cranking", {"hand_first", "crank", "fuel", "battery"}), ("running", {"moving", "hot", "start_gas"})],
)
def test_what_turns_the_engine_says_so_first(need: str, wanted: set[str]) -> None:
    for test in PROPOSED.values():
        if need in test.needs:
            assert wanted <= set(NEXT[test.id]), test.id


def test_compressed_air_and_pumped_coolant_are_named() -> None:
    for test in PROPOSED.values():
        if any(i.startswith("leak_") for i in test.items):
            assert {"air", "propeller_arc"} <= set(NEXT[test.id]), test.id
        if test.id in ("weep", "coolant_hold"):
            assert {"coolant_pressure", "coolant_poison"} <= set(NEXT[test.id])


def test_the_manual_comes_last_at_every_step_done_by_hand() -> None:
    for test in procedures():
        assert cautions_of(test)[-1] == cautions()["manual"], test
    for test in set(PROPOSED) - {"price_first"}:
        assert cautions_of_next(test)[-1] == cautions()["manual"], test


def test_on_a_hybrid_high_voltage_comes_first_everywhere() -> None:
    for hybrid, first in (("yes", True), ("no", False), ("not known", False)):
        for said in (
            cautions_of("compression_dry", {"hybrid": hybrid}),
            cautions_of_next("cut_out", {"hybrid": hybrid}),
        ):
            assert (said[0] == cautions()["hv"]) == first
    assert cautions_of_next("price_first", {"hybrid": "yes"}) == ()


def test_a_test_from_a_table_of_ones_own_defers_to_the_manual() -> None:
    assert cautions_of_next("my_own_test") == (cautions()["manual"],)
    assert cautions_of("no such test") == ()
