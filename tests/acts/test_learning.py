"""Truths as typed, tables learned from them, and the way back to the shipped ones."""

from __future__ import annotations

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench
from borelog.acts.judging import own_tables_folder
from borelog.acts.learning import TruthError, back_to_shipped, learn, record_truth, truths_from
from borelog.knowledge.faults import shipped
from borelog.logbook.entries import Seen


@pytest.mark.parametrize(
    ("where", "cylinders"),
    [("3", [3]), ("1,4", [1, 4]), ("1-3", [1, 2, 3]), ("3-1", [1, 2, 3]), ("engine", [None])],
)
def test_where_a_truth_holds(where: str, cylinders: list[int | None]) -> None:
    """A span means every cylinder in it, not only its ends."""
    assert [t.cylinder for t in truths_from([f"{where}=sound"], "opened", "", shipped())] == cylinders


@pytest.mark.parametrize("where", ["", "x", "cyl3x", "1-", "1-2-3", "9" * 5000])
def test_a_place_that_is_none_is_refused(where: str) -> None:
    with pytest.raises(TruthError, match="is no cylinder"):
        truths_from([f"{where}=sound"], "opened", "", shipped())


def test_a_fault_at_the_wrong_place_says_where_it_belongs() -> None:
    with pytest.raises(TruthError, match="engine=overheated"):
        truths_from(["3=overheated"], "opened", "", shipped())
    with pytest.raises(TruthError, match="3=exh_valve_leak"):
        truths_from(["engine=exh_valve_leak"], "opened", "", shipped())


def _opened(bench: Bench) -> None:
    """An engine whose third cylinder had a burnt valve, seen, opened and written down."""
    id_ = entering.open_inspection(bench, "Opened", facts={"layout": "inline 4"})
    entering.enter(bench, id_, Seen("exh_valve_face", 3, "notch_or_burnt"), "seen")
    record_truth(bench, id_, ["3=exh_valve_leak"], "opened")


def test_what_was_learned_is_said_in_words_and_set_aside_without_loss(bench: Bench) -> None:
    _opened(bench)
    said = learn(bench)
    assert said[0].startswith("opened cylinders: 1;")
    assert not any("exh_valve_face" in line for line in said)
    folder = own_tables_folder(bench)
    assert (folder / "rows.csv").is_file()
    back_to_shipped(bench)
    learn(bench)
    back_to_shipped(bench)
    assert not (folder / "rows.csv").exists()
    assert len(list(folder.glob("rows.csv.aside-*"))) == 2
