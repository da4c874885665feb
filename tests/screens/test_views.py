"""What the screens show, as plain values: layouts, blanks, letters, hints."""

from __future__ import annotations

import re
import subprocess
import sys
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.acts.bench import Bench
from borelog.acts.typed import typed_reading
from borelog.logbook import entries as e
from borelog.logbook.coverage import coverage_of, unseen
from borelog.logbook.described import engine_of
from borelog.logbook.fold import fold
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.tui.editing import Edit, begun
from borelog.tui.keymap import keys_in_force
from borelog.tui.views import (
    find,
    helping,
    looking,
    pack,
    plan,
    readings,
    standing,
    stepping,
)
from borelog.tui.views.digits import large
from borelog.tui.views.words import Span, cells, cut, fitted, padded, plain, said, width, wrapped

LAYOUTS = (
    "inline 2",
    "inline 3",
    "inline 4",
    "inline 5",
    "inline 6",
    "inline 8",
    "V4",
    "V6",
    "V8",
    "V10",
    "V12",
    "V16",
    "flat 2",
    "flat 4",
    "flat 6",
    "flat 8",
)


def inspection_of(*bodies: e.Content, how: str = "measured", who: str = "tester") -> Inspection:
    """An inspection of entries, as the journal would fold it."""
    stored = []
    for k, body in enumerate(bodies, 1):
        entry = e.Entry(
            id=f"{k:032x}",
            inspection="i" * 32,
            writer="w" * 32,
            number=k,
            prev="",
            clock=k,
            at="2026-03-01T10:00:00+00:00",
            who=who,
            how=how,
            body=body,
        )
        stored.append(e.decode(e.encode(entry)))
    return fold(stored, "i" * 32)


def compression(**values: str) -> list[e.Content]:
    return [typed_reading("compression_dry", int(c[1:]), t) for c, t in values.items()]


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("room", [60, 80, 120, 200])
@pytest.mark.parametrize("big", [False, True])
def test_the_plan_shows_every_cylinder_once_in_its_place(layout: str, room: int, big: bool) -> None:
    made = inspection_of(e.Opened("x"), e.Facts({"layout": layout}))
    engine = engine_of(made)
    assert engine is not None
    lines, begins = plan.plan_lines(made, engine, None, engine.cylinders[-1], room, 19, big)
    assert all(width(line) <= room for line in lines)
    text = [said(line) for line in lines]
    assert "timing-drive end" in text[0] and any("gearbox end" in t for t in text)
    assert begins < len(lines)
    if not big:
        numbers = [int(m) for line in text for m in re.findall(r"(?:^ |│ ) ?(\d+) [·✗✓!?▒—]", line)]
        assert sorted(numbers) == sorted(engine.cylinders), text


def test_blanks_shout_as_loudly_as_bad_figures() -> None:
    made = inspection_of(e.Opened("x"), e.Facts({"layout": "inline 4"}), *compression(c1="180", c2="60"))
    s1, s2, s3 = (standing.standing_of(made, c) for c in (1, 2, 3))
    assert plan.figure_span(s2.compression).weight == plan.figure_span(s3.compression).weight == "loud"
    assert plan.figure_span(s1.compression).weight == ""
    assert (s2.worst, s3.worst) == ("bad", "blank")
    assert s2.compression.word.startswith("33% of highest")
    # every status is glyph and word, never colour alone
    for _, figure in (*s1.rows, *s2.rows, *s3.rows):
        assert len(plan.figure_span(figure).text.strip(" ")) > 2


def test_the_limit_is_the_manuals_where_it_is_noted() -> None:
    # 75 per cent of the highest: published rule; the manual's own ratio and least pressure stand before it.
    base = (
        e.Opened("x"),
        e.Facts({"layout": "inline 4"}),
        *compression(c1="200", c2="165", c3="190", c4="195"),
    )
    assert standing.standing_of(inspection_of(*base), 2).compression.status == "good"
    own = inspection_of(*base, e.Facts({"spec_ratio": "92"}))
    assert standing.standing_of(own, 2).compression.status == "bad"
    floor = inspection_of(*base, e.Facts({"spec_min": "1300 kPa"}))
    assert standing.standing_of(floor, 2).compression.status == "bad"
    near = inspection_of(*base[:2], *compression(c1="200", c2="150", c3="190", c4="195"))
    assert standing.standing_of(near, 2).compression.status == "doubt"


