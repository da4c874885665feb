"""The recipes of DEVELOPERS.md that need no code: their rows, appended to a copy of the package, do what is said."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the package with every row of the recipes in its table."""
    folder = tmp_path_factory.mktemp("recipes")
    shutil.copytree(ROOT / "borelog", folder / "borelog", ignore=shutil.ignore_patterns("__pycache__"))
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```csv ([a-z_]+\.csv)\n(.*?)^```", text, re.M | re.S)
    assert [name for name, _ in blocks] == ["tests.csv", "findings.csv", "faults.csv", "rows.csv"]
    for name, rows in blocks:
        with (folder / "borelog" / "knowledge" / "data" / name).open("a", encoding="utf-8") as table:
            table.write(rows)
    return folder


def borelog(copied: Path, *words: str) -> str:
    code = "import sys; from borelog.cli.main import main; sys.exit(main())"
    env = os.environ | {"PYTHONPATH": str(copied), "BORELOG_LOGBOOK": str(copied / "book")}
    done = subprocess.run(
        [sys.executable, "-c", code, *words], cwd=copied, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.long
def test_a_reading_type_a_finding_and_a_fault(copied: Path) -> None:
    borelog(copied, "new", "One", "layout=inline 4")
    sheet = borelog(copied, "sheet", "last", "fuel pressure")
    assert "[fuel pressure]" in sheet and "Petrol vapour burns" in sheet and "a bare number is kPa" in sheet
    borelog(copied, "note", "last", "fuel pressure", "reading=300")
    assert "crown_stamp" in borelog(copied, "terms", "stamped")
    borelog(copied, "note", "last", "findings", "2=crown_stamp @ crown")
    shown = borelog(copied, "show", "last")
    assert "300 kPa" in shown and "Stamped letters" in shown
    borelog(copied, "note", "last", "camera", "2 weep=bead or run seen")
    assert "Crack from the plug hole" in borelog(copied, "verdict", "last", "--json")
    borelog(copied, "truth", "last", "2=cracked_plug_hole")
    code = (
        "from borelog.tui.views.readings import build; from borelog.logbook.fold import fold;"
        "print([r.label for r in build(fold(()), (1, 2, 3, 4), frozenset(), {}).rows if r.kind == 'head'])"
    )
    env = os.environ | {"PYTHONPATH": str(copied)}
    grid = subprocess.run(
        [sys.executable, "-c", code], cwd=copied, env=env, capture_output=True, text=True, check=True
    )
    assert "Fuel pressure" in grid.stdout
