"""The trace page, the page of past calls, measured parts in the grid, and what the logbook itself warns of."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from borelog.acts import entering, judging, learning
from borelog.acts.bench import Bench
from borelog.acts.facts import facts_body
from borelog.logbook.entries import Reading
from borelog.tui.app import Screens
from borelog.tui.grid import GridView
from borelog.tui.keymap import Settings
from borelog.tui.views.words import said, width

from .walking import message, press, settled, shown


def written(path: Path, starter_current: Any) -> Path:
    """A made-up cranking of an in-line four (1-3-4-2) whose third cylinder has a third of its hump; no sync channel."""
    t, amps, _ = starter_current((1, 3, 4, 2), {3: 0.33}, seconds=5.0, rate=2000.0)
    rows = ["time s,current A", *(f"{t[k]:.4f},{amps[k]:.2f}" for k in range(len(t)))]
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


async def test_a_trace_is_drawn_first_and_entered_when_accepted(
    bench: Bench, four: str, tmp_path: Path, starter_current: Any
) -> None:
    """The weak third cylinder shows as a bar, a figure and a word; nothing is entered before Enter on the page."""
    file = written(tmp_path / "crank.csv", starter_current)
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(110, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4", "ctrl+g")
        await press(app, pilot, "type:nowhere", "ctrl+s")
        assert "no such file" in "\n".join(said(line) for line in app.screen.query_one("#fault").lines)  # type: ignore[attr-defined]
        await press(app, pilot, "ctrl+u", f"type:{file}", "ctrl+s")
        page: Any = app.screen
        text = "\n".join(said(line) for line in page.lines_for(92))
        assert "hump 1" in text and "cranking speed 200 rpm" in text and page.accept_words == ""
        await press(app, pilot, "escape")
        assert "no hump has a name yet" in message(app)
        before = bench.inspection(four).entries
        # Whichever hump the moment falls into is called cylinder 1; the weak one then stands at its place in the order.
        at = 1
        await press(
            app, pilot, "ctrl+g", f"type:{file}", "enter", "enter", "type:1", "enter", f"type:{at}", "ctrl+s"
        )
        page = app.screen
        text = "\n".join(said(line) for line in page.lines_for(92))
        assert "cylinder 1" in text and page.accept_words and bench.inspection(four).entries == before
        for room in (34, 60, 92):
            assert all(width(line) <= room for line in page.lines_for(room))
        await press(app, pilot, "enter")
        found = {
            r.body.cylinder: r.body.values[0]
            for r in bench.inspection(four).of(Reading)
            if r.body.test == "crank_current"
        }
        assert set(found) == {1, 2, 3, 4}
        weak = min(found, key=lambda c: found[c])
        assert found[weak] == pytest.approx(33, abs=6) and sorted(found.values())[1] > 90


async def test_a_trace_of_another_kind_is_refused_with_the_reason(
    bench: Bench, four: str, tmp_path: Path
) -> None:
    flat = tmp_path / "flat.csv"
    flat.write_text(
        "time s,current A\n" + "\n".join(f"{k / 1000},150" for k in range(4000)), encoding="utf-8"
    )
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 32)) as pilot:
        await settled(app, pilot)
        before = bench.inspection(four).entries
        await press(app, pilot, "f4", "ctrl+g", f"type:{flat}", "ctrl+s")
        assert app.screen is app.room_now() and message(app) and "Traceback" not in message(app)
        assert bench.inspection(four).entries == before


async def test_past_calls_are_scored_from_both_screens(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 32)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f2", "p")
        text = " ".join(said(line) for line in app.screen.lines_for(80))  # type: ignore[attr-defined]
        assert "Nothing to score yet" in text
        await press(app, pilot, "escape")
        judging.take_call(bench, four, "head_off")
        learning.record_truth(bench, four, ["3=exh_valve_leak", "1=sound", "2=sound", "4=sound"], "opened")
        await press(app, pilot, "f6")
        await settled(app, pilot, verdict=True)
        await press(app, pilot, "s")
        lines = [said(line) for line in app.screen.lines_for(80)]  # type: ignore[attr-defined]
        text = " ".join(lines)
        scored = learning.score(bench)
        assert f"{scored.hits} of {scored.cylinders} cylinders" in text and "Brier score" in text
        assert all(
            f"{100 * b.believed:3.0f} %" in text and f"{100 * b.right:3.0f} %" in text for b in scored.bins
        )
        assert "says little yet" in text


async def test_measured_parts_have_a_row_for_every_place(bench: Bench, four: str) -> None:
    """A bore is entered at two axes with three heights each; the figures are held against their limits at once."""
    entering.enter(bench, four, facts_body({"bore": "81"}))
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4")
        grid = app.room_now().query_one(GridView)
        labels = [r.label for r in grid.grid.rows if r.group == "parts" and r.kind == "reading"]
        assert any("thrust" in text for text in labels) and any("pin" in text for text in labels), labels
        assert not any("bank 2" in text for text in labels), "an in-line engine has one head"
        index = next(
            k for k, r in enumerate(grid.grid.rows) if r.test == "bore_diameter" and r.part == "thrust"
        )
        grid.go(index, 3)
        await press(app, pilot, "type:81.16 81.05 81.02", "enter")
        grid.go(
            next(k for k, r in enumerate(grid.grid.rows) if r.test == "bore_diameter" and r.part == "pin"), 3
        )
        await press(app, pilot, "type:81.08 81.03 81.01", "enter")
        parts = {
            r.body.part: r.body.values
            for r in bench.inspection(four).of(Reading)
            if r.body.test == "bore_diameter"
        }
        assert parts == {"thrust": (81.16, 81.05, 81.02), "pin": (81.08, 81.03, 81.01)}
        step = " ".join(said(line) for line in app.room_now().query_one("#step").lines)  # type: ignore[attr-defined]
        assert "bore 3" in step, step


async def test_what_the_logbook_warns_of_is_on_the_screen(bench: Bench, four: str) -> None:
    """A synced folder, a clock set back, entries that did not reach the disk: said on every screen and on the doctor's page."""
    bench.journal.warnings = ("this folder is synced by a service: close it elsewhere first",)
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(110, 32)) as pilot:
        await settled(app, pilot)
        assert "! 1 warning F12" in shown(app, "#title")
        await press(app, pilot, "f12")
        page = "\n".join(said(line) for line in app.screen.query_one("#page").lines)  # type: ignore[attr-defined]
        assert "synced by a service" in page
        await press(app, pilot, "escape")
        inspection = bench.inspection(four)
        reading = inspection.of(Reading)[0].body
        bench.journal.unsaved.append((four, reading, "tester", ""))
        app.room_now().show()
        assert "NOT SAVED: 1" in shown(app, "#title")
        await press(app, pilot, "f12")
        page = "\n".join(said(line) for line in app.screen.query_one("#page").lines)  # type: ignore[attr-defined]
        assert "not saved: " in page


