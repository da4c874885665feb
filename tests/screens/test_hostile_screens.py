"""The real screens over a record full of text that wants to be something else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from textual.widget import Widget

from borelog.acts import entering, filing
from borelog.acts.bench import Bench
from borelog.logbook import entries as e
from borelog.marks.places import Place
from borelog.marks.shapes import Box
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings

from .walking import press, settled

TEXTS = (
    "[/] [bold]x[/bold] [@click=app.quit]y[/]",
    "\x1b]52;c;eA==\x07\x1b[2J",
    "\u202eabc 🔧🔧 e\u0301 שלום " * 6,
    "x" * 10_000,
)


def visible(app: Screens) -> str:
    """Everything on the terminal, as the terminal would get it."""
    out = []
    for widget in app.screen.walk_children(Widget):
        if widget.region.area and widget.display:
            out += [strip.text for strip in widget.render_lines(widget.size.region)]
    return "\n".join(out)


@pytest.mark.parametrize(
    "text",
    [pytest.param(t, marks=pytest.mark.long) if k >= 2 else t for k, t in enumerate(TEXTS)],
    ids=["markup", "escapes", "directions", "long"],
)
async def test_no_text_breaks_a_screen(bench: Bench, picture_file: Path, text: str) -> None:
    id_ = entering.open_inspection(bench, text, facts={"layout": "inline 4", "plate": text})
    still = (
        filing.add_pictures(bench, id_, [str(picture_file)], cylinder=1, place=Place("crown")).filed[0].still
    )
    bodies: list[e.Content] = [
        e.Note(text, 1), e.Told(text, text, text), e.Codes(text, None, text),
        e.Reading("compression_dry", 1, text, (150.0,), "psi", note=text, doubt=text),
        e.Conditions("compression_dry", {"order": text}), e.Seen("plug_deposit", 1, "wet_oil", text),
        e.Finding("own", 1, Place("crown"), "", text, 3, marks=(e.Mark(still, Box(5, 5, 90, 60), text, {}, text),), note=text),
    ]  # fmt: skip
    entering.enter_all(bench, id_, [(b, text[:200]) for b in bodies])
    app = Screens(bench, Settings(), id_)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(app, pilot)
        for keys in (
            ("f2",),
            ("s", "type:bold", "enter", "escape"),
            ("f3", "s", "s"),
            ("e",),
            ("f4", "pagedown"),
            ("f5", "n", "a", "a"),
            ("f6",),
            ("f7",),
            ("ctrl+p", "escape"),
            ("f1", "escape"),
        ):
            await press(app, pilot, *keys)
            shown = visible(app)
            assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", shown)
        await settled(app, pilot, verdict=True)
        assert app.desk.verdict is not None
        assert app.is_running
