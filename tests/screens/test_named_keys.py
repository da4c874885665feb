"""A sentence names a key as the person set it, never in a fixed letter."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import borelog.tui
from borelog.acts import filing
from borelog.acts.bench import Bench
from borelog.logbook.described import engine_of
from borelog.tui.actions import ACTIONS, EVERYWHERE, SHIPPED, key_of, way_to_engine
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings
from borelog.tui.views import looking, pack, rail, stepping, stills, verdict
from borelog.tui.views.words import said
from borelog.verdict.judged import Verdict

from .walking import message, press, settled, shown

ROOT = Path(borelog.tui.__file__).parent
OWN = {(a.where, a.id): (f"f{n}",) for n, a in enumerate(ACTIONS, 100)}
"""Another key for every action, so that a name that stayed the shipped one is seen."""
QUESTIONS = {"ask", "help", "doctor", "reading_page", "card", "stills_points", "stills_strip"}
"""Pages over a screen: their keys are their own and are not in the table."""
_FIXED = re.compile(
    r"(?<![\w^])(F\d{1,2}|\^[A-NP-Z]|Del|Enter)(?![\w'])"
    r"|(?<![\w'])[a-zA-Z0-9] (stops?|brings|draws|takes|compares|marks|files|shows|measures|enters|tries|freezes|yes|no)\b"
)


def test_a_key_is_named_by_its_action_and_may_be_missing() -> None:
    assert key_of(SHIPPED, "stills", "aside") == "x" and key_of(SHIPPED, "stills", "undo") == "^Z"
    assert key_of({**SHIPPED, ("stills", "aside"): ()}, "stills", "aside") == "(no key)"
    assert way_to_engine(SHIPPED) == "F3, then e"


def _sentences(path: Path) -> Iterator[tuple[int, str]]:
    tree = ast.parse(path.read_text("utf-8"))
    docs = {
        id(n.body[0].value)
        for n in ast.walk(tree)
        if isinstance(n, ast.Module | ast.ClassDef | ast.FunctionDef)
        and n.body
        and isinstance(n.body[0], ast.Expr)
    }
    for n in ast.walk(tree):
        if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in docs:
            yield n.lineno, n.value


@pytest.mark.parametrize(
    "path",
    sorted(p for f in ("screens", "views") for p in (ROOT / f).glob("*.py") if p.stem not in QUESTIONS),
    ids=lambda p: f"{p.parent.name}-{p.stem}",
)
def test_no_sentence_holds_a_key_in_fixed_letters(path: Path) -> None:
    found = [(line, text) for line, text in _sentences(path) if _FIXED.search(text)]
    # The grammar of a field is typed, not pressed: 'digits, Enter'; a keypad's Enter is told of in the docs' own page.
    allowed = ("digits, Enter", "keypad's Enter", "Enter a price", "nothing typed: Enter")
    assert [f for f in found if not any(a in f[1] for a in allowed)] == []


def test_the_views_name_the_keys_in_force(bench: Bench, four: str) -> None:
    made = bench.inspection(four)
    engine = engine_of(made)
    assert engine is not None
    empty = stills.Run("not filed", ())

    def text(lines: Any) -> str:
        return "\n".join(said(line) for line in lines)

    for words, where, action in (
        (text([rail.rail_line(made, (), None, None, 200, OWN)]), "plan", "facts"),
        (text([rail.logbook_state(1, 0, False, "F77", "")]), "", "F77"),
        (text(looking.no_layout(100, OWN)), "plan", "see_stills"),
        (text(pack.history(made, 100, OWN)), "pack", "build"),
        (text([stills.row_line(empty, 0, 100, OWN)]), "stills", "take_stills"),
        (text(stepping.step_lines("leakdown", True, 100, 20, None, OWN)), EVERYWHERE, "help"),
        (text(stepping.turn_lines(engine, made, "leakdown", 2, 200, OWN)), "readings", "turning"),
        (verdict.lead_words(verdict.Sentence("next", (), (), "leakdown"), OWN), "verdict", "follow"),
        (
            text(
                x
                for s in verdict.sentences(made, Verdict(call="", tables="", limits=()), 1, 110, OWN)
                for x in s.lines
            ),
            "verdict",
            "decide",
        ),
    ):
        assert (key_of(OWN, where, action) if where else action) in words, words


async def test_messages_name_the_keys_in_force(bench: Bench, four: str, picture_file: Path) -> None:
    filing.add_pictures(bench, four, [str(picture_file)], cylinder=1)
    own = {
        ("stills", "aside"): ("f11",),
        ("stills", "draw"): ("D",),
        ("stills", "next_mark"): ("N",),
        ("plan", "facts"): ("E",),
    }
    app = Screens(bench, Settings(keys=own), four)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(app, pilot)
        await press(app, pilot, "1", "f5", "N")
        assert message(app) == "no marks on this still: D draws one"
        await press(app, pilot, "f11", "4")
        assert "F11 brings it back" in message(app)
        bare = bench.create("Bare")
        app.open_inspection(bare)
        await settled(app, pilot)
        assert "press F3, then E, and" in shown(app, "#rail")
