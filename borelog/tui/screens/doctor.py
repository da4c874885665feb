"""What this terminal and logbook can do; press keys to see what arrives."""

from __future__ import annotations

import os
import platform
import sqlite3
from importlib import metadata

from textual import events
from textual.app import ComposeResult
from textual.containers import Vertical

from borelog import __version__
from borelog.acts.bench import NOT_NAMED, unsaved_lines
from borelog.text import one_line
from borelog.tui.actions import EVERYWHERE, key_of
from borelog.tui.ask import Question
from borelog.tui.painted import Bar, Painted
from borelog.tui.views.doctoring import doctor_lines, terminal_facts
from borelog.tui.views.words import Span, pieces


class DoctorPage(Question):
    """A page to read and to press keys on."""

    DEFAULT_CSS = """
    DoctorPage > Vertical { width: 92; height: 92%; }
    DoctorPage #page { height: 1fr; max-height: 100%; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.last_key = ""

    def compose(self) -> ComposeResult:
        """The page and how to leave it."""
        with Vertical():
            yield Painted(id="page")
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Fill it."""
        self.query_one("#page").focus()
        self.show()

    def on_resize(self) -> None:
        """Fold anew."""
        self.call_after_refresh(self.show)

    def show(self) -> None:
        """The lines for this width."""
        app, page = self.screens, self.query_one("#page", Painted)
        room = max(30, page.size.width - 1)
        facts = terminal_facts(
            os.environ, (app.size.width, app.size.height), app.cell_pixels, app.color_depth
        )
        journal = app.desk.bench.journal
        unnamed = f"entries say so: {key_of(app.keys, EVERYWHERE, 'person')} names who is at the bench"
        logbook = [
            ("logbook", one_line(str(journal.folder)), "open for reading only" if journal.read_only else ""),
            ("person", one_line(who := app.desk.bench.who), unnamed if who == NOT_NAMED else ""),
            (
                "program",
                f"borelog {__version__}, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}",
                "",
            ),
            ("screens", f"textual {metadata.version('textual')}", ""),
        ]
        told = [*journal.warnings, *(unsaved_lines(app.desk.bench) if journal.unsaved else ())]
        page.set_lines(doctor_lines(facts, logbook, self.last_key, app.letters, room, told))
        self.query_one("#how", Bar).set_lines(
            (Span(pieces("Esc or ^O goes back · 'borelog doctor' checks the logbook itself", room), "quiet"),)
        )

    def on_key(self, event: events.Key) -> None:
        """Show what arrived."""
        if event.key not in ("escape", "ctrl+o"):
            shown = (
                f", the character {event.character!r}"
                if event.character and event.character.isprintable()
                else ""
            )
            self.last_key = f"{event.key}{shown}"
            self.show()
            if event.key not in ("up", "down", "pageup", "pagedown"):
                event.stop()
                event.prevent_default()
