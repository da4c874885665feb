"""The engine that facts describe, and the plain reason where they describe none."""

import pytest

from borelog.engine.engine import EngineError
from borelog.logbook.described import engine_from_facts, engine_of, engine_problem
from borelog.logbook.inspection import Inspection


def test_bridges_are_pairs_of_numbers():
    engine = engine_from_facts({"layout": "inline 4", "bridges": "1-2, 3-4"})
    assert engine is not None
    assert engine.neighbours == frozenset({(1, 2), (3, 4)})


@pytest.mark.parametrize("typed", ["a-b", "1-2-3", "1", "1--2", "1-", "12345-1"])
def test_bridges_that_are_none_are_told_plainly(typed):
    with pytest.raises(EngineError, match="pairs of cylinders"):
        engine_from_facts({"layout": "inline 4", "bridges": typed})


@pytest.mark.parametrize(
    "facts",
    [{"bridges": "a-b"}, {"bore": "wide"}, {"bore": "0"}, {"compression_ratio": "nan"}, {"banks": "a/b"},
     {"firing_order": "1 1"}, {"intervals": "nan nan nan nan"}, {"altitude": "99999999"}],
)  # fmt: skip
def test_facts_from_elsewhere_never_end_the_program(facts):
    inspection = Inspection("x", facts={"layout": "inline 4", **facts})
    assert engine_of(inspection) is None
    assert engine_problem(inspection)