def test_states_of_a_blank_differ() -> None:
    made = inspection_of(
        e.Opened("x"), e.Facts({"layout": "inline 4"}),
        e.Looked(State.NOT_POSSIBLE, 1, None, "compression_dry", "seized"), e.Looked(State.NOT_LOOKED, 2, None, "compression_dry"),
    )  # fmt: skip
    words = [standing.standing_of(made, c).compression.word for c in (1, 2, 3)]
    assert words == ["not possible: seized", "not done", "not noted"]
    grid = readings.build(made, (1, 2, 3, 4), frozenset(), {})
    row = next(r for r in grid.rows if r.kind == "reading" and r.test == "compression_dry")
    assert [row.cells[c].status for c in (1, 2, 3)] == ["not possible", "missing", "missing"]


def test_rows_stand_in_test_order_and_conditions_fold() -> None:
    made = inspection_of(
        e.Opened("x"),
        e.Facts({"layout": "inline 4"}),
        *compression(c1="180"),
        e.Conditions("compression_dry", {"throttle": "shut"}),
    )
    grid = readings.build(made, (1, 2, 3, 4), frozenset(), {})
    tests = [r.test for r in grid.rows if r.kind == "reading"]
    assert (
        tests.index("compression_dry")
        < tests.index("leakdown")
        < tests.index("compression_wet")
        < tests.index("leakdown_wet")
    )
    assert not any(r.kind == "condition" for r in grid.rows)
    fold_row = next(r for r in grid.rows if r.kind == "fold" and r.test == "compression_dry")
    assert fold_row.cells[0].status == "bad" and "spoiled" in fold_row.cells[0].text
    opened = readings.build(made, (1, 2, 3, 4), frozenset({"compression_dry"}), {})
    throttle = next(r for r in opened.rows if r.kind == "condition" and r.key[2] == "throttle")
    assert throttle.cells[0].status == "bad" and throttle.takes_letters


def test_every_question_s_letters_are_its_own() -> None:
    made = inspection_of(e.Opened("x"), e.Facts({"layout": "inline 4"}))
    grid = readings.build(made, (1, 2, 3, 4), frozenset(t for _, _, _, ts in readings.GROUPS for t in ts), {})
    for row in grid.rows:
        letters = [k for k, _, _ in row.answers]
        assert len(set(letters)) == len(letters), row.label
        assert all(len(k) == 1 and k.isalpha() and k.isascii() for k in letters), row.label
    assert readings.letters_for(("tan", "tan too", "tan t", ""))[:3] == ("t", "a", "n")


def test_units_follow_the_last_reading_and_may_be_chosen() -> None:
    made = inspection_of(
        e.Opened("x"), e.Facts({"layout": "inline 4"}), typed_reading("compression_dry", 1, "12 bar")
    )
    row = next(
        r
        for r in readings.build(made, (1, 2, 3, 4), frozenset(), {}).rows
        if r.test == "compression_dry" and r.kind == "reading"
    )
    assert (row.unit, row.cells[1].text) == ("bar", "12")
    row = next(
        r
        for r in readings.build(made, (1, 2, 3, 4), frozenset(), {"compression_dry": "psi"}).rows
        if r.test == "compression_dry" and r.kind == "reading"
    )
    assert (row.unit, row.cells[1].text) == ("psi", "174")


@pytest.mark.parametrize(
    ("text", "test", "words"),
    [
        ("12,5", "compression_dry", "= 12.5 psi"), ("150 148", "compression_dry", "= 150 psi 148 psi, mean 149"), ("11 bar", "compression_dry", "= 11 bar → 159.5 psi"),
        ("~150", "compression_dry", "= ~150 psi"), ("n/a", "compression_dry", "= not applicable"), ("1,100", "compression_dry", "can be"), ("x", "compression_dry", "not a number"),
        ("62 x", "leakdown", "= 62 %, air: exhaust"), ("60/80 psi xo", "leakdown", "= 60 of 80 psi, air: exhaust, oil filler"), ("", "leakdown", "nothing typed"),
    ],
)  # fmt: skip
def test_what_is_being_typed_is_said_live(text: str, test: str, words: str) -> None:
    unit = "%" if test == "leakdown" else "psi"
    assert words in stepping.meaning(text, unit, test, 80).text


