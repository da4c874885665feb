"""The worked example of several benches works when typed: every command of the page, in its order."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from borelog.acts.disputes import disputes
from borelog.logbook import doctor
from borelog.logbook.entries import Finding, Reading, StillFiled
from borelog.logbook.journal import Journal

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.long
def test_the_worked_example(tmp_path: Path) -> None:
    if shutil.which("bash") is None:
        pytest.skip("the page's commands are those of a shell")
    command = tmp_path / "bin" / "borelog"
    command.parent.mkdir()
    code = "import sys; from borelog.cli.main import main; sys.exit(main())"
    command.write_text(f"#!/bin/sh\nexec {sys.executable} -c '{code}' \"$@\"\n")
    command.chmod(0o755)
    (tmp_path / "pictures").mkdir()
    shutil.copy(ROOT / "sample_images" / "bore_scores.jpg", tmp_path / "pictures")
    (tmp_path / "grey.sheet").write_text("[engine]\nlayout: in-line 4\n\n[compression dry]\n3: 110\n")
    page = (ROOT / "docs" / "several-benches.md").read_text("utf-8")
    typed = re.findall(r"^(bay-1|bay-2|hub)\$ (.+)$", page, re.M)
    assert len(typed) >= 12
    for bench, line in typed:
        done = subprocess.run(
            ["bash", "-c", line.replace("/mnt/shop", str(tmp_path / "shop"))],
            cwd=tmp_path,
            env=os.environ
            | {
                "PATH": f"{command.parent}:{os.environ['PATH']}",
                "BORELOG_LOGBOOK": str(tmp_path / bench),
                "BORELOG_WHO": bench,
            },
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, (bench, line, done.stdout, done.stderr)
    with Journal.open(tmp_path / "hub") as hub:
        inspection = hub.inspection(hub.find("grey estate"))
        assert inspection.of(Reading)[0].body.values == (101.0,)
        assert [f.body.term for f in inspection.of(Finding)] == ["bore_score"]
        assert len(inspection.of(StillFiled)) == 1
        assert {v.who for f in inspection.of(Finding) for v in (f.version,)} == {"bay-2"}
        assert disputes(inspection) == ()
    assert doctor.examine(tmp_path / "hub") == ()
