"""Where the person is at: noted, and told where it cannot be."""

from __future__ import annotations

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench, open_bench
from borelog.acts.filing import FilingError
from borelog.acts.whereabouts import Spot, be_at, is_at
from borelog.marks.places import Place


def test_a_spot_is_noted_and_read_back(bench: Bench) -> None:
    id_ = entering.open_inspection(bench, "x", facts={"layout": "inline 4"})
    for spot in (Spot(id_, 3, Place("bore", "exhaust", "top")), Spot(id_, 1), Spot(id_)):
        be_at(bench, spot)
        assert is_at(bench) == spot
    with pytest.raises(FilingError, match="no cylinder 9"):
        be_at(bench, Spot(id_, 9))


def test_a_spot_that_cannot_be_noted_is_told(bench: Bench) -> None:
    id_ = entering.open_inspection(bench, "x")
    reading = open_bench(bench.journal.folder, read_only=True)
    with pytest.raises(FilingError, match="could not be noted"):
        be_at(reading, Spot(id_))
    reading.journal.close()
