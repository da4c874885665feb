"""The call: every course that a command takes is offered on the screen, from one table."""

from __future__ import annotations

from borelog.acts.bench import Bench
from borelog.acts.judging import COURSES
from borelog.knowledge.faults import CALLS
from borelog.logbook.entries import CallTaken
from borelog.tui.app import Screens
from borelog.tui.ask import Choose
from borelog.tui.keymap import Settings
from borelog.verdict.calls import CALL_WORDS
from borelog.verdict.money.settings import shipped

from .walking import message, press, settled


def test_every_course_with_a_price_and_every_usual_call_may_be_taken() -> None:
    assert {c.id for c in shipped().courses} | set(CALLS) == set(COURSES) == set(CALL_WORDS)


async def test_the_screen_offers_all_courses_each_by_a_key(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 36)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "f6")
        await settled(app, pilot, verdict=True)
        await press(app, pilot, "d")
        asked = app.screen
        assert isinstance(asked, Choose)
        keys = {answer: key for answer, _, key in asked.options}
        assert tuple(keys) == COURSES and len(set(keys.values())) == len(COURSES) and all(keys.values())
        await press(app, pilot, keys["scrap"], "enter")
        assert "call taken: scrap it" in message(app)
        call = bench.inspection(four).of(CallTaken)[-1].body
        assert (call.course, call.words) == ("scrap", "scrap it")


async def test_a_hint_never_takes_the_place_of_what_must_be_known(bench: Bench, four: str) -> None:
    """The verdict may come while a fault is being said: its first sentence is in hand then, the fault stays said."""
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(app, pilot)
        app.desk.verdict = None
        await press(app, pilot, "f6")
        app.room_now().say("the firing order leaves out cylinder 4", "bad")
        app.judge()
        await settled(app, pilot, verdict=True)
        await settled(app, pilot)
        assert app.room_now().query_one("#page").index > 0  # type: ignore[attr-defined]
        assert message(app) == "the firing order leaves out cylinder 4"
