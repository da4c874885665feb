"""What a cell of the readings shows of one recorded figure."""

from __future__ import annotations

import pytest

from borelog.logbook.entries import Reading
from borelog.tui.views import readings


@pytest.mark.parametrize(
    ("reading", "unit", "shown"),
    [
        (Reading("leakdown", 1, "60/80 psi x", (60.0,), "psi", supply=80.0, air=("exhaust",)), "kPa", "414/552 x"),
        (Reading("leakdown", 1, "60/80 psi", (60.0,), "psi", supply=80.0), "%", "60/80 psi"),
        (Reading("leakdown", 1, "12 % n", (12.0,), "%", air=("neighbour:2",)), "%", "12 n"),
        (Reading("compression_dry", 1, "150 148", (150.0, 148.0), "psi"), "psi", "149 ×2"),
        (Reading("compression_dry", 1, "none at all", (), "psi"), "psi", "none at all"),
    ],
)  # fmt: skip
def test_a_cell_shows_held_and_supplied_in_one_unit(reading: Reading, unit: str, shown: str) -> None:
    assert readings.shown_in(reading, unit) == shown
