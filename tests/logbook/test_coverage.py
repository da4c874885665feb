"""What was looked at is said alike by screens, commands and packs."""

from __future__ import annotations

from pathlib import Path

import pytest

from borelog.acts import entering
from borelog.acts.bench import open_bench
from borelog.acts.overview import rows as table_rows
from borelog.acts.sheet.recording import record_text
from borelog.logbook.coverage import ANSWERED, UNSEEN, coverage_of, places_of, states, unseen
from borelog.logbook.entries import Looked as Entered
from borelog.marks.places import Looked, Place
from borelog.pack.rows import coverage

SHEET = """
[engine]
layout: inline 4
injection: {injection}
[camera]
1 bore: cross-hatch clear
2 bore: deep or wide scores
[coverage]
1 crown: looked, nothing
3 bore intake top: could not see - probe too short
"""


@pytest.mark.parametrize("injection", ["port", "direct"])
def test_one_count_for_all(tmp_path: Path, injection: str) -> None:
    bench = open_bench(tmp_path / "logbook", who="MB")
    id_ = entering.open_inspection(bench, "one")
    assert record_text(bench, id_, SHEET.format(injection=injection), "one").clean
    made = bench.inspection(id_)
    total = len(places_of(made))
    bore = sum(p.view == "bore" for p in places_of(made))
    assert coverage_of(made, 1) == (bore + 1, total)
    assert coverage_of(made, 3) == (1, total) and coverage_of(made, 4) == (0, total)
    assert any(p.view == "injector" for p in places_of(made)) == (injection == "direct")
    assert states(made)[2, Place("bore", "intake", "top")][0] == ANSWERED
    assert states(made)[1, Place("crown", "", "")][0] == Looked.NOTHING
    for cylinder in (1, 2, 3, 4):
        rows = [r for r in coverage(made, (1, 2, 3, 4)) if r.cylinder == cylinder]
        assert len(rows) == total
        assert sum(r.state in UNSEEN for r in rows) == len(unseen(made, cylinder))
        noted = coverage_of(made, cylinder)[0]
        assert table_rows(made)[cylinder - 1].looked == (
            f"{noted} of {total} places" if noted else "not looked"
        )
    entering.enter(bench, id_, Entered(cylinder=4, state=Looked.NOTHING, test="camera"))
    assert coverage_of(bench.inspection(id_), 4) == (total, total)
    bench.journal.close()
