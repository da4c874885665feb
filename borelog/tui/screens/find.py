"""Find anything by its words."""

from __future__ import annotations

from typing import Any

from borelog.tui.ask import Choose
from borelog.tui.views.find import Target, candidates


def find_page(app: Any) -> Choose:
    """The page for what is on the desk now."""
    room, desk = app.room_now(), app.desk
    rows = getattr(app.rooms.get("logbook"), "rows", None) or []
    found = candidates(room.where, app.keys, desk.inspection, desk.cylinders, rows)
    return Choose(
        "Find",
        found,
        words="Type a few letters: an action, an inspection, a cylinder, a finding, a still, a test.",
        typing=True,
    )


def follow(app: Any, target: Target | None) -> None:
    """Go where a hit leads."""
    if target is None:
        return
    kind, value = target
    if kind == "action":
        app.room_now().action_act(value)
    elif kind == "inspection":
        app.open_inspection(value)
    elif kind == "cylinder":
        app.desk.pick(value)
        app.room_now().show()
    elif kind == "test":
        app.show_test(value, None)
    else:
        app.show_entry(value)
