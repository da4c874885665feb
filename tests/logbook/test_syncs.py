"""How often the disk is made to wait for one still: counted at the system call, not guessed."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = """
import sys
from pathlib import Path
from borelog.logbook.entries import StillFiled
from borelog.logbook.journal import Journal
folder = Path(sys.argv[1])
for n in range(256):
    (folder / "stills" / f"{n:02x}").mkdir(parents=True)
with Journal.open(folder) as journal:
    id_ = journal.create("One", who="ab")
    for n in range(int(sys.argv[2])):
        data = b"still %d" % n
        sha256 = journal.pictures.put(data, ".jpg")
        journal.append(id_, StillFiled(sha256, "a.jpg", len(data), "JPEG"), who="ab")
"""


def syncs(folder: Path, stills: int) -> int:
    told = folder.with_suffix(".trace")
    command = ["strace", "-f", "-e", "trace=fsync,fdatasync", "-o", str(told)]
    command += [sys.executable, "-c", SCRIPT, str(folder), str(stills)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode and "ptrace" in done.stderr:
        pytest.skip("system calls may not be traced here")
    assert done.returncode == 0, done.stderr
    return told.read_text().count("sync(")


def test_a_durable_still_takes_at_most_seven_syncs(tmp_path: Path) -> None:
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed")
    each = (syncs(tmp_path / "b", 15) - syncs(tmp_path / "a", 5)) / 10
    assert 2 < each <= 7
