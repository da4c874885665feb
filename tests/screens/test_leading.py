"""From every sentence one key leads on: to the reading or still it rests on, to the blank it speaks of, to a price."""

from __future__ import annotations

from typing import Any

from borelog.acts.bench import Bench
from borelog.acts.judging import verdict_on
from borelog.knowledge import tables
from borelog.logbook.entries import Reading
from borelog.tui.app import Screens
from borelog.tui.grid import GridView
from borelog.tui.keymap import Settings
from borelog.tui.views import readings as grid_view
from borelog.tui.views import saying, verdict
from borelog.tui.views.stepping import test_rows as rows_for
from borelog.tui.views.words import said

from .walking import message, press, settled


def test_every_sentence_of_the_verdict_leads_on(bench: Bench, four: str) -> None:
    """All but what is said of the method itself; and what it names is really in the record."""
    inspection = bench.inspection(four)
    judged = verdict_on(bench, inspection).verdict
    seen = 0
    for cylinder in (1, 2, 3, 4):
        for s in verdict.sentences(inspection, judged, cylinder, 110):
            words = " ".join(said(line) for line in s.lines)
            if verdict.is_title(s) or s.aside:
                continue
            seen += 1
            assert s.leads, words
            assert all(inspection.find(e) is not None for e in s.entries), words
    assert seen > 40


def test_what_is_said_of_the_method_is_little_and_says_so(bench: Bench, four: str) -> None:
    inspection = bench.inspection(four)
    judged = verdict_on(bench, inspection).verdict
    aside = [s for s in verdict.sentences(inspection, judged, 3, 110) if s.aside]
    texts = [" ".join(" ".join(said(line) for line in s.lines).split()) for s in aside]
    allowed = {" ".join(t.split()) for t in judged.limits} | {judged.money.caution if judged.money else ""}
    for text in texts:
        assert text in allowed or "1 in 10 worse" in text or "no call taken yet" in text, text
    assert all(verdict.lead_words(s).startswith("this is said of the method") for s in aside)


def test_every_next_test_has_a_row_to_be_entered_in(bench: Bench, four: str) -> None:
    """A next test that cannot be entered would be advice without a place for its answer."""
    inspection = bench.inspection(four)
    grid = grid_view.build(inspection, (1, 2, 3, 4), frozenset(), {})
    there = {r.test for r in grid.rows if r.kind in ("reading", "question")}
    for row in tables.rows("next_tests.csv", "id"):
        if row["id"] != "price_first":
            assert set(rows_for(row["id"])) & there, row["id"]


async def test_one_key_from_any_sentence(bench: Bench, four: str) -> None:
    """Enter on every sentence of one cylinder: another screen, a question, or plain words; never nothing."""
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(118, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "3", "f6")
        await settled(app, pilot, verdict=True)
        room: Any = app.room_now()
        kinds: set[tuple[str, str]] = set()
        for k, s in enumerate(list(room.sentences)):
            kind = (s.part, "test" if s.test else f"{min(len(s.entries), 2)}{s.ask}{s.cylinder is not None}")
            if verdict.is_title(s) or kind in kinds:
                continue
            kinds.add(kind)
            page = room.query_one("#page")
            page.move(k - page.index)
            await press(app, pilot, "enter")
            moved = app.screen is not room
            assert moved or "said of the method" in message(app), said(s.lines[0])
            while app.screen is not app.room_now():
                await press(app, pilot, "ctrl+o")
            await press(app, pilot, "f6")
        assert len(kinds) > 5


async def test_what_the_readings_say_leads_to_the_reading(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(118, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "3", "f4")
        step = "\n".join(said(line) for line in app.room_now().query_one("#step").lines)  # type: ignore[attr-defined]
        assert "cylinder 3 alone is low" in step or ("3" in step and "^S" in step), step
        found = saying.sayings(bench.inspection(four))
        assert any(r.kind == "pattern" for r in found)
        await press(app, pilot, "ctrl+s")
        page: Any = app.screen
        lines = [" ".join(said(line) for line in entry) for entry, *_ in page.sentences_for(96)]
        assert any("alone is low" in text for text in lines), lines
        index = next(k for k, e in enumerate(page.entries) if len(e) == 1)
        entry = page.entries[index][0]
        page.query_one("#page").move(index - page.query_one("#page").index)
        await press(app, pilot, "enter")
        grid = app.room_now().query_one(GridView)
        thing = bench.inspection(four).find(entry)
        assert thing is not None
        assert grid.cell.entry == entry if isinstance(thing.body, Reading) else app.room_now().where


async def test_a_leak_down_says_how_far_to_turn(bench: Bench, four: str) -> None:
    """Firing order 1-3-4-2: from cylinder 1, done last, cylinder 2 is 540 degrees on; 3 comes first, but is done."""
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(118, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f4")
        grid = app.room_now().query_one(GridView)
        grid.go_to("leakdown", 2)
        await settled(app, pilot)
        step = " ".join(" ".join(said(line) for line in app.room_now().query_one("#step").lines).split())  # type: ignore[attr-defined]
        assert "540° on from cylinder 1" in step and "cylinder 4 comes first, after 360°" in step, step
