"""Two stills of one place: beside each other, blinking, laid by four pairs, over the dates."""

from __future__ import annotations

import os
from pathlib import Path
from typing import cast

import pytest
from PIL import Image

from borelog.acts import filing
from borelog.acts.bench import Bench
from borelog.logbook.entries import Finding
from borelog.marks.places import Place
from borelog.tui.app import Screens
from borelog.tui.screens.stills_points import PointsPage
from borelog.tui.screens.stills_strip import StripPage
from tests.screens.walking import press, settled, shown

from .stills_walking import in_stills, saved, texture, until


async def test_two_stills_lie_beside_each_other_and_the_slider_moves_what_is_told(
    bench: Bench, four: str, pair: tuple[str, str]
) -> None:
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "full_stop", "l", "enter")
        assert room.pair is not None and room.pair.accepted
        other = room.query_one("#other")
        assert other.display and other.size.width > 20
        rows = other.render_lines(other.size.region)  # type: ignore[attr-defined]
        assert {row.cell_length for row in rows} == {other.size.width}
        # Linked: the same part of both.
        await press(app, pilot, "plus", "plus")
        assert other.view == room.picture.view  # type: ignore[attr-defined]
        assert room.picture.view is not None and room.picture.view.says() in shown(app, "#state")
        await press(app, pilot, "i", "i", "i")
        assert "threshold 3" in shown(app, "#state")
        at_three = len(room.suggestions)
        assert at_three >= 1
        await press(app, pilot, *["greater_than_sign"] * 12)
        assert "threshold 6" in shown(app, "#state") and len(room.suggestions) <= at_three
        await press(app, pilot, *["less_than_sign"] * 16)
        assert "threshold 2" in shown(app, "#state") and len(room.suggestions) >= at_three
        assert "threshold 2, laid by" in room.suggestions[0].method
        # n and a click take another suggestion in hand.
        assert room.suggest_at == 0
        if len(room.suggestions) > 1:
            await press(app, pilot, "n")
            assert room.suggest_at == 1
            room._take_mark_at(room.picture.at)
            assert room.suggest_at == 1
        # Thrown away: one key; what is left is not recorded.
        n = len(room.suggestions)
        await press(app, pilot, "q")
        assert len(room.suggestions) == n - 1
    assert not [f for f in bench.inspection(four).of(Finding) if f.body.method]


async def test_blink_stands_still_where_less_motion_is_asked_for(
    bench: Bench, four: str, pair: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "full_stop", "l", "enter")
        await press(app, pilot, "i", "i")
        assert room.blinks and room.blink is None and not room.blink_on
        await press(app, pilot, "enter")
        assert room.blink_on
    monkeypatch.delenv("TEXTUAL_ANIMATIONS")
    assert os.environ.get("TEXTUAL_ANIMATIONS") is None


async def test_four_pairs_by_key_and_mouse_lay_two_stills_on_each_other(
    bench: Bench, four: str, tmp_path: Path
) -> None:
    """Two pictures that share nothing to match: only a person can say how they lie."""
    for name, seed in (("one", 3), ("two", 4)):
        filing.add_pictures(
            bench, four, [saved(tmp_path / f"{name}.jpg", texture(seed))], cylinder=1, place=Place("crown")
        )
    app = Screens(bench, open_id=four)
    places = [(100.0, 100.0), (500.0, 90.0), (520.0, 400.0), (90.0, 380.0)]
    async with app.run_test(size=(120, 40)) as pilot:
        room = await in_stills(app, pilot, "full_stop", "4", "enter")
        await until(app, pilot, lambda: isinstance(app.screen, PointsPage))
        page = cast(PointsPage, app.screen)
        await press(app, pilot, "c")
        assert isinstance(app.screen, PointsPage), "too few pairs are refused"
        for k, place in enumerate(places):
            for side, shift in ((0, 0.0), (1, 12.0)):
                picture = page.pictures[side]
                assert page.hand is picture
                spot = (place[0] + shift, place[1])
                if k == 0:
                    assert picture.view is not None
                    column, row = picture.view.to_cells(*spot, picture.cells)
                    await pilot.click(picture, offset=(int(column), int(row)))
                    await settled(app, pilot)
                    page.points[side][-1] = spot
                else:
                    picture.set_cross(spot)
                    await press(app, pilot, "enter")
        await press(app, pilot, "enter", "backspace", "c")
        await until(app, pilot, lambda: room.pair is not None)
        assert room.pair is not None and room.pair.found.alignment.method == "points"
        matrix = room.pair.found.alignment.homography
        assert abs(matrix[0, 2] + 12) < 0.5 and abs(matrix[0, 0] - 1) < 0.01


async def test_one_place_over_its_dates(
    bench: Bench, four: str, pair: tuple[str, str], tmp_path: Path
) -> None:
    app = Screens(bench, open_id=four)
    async with app.run_test(size=(100, 30)) as pilot:
        await in_stills(app, pilot, "z")
        await until(app, pilot, lambda: isinstance(app.screen, StripPage))
        page = cast(StripPage, app.screen)
        assert page.source.size[0] > 1200
        await press(app, pilot, "plus", "right", "w")
        page_now = app.screen
        field = page_now.query_one("#field-path")
        field.value = str(tmp_path / "dates.png")  # type: ignore[attr-defined]
        await press(app, pilot, "enter")
        await settled(app, pilot)
    with Image.open(tmp_path / "dates.png") as strip:
        assert strip.width > 1200
