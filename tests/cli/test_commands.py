"""The commands as a person runs them: output, exit codes, one plain line for what goes wrong."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from borelog.cli.commands import COMMANDS
from borelog.cli.main import build_parser, handler_of, main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run one command on a logbook of its own: exit code, standard output, standard error."""

    def go(*args: str) -> tuple[int, str, str]:
        try:
            code = main(["--logbook", str(tmp_path / "logbook"), "--who", "MB", *args])
        except SystemExit as stop:
            code = int(stop.code or 0)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return go


@pytest.fixture
def four(run: Run, tmp_path: Path) -> Run:
    """A logbook with one in-line four and a compression test."""
    assert run("new", "Grey wagon", "layout=inline 4", "firing order=1-3-4-2")[0] == 0
    sheet = tmp_path / "a.sheet"
    sheet.write_text(
        "[compression dry]\nthrottle: open\nplugs out: all\n1: 178\n2: 174\n3: 68\n4: 176\n", encoding="utf-8"
    )
    assert run("record", "last", str(sheet))[0] == 0
    return run


@pytest.mark.parametrize("name", [c.name for c in COMMANDS])
def test_every_command_explains_itself_and_has_its_handler(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """--help works and the function behind it is there."""
    with pytest.raises(SystemExit) as stop:
        build_parser().parse_args([name, "--help"])
    assert stop.value.code == 0
    assert "usage" in capsys.readouterr().out
    assert callable(handler_of(next(c for c in COMMANDS if c.name == name)))


@pytest.mark.parametrize(
    ("args", "schema", "keys"),
    [
        (["list"], "borelog.list/1", {"rows"}),
        (
            ["show", "last"],
            "borelog.show/1",
            {"inspection", "number", "name", "facts", "cylinders", "readings", "findings"},
        ),
        (
            ["verdict", "last"],
            "borelog.verdict/1",
            {"call", "cylinders", "engine", "contradictions", "next_tests", "money"},
        ),
        (["price", "last"], "borelog.price/1", {"rows"}),
        (["score"], "borelog.score/1", {"cylinders", "hit_rate", "brier", "bins"}),
        (["calc", "list"], "borelog.calc.list/1", {"rows"}),
        (["facts"], "borelog.facts/1", {"rows"}),
        (["journal", "last"], "borelog.journal/1", {"rows"}),
        (["search", "68"], "borelog.search/1", {"rows"}),
        (["measure", "list"], "borelog.measure.list/1", {"rows"}),
    ],
)
def test_json_is_one_document_with_stable_keys(
    four: Run, args: list[str], schema: str, keys: set[str]
) -> None:
    """Nothing but JSON on standard output."""
    _, out, _ = four(*args, "--json")
    body = json.loads(out)
    assert body["schema"] == schema
    assert keys <= set(body)


@pytest.mark.parametrize(
    ("args", "code", "part"),
    [
        (["note", "last", "compression dry", "9=100"], 1, "no cylinder 9"),
        (["note", "last", "compression dry", "1=-5"], 1, "below zero"),
        (["note", "last", "compression dry", "1=abc"], 1, "not a number"),
        (["set", "last", "firing order=1-2-3-3"], 4, "twice"),
        (["set", "last", "colour=red"], 2, "no fact"),
        (["show", "nobody"], 2, "no inspection"),
        (["pack", "last", "-o", "/proc/nowhere"], 3, "not there"),
        (["pack", "last", "-o", "/sys"], 3, "may be written"),
        (["record", "last", "nowhere.sheet"], 3, "not there"),
        (["add", "last", "nowhere.jpg"], 1, "nowhere.jpg"),
        (["check", "nowhere"], None, "nowhere"),
        (["take", "nowhere"], None, "nowhere"),
        (["watch", "last", "nowhere"], 2, "no folder"),
        (["call", "last", "pray"], 2, "no course"),
        (["truth", "last", "3=bad luck"], 2, "no fault"),
        (["price", "last", "own hour=-4"], 2, "below zero"),
        (["calc", "nothing"], None, "nothing"),
        (["undo", "7"], None, "no inspection"),
        (["verdict", "last", "-c", "9"], 2, "no cylinder 9"),
    ],
)
def test_what_goes_wrong_is_one_plain_line(four: Run, args: list[str], code: int | None, part: str) -> None:
    """Says what to do, exit code not 0, no traceback."""
    got, out, err = four(*args)
    assert got != 0 if code is None else got == code
    assert part in out + err
    assert "Traceback" not in out + err


def test_an_unknown_command_names_the_near_one(run: Run) -> None:
    """A slip of the finger is answered."""
    code, _, err = run("lst")
    assert code == 2
    assert "did you mean list" in err


def test_a_doubtful_value_is_kept_listed_and_ends_with_1(run: Run, tmp_path: Path) -> None:
    """1100 psi is likely 1100 kPa: asked, kept as typed, marked."""
    run("new", "x", "layout=inline 4")
    sheet = tmp_path / "b.sheet"
    sheet.write_text("[compression dry]\n1: 1100\n2: 150\n", encoding="utf-8")
    code, out, _ = run("record", "last", str(sheet))
    assert code == 1
    assert "1100 psi? 1100 kPa is 160 psi" in out
    assert "1,100 psi ?" in run("show", "last")[1].replace("1100 psi ?", "1,100 psi ?")


def test_a_newer_logbook_is_refused(four: Run, tmp_path: Path) -> None:
    """A version from the future is left alone."""
    path = tmp_path / "logbook" / "journal.sqlite"
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA user_version = 999")
    code, _, err = four("list")
    assert code == 4
    assert "newer" in err


def test_the_screens_need_a_terminal(run: Run) -> None:
    """Without one: exit 2 and what to do instead."""
    code, _, err = run()
    assert code == 2
    assert "terminal" in err


def test_undo_and_redo_from_the_command_line(four: Run) -> None:
    """What was undone is said in words."""
    assert four("note", "last", "notes", "engine=hello")[0] == 0
    assert "hello" in four("undo", "last")[1]
    assert "hello" in four("redo", "last")[1]


def test_a_pack_is_made_checked_and_taken_in_elsewhere(four: Run, tmp_path: Path) -> None:
    """The whole way from one logbook into another."""
    code, out, err = four("pack", "last", "-o", str(tmp_path / "out"), "--for", "archive", "--zip", "--json")
    assert code == 0, err
    made = json.loads(out)
    assert four("check", made["folder"])[0] == 0
    assert four("check", made["zip"])[0] == 0
    code, out, err = four("--logbook", str(tmp_path / "other"), "take", made["zip"])
    assert code == 0, err
    assert "68" in four("--logbook", str(tmp_path / "other"), "show", "1")[1]


def test_a_diesel_is_recorded_not_judged(run: Run) -> None:
    """The tables are for petrol engines."""
    run("new", "d", "layout=inline 4", "fuel=diesel")
    assert "recorded, not judged" in run("verdict", "last")[1]


def test_sound_cylinders_are_said_in_short_and_whole_on_request(four: Run) -> None:
    """The sick one is not lost among the reasons of the others."""
    four("note", "last", "plugs", "1,2,4=tan or light grey", "3=wet, fuel")
    whole, one = (" ".join(four("verdict", "last", *c)[1].split()) for c in ((), ("-c", "1")))
    assert "cylinder 1: Sound cylinder" in whole
    assert "all reasons: -c 1" in whole
    assert "leader: Sound cylinder" in one
    assert "leader: Sound cylinder" not in whole


def test_terms_and_faults_can_be_looked_up(run: Run) -> None:
    """Words for the sheet's findings, and for what it really was."""
    assert "ex_notch" in run("terms", "gutter")[1]
    assert "exh_valve_leak" in run("terms", "--faults", "exhaust", "valve")[1]
    code, out, _ = run("terms", "zeppelin")
    assert (code, "own words" in out) == (1, True)


def test_one_line_typed_speaks_of_no_line_number(four: Run) -> None:
    """A note is one line; 'line 1' and 'record the sheet again' would puzzle."""
    _, out, err = four("note", "last", "compression dry", "9=100")
    assert "line 1" not in out + err and "again" not in out + err


def test_a_sheet_of_some_sections_is_short_and_records(four: Run, tmp_path: Path) -> None:
    """Only what is asked for, with its header; an unknown section is named with those there are."""
    code, out, _ = four("sheet", "last", "plugs", "compression wet")
    assert code == 0
    assert [line for line in out.splitlines() if line.startswith("[")] == ["[plugs]", "[compression wet]"]
    sheet = tmp_path / "part.sheet"
    sheet.write_text(out.replace("\n3:", "\n3: wet, oil", 1), encoding="utf-8")
    assert "1 saved" in four("record", "last", str(sheet))[1]
    code, _, err = four("sheet", "last", "teeth")
    assert code == 4 and "plugs" in err


def test_a_sheet_without_a_layout_says_what_is_missing(run: Run) -> None:
    """Without a layout there is no line for a cylinder."""
    run("new", "x")
    assert "Set the layout first" in run("sheet", "last")[1]


def test_a_terminal_without_unicode_gets_plain_characters(four: Run, tmp_path: Path) -> None:
    """Bars, glyphs and rules become plain; nothing ends in an error."""
    code = "import sys; from borelog.cli.main import main; sys.exit(main())"
    env = os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "BORELOG_WHO": "tester"}
    for command in ("show", "verdict", "list", "sheet"):
        words = ["--logbook", str(tmp_path / "logbook"), command, *(["last"] if command != "list" else [])]
        done = subprocess.run([sys.executable, "-c", code, *words], env=env, capture_output=True, check=False)
        assert done.returncode == 0, done.stderr
        assert done.stdout.decode("ascii")


def test_a_second_inspection_of_one_name_is_told(run: Run) -> None:
    """Both are kept; the name alone would not say which is meant."""
    run("new", "Grey wagon")
    code, _, said = run("new", "Grey wagon")
    assert code == 0 and "1 has this name too" in said
