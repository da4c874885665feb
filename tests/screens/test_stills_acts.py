"""The stills screen by keys and mouse: traced outlines, four pairs, the slider, dates in a strip, probes, places, a card."""

from __future__ import annotations

import os
import threading
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
import pytest
from textual import events
from textual.geometry import Size

from borelog.acts import filing, scales
from borelog.acts.bench import Bench
from borelog.logbook.entries import Marked, Probe, Scaled, StillPlaced
from borelog.marks.places import Place
from borelog.marks.shapes import Freehand, Polygon
from borelog.tui.app import Screens
from borelog.tui.painted import Painted
from borelog.tui.screens.card import CardPage
from borelog.tui.thumbs import Thumbs
from borelog.tui.views.words import said
from tests.screens.walking import message, press, settled, shown

from .stills_walking import in_stills, saved, texture, until


async def test_a_traced_outline_snaps_to_the_edge_and_becomes_a_mark(
    bench: Bench, four: str, picture_file: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "d", "t")
        # Rough clicks near the corners of the bright square at (400, 100) to (460, 160).
        for x, y in ((398, 103), (457, 98), (463, 157), (402, 162)):
            room.picture.set_cross((x, y))
            await press(app, pilot, "enter")
        await press(app, pilot, "c")
        await until(app, pilot, lambda: app.screen is not room)
        await press(app, pilot, "m")
    marks = [r.body.mark.shape for r in bench.inspection(four).of(Marked)]
    assert len(marks) == 1 and isinstance(marks[0], Freehand) and marks[0].closed
    inside = np.zeros((360, 640), np.uint8)
    cv2.fillPoly(inside, [np.round(np.array(marks[0].points)).astype(np.int32)], 1)
    truth = np.zeros_like(inside)
    truth[100:160, 400:460] = 1
    assert (inside & truth).sum() / (inside | truth).sum() > 0.9


async def test_a_tap_outlines_a_piece_that_stands_out(bench: Bench, four: str, picture_file: Path) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "d", "p")
        room.picture.set_cross((430, 130))
        await press(app, pilot, "enter")
        await until(app, pilot, lambda: app.screen is not room)
        await press(app, pilot, "m")
    shape = bench.inspection(four).of(Marked)[0].body.mark.shape
    assert isinstance(shape, Polygon)
    assert abs(cv2.contourArea(np.array(shape.points, np.float32)) - 3600) < 500


async def test_a_probe_is_noted_once_and_its_stills_stand_upright(
    bench: Bench, four: str, pair: tuple[str, str]
) -> None:
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot)
        for step in (("p", "n"), ("type:side", "enter"), ("type:yes", "enter"), ("type:90", "enter"), ("a",)):
            await press(app, pilot, *step)
        await settled(app, pilot)
        assert room.picture.view is not None
        assert room.picture.view.mirror and room.picture.view.turn == 270
        # As it came: no turn, no mirror; again: upright.
        await press(app, pilot, "o")
        assert not room.picture.view.mirror and room.picture.view.turn == 0
        await press(app, pilot, "o")
        assert room.picture.view.mirror
        assert "probe side" in shown(app, "#state")
    inspection = bench.inspection(four)
    assert inspection.of(Probe)[0].body == Probe("side", True, 90.0)
    assert {(r.body.probe, r.body.mirror, r.body.roll) for r in inspection.of(StillPlaced)} == {
        ("side", True, 90.0)
    }


async def test_places_are_proposed_and_filed_by_one_key(bench: Bench, four: str, tmp_path: Path) -> None:
    known = texture(7)
    filing.add_pictures(bench, four, [saved(tmp_path / "k.jpg", known)], cylinder=1, place=Place("crown"))
    like = np.roll(known, 30, 1)
    filing.add_pictures(bench, four, [saved(tmp_path / "l.jpg", like)], cylinder=2)
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(100, 30)) as pilot:
        await in_stills(app, pilot, "right_square_bracket", "j")
        await settled(app, pilot)
        assert "piston crown" in shown(app, "#state")
        await press(app, pilot, "y")
        assert "filed: cylinder 2, piston crown" in message(app)
    placed = bench.inspection(four).of(StillPlaced)[-1].body
    assert (placed.cylinder, placed.place) == (2, Place("crown"))


