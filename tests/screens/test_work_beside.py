"""Work on a thread belongs to the inspection in hand when it began, whatever is in hand when it ends."""

from __future__ import annotations

import ast
import threading
from pathlib import Path
from typing import Any

import pytest

import borelog.tui.screens
from borelog.acts import entering, filing, scales
from borelog.acts.bench import Bench
from borelog.logbook.entries import Scaled
from borelog.marks.shapes import Line
from borelog.stills.change import THRESHOLD_RANGE
from borelog.stills.scale import Scale
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings

from .walking import press, settled

SCREENS = Path(borelog.tui.screens.__file__).parent


async def test_a_scale_goes_to_the_inspection_it_was_read_for(
    bench: Bench, four: str, picture_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another inspection is opened while the thread on the still is being read."""
    other = entering.open_inspection(bench, "Other van", facts={"layout": "inline 4"})
    still = filing.add_pictures(bench, four, [str(picture_file)]).filed[0].still
    go_on = threading.Event()

    def slow(*_: Any) -> Scale:
        assert go_on.wait(60)
        return Scale((0.05, 0, 0, 0, 0.05, 0, 0, 0, 1), 0.02, "at the thread", ("a plug thread",), True)

    monkeypatch.setattr(scales, "from_known_thread", slow)
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f5")
        room: Any = app.room_now()
        room._read_thread(app.desk.at, still, [Line(10, 10, 200, 10), Line(10, 60, 200, 60)], 1.25)
        app.desk.do(lambda: other, opens=True).result(60)
        while app.desk.id != other:
            await pilot.pause()
        go_on.set()
        await settled(app, pilot)
    assert [r.body.still for r in bench.inspection(four).of(Scaled)] == [still]
    assert not bench.inspection(other).of(Scaled)


async def test_a_what_if_is_not_shown_on_another_engine(bench: Bench, four: str) -> None:
    other = entering.open_inspection(bench, "Other van", facts={"layout": "inline 4"})
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(118, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f6")
        await settled(app, pilot, verdict=True)
        room: Any = app.room_now()
        began = app.desk.at
        room._tried(began, "a price were 4000", app.desk.verdict)
        assert room.tried
        app.open_inspection(other)
        await settled(app, pilot, verdict=True)
        await press(app, pilot, "f6")
        assert room.tried is None
        room._tried(began, "a price were 4000", app.desk.verdict)
        assert room.tried is None


async def test_the_slider_ends_where_the_comparison_says(bench: Bench, four: str, picture_file: Path) -> None:
    filing.add_pictures(bench, four, [str(picture_file)])
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f5")
        room: Any = app.room_now()
        assert room.threshold_range == THRESHOLD_RANGE
        assert room.threshold_range[0] < room.threshold < room.threshold_range[1]


def _threads(tree: ast.Module) -> list[ast.FunctionDef]:
    """Functions that run on a thread of their own."""
    return [
        f
        for f in ast.walk(tree)
        if isinstance(f, ast.FunctionDef)
        and any(isinstance(d, ast.Call) and ast.unparse(d.func) == "work" for d in f.decorator_list)
    ]


@pytest.mark.parametrize("path", sorted(SCREENS.glob("*.py")), ids=lambda p: p.stem)
def test_no_thread_asks_the_desk_which_inspection_is_meant(path: Path) -> None:
    """It may have changed by the time the thread asks: what was in hand is given to it when it begins."""
    for function in _threads(ast.parse(path.read_text("utf-8"))):
        asked = {ast.unparse(n) for n in ast.walk(function) if isinstance(n, ast.Attribute)}
        assert not asked & {"self.desk.id", "self.desk.inspection", "self.desk.at"}, function.name


def test_no_act_asks_the_desk_late() -> None:
    """An act waits in a queue: its logbook is named when it is put there."""
    late = []
    for path in sorted(SCREENS.glob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for call in ast.walk(tree):
            if isinstance(call, ast.Call) and ast.unparse(call.func).endswith("screens.do"):
                inside = {ast.unparse(n) for n in ast.walk(call.args[0]) if isinstance(n, ast.Attribute)}
                late += [f"{path.name}:{call.lineno}" for a in inside if ".bench" in a and "desk" in a]
    assert late == []