async def test_at_forty_columns_the_readings_are_a_list_in_test_order(bench: Bench, four: str) -> None:
    """Nothing scrolls sideways: every cylinder has a line of its own; Enter and Down go on in it, a click takes a line in hand."""
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(40, 30)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4")
        grid = app.room_now().query_one(GridView)
        assert grid.is_list and (grid.row.test, grid.column) == ("compression_dry", 1)
        text = [strip.text for strip in grid.render_lines(grid.size.region)]
        assert all(len(line) <= 40 for line in text)
        block = [line for line in text if any(f in line for f in ("178", "173", "62", "180"))]
        assert [line.split()[0 if line[0] == " " else 1] for line in block] == ["1", "2", "3", "4"]
        await press(app, pilot, "down", "down")
        assert grid.column == 3
        await press(app, pilot, "type:64", "enter")
        assert grid.column == 4 and bench.inspection(four).of(Reading)[2].body.values == (64.0,)
        y = grid.line_of(grid.at[0], 2) - round(grid.scroll_y) + 1
        await pilot.click(grid, offset=(6, y))
        await settled(app, pilot)
        assert grid.column == 2
        await press(app, pilot, "end", "down")
        assert grid.row.kind == "fold", "the list goes on behind the last cylinder"
        await pilot.resize_terminal(100, 30)
        await settled(app, pilot)
        assert not grid.is_list and grid.row.kind == "fold"