def test_cautions_stand_before_the_first_figure_and_shrink_after() -> None:
    before = "\n".join(said(line) for line in stepping.step_lines("leakdown", False, 100, 20))
    assert (
        "BEFORE LEAK-DOWN DRY" in before
        and "Compressed air can spin the crank" in before
        and "service manual" in before
    )
    hybrid = stepping.step_lines("leakdown", False, 100, 20, {"hybrid": "yes"})
    assert "high voltage" in said(hybrid[1])
    assert "high voltage" not in before
    after = stepping.step_lines("leakdown", True, 100, 20)
    assert len(after) == 1 and "F1 shows all" in said(after[0])
    cut_short = stepping.step_lines("compression_dry", False, 60, 5)
    assert len(cut_short) == 5 and "F1 shows the rest" in said(cut_short[-1])


def test_digits_spell_numbers() -> None:
    assert [len(large("178", scale)) for scale in (1, 2)] == [3, 5]
    assert large("8") == ("█▀█ ", "█▀█ ", "▀▀▀ ")


def test_editing_one_line() -> None:
    edit = begun("150")
    for key in ("backspace", "left", "home"):
        edit = edit.key(key) or edit
    assert edit == Edit("15", 0)
    assert edit.typed("2,").text == "2,15"
    assert Edit("a b c", 5).key("ctrl+w") == Edit("a b ", 4)
    assert Edit("abc", 1).key("delete") == Edit("ac", 1)
    assert Edit("abc", 2).key("ctrl+u") == Edit("c", 0)
    assert Edit("abc", 1).key("f5") is None
    assert Edit().typed("1\n2").text == "1 2"


@given(st.text(max_size=60), st.integers(0, 40))
def test_cells_are_counted_not_characters(text: str, room: int) -> None:
    from borelog.text import one_line

    clean = one_line(text)
    assert cells(cut(clean, room)) <= room
    assert cells(padded(clean, room)) == room
    assert width(fitted((Span(clean), Span(clean)), room)) == room
    for line in wrapped(clean, max(8, room)):
        assert cells(line) <= max(8, room)
    assert plain(clean).isascii()


def test_find_names_actions_cylinders_findings_stills_and_inspections(bench: Bench, four: str) -> None:
    made = bench.inspection(four)
    rows = [SimpleNamespace(id=four, name="Row 9 blue van", number=1, engine="in-line 4")]
    found = find.candidates("plan", keys_in_force(), made, (1, 2, 3, 4), rows)
    kinds = {target.kind for target, _, _ in found}
    assert kinds == {"action", "cylinder", "entry", "test", "inspection"}


def test_help_is_made_from_the_table_and_carries_the_cautions() -> None:
    text = "\n".join(said(line) for line in helping.help_lines("readings", keys_in_force(), "leakdown", 90))
    assert "CAUTIONS: LEAK-DOWN DRY" in text and "Compressed air" in text
    assert "Enter a second session beside the first" in text


def test_a_seized_cylinder_lists_what_cannot_be_tested() -> None:
    made = inspection_of(e.Opened("x"), e.Facts({"layout": "inline 4"}), *compression(c1="150"))
    assert "compression_dry" not in looking.untested(made, 1) and "leakdown" in looking.untested(made, 1)
    assert len(unseen(made, 1)) == coverage_of(made, 1)[1]


def test_a_pack_plan_changes_one_choice_at_a_time() -> None:
    made = pack.Plan(reader="customer")
    buyer: Any = pack.changed(made, "reader")
    assert buyer.reader == "buyer"
    assert "plate" in pack.changed(made, "item plate").also
    assert pack.changed(made, "item told") == made
    assert pack.changed(made, "zipped").zipped is False
    assert pack.changed(made, "paper").paper != made.paper


def test_first_screen_loads_no_picture_and_no_network_code() -> None:
    """Import hygiene in a process of its own: what the first paint needs pulls in neither NumPy nor OpenCV."""
    code = (
        "import sys, borelog.tui.app, borelog.tui.screens.logbook\n"
        "bad = [m for m in ('numpy', 'cv2', 'skimage', 'PIL', 'jinja2', 'typst', 'borelog.verdict.judge') if m in sys.modules]\n"
        "print(bad); sys.exit(bool(bad))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout


def test_views_know_no_terminal_library() -> None:
    code = (
        "import sys, pkgutil, importlib, borelog.tui.views as v\n"
        "[importlib.import_module(f'borelog.tui.views.{m.name}') for m in pkgutil.iter_modules(v.__path__)]\n"
        "print('textual' in sys.modules); sys.exit('textual' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout + done.stderr
