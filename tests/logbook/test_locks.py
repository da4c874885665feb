"""Who holds the logbook, also after somebody was killed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from borelog.logbook import locks
from borelog.logbook.errors import Busy

HOLD = """
import sys, time
from pathlib import Path
from borelog.logbook import locks
hold = locks.share(Path(sys.argv[1]), "watching a folder")
print("held", flush=True)
time.sleep(60)
"""


def test_many_share_and_one_alone_is_named_to_the_others(tmp_path: Path) -> None:
    first, second = locks.share(tmp_path), locks.share(tmp_path)
    assert first is not None
    assert second is not None
    assert len(locks.holders(tmp_path)) == 2
    with pytest.raises(Busy, match=f"process {os.getpid()} on "), locks.alone(tmp_path, "restoring"):
        pass
    first.release()
    first.release()
    second.release()
    assert locks.holders(tmp_path) == []
    with locks.alone(tmp_path, "restoring"), pytest.raises(Busy, match="restoring"):
        locks.share(tmp_path)
    locks.share(tmp_path)


def test_a_killed_program_holds_nothing_and_its_note_goes(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"held\n"
        with (
            pytest.raises(Busy, match=f"process {other.pid} .*watching a folder"),
            locks.alone(tmp_path, "x"),
        ):
            pass
        other.kill()
        other.wait()
    assert list((tmp_path / locks.NOTES).iterdir())
    with locks.alone(tmp_path, "x"):
        pass
    assert locks.holders(tmp_path) == []
    assert not list((tmp_path / locks.NOTES).iterdir())


def test_a_broken_or_hostile_note_harms_nothing(tmp_path: Path) -> None:
    notes = tmp_path / locks.NOTES
    notes.mkdir()
    (notes / "1.json").write_text("{broken")
    (notes / "2.json").write_text(
        '{"pid":1,"host":"\\u001b]0;x\\u0007","since":"now\\u001b[2J","doing":"a\\nb"}'
    )
    (notes / "3.json").write_text('{"pid":99999999999999999999,"host":"h","since":"","doing":""}')
    for holder in locks.holders(tmp_path):
        assert "\x1b" not in holder.words
        assert "\n" not in holder.words
