"""Driving the screens: wait until they rest, press keys, read what is said."""

from __future__ import annotations

import asyncio
import time
from typing import Any

from textual.pilot import Pilot

from borelog.tui.app import Screens
from borelog.tui.painted import Bar
from borelog.tui.views.words import said

PATIENCE = 120.0
"""Seconds after which something must be wrong; a loaded machine is slow, not broken."""


async def settled(app: Screens, pilot: Pilot[Any], verdict: bool = False) -> None:
    """Wait until every act and every worker has ended; for the verdict only where the test looks at it."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        await pilot.pause()
        waits = [
            w
            for w in app.workers
            if not w.is_finished and w.group not in ("watch", "warm") and (verdict or w.group != "verdict")
        ]
        if (
            not app.keys_waiting
            and not app.desk.busy
            and not waits
            and not (verdict and (app.desk.verdict is None or app._judge_timer is not None))
        ):
            await pilot.pause()
            return
        await asyncio.sleep(0.002)
    raise AssertionError("the screens did not come to rest")


async def press(app: Screens, pilot: Pilot[Any], *keys: str) -> None:
    """Press keys one by one; 'abc def' types those characters."""
    for key in keys:
        if key.startswith("type:"):
            for char in key[5:]:
                await pilot.press(
                    {
                        " ": "space",
                        ",": "comma",
                        "/": "slash",
                        "~": "tilde",
                        ".": "full_stop",
                        "-": "minus",
                    }.get(char, char)
                )
        else:
            await pilot.press(key)
    await settled(app, pilot)


def message(app: Screens) -> str:
    return app.room_now().message_words


def shown(app: Screens, wanted: str) -> str:
    return "\n".join(said(line) for line in app.room_now().query_one(wanted, Bar).lines)
