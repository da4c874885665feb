"""The stills screen driven by keys and mouse: filed, drawn on, turned, compared, a card cut into cylinders."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from borelog.acts import filing
from borelog.acts.bench import Bench
from borelog.logbook.entries import (
    Finding,
    Looked,
    Marked,
    MaskDrawn,
    Scaled,
    StillFiled,
    StillPlaced,
)
from borelog.marks.places import Place
from borelog.marks.shapes import Box, Line
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings
from borelog.tui.picture import Picture
from borelog.tui.views.words import said

from .walking import message, press, settled, shown


async def test_stills_are_filed_drawn_on_moved_and_measured_by_keys(
    bench: Bench, four: str, picture_file: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)])
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f5", "left_square_bracket")
        room: Any = app.room_now()
        picture = room.query_one("#picture", Picture)
        assert room.run.key == "not filed" and picture.source.size == (640, 360)
        assert "1 cell = " in shown(app, "#state")
        await press(app, pilot, "f", "3", "type:exhaust valve", "enter")
        placed = bench.inspection(four).of(StillPlaced)[-1].body
        assert (placed.cylinder, placed.place) == (3, Place("exhaust_valve"))
        await press(app, pilot, "left_square_bracket", "right_square_bracket", "right_square_bracket")
        room.take(placed.still)
        room.show()
        await settled(app, pilot)
        # a box by cross hair and Enter
        picture.set_cross((400.0, 100.0))
        await press(app, pilot, "d", "b", "enter")
        picture.set_cross((460.0, 160.0))
        await press(app, pilot, "space", "w", "type:bright square", "enter")
        mark = bench.inspection(four).of(Marked)[0].body.mark
        assert isinstance(mark.shape, Box) and mark.label == "bright square"
        assert (mark.shape.x, mark.shape.y, mark.shape.width, mark.shape.height) == pytest.approx(
            (400, 100, 60, 60), abs=0.01
        )
        # moved by one picture pixel, then a corner pulled
        await press(app, pilot, "n", "v", "shift+right", "shift+down", "enter")
        moved = bench.inspection(four).of(Marked)[0].body.mark.shape
        assert (moved.x, moved.y) == pytest.approx((401, 101), abs=0.01)  # type: ignore[union-attr]
        # a known length sets the scale; then sizes are millimetres
        picture.set_cross((400.0, 200.0))
        await press(app, pilot, "d", "l", "enter")
        picture.set_cross((500.0, 200.0))
        await press(app, pilot, "enter", "m")
        line = next(
            r.body.mark.shape
            for r in bench.inspection(four).of(Marked)
            if isinstance(r.body.mark.shape, Line)
        )
        assert line.x2 - line.x1 == pytest.approx(100, abs=0.01)
        room.held = next(k for k, m in enumerate(room.marks) if isinstance(m.mark.shape, Line))
        await press(app, pilot, "k", "s", "type:25 mm", "enter", "type:gauge block", "enter")
        scale = bench.inspection(four).of(Scaled)[0].body
        assert scale.mm_per_px == pytest.approx(0.25, rel=1e-3) and "gauge block" in scale.rests_on
        room.held = next(k for k, m in enumerate(room.marks) if isinstance(m.mark.shape, Box))
        await press(app, pilot, "k")
        measured = next(
            r.body.mark for r in bench.inspection(four).of(Marked) if isinstance(r.body.mark.shape, Box)
        ).measured
        assert measured["unit"] == "mm²" and measured["value"] == pytest.approx(60 * 60 * 0.0625, rel=0.02)
        await press(app, pilot, "n", "delete")
        assert len(bench.inspection(four).of(Marked)) == 1
        # an outline that no copy shows
        await press(app, pilot, "d", "o")
        for place in ((20.0, 20.0), (120.0, 20.0), (70.0, 90.0)):
            picture.set_cross(place)
            await press(app, pilot, "enter")
        await press(app, pilot, "c", "h")
        assert len(bench.inspection(four).of(MaskDrawn)[0].body.shapes) == 1


async def test_the_view_turns_zooms_and_never_touches_the_record(
    bench: Bench, four: str, picture_file: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=3, place=Place("crown"))
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 34)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "3", "f5")
        picture = app.room_now().query_one("#picture", Picture)
        entries = bench.inspection(four).entries
        assert picture.view is not None
        fitted = picture.view
        await press(
            app, pilot, "plus", "plus", "g", "r", "R", "m", "e", "e", "right", "down", "ctrl+down", "1"
        )
        view = picture.view
        assert view.px == pytest.approx(2.0) and view.turn == 95 and view.mirror and picture.look.magnifier
        assert "turned 95" in shown(app, "#state") and "more contrast" in shown(app, "#state")
        await press(app, pilot, "o")
        assert not picture.look.marks and "as it came" in shown(app, "#state")
        await press(app, pilot, "r", "r", "r", "0")
        assert picture.view.px != fitted.px or picture.view.turn == 5
        assert bench.inspection(four).entries == entries
        await press(app, pilot, "a", "down", "enter", "n")
        places = {r.body.place for r in bench.inspection(four).of(Looked) if r.body.cylinder == 3}
        assert len(places) == 1


async def test_a_drag_draws_and_selects_no_text(bench: Bench, four: str, picture_file: Path) -> None:
    """Mouse twin of the keys: down, move, up make a box; a drag without a tool moves the view."""
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=3, place=Place("crown"))
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "3", "f5", "plus")
        picture = app.room_now().query_one("#picture", Picture)
        before = picture.view
        await pilot.mouse_down(picture, offset=(30, 10))
        await pilot.hover(picture, offset=(40, 14))
        await pilot.mouse_up(picture, offset=(40, 14))
        assert before is not None and picture.view is not None
        assert picture.view.cx == pytest.approx(before.cx - 10 * before.px, abs=1e-6)
        await press(app, pilot, "d", "b")
        corners = [picture.view.to_picture(x + 0.5, y + 0.5, picture.cells) for x, y in ((30, 10), (44, 15))]
        await pilot.mouse_down(picture, offset=(30, 10))
        await pilot.hover(picture, offset=(38, 12))
        await pilot.hover(picture, offset=(44, 15))
        await pilot.mouse_up(picture, offset=(44, 15))
        await press(app, pilot, "m")
        shape = bench.inspection(four).of(Marked)[0].body.mark.shape
        assert isinstance(shape, Box)
        assert (shape.x, shape.y) == pytest.approx(corners[0], abs=0.01)
        assert (shape.x + shape.width, shape.y + shape.height) == pytest.approx(corners[1], abs=0.01)
        assert not app.screen.selections


async def test_two_stills_are_laid_on_each_other_and_a_region_becomes_a_finding(
    bench: Bench, four: str, picture_file: Path, tmp_path: Path
) -> None:
    import numpy as np
    from PIL import Image

    pixels = np.asarray(Image.open(picture_file)).copy()
    rng = np.random.default_rng(5)
    texture = rng.integers(0, 90, (90, 160, 1), dtype=np.uint8).repeat(4, 0).repeat(4, 1)
    earlier = np.clip(pixels.astype(int) // 2 + texture, 0, 255).astype(np.uint8)
    later = earlier.copy()
    later[220:270, 120:190] = 20
    for name, image in (("one.png", earlier), ("two.png", later)):
        Image.fromarray(image).save(tmp_path / name)
    filing.add_pictures(
        bench,
        four,
        [str(tmp_path / "one.png"), str(tmp_path / "two.png")],
        cylinder=3,
        place=Place("crown"),
        sort_doubles=False,
    )
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "3", "f5")
        room: Any = app.room_now()
        later_sha = next(
            r.body.sha256 for r in bench.inspection(four).of(StillFiled) if r.body.name == "two.png"
        )
        room.take(later_sha)
        room.show()
        await settled(app, pilot)
        await press(app, pilot, "l", "enter")
        assert room.pair is not None and room.pair.accepted, message(app)
        assert room.suggestions and "suggestion 1 of" in shown(app, "#state")
        for way in ("wipe", "blink", "change map", "side by side"):
            await press(app, pilot, "i")
            assert way in shown(app, "#state")
            assert room.picture.render_lines(room.picture.size.region)
        other = room.query_one("#other", Picture)
        await press(app, pilot, "plus")
        assert other.view == room.picture.view
        n = len(room.suggestions)
        await press(app, pilot, "y", "type:heavy", "enter", "enter", "1", "3")
        found = [
            r.body
            for r in bench.inspection(four).of(Finding)
            if r.body.marks and r.body.marks[0].still == later_sha
        ]
        assert len(found) == 1 and found[0].method and len(room.suggestions) == n - 1


async def test_a_fresh_card_is_cut_into_cylinders_and_filed_as_accepted(bench: Bench, tmp_path: Path) -> None:
    """A folder without a cylinder is proposed cylinder by cylinder; a run is shifted; Enter files it; suggestions are proposals."""
    import os

    from borelog.acts.entering import open_inspection

    samples = Path(__file__).parents[2] / "sample_images"
    names = ["slate_cylinder_3", "exhaust_valve_burnt", "bore_scores", "bore_rust"]
    card = tmp_path / "card"
    card.mkdir()
    for k, name in enumerate(names):
        target = card / f"IMG_{k:04}.jpg"
        target.write_bytes((samples / f"{name}.jpg").read_bytes())
        os.utime(target, (1_700_000_000 + 60 * k, 1_700_000_000 + 60 * k))
    id_ = open_inspection(bench, "Card", facts={"layout": "inline 2"})
    app = Screens(bench, Settings(), id_)
    async with app.run_test(size=(110, 36)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f5", "t", f"type:{card}", "enter", "enter")
        page: Any = app.screen
        assert type(page).__name__ == "CardPage"
        text = "\n".join(said(line) for line in page.query_one("#groups").lines)
        assert "cylinder 1" in text and "stills" in text
        await press(app, pilot, "enter")
        filed = bench.inspection(id_).of(StillPlaced)
        assert len(filed) == 4 and any(r.body.cylinder is not None for r in filed), message(app)
        room: Any = app.room_now()
        burnt = next(
            r.body.sha256 for r in bench.inspection(id_).of(StillFiled) if r.body.name == "IMG_0002.jpg"
        )
        room.take(burnt)
        room.show()
        await settled(app, pilot)
        before = bench.inspection(id_).entries
        await press(app, pilot, "b")
        n = len(room.suggestions)
        assert n or "look" in message(app) or "not" in message(app)
        if n:
            await press(app, pilot, "q")
            assert len(room.suggestions) == n - 1
        assert bench.inspection(id_).entries == before
