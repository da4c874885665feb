"""Made ahead of need: the library's private door through which a screen is mounted unseen is still there, and is used."""

from __future__ import annotations

import asyncio

from textual.app import App

from borelog.acts.bench import Bench
from borelog.tui import warming
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings

from .walking import settled


def test_the_private_name_that_mounts_a_screen_unseen_stands() -> None:
    """``_get_screen`` is no promise of the library: where it moves, screens are made late, and this tells of it."""
    assert callable(getattr(App, "_get_screen", None))


async def test_screens_are_made_while_nobody_presses_a_key(bench: Bench, four: str) -> None:
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(app, pilot)
        warming.make_ready(app, warming.READY)
        for _ in range(3000):
            await pilot.pause()
            if all(where in app.rooms and app.rooms[where].is_mounted for where in warming.READY):
                break
            await asyncio.sleep(0.01)
        assert all(app.rooms[where].is_mounted for where in warming.READY)
        assert app.room_now().where == "plan", "made, not shown"
