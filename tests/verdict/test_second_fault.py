"""How the second fault of a cylinder stands to the first."""

from __future__ import annotations

from borelog.verdict.judged import CylinderVerdict, Hypothesis


def _standing(leader: float, other: float, with_it: str = "") -> str:
    first = Hypothesis(fault="a", label="A", probability=leader, word="")
    second = Hypothesis(fault="b", label="B", probability=other, word="")
    return CylinderVerdict(
        cylinder=1, level="bad", words="", enough=True, leader=first, runner_up=second, with_it=with_it
    ).second


def test_a_second_fault_that_must_overlap_the_first_is_no_rival() -> None:
    """Of two faults at 97 and 33 in 100, at least 30 of the 33 stand beside the first (bound of Frechet, 1935)."""
    assert _standing(0.97, 0.33) == "perhaps with it"
    assert _standing(0.97, 0.33, "b") == "with it"
    assert _standing(0.70, 0.25) == "runner-up"
    assert _standing(0.90, 0.15) == "runner-up"
