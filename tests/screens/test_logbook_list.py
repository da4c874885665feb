"""The list of inspections: another's word is told from an own look, and a set-up is taken over with the engine's limits."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from borelog.acts import entering, keeping
from borelog.acts.bench import Bench, open_bench
from borelog.acts.judging import verdict_of
from borelog.acts.packing import hand_over
from borelog.acts.taking import take_in
from borelog.logbook.entries import Note
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings
from borelog.tui.views import logbook as view
from borelog.tui.views.words import said

from .walking import press, settled


def _text(row: keeping.Row, room: int) -> str:
    return "\n".join(said(line) for entry in view.entries([row], room) for line in entry.lines)


def test_a_pack_taken_in_says_from_whom(bench: Bench, four: str, tmp_path: Path) -> None:
    """At once and once worked out, on a narrow and on a wide screen; the figures are those of what was told."""
    handed = hand_over(bench, four, tmp_path / "packs", reader="buyer")
    there = open_bench(tmp_path / "there", who="Bo")
    own = entering.open_inspection(there, "Own van", facts={"layout": "inline 4"})
    entering.enter(there, own, Note('a note that says "kind":"taken_in" is no pack'))
    told = take_in(there, Path(handed.built.folder)).inspection
    for lister in (keeping.listed_at_once, keeping.listed):
        rows = {r.id: r for r in lister(there)}
        assert rows[told].taken_in == "taken in from tester" and rows[own].taken_in == ""
    row = rows[told]
    left = sum(not c.enough for c in verdict_of(there, told).verdict.cylinders)
    assert row.worst.startswith("Notch") and row.open == left > 0
    for room in (40, 80, 120):
        text = _text(row, room)
        assert "taken in from tester" in text and "no call taken" not in text and f"{left} cyl open" in text
        assert "taken in" not in _text(rows[own], room)
    assert "no finding told of" in _text(replace(row, worst=""), 80)
    there.journal.close()


def test_what_nobody_could_judge_is_not_called_settled(bench: Bench) -> None:
    """Without a layout no cylinder is known: none is open, and none is settled either."""
    entering.open_inspection(bench, "No layout")
    row = keeping.listed(bench)[0]
    assert row.open == 0 and "settled" not in _text(row, 80) and "none judged" in _text(row, 80)
    assert "all settled" in _text(replace(row, engine="in-line 4"), 80)


async def test_the_same_again_takes_the_manuals_limits_over(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings())
    async with app.run_test(size=(90, 28)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "c", "type:Twin", "enter", "enter")
        facts = bench.inspection(app.desk.id).facts
        assert facts["spec_min"] == "900" and facts["firing_order"] == "1-3-4-2"


def test_the_list_counts_as_the_verdict_does(bench: Bench, four: str) -> None:
    """Every cylinder that the verdict screen calls open, and all of an engine of which nothing is recorded."""
    fresh = entering.open_inspection(bench, "Nothing yet", facts={"layout": "V6"})
    rows = {r.id: r.open for r in keeping.listed(bench)}
    assert rows[four] == sum(not c.enough for c in verdict_of(bench, four).verdict.cylinders) == 2
    assert rows[fresh] == 6
