"""The one action table: every key reaches a program, none does two things, every action has a sentence and is answered."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import pytest

from borelog.tui import keymap
from borelog.tui.actions import ACTIONS, EVERYWHERE, SCREENS, clashes, key_name
from borelog.tui.app import Screens, _rooms
from borelog.tui.views.helping import keys_page

_LETTERS = set("abcdefghijklmnopqrstuvwxyzR0123456789")
_NAMED = {
    "enter", "escape", "space", "tab", "shift+tab", "backspace", "delete", "home", "end", "pageup", "pagedown",
    "up", "down", "left", "right", "question_mark", "slash", "full_stop", "comma", "plus", "minus", "asterisk",
    "equals_sign", "quotation_mark", "exclamation_mark", "left_square_bracket", "right_square_bracket",
    "less_than_sign", "greater_than_sign",
}  # fmt: skip
_ARROWS = {f"{mod}+{a}" for mod in ("ctrl", "shift") for a in ("left", "right", "up", "down")}
# ctrl+i, m, h are Tab, Enter, Backspace; ctrl+b is tmux's own prefix; ctrl+c and ctrl+v belong to the terminal.
_CONTROL = {f"ctrl+{c}" for c in "adefgjklnopqrstuwxyz"}
_FUNCTION = {f"f{n}" for n in (*range(1, 10), 12)}
SAFE = _LETTERS | _NAMED | _ARROWS | _CONTROL | _FUNCTION


def test_only_keys_that_reach_a_program_are_used() -> None:
    used = {key for a in ACTIONS for key in a.keys}
    assert used <= SAFE, used - SAFE


def test_no_key_does_two_things_on_one_screen() -> None:
    assert clashes(keymap.keys_in_force()) == []


def test_a_planted_clash_is_found() -> None:
    keys = keymap.keys_in_force({("plan", "note"): ("f",)})
    assert ("plan", "f", "finding", "note") in clashes(keys)


def test_every_action_has_a_sentence_and_footer_entries_have_a_label() -> None:
    for a in ACTIONS:
        assert len(a.sentence) > 10 and a.sentence.endswith(".") and a.sentence[0].isupper(), a
        assert a.label or not a.rank, a


def test_ids_are_unique_within_a_screen() -> None:
    ids = [(a.where, a.id) for a in ACTIONS]
    assert len(ids) == len(set(ids))


def test_enter_of_the_keypad_does_what_enter_does() -> None:
    for a in ACTIONS:
        assert ("enter" in a.keys) == ("ctrl+j" in a.keys), a


def test_escape_is_never_the_only_way() -> None:
    for a in ACTIONS:
        assert a.keys != ("escape",), a


@pytest.mark.parametrize("where", SCREENS)
def test_every_action_is_answered_by_its_screen(where: str) -> None:
    name = {
        "logbook": "LogbookRoom",
        "plan": "PlanRoom",
        "facts": "FactsRoom",
        "readings": "ReadingsRoom",
        "stills": "StillsRoom",
        "verdict": "VerdictRoom",
        "pack": "PackRoom",
    }[where]
    room = getattr(import_module(f"borelog.tui.screens.{where}"), name)
    missing = [a.id for a in ACTIONS if a.where == where and not callable(getattr(room, f"act_{a.id}", None))]
    assert missing == []


def test_every_action_that_works_everywhere_is_answered() -> None:
    for a in ACTIONS:
        if a.where == EVERYWHERE:
            assert a.id in _rooms() or callable(getattr(Screens, f"act_{a.id}", None)), a


def test_the_keys_page_of_the_docs_is_made_from_the_table() -> None:
    page = Path(__file__).parents[2] / "docs" / "keys.md"
    assert page.read_text(encoding="utf-8") == keys_page(keymap.keys_in_force()), (
        "run python -m borelog.tui.pictures docs/screens"
    )


def test_key_names() -> None:
    assert [key_name(k) for k in ("f1", "ctrl+z", "question_mark", "shift+left", "R", "f")] == [
        "F1",
        "^Z",
        "?",
        "shift+Left",
        "R",
        "f",
    ]


def test_own_keys_replace_the_tables() -> None:
    settings = keymap.parse(
        'theme = "borelog-day"\n[keys.plan]\nfinding = "k"\n[keys.everywhere]\nundo = ["U", "ctrl+z"]\n'
    )
    keys = keymap.keys_in_force(settings.keys)
    assert keys[("plan", "finding")] == ("k",)
    assert keys[(EVERYWHERE, "undo")] == ("U", "ctrl+z")
    assert settings.theme == "borelog-day"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("colour = 1", "no setting"),
        ('theme = "blue"', "one of"),
        ("letters = 1", "true or false"),
        ("[keys.bench]\na = 'b'", "no screen"),
        ("[keys.plan]\nfly = 'b'", "no action"),
        ("[keys.plan]\nfinding = 3", "text or a list"),
        ("[keys.plan]\nfinding = 'w'", "change one"),
        ("theme = ", "TOML"),
        ("keys = 3", "tables"),
    ],
)
def test_settings_that_cannot_be_used_say_what_to_do(text: str, words: str) -> None:
    with pytest.raises(keymap.SettingsError, match=words):
        keymap.parse(text)


def test_settings_file_is_read_and_may_be_missing(tmp_path: Path) -> None:
    assert keymap.load(tmp_path / "no.toml") == keymap.Settings()
    (tmp_path / "s.toml").write_text("large = true\n", "utf-8")
    assert keymap.load(tmp_path / "s.toml").large
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(keymap.SettingsError, match="UTF-8"):
        keymap.load(tmp_path / "b.toml")