async def test_a_card_is_shifted_by_one_key_and_a_still_taken_out(
    bench: Bench, four: str, tmp_path: Path
) -> None:
    card = tmp_path / "card"
    card.mkdir()
    start = 1_700_000_000.0
    for k in range(8):
        start += 200 if k % 2 == 0 else 5
        saved(card / f"IMG{k:04d}.JPG", texture(20 + k, 320, 240))
        os.utime(card / f"IMG{k:04d}.JPG", (start, start))
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        await in_stills(app, pilot)
        await press(app, pilot, "t", f"type:{card}", "enter", "enter")
        await until(app, pilot, lambda: isinstance(app.screen, CardPage))
        page = cast(CardPage, app.screen)
        assert [g.cylinder for g in page.card.proposal.groups] == [1, 2, 3, 4]
        await until(app, pilot, lambda: not page.query_one(Thumbs).missing())
        await press(app, pilot, "down", "right")
        assert [g.cylinder for g in page.card.proposal.groups] == [1, 3, 4, None]
        await press(app, pilot, "left", "full_stop", "x")
        assert [len(g.stills) for g in page.card.proposal.groups] == [2, 1, 2, 2]
        await press(app, pilot, "enter")
        await settled(app, pilot)
        assert "8 taken in" in message(app)
    placed = [r.body.cylinder for r in bench.inspection(four).of(StillPlaced)]
    assert sorted(placed, key=str) == [1, 1, 2, 3, 3, 4, 4, None]


async def test_scale_by_a_circle_and_share_of_another_outline(
    bench: Bench, four: str, picture_file: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot)
        for tool, a, b in (("e", (100, 60), (300, 260)), ("b", (150, 110), (250, 160))):
            await press(app, pilot, "d", tool)
            for place in (a, b):
                room.picture.set_cross(place)
                await press(app, pilot, "enter")
            await press(app, pilot, "m")
        await press(app, pilot, "n", "k", "s", "type:80", "enter", "type:bore", "enter")
        await settled(app, pilot)
        assert "0.4 mm per px" in message(app)
        await press(app, pilot, "n", "k", "down", "enter")
        assert "share of crown" not in message(app) and "%" in message(app)
        await press(app, pilot, "k", "m")
        assert "mm²" in message(app)
    inspection = bench.inspection(four)
    scaled = inspection.of(Scaled)[0].body
    assert abs(scaled.mm_per_px - 0.4) < 1e-3 and len(scaled.matrix) == 9
    scale = scales.scale_of(inspection, scaled.still)
    assert scale is not None and not scale.flat
    measured = [m.body.mark.measured for m in inspection.of(Marked)][-1]
    assert measured["unit"] == "mm²" and abs(float(cast(float, measured["value"])) - 5000 * 0.16) < 2


async def test_filing_takes_the_next_still_without_a_place_and_never_files_one_twice(
    bench: Bench, four: str, tmp_path: Path
) -> None:
    files = [saved(tmp_path / f"s{n}.jpg", texture(50 + n)) for n in range(3)]
    filing.add_pictures(bench, four, files, cylinder=2)
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(100, 30)) as pilot:
        room = await in_stills(app, pilot, "right_square_bracket")
        seen = []
        for words in ("crown", "exhaust v", "chamber"):
            assert room.still is not None and room.still.place is None
            seen.append(room.still.name)
            # Enter keeps it under the cylinder it stands under.
            await press(app, pilot, "f", "enter")
            await press(app, pilot, f"type:{words}", "enter")
        assert sorted(seen) == ["s0.jpg", "s1.jpg", "s2.jpg"]
        # Filed anew, it stays in hand.
        last = room.still.sha256 if room.still else ""
        await press(app, pilot, "f", "enter")
        await press(app, pilot, "type:crown", "enter")
        assert room.still is not None and room.still.sha256 == last
    places = [r.body.place.view for r in bench.inspection(four).of(StillPlaced) if r.body.place]
    assert sorted(places) == ["chamber", "crown", "crown"] or sorted(places) == [
        "crown",
        "crown",
        "exhaust_valve",
    ]
    assert {r.body.cylinder for r in bench.inspection(four).of(StillPlaced)} == {2}


async def test_a_question_over_a_picture_costs_little_and_escape_ends_comparing_first(
    bench: Bench, four: str, pair: tuple[str, str]
) -> None:
    """Behind a question every segment is tinted by itself: the picture must then be few segments, not one a cell."""
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(160, 50)) as pilot:
        room = await in_stills(app, pilot, "full_stop", "d")
        assert app.screen is not room
        rows = room.picture.render_lines(room.picture.size.region)
        assert len(rows) == room.picture.size.height
        assert sum(len(list(row)) for row in rows) < room.picture.size.width * len(rows) / 6
        assert {row.cell_length for row in rows} == {room.picture.size.width}
        await press(app, pilot, "escape")
        whole = room.picture.render_lines(room.picture.size.region)
        assert sum(len(list(row)) for row in whole) > sum(len(list(row)) for row in rows)
        await press(app, pilot, "l", "enter")
        assert room.pair is not None
        await press(app, pilot, "escape")
        assert room.pair is None and app.room_now() is room
        await press(app, pilot, "escape")
        assert app.room_now() is not room


