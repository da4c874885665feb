"""Every planted fault is noticed by the tests of its room; the table fits the code it plants into."""

from __future__ import annotations

import pytest

from tests.mutation.planting import faults, misfits, plant_all


def test_every_row_fits_the_code() -> None:
    """A formula that was rewritten asks for its row to be renewed."""
    assert misfits() == []
    assert len(faults()) >= 40


@pytest.mark.long
def test_every_planted_fault_is_noticed() -> None:
    planted, broken = plant_all()
    assert broken == []
    assert [f"{p.fault.file}: {p.fault.fault!r}" for p in planted if not p.caught] == []
