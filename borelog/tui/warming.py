"""What is loaded and made while nobody waits for it, so that a key finds everything there."""

from __future__ import annotations

import gc
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from borelog.tui.app import Screens

WARM_AFTER = 0.3
"""Seconds after the first paint at which this begins."""
READY = ("plan", "readings", "verdict", "facts", "pack")
"""Screens made before they are wanted, in this order; the pictures' own is left until it is."""
READY_EVERY = 0.12
"""Seconds between them."""


WITH_PICTURES = ("borelog.tui.frames", "borelog.stills.intake", "cv2")
"""What the screens with pictures paint with, and import only when they do."""
LOADED: set[str] = set()
"""Screens whose modules are imported: showing one of the others begins on a thread, the import may take half a second."""


def load(where: str) -> None:
    """Import a screen and what it paints with; for a thread of its own."""
    import_module(f"borelog.tui.screens.{where}")
    for name in WITH_PICTURES if where == "stills" else ():
        import_module(name)
    LOADED.add(where)


def load_the_rest(app: Screens) -> None:
    """Import what the other screens need; runs on a thread of its own."""
    import_module("borelog.acts.judging")
    app.call_from_thread(app.warmed)
    for name in ("plan", "readings", "facts", "verdict", "stills", "pack", "find"):
        load(name)
    app.call_from_thread(make_ready, app, READY)


def make_ready(app: Screens, names: tuple[str, ...]) -> None:
    """Make one screen after another while nobody presses a key, so that it only needs painting when it is wanted.

    ``_get_screen`` is a private name of the library (it mounts without showing); where it moves, screens are made when
    they are first shown.
    """
    mounted = getattr(app, "_get_screen", None)
    if not names or mounted is None:
        return
    if len(names) == 1 and not app.is_headless:
        spare_the_collector()
    rest = names
    if not app.keys_waiting and not app.desk.busy:
        if names[0] not in app.rooms:
            mounted(app.room(names[0]))
        rest = names[1:]
    app.set_timer(READY_EVERY, lambda: make_ready(app, rest))


def spare_the_collector() -> None:
    """What is loaded now stays for good: the collector need not go through it again, which held keys up by 50 to 100 ms."""
    gc.freeze()
    gc.set_threshold(5_000, 20, 20)
