"""The README's two minutes by example, line by line, in their order; and what the pages claim of themselves."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from borelog.cli.main import main

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def steps() -> list[tuple[str, list[str]]]:
    """Each command of the tour with the lines it is said to print."""
    text = (
        (ROOT / "README.md")
        .read_text(encoding="utf-8")
        .split("## Two minutes, by example")[1]
        .split("\n## ")[0]
    )
    found = []
    for block in re.findall(r"^```console\n(.*?)^```", text, re.M | re.S):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, *lines = part.splitlines()
            found.append((command, [line for line in lines if line.strip()]))
    return found


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_two_minutes_come_out_as_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sheet is the full example of docs/sheet.md, at first with two slips of the pen.

    A line that ends in '...' need only begin so.
    """
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BORELOG_LOGBOOK", str(tmp_path / "book"))
    monkeypatch.setenv("BORELOG_WHO", "AB")
    (good,) = re.findall(
        r"^```sheet\n(.*?)^```", (DOCS / "sheet.md").read_text(encoding="utf-8"), re.M | re.S
    )
    bad = good.replace("\n2: 99\n", "\n2: -99\n").replace("\n3: 174\n", "\n3: 1740\n")
    written = iter((bad, good))
    shutil.copy(ROOT / "sample_images" / "exhaust_valve_burnt.jpg", tmp_path / "exhaust_valve.jpg")
    for command, lines in steps():
        words = shlex.split(command.split(" > ")[0])
        assert words[0] == "borelog"
        if words[1] == "record":
            (tmp_path / "lapwing.sheet").write_text(next(written), encoding="utf-8")
        code = main(words[1:])
        said = capsys.readouterr().out
        assert code == (1 if any("left out:" in line for line in lines) else 0), command
        for line in lines:
            wanted = flat(line.removesuffix("..."))
            assert wanted in flat(said), (command, line)
    assert {c.split()[1] for c, _ in steps()} >= {
        "new",
        "sheet",
        "record",
        "add",
        "show",
        "verdict",
        "pack",
        "check",
    }


def test_every_calculation_has_its_worked_example() -> None:
    from borelog.readings.calc import calculators

    text = (DOCS / "calculations.md").read_text(encoding="utf-8")
    shown = set(re.findall(r"^\$ borelog calc ([a-z-]+)", text, re.M))
    assert set(calculators()) - shown == set()


def test_help_imports_nothing_heavy() -> None:
    """What docs/quality.md says of the start."""
    code = (
        "import sys\nfrom borelog.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print('HEAVY', sorted({m.split('.')[0] for m in sys.modules} & "
        "{'cv2', 'skimage', 'numpy', 'textual', 'jinja2', 'typst', 'scipy', 'msgspec', 'PIL', 'sqlite3'}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip().endswith("HEAVY []")


def test_every_page_is_in_the_site_and_on_the_start_page() -> None:
    pages = {p.name for p in DOCS.glob("*.md")}
    nav = (ROOT / ".mkdocs.yml").read_text(encoding="utf-8")
    start = (DOCS / "index.md").read_text(encoding="utf-8")
    assert {p for p in pages if p not in nav} == set()
    assert {p for p in pages - {"index.md"} if f"]({p})" not in start} == set()


@pytest.mark.long
def test_the_site_builds_without_a_warning(tmp_path: Path) -> None:
    pytest.importorskip("mkdocs", reason="mkdocs builds the site")
    command = [sys.executable, "-m", "mkdocs", "build", "--strict", "-f", str(ROOT / ".mkdocs.yml")]
    done = subprocess.run(
        [*command, "-d", str(tmp_path / "site")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert (tmp_path / "site" / "tour" / "index.html").is_file()
