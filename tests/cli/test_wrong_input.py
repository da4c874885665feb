"""Every command with input that cannot be used: one plain line that says what to do, and an exit code that is not 0."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from borelog.cli.commands import COMMANDS
from borelog.cli.main import main

Run = Callable[..., tuple[int, str, str]]

WRONG: tuple[tuple[str, ...], ...] = (
    ("new", ""), ("new", "x", "layout=inline 17"), ("new", "x", "no fact"), ("new", "x", "colour=red"),
    ("set", "last", "bore=0"), ("set", "last", "bore=wide"), ("set", "last", "bridges=a-b"), ("set", "last"),
    ("set", "last", "intervals=nan nan nan nan"), ("set", "last", "compression_ratio=0"), ("set", "nobody", "bore=81"),
    ("sheet", "nobody"), ("record", "last", "{nothing}"), ("record", "last", "{folder}"), ("record", "last", "{binary}"),
    ("note", "last", "no such section", "1=2"), ("note", "last", "compression dry", "9=150"),
    ("note", "last", "compression dry", "1-99999999999=150"), ("note", "last", "compression dry", "1=puffs none"),
    ("note", "last", "compression dry", "1=" + "9" * 400), ("note", "last", "compression dry", "1=150 mm"),
    ("add", "last", "{nothing}"), ("add", "last", "{binary}"), ("add", "last", "-c", "9", "{binary}"),
    ("add", "last", "-p", "nowhere", "{binary}"), ("add", "nobody", "{binary}"), ("film", "last", "{nothing}"),
    ("film", "last", "{binary}"), ("film", "last", "{folder}"), ("watch", "last", "{nothing}", "--seconds", "1"),
    ("watch", "last", "{binary}", "--seconds", "1"), ("at", "last", "-c", "9"), ("compare", "{nothing}", "{binary}"),
    ("compare", "{binary}", "{binary}"), ("compare", "{folder}", "{binary}"),
    ("compare", "{binary}", "{binary}", "--threshold", "nan"), ("compare", "{binary}", "{binary}", "--threshold", "-5"),
    ("measure", "nothing", "{binary}"),
    ("measure", "distance"), ("measure", "distance", "{folder}"), ("lens", "{nothing}"), ("lens", "{binary}", "--inner", "3"),
    ("forget", "last", "abc", "--why", "x", "--yes"), ("show", "nobody"), ("verdict", "nobody"), ("verdict", "last", "-c", "9"),
    ("price", "last", "value_running=abc"), ("price", "last", "value_running=0"), ("price", "last", "line_none=3"),
    ("price", "last", "value_running=" + "9" * 400), ("call", "last", "nothing"), ("truth", "last"),
    ("truth", "last", "3=bad luck"), ("truth", "last", "x=sound"), ("truth", "last", "9=sound"), ("calc", "nothing"),
    ("calc", "displacement"), ("calc", "displacement", "bore="),
    ("calc", "displacement", "bore=0", "stroke=1", "cylinders=4"), ("trace", "last", "{nothing}"),
    ("trace", "last", "{folder}"), ("trace", "last", "{binary}"), ("pack", "last", "-o", "{binary}"),
    ("pack", "nobody", "-o", "{folder}"), ("check", "{nothing}"), ("check", "{binary}"), ("check", "{folder}"),
    ("take", "{nothing}"), ("take", "{binary}"), ("withdraw", "last", "zz"), ("withdraw", "last", "zzzzzz"), ("redo", "last"),
    ("undo", "nobody"), ("journal", "nobody"), ("backup", "{binary}"), ("backup", "{inside}"),
    ("probe", "nobody"), ("probe", "last", "Blue", "--roll", "steep"), ("scale", "last", "abc", "length=10 mm"), ("mark", "last", "abc"),
    ("place", "last", "abc"), ("copy", "last", "abc"), ("look", "{nothing}"), ("look", "{binary}", "contrast=much"),
    ("strip", "last", "nowhere"), ("lens", "{binary}", "--into", "nobody"), ("restore", "{folder}"), ("restore", "{binary}"),
    ("film", "last", "{binary}", "--most", "0"), ("film", "last", "{binary}", "--most", "-3"),
    ("watch", "last", "{folder}", "--seconds", "-1"), ("watch", "last", "{folder}", "--seconds", "nan"),
    ("look", "{binary}", "contrast=2", "-o", "x.txt"),
    ("completion", "dos"), ("serve", "--host", "0.0.0.0"), ("serve", "--port", "99999"), ("terms", "no such term at all"),
)  # fmt: skip


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run one command on a logbook with one in-line four; names in braces become real files and folders."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "noise.dat").write_bytes(bytes(range(128, 256)) * 20)
    names = {
        "nothing": tmp_path / "nothing.jpg", "folder": tmp_path / "empty", "binary": tmp_path / "noise.dat",
        "inside": tmp_path / "logbook" / "inside",
    }  # fmt: skip

    def go(*args: str) -> tuple[int, str, str]:
        words = [a.format_map(names) if a.startswith("{") else a for a in args]
        try:
            code = main(["--logbook", str(tmp_path / "logbook"), "--who", "MB", *words])
        except SystemExit as stop:
            code = int(stop.code or 0)
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    assert go("new", "Grey wagon", "layout=inline 4", "firing order=1-3-4-2")[0] == 0
    return go


@pytest.mark.parametrize("args", WRONG, ids=lambda a: " ".join(a)[:60])
def test_wrong_input_ends_in_one_plain_line(run: Run, args: tuple[str, ...]) -> None:
    """Never a traceback, never a fault of the program, and never an exit code of 0."""
    code, said, told = run(*args)
    assert code not in (0, 70), (said, told)
    assert "Traceback" not in said + told
    assert len(told.strip().splitlines()) <= 2
    assert (said + told).strip()


def test_every_command_that_takes_input_is_tried() -> None:
    """A new command comes with its wrong input."""
    without = {"demo", "list", "screens", "facts", "search", "score", "learn", "doctor"}
    assert {c.name for c in COMMANDS} - without - {a[0] for a in WRONG} == set()


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="permissions do not bind the superuser"
)
def test_a_file_that_may_not_be_read(run: Run, tmp_path: Path) -> None:
    locked = tmp_path / "locked.sheet"
    locked.write_text("1: 150\n", encoding="utf-8")
    locked.chmod(0)
    code, _, told = run("record", "last", str(locked))
    assert code == 3
    assert "permissions" in told


@pytest.mark.parametrize(
    "args", [("show", "last"), ("list",), ("search", "x"), ("journal", "last"), ("set", "last", "bore=81")]
)
def test_a_logbook_named_wrongly_is_not_made(
    args: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only what begins something makes a logbook: a slip in --logbook is told, and leaves nothing behind."""
    code = main(["--logbook", str(tmp_path / "slip"), *args])
    said = capsys.readouterr()
    assert not (tmp_path / "slip").exists()
    assert "borelog new" in said.out + said.err
    assert (code == 0) == (args == ("list",))


def test_an_engine_that_cannot_be_opens_no_inspection(run: Run) -> None:
    assert run("new", "Odd", "layout=inline 4", "firing order=1-1-2-3")[0] != 0
    assert "Odd" not in run("list")[1]