async def test_a_copy_with_marks_is_written_by_a_key(
    bench: Bench, four: str, picture_file: Path, tmp_path: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(100, 30)) as pilot:
        await in_stills(app, pilot, "2")
        app.screen.query_one("#field-path").value = str(tmp_path / "c.png")  # type: ignore[attr-defined]
        await press(app, pilot, "enter")
        assert "written" in message(app)
    assert (tmp_path / "c.png").stat().st_size > 10_000


async def test_a_cell_size_that_is_told_late_puts_shape_and_scale_right(
    bench: Bench, four: str, picture_file: Path
) -> None:
    """Without a report cells count as twice as high as wide; a report of 9 x 20 pixels makes them 2.22 times."""
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1, place=Place("crown"))
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(100, 30)) as pilot:
        room = await in_stills(app, pilot)
        assert room.picture.view is not None and room.picture.view.tall == 2.0
        app.post_message(events.Resize(app.size, app.size, pixel_size=Size(900, 600)))
        await until(app, pilot, lambda: app.cell_pixels is not None)
        await until(app, pilot, lambda: room.picture.view is not None and room.picture.view.tall != 2.0)
        await settled(app, pilot)
        view = room.picture.view
        assert view.tall == pytest.approx(20 / 9) and view.says() in shown(app, "#state")
        # A square of the picture is a square of the screen: 9 x 20 pixels a cell.
        (x0, y0), (x1, y1) = (view.to_cells(*p, room.picture.cells) for p in ((100, 100), (200, 200)))
        assert (x1 - x0) * 9 == pytest.approx((y1 - y0) * 20)


async def test_a_picture_of_the_gauge_is_tied_to_its_reading(
    bench: Bench, four: str, picture_file: Path
) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=3)
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "right_square_bracket", "right_square_bracket")
        await press(app, pilot, "3", "enter")
        assert "tied to the reading" in message(app)
        tied = bench.inspection(four).of(StillPlaced)[-1].body.reading
        thing = bench.inspection(four).find(tied)
        assert thing is not None and thing.body.cylinder == 3
        beside = "\n".join(said(line) for line in room.query_one("#beside", Painted).lines)
        assert "picture of: " in " ".join(beside.split())
        await press(app, pilot, "exclamation_mark")
        assert "nothing found" in message(app)


async def test_a_fault_beside_the_screen_is_told_of(
    bench: Bench, four: str, pair: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a thread ends in what nobody foresaw, 'laying them on each other ...' does not stay for ever."""

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("no such corner")

    monkeypatch.setattr("borelog.stills.compare.compare", broken)
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "full_stop", "l", "enter")
        await until(app, pilot, lambda: "fault" in room.message_words)
        assert "RuntimeError: no such corner" in room.message_words


async def test_a_probe_may_be_called_anything(bench: Bench, four: str, pair: tuple[str, str]) -> None:
    """A probe called 'lens' is a probe, not the way to calibrate one."""
    scales.note_probe(bench, four, "lens", mirror=True, roll=0.0)
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot)
        room.act_probe()
        await settled(app, pilot)
        await press(app, pilot, "enter", "t")
        await until(app, pilot, lambda: room.probe == "lens")
        inspection = bench.inspection(four)
        assert any(r.body.probe == "lens" for r in inspection.of(StillPlaced))


async def test_a_watch_that_ends_by_itself_is_no_longer_shown(
    bench: Bench, four: str, tmp_path: Path
) -> None:
    """The folder goes between being named and being watched, as a card pulled out of its reader does."""
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot)
        room.watching = threading.Event()
        room._watch(app.desk.at, tmp_path / "gone", room.watching)
        await until(app, pilot, lambda: room.watching is None)
        assert "no folder" in message(app)
        assert "watching" not in shown(app, "#state")


async def test_leaving_is_asked_twice_while_pictures_come_in_and_not_after_a_fault(
    bench: Bench, four: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    inside, go_on = threading.Event(), threading.Event()

    def broken(*_: Any, **__: Any) -> None:
        inside.set()
        go_on.wait(20)
        raise RuntimeError("reader pulled out")

    monkeypatch.setattr("borelog.acts.filing.add_pictures", broken)
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot)
        room._take(app.desk.at, str(tmp_path), 1)
        await until(app, pilot, inside.is_set)
        app.act_quit()
        assert "still being written" in message(app)
        go_on.set()
        await until(app, pilot, lambda: "reader pulled out" in message(app))
        assert not app.long_jobs
