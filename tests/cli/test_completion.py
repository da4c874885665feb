"""Completion files: what each shell offers is what the table of commands says, read by the shell itself."""

from __future__ import annotations

import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from borelog.cli.commands import COMMANDS
from borelog.cli.completing import SHELLS
from borelog.cli.main import main


@pytest.fixture
def made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Path]:
    """The three files as the command prints them."""
    files = {}
    for shell in SHELLS:
        assert main(["completion", shell]) == 0
        files[shell] = tmp_path / f"borelog.{shell}"
        files[shell].write_text(capsys.readouterr().out, encoding="utf-8")
    return files


def shell(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


def bash_offers(file: Path, *typed: str) -> set[str]:
    words = " ".join(shlex.quote(w) for w in ("borelog", *typed))
    script = f'source {file}; COMP_WORDS=({words}); COMP_CWORD={len(typed)}; _borelog; printf "%s\\n" "${{COMPREPLY[@]}}"'
    done = subprocess.run([shell("bash"), "-c", script], capture_output=True, text=True, check=True)
    return set(done.stdout.split("\n")) - {""}


def fish_offers(file: Path, typed: str) -> set[str]:
    script = f"source {file}; complete -C {shlex.quote(typed)}"
    done = subprocess.run([shell("fish"), "-N", "-c", script], capture_output=True, text=True, check=True)
    return {line.split("\t")[0] for line in done.stdout.splitlines()}


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (("verd",), {"verdict"}),
        (("--logbook", "verdict", "verd"), {"verdict"}),
        (("verdict", ""), {"last"}),
        (("pack", "last", "--for", "b"), {"buyer"}),
        (("pack", "last", "--lett"), {"--letter"}),
        (("calc", "conv"), {"convert-leak"}),
        (("call", "last", "head"), {"head_off"}),
        (("truth", "last", "--known", ""), {"opened", "ran", "told"}),
        (("add", "last", "a.jpg", "-p", "exh"), {r"exhaust\ valve"}),
        (("completion", ""), {"bash", "zsh", "fish"}),
    ],
)
def test_bash_offers_what_fits(made: dict[str, Path], typed: tuple[str, ...], offered: set[str]) -> None:
    assert bash_offers(made["bash"], *typed) == offered


def test_bash_offers_every_command(made: dict[str, Path]) -> None:
    assert {c.name for c in COMMANDS} <= bash_offers(made["bash"], "")


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("borelog verd", {"verdict"}),
        ("borelog pack last --for b", {"buyer"}),
        ("borelog call last head", {"head_off"}),
    ],
)
def test_fish_offers_what_fits(made: dict[str, Path], typed: str, offered: set[str]) -> None:
    assert fish_offers(made["fish"], typed) == offered


def test_zsh_reads_its_file(made: dict[str, Path]) -> None:
    script = f"autoload -U compinit; compinit -u -D; source {made['zsh']}; print ${{_comps[borelog]}}"
    done = subprocess.run([shell("zsh"), "-f", "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "_borelog"
    assert done.stderr == ""
