"""How soon the command answers, beside an interpreter that does nothing."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.bench
Speed = Callable[..., None]


def run(*arguments: str) -> float:
    """Seconds for one Python process."""
    began = time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def test_help(benchmark: Any, speed: Speed) -> None:
    code = "import sys; from borelog.cli.main import main; sys.exit(main(['--help']))"
    bare = min(run("-c", "pass") for _ in range(10))
    benchmark.pedantic(lambda: run("-c", code), rounds=10, warmup_rounds=1)
    speed("help", floor=bare)


@pytest.mark.parametrize("command", ["list", "facts", "show"])
def test_a_short_command(benchmark: Any, speed: Speed, command: str, tmp_path: Any) -> None:
    """On a logbook with one inspection."""
    code = "import sys; from borelog.cli.main import main; sys.exit(main(sys.argv[1:]))"
    book = ["-c", code, "--logbook", str(tmp_path / "book")]
    run(*book, "new", "One", "layout=inline 4")
    bare = min(run("-c", "pass") for _ in range(10))
    words = [command, "last"] if command == "show" else [command]
    benchmark.pedantic(lambda: run(*book, *words), rounds=5, warmup_rounds=1)
    speed(
        what=f"`borelog {command}`", room="start-up", floor=bare, floor_is="an interpreter that does nothing"
    )
