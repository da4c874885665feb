"""From an entry or a test to the screen that shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from borelog.tui.app import Screens


def to_entry(app: Screens, entry: str) -> None:
    """Go to the reading or still that an entry is, or rests on."""
    from borelog.logbook.entries import (
        CallTaken,
        Codes,
        Facts,
        Finding,
        Marked,
        Note,
        Prices,
        StillFiled,
        StillPlaced,
        Told,
        Truth,
    )

    thing = app.desk.inspection.find(entry) if app.desk.inspection else None
    if thing is None:
        app.room_now().say("that entry no longer stands", "watch")
        return
    body = thing.body
    app.desk.pick(getattr(body, "cylinder", None) or app.desk.cylinder)
    still = ""
    if isinstance(body, Finding) and body.marks:
        still = body.marks[0].still
    elif isinstance(body, StillFiled):
        still = body.sha256
    elif isinstance(body, StillPlaced):
        still = body.still
    elif isinstance(body, Marked):
        still = body.mark.still
    if still:
        app.go("stills", wanted=still)
    elif isinstance(body, Facts):
        app.go("facts")
    elif isinstance(body, CallTaken | Truth | Prices):
        from borelog.tui.screens.reading_page import Page
        from borelog.tui.views.standing_calls import entry_lines

        app.push_screen(Page("As it was written", lambda room: entry_lines(thing, room)))
    elif isinstance(body, Finding | Note | Told | Codes):
        # These have no cell: the cylinder's sheet shows them, and the words are said.
        from borelog.acts.words import body_words

        app.go("plan")
        app.room_now().say(body_words(body, 300))
    else:
        app.go("readings", goal=thing.id)


def to_test(app: Screens, test: str, cylinder: int | None) -> None:
    """Go to a test in the readings."""
    app.desk.pick(cylinder or app.desk.cylinder)
    app.go("readings", goal=f"{'test' if cylinder else 'blank'} {test}")


def to_blank(app: Screens, cylinder: int | None) -> None:
    """Go to the next reading that is not noted, of one cylinder where it is named."""
    app.desk.pick(cylinder or app.desk.cylinder)
    app.go("readings", goal="blank")
