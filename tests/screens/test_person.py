"""Who is at the bench: a quiet hint while nobody is named, a key that names them, and entries that carry the name."""

from __future__ import annotations

import threading
from pathlib import Path

from borelog.acts import entering
from borelog.acts.bench import NOT_NAMED, open_bench
from borelog.logbook.entries import Note
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings
from borelog.tui.painted import Painted
from borelog.tui.views.words import said

from .walking import message, press, settled, shown


async def test_a_name_is_asked_for_and_stands_from_then_on(tmp_path: Path) -> None:
    bench = open_bench(tmp_path / "logbook", who=NOT_NAMED)
    id_ = entering.open_inspection(bench, "Grey van", facts={"layout": "inline 4"})
    app = Screens(bench, Settings(), id_)
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(app, pilot)
        assert "who? ^E" in shown(app, "#title")
        await press(app, pilot, "f12")
        page = "\n".join(said(line) for line in app.screen.query_one("#page", Painted).lines)
        assert NOT_NAMED in page and "^E names who is at the bench" in " ".join(page.split())
        await press(app, pilot, "escape", "ctrl+e", "type:  ", "enter")
        assert app.desk.bench.who == NOT_NAMED, "a blank is no name"
        gate = threading.Event()
        app.desk.do(gate.wait)
        await pilot.press("escape")
        app.room_now().action_act("looked_nothing")
        await pilot.press("ctrl+e", *"Ann", "enter")
        gate.set()
        await settled(app, pilot)
        assert message(app).startswith("from now on entered by Ann") or "looked at" in message(app)
        assert "who?" not in shown(app, "#title")
        await press(app, pilot, "w", "1", "type:by hand", "ctrl+s")
    stored = bench.journal.entries(id_)
    by = {type(s.body).__name__: s.entry.who for s in stored}
    assert by["Note"] == "Ann" and [s.body.text for s in stored if isinstance(s.body, Note)] == ["by hand"]
    assert by["Looked"] == NOT_NAMED, (
        "what was entered before the name was given keeps the one it was entered under"
    )
    bench.journal.close()


async def test_a_named_person_is_not_asked(tmp_path: Path) -> None:
    bench = open_bench(tmp_path / "logbook", who="Ann")
    app = Screens(bench, Settings())
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(app, pilot)
        assert "who?" not in shown(app, "#title")
        await press(app, pilot, "ctrl+e")
        field = app.screen.query_one("#field-who")
        assert field.value == "Ann"  # type: ignore[attr-defined]
    bench.journal.close()
