"""Digits on the cylinder plan: one names a cylinder, two in quick succession one of two digits."""

from __future__ import annotations

from typing import cast

from borelog.acts.bench import Bench
from borelog.acts.entering import open_inspection
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings
from borelog.tui.screens.plan import PlanRoom

from .walking import press, settled


async def test_two_digits_are_one_number_only_when_they_follow_at_once(bench: Bench) -> None:
    id_ = open_inspection(bench, "Twelve", facts={"layout": "V12"})
    app = Screens(bench, Settings(), id_)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        room = cast(PlanRoom, app.room_now())
        await press(app, pilot, "1")
        assert app.desk.cylinder == 1
        room._digit_at -= 60  # a minute later
        await press(app, pilot, "2")
        assert app.desk.cylinder == 2
        room._digit_at -= 60
        await press(app, pilot, "1")
        room._digit_at += 60  # however slow this machine is just now
        await press(app, pilot, "2")
        assert app.desk.cylinder == 12
        room._digit_at -= 60
        await press(app, pilot, "0")
        assert app.desk.cylinder == 12
