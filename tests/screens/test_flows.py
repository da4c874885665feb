"""The screens driven by keys over a real logbook: what is typed is on disk, and every screen shows it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from borelog.acts import filing
from borelog.acts.bench import Bench
from borelog.logbook.coverage import unseen
from borelog.logbook.entries import (
    Conditions,
    Facts,
    Finding,
    Looked,
    Note,
    Opened,
    Reading,
    Seen,
    Told,
    Truth,
)
from borelog.marks.places import Place
from borelog.tui.app import Screens
from borelog.tui.grid import GridView
from borelog.tui.keymap import Settings
from borelog.tui.painted import Bar
from borelog.tui.picture import Picture
from borelog.tui.views.rows import ENGINE
from borelog.tui.views.words import said

from .walking import message, press, settled


async def test_from_an_empty_logbook_to_four_readings(bench: Bench) -> None:
    """Two fields and Enter begin an inspection; four numbers and Enter are four readings; conditions follow, none obligatory."""
    app = Screens(bench, Settings())
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(app, pilot)
        listed = app.room_now().query_one("#list").lines  # type: ignore[attr-defined]
        text = "\n".join(said(line) for line in listed)
        assert "Begin an inspection" in text and "demo" in text and "pack" in text
        await press(app, pilot, "n", "type:White van", "enter", "type:in-line 4", "ctrl+j")
        assert app.room_now().where == "plan"
        assert app.desk.cylinders == (1, 2, 3, 4)
        await press(app, pilot, "enter")
        grid = app.room_now().query_one(GridView)
        assert (grid.row.test, grid.column) == ("compression_dry", 1)
        await press(
            app,
            pilot,
            "type:178",
            "enter",
            "type:172 174",
            "ctrl+j",
            "type:62",
            "enter",
            "type:12,5 bar",
            "enter",
        )
        readings = {r.body.cylinder: r.body for r in bench.inspection(app.desk.id).of(Reading)}
        assert {c: b.values for c, b in readings.items()} == {
            1: (178.0,),
            2: (172.0, 174.0),
            3: (62.0,),
            4: (12.5,),
        }
        assert readings[4].unit == "bar" and readings[4].typed == "12,5 bar"
        assert grid.row.kind == "condition", "conditions are asked once, after the first row"
        await press(app, pilot, "type:12.1", "enter", "y", "b", "o")
        noted = {k: v for r in bench.inspection(app.desk.id).of(Conditions) for k, v in r.body.values.items()}
        assert noted == {"battery": "12.1", "charger": "yes", "cranking": "brisk", "throttle": "open"}


async def test_correct_repeat_undo_redo_and_the_states_of_a_blank(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 34)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4")
        grid = app.room_now().query_one(GridView)
        grid.go_to("compression_dry", 1)
        # typing over a reading corrects it and keeps the old wording
        await press(app, pilot, "type:150", "enter")
        reading = next(
            r
            for r in bench.inspection(four).of(Reading)
            if r.body.test == "compression_dry" and r.body.cylinder == 1
        )
        assert reading.body.values == (150.0,) and reading.earlier[0].body.values == (178.0,)
        # one key goes back to mend the last
        await press(app, pilot, "backspace")
        assert grid.edit is not None and grid.edit.text == "150" and grid.column == 1
        await press(app, pilot, "backspace", "backspace", "backspace", "type:151", "enter")
        await press(app, pilot, "ctrl+z")
        assert "taken back" in message(app) and "151" in message(app)
        await press(app, pilot, "ctrl+z")
        assert next(r for r in bench.inspection(four).of(Reading) if r.body.cylinder == 1).body.values == (
            178.0,
        )
        await press(app, pilot, "ctrl+y")
        assert "brought back" in message(app)
        # a re-test stands beside the first
        grid.go_to("compression_dry", 1)
        await press(app, pilot, "asterisk")
        assert grid.row.series == "2"
        await press(app, pilot, "type:155", "enter")
        series = {
            r.body.series for r in bench.inspection(four).of(Reading) if r.body.test == "compression_dry"
        }
        assert series == {"", "2"}
        # not done and not possible are two things
        grid.go_to("leakdown", 2)
        await press(app, pilot, "minus")
        assert grid.column == 3
        grid.go(grid.at[0], 4)
        await press(app, pilot, "slash")
        states = {
            (r.body.cylinder, str(r.body.state))
            for r in bench.inspection(four).of(Looked)
            if r.body.test == "leakdown"
        }
        assert states == {(2, "not looked"), (4, "not possible")}


async def test_what_cannot_be_read_stays_as_a_draft_and_says_what_to_type(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4")
        grid = app.room_now().query_one(GridView)
        grid.go_to("compression_dry", 2)
        before = bench.inspection(four).entries
        await press(app, pilot, "type:15x!", "enter")
        assert bench.inspection(four).entries == before
        assert message(app) and "15x!" in grid.drafts.values()
        grid.go_to("compression_dry", 2)
        await press(app, pilot, "enter")
        assert grid.edit is not None and grid.edit.text == "15x!"
        await press(app, pilot, "escape", "delete")
        assert not grid.drafts
        # a likely slip of unit is kept as typed and asked about
        grid.go_to("compression_dry", 4)
        await press(app, pilot, "type:1100", "enter")
        slip = next(r for r in bench.inspection(four).of(Reading) if r.body.cylinder == 4)
        assert slip.body.values == (1100.0,) and slip.body.doubt and "160 psi" in message(app)


async def test_questions_take_one_letter_and_the_rest_the_same(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4")
        grid = app.room_now().query_one(GridView)
        assert grid.go_to("plug_deposit", 1)
        letter = next(k for k, id_, _ in grid.row.answers if id_ == "normal_tan")
        await press(app, pilot, letter)
        assert grid.column == 2
        grid.go(grid.at[0], 1)
        await press(app, pilot, "equals_sign")
        seen = {
            r.body.cylinder: r.body.state
            for r in bench.inspection(four).of(Seen)
            if r.body.item == "plug_deposit"
        }
        assert seen == {1: "normal_tan", 2: "normal_tan", 3: "wet_fuel", 4: "normal_tan"}
        # ditto
        grid.go_to("plug_specks", 1)
        await press(app, pilot, grid.row.answers[0][0], "quotation_mark")
        specks = [r.body.cylinder for r in bench.inspection(four).of(Seen) if r.body.item == "plug_specks"]
        assert specks == [1, 2]
        # Enter lists the answers; how it is taken stays until changed
        await press(app, pilot, "ctrl+r", "down", "down", "down", "enter")
        assert app.desk.how
        grid.go_to("crank_rhythm", None)
        await press(app, pilot, "enter", "enter")
        crank = next(r for r in bench.inspection(four).of(Seen) if r.body.item == "crank_rhythm")
        assert crank.how == app.desk.how
        # the turning plan needs the firing order, which this engine has
        await press(app, pilot, "ctrl+t")
        assert "TURNING PLAN" in "\n".join(said(line) for line in app.room_now().query_one("#step").lines)  # type: ignore[attr-defined]
        # looked, nothing: one key for the whole cylinder
        grid.go_to("plug_deposit", 2)
        left = unseen(bench.inspection(four), 2)
        await press(app, pilot, "exclamation_mark")
        assert sum(r.body.cylinder == 2 for r in bench.inspection(four).of(Looked)) == len(left) > 20
        assert unseen(bench.inspection(four), 2) == ()


async def test_plan_moves_in_true_arrangement_and_takes_notes(bench: Bench) -> None:
    from borelog.acts.entering import open_inspection

    id_ = open_inspection(bench, "Green coupe", facts={"layout": "V6"})
    app = Screens(bench, Settings(), id_)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        first = app.desk.cylinder
        await press(app, pilot, "right")
        engine = app.desk.engine
        assert (
            engine and app.desk.cylinder and engine.bank_of(app.desk.cylinder) != engine.bank_of(first or 1)
        )
        await press(app, pilot, "5")
        assert app.desk.cylinder == 5
        await press(app, pilot, "w", "1", "type:smells of petrol", "ctrl+s")
        assert bench.inspection(id_).of(Note)[0].body == Note("smells of petrol", 5)
        await press(
            app,
            pilot,
            "w",
            "2",
            "type:seller",
            "enter",
            "type:June",
            "enter",
            "type:ran when parked",
            "ctrl+s",
        )
        assert bench.inspection(id_).of(Told)[0].body == Told("seller", "ran when parked", "June")
        await press(app, pilot, "f", "type:notch", "enter", "type:exhaust valve", "enter", "enter", "1", "3")
        found = bench.inspection(id_).of(Finding)[0].body
        assert (found.cylinder, found.place, found.certainty, found.age) == (
            5,
            Place("exhaust_valve"),
            "seen clearly",
            "fresh",
        )
        await press(app, pilot, "l")
        assert "nothing found" in message(app)
        await press(app, pilot, "z")
        assert any(
            r.body.state == "not possible" and r.body.cylinder == 5 for r in bench.inspection(id_).of(Looked)
        )
        await press(app, pilot, "e", "pagedown", "pageup")
        grid = app.room_now().query_one(GridView)
        grid.go(next(k for k, r in enumerate(grid.grid.rows) if r.test == "bore"), ENGINE)
        await press(app, pilot, "type:81", "enter")
        assert bench.inspection(id_).facts["bore"] == "81"
        await press(app, pilot, "pageup", "pageup", "pageup")
        grid.go(1, ENGINE)
        await press(app, pilot, "down", "up", "down", "down", "type:1-2-3", "enter")
        assert grid.row.test != "bore" and "leaves out cylinders 4" in message(app)
        assert "firing_order" not in bench.inspection(id_).facts
        assert any("bore" in r.body.values for r in bench.inspection(id_).of(Facts))


async def test_logbook_searches_orders_and_takes_over_a_set_up(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings())
    async with app.run_test(size=(90, 28)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "s", "type:notch")
        entries = app.room_now().entries  # type: ignore[attr-defined]
        assert len(entries) == 1 and entries[0].inspection == four
        await press(app, pilot, "enter", "escape", "o", "c", "type:Second van", "enter", "enter")
        second = bench.inspection(app.desk.id)
        assert (
            second.name == "Second van"
            and second.facts["firing_order"] == "1-3-4-2"
            and not second.of(Reading)
        )
        assert len(second.of(Opened)) == 1
        await press(app, pilot, "escape")
        assert app.room_now().where == "logbook" and len(app.room_now().rows) == 2  # type: ignore[attr-defined]


async def test_verdict_leads_to_its_source_and_tries_a_price(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(118, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "3", "f6")
        await settled(app, pilot, verdict=True)
        room: Any = app.room_now()
        index = next(
            k
            for k, s in enumerate(room.sentences)
            if len(s.entries) == 1
            and bench.inspection(four).find(s.entries[0]) is not None
            and isinstance(bench.inspection(four).find(s.entries[0]).body, Reading)
        )  # type: ignore[union-attr]
        entry = room.sentences[index].entries[0]
        page = room.query_one("#page")
        page.move(index - page.index)
        await press(app, pilot, "enter")
        assert app.room_now().where == "readings"
        grid = app.room_now().query_one(GridView)
        assert grid.cell.entry == entry
        await press(
            app,
            pilot,
            "f6",
            "tab",
            "shift+tab",
            "pagedown",
            "pageup",
            "right_square_bracket",
            "left_square_bracket",
        )
        prices = dict(bench.inspection(four).prices)
        await press(app, pilot, "w", "type:running and repaired", "enter", "type:4000", "enter")
        assert "WHAT IF" in said(room.sentences[0].lines[0])
        assert dict(bench.inspection(four).prices) == prices
        await press(app, pilot, "escape", "p", "type:running and repaired", "enter", "type:4000", "enter")
        assert bench.inspection(four).prices["value_running"] == "4000"
        await press(app, pilot, "d", "1", "enter")
        assert "call taken" in message(app)
        await press(app, pilot, "t", "3", "type:exhaust valve", "enter", "1")
        assert bench.inspection(four).of(Truth)[0].body.cylinder == 3


async def test_a_pack_is_made_checked_and_listed(bench: Bench, four: str, tmp_path: Path) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(110, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f7", "enter", "3")
        room: Any = app.room_now()
        assert room.plan.reader == "buyer"
        await press(app, pilot, "down", "enter", "ctrl+u", f"type:{tmp_path / 'out'}", "enter")
        assert room.plan.folder == str(tmp_path / "out")
        await press(app, pilot, "down", "space", "down", "enter", "b")
        assert room.last is not None and room.last.exists(), message(app)
        await press(app, pilot, "c")
        assert "nothing is wrong" in message(app)
        text = "\n".join(said(line) for line in room.query_one("#outcome").lines)
        assert "1. " in text and "for the buyer" in text


@pytest.mark.parametrize(
    "size", [(80, 24), (120, 40), pytest.param((200, 60), marks=pytest.mark.long), (40, 30)]
)
async def test_every_screen_fits_and_is_reached_without_a_mouse(
    bench: Bench, four: str, size: tuple[int, int], picture_file: Path
) -> None:
    """At every size: title, message and keys are on the screen, nothing overlaps, focus is somewhere and Tab never traps it."""
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, Settings(), four)
    seen: Callable[[], set[str]] = lambda: {w.id or type(w).__name__ for w in app.screen.focus_chain}  # noqa: E731
    async with app.run_test(size=size) as pilot:
        await settled(app, pilot)
        for key, where in (
            ("f2", "logbook"),
            ("f3", "plan"),
            ("e", "facts"),
            ("f4", "readings"),
            ("f5", "stills"),
            ("f6", "verdict"),
            ("f7", "pack"),
        ):
            await press(app, pilot, key)
            room = app.room_now()
            assert room.where == where
            regions = [w.region for w in room.children if w.display and w.region.area]
            for k, one in enumerate(regions):
                assert one.x >= 0 and one.right <= size[0] and one.y >= 0 and one.bottom <= size[1]
                assert all(not one.overlaps(other) for other in regions[k + 1 :])
            keys = said(room.query_one("#keys", Bar).lines[0])
            assert "F1 Help" in keys and "^Q Quit" in keys and "…" not in keys and len(keys) <= size[0]
            assert seen(), where
            assert room.focused is not None
        await press(app, pilot, "f1")
        page = " ".join(" ".join(said(line) for line in app.screen.query_one("#page").lines).split())  # type: ignore[attr-defined]
        assert "Make the pack" in page and "Take back your own last entry" in page
        await press(app, pilot, "escape", "f12", "k")
        page = "\n".join(said(line) for line in app.screen.query_one("#page").lines)  # type: ignore[attr-defined]
        assert "'k'" in page and "colours" in page
        await press(app, pilot, "ctrl+o", "ctrl+p", "type:cylinder 3", "enter")
        assert app.desk.cylinder == 3
        await press(app, pilot, "f8", "f9", "f3")
        assert app.large and app.theme == "borelog-day"


async def test_letters_setting_leaves_no_sign_outside_ascii(
    bench: Bench, four: str, picture_file: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, Settings(letters=True), four)
    async with app.run_test(size=(100, 34)) as pilot:
        await settled(app, pilot)
        for key in ("f3", "f4", "f5", "f6", "f7"):
            await press(app, pilot, key)
            for widget in app.screen.walk_children():
                if hasattr(widget, "lines") or isinstance(widget, Picture):
                    for strip in widget.render_lines(widget.size.region):  # type: ignore[attr-defined]
                        assert strip.text.isascii(), strip.text


async def test_another_window_s_entry_shows_up(bench: Bench, four: str) -> None:
    from borelog.acts import entering
    from borelog.acts.bench import open_bench

    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(90, 28)) as pilot:
        await settled(app, pilot)
        app.desk.look_again()
        await settled(app, pilot)
        other = open_bench(bench.journal.folder, who="helper")
        entering.enter(other, four, Note("called out from the other side", 2))
        other.journal.close()
        app.desk.look_again()
        await pilot.pause(0.05)
        await settled(app, pilot)
        assert app.desk.inspection is not None and app.desk.inspection.of(Note)[0].body.text.startswith(
            "called out"
        )
