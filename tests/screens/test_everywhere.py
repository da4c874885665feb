"""What holds on all screens: greys under NO_COLOR, a key beside every act of the mouse, large digits, light and dark."""

from __future__ import annotations

import importlib
import pkgutil
from typing import Any

import pytest
from rich.color import ColorType
from textual.widget import Widget

import borelog.tui
from borelog.acts.bench import Bench
from borelog.tui.actions import ACTIONS
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings, keys_in_force
from borelog.tui.views.words import said

from .walking import press, settled

# Class and handler of the mouse -> the actions that do the same by key.
TWINS: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {
    ("Choices", "on_click"): (
        ("logbook", "open"),
        ("verdict", "line_down"),
        ("verdict", "follow"),
        ("pack", "toggle"),
    ),
    ("GridView", "on_click"): (("readings", "row_down"), ("readings", "cell_right"), ("readings", "accept")),
    ("Picture", "on_mouse_down"): (("stills", "set_point"), ("stills", "cross_left")),
    ("Picture", "on_mouse_move"): (("stills", "cross_right"), ("stills", "pan_up"), ("stills", "move_mark")),
    ("Picture", "on_mouse_up"): (("stills", "set_point"),),
    ("Picture", "on_mouse_scroll_up"): (("stills", "zoom_in"),),
    ("Picture", "on_mouse_scroll_down"): (("stills", "zoom_out"),),
    ("Thumbs", "on_click"): (("stills", "next_still"), ("stills", "previous_still")),
}


def mouse_handlers() -> set[tuple[str, str]]:
    """Every handler of the mouse that a class of the screens defines."""
    found: set[tuple[str, str]] = set()
    for info in pkgutil.walk_packages(borelog.tui.__path__, "borelog.tui."):
        module = importlib.import_module(info.name)
        for kind in vars(module).values():
            if isinstance(kind, type) and kind.__module__ == info.name:
                found |= {
                    (kind.__name__, name)
                    for name in vars(kind)
                    if name == "on_click" or name.startswith(("on_mouse", "_on_mouse"))
                }
    return found


def test_every_act_of_the_mouse_has_a_key_beside_it() -> None:
    assert mouse_handlers() == set(TWINS), "a new act of the mouse needs its key in the table"
    keys = keys_in_force()
    for twins in TWINS.values():
        for where, name in twins:
            assert keys[(where, name)], (where, name)
    assert {a.where for a in ACTIONS} >= {where for twins in TWINS.values() for where, _ in twins}


@pytest.mark.parametrize("value", ["1", ""])
async def test_no_color_leaves_greys_and_an_empty_one_does_not_count(
    bench: Bench, four: str, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """no-color.org: set and not empty means no colour. Every cell of every screen is looked at."""
    monkeypatch.setenv("NO_COLOR", value)
    app = Screens(bench, Settings(), four)
    coloured = 0
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(app, pilot)
        assert app.color_depth == ("grey" if value else "full")
        for key in ("f2", "f3", "f4", "f6", "f7", "f5"):
            await press(app, pilot, key)
            for widget in app.screen.walk_children(Widget):
                if not (widget.display and widget.region.area):
                    continue
                for strip in widget.render_lines(widget.size.region):
                    for segment in strip:
                        for colour in (segment.style.color, segment.style.bgcolor) if segment.style else ():
                            if colour is not None and colour.type is ColorType.TRUECOLOR and colour.triplet:
                                coloured += max(colour.triplet) - min(colour.triplet) > 12
    assert (coloured == 0) is bool(value), coloured


async def test_large_digits_are_read_from_a_metre(bench: Bench, four: str) -> None:
    """Three rows of blocks a figure, its unit beside it, a blank in loud words, and nothing beyond the screen at 80 x 24."""
    app = Screens(bench, Settings(large=True), four)
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(app, pilot)
        plan: Any = app.room_now().query_one("#plan")
        text = [said(line) for line in plan.lines]
        assert len(text) <= plan.size.height and all(len(line) <= 80 for line in text)
        assert sum("psi" in line for line in text) == 4 and any("% leak" in line for line in text)
        assert any("leak not noted" in line for line in text), text
        assert sum(line.count("█") + line.count("▀") + line.count("▄") > 6 for line in text) >= 11


@pytest.mark.parametrize("size", [(40, 30), (80, 24)])
async def test_what_must_be_known_is_read_whole(bench: Bench, four: str, size: tuple[int, int]) -> None:
    """An error takes as many lines as it needs, up to three, and pushes nothing off the screen; a remark takes one."""
    app = Screens(bench, Settings(), four)
    words = "the firing order leaves out cylinders 4, 5, 6: each cylinder fires once in two turns; mend it"
    async with app.run_test(size=size) as pilot:
        await settled(app, pilot)
        for key in ("f3", "f4", "f6"):
            await press(app, pilot, key)
            room = app.room_now()
            room.say(words, "bad")
            await settled(app, pilot)
            bar = room.query_one("#message")
            text = " ".join(" ".join(said(line) for line in bar.lines).split())  # type: ignore[attr-defined]
            assert text == words and bar.region.bottom == size[1] - 1 and bar.region.height == len(bar.lines)  # type: ignore[attr-defined]
            assert room.query_one("#keys").region.bottom == size[1]
            room.say("on disk")
            await settled(app, pilot)
            assert bar.region.height == 1


@pytest.mark.parametrize("size", [(40, 30), (80, 24)])
@pytest.mark.parametrize("keys", [("f4", "ctrl+g"), ("f3", "w", "4"), ("f3", "w", "2"), ("f2", "n")])
async def test_every_question_is_seen_whole(
    bench: Bench, four: str, size: tuple[int, int], keys: tuple[str, ...]
) -> None:
    """The largest forms: title, every field with its name, the fault's line and how to go on, all within the frame."""
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=size) as pilot:
        await settled(app, pilot)
        await press(app, pilot, *keys)
        frame = app.screen.query_one("Vertical").region
        assert frame.y >= 0 and frame.bottom <= size[1]
        for widget in app.screen.query_one("Vertical").children:
            region = widget.region
            assert region.height and region.y >= frame.y and region.bottom <= frame.bottom, (
                widget,
                region,
                frame,
            )
