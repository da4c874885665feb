"""In a real terminal: a whole engine by keys, the plug pulled, everything there; a V8 with a folder that drops stills."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from borelog.acts.bench import open_bench
from borelog.logbook.entries import Conditions, Finding, Looked, Note, Reading, Seen, StillFiled, StillPlaced

pytestmark = [pytest.mark.long, pytest.mark.skipif(shutil.which("tmux") is None, reason="needs tmux")]


class Terminal:
    """A tmux session of its own with the program in it."""

    def __init__(self, logbook: Path, home: Path, size: tuple[int, int]) -> None:
        self.socket = f"borelog-{os.getpid()}"
        self.logbook, self.home, self.size = logbook, home, size
        self.pid = 0

    def tmux(self, *words: str) -> str:
        return subprocess.run(
            ["tmux", "-L", self.socket, "-f", "/dev/null", *words],
            capture_output=True,
            text=True,
            check=False,
        ).stdout

    def start(self) -> None:
        """Open the screens; the program's process id is kept to pull the plug.

        Every start has a tmux server of its own: one that is still dying after a pulled plug takes a new session down with it.
        A program that ends stays on view, so that a failure shows what it said.
        """
        self.socket = f"borelog-{os.getpid()}-{time.monotonic_ns()}"
        pid_file = self.home / "pid"
        pid_file.unlink(missing_ok=True)
        self.ended_file.unlink(missing_ok=True)
        code = f"import os; open({str(pid_file)!r}, 'w').write(str(os.getpid())); from borelog.cli.main import main; "
        code += f"code = main(); open({str(self.ended_file)!r}, 'w').write(str(code)); raise SystemExit(code)"
        command = f'exec env -u COLUMNS -u LINES HOME={self.home} XDG_CONFIG_HOME={self.home} LANG=C.UTF-8 {sys.executable} -c "{code}" --logbook {self.logbook}'
        width, height = (str(n) for n in self.size)
        self.tmux(
            "new-session",
            "-d",
            "-s",
            "s",
            "-x",
            width,
            "-y",
            height,
            command,
            ";",
            "set",
            "-w",
            "remain-on-exit",
            "failed",
        )
        self.until("LOGBOOK")
        self.pid = int(pid_file.read_text())

    @property
    def ended_file(self) -> Path:
        return self.home / "ended"

    def until_ended(self, seconds: float = 60.0) -> str:
        """Wait until the program has ended, and give back what it returned.

        The process itself is asked: tmux now and then misses the end of its child and keeps the session.
        """
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.ended_file.exists() and not self._runs():
                return self.ended_file.read_text()
            time.sleep(0.05)
        raise AssertionError(f"the program did not end:\n{self.screen()}")

    def _runs(self) -> bool:
        try:
            return Path(f"/proc/{self.pid}/stat").read_text().rpartition(")")[2].split()[0] not in ("Z", "X")
        except OSError:
            return False

    def screen(self) -> str:
        return self.tmux("capture-pane", "-p", "-t", "s")

    def until(self, *words: str, seconds: float = 30.0) -> str:
        """Wait until all words are on the screen."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            text = self.screen()
            if all(w in text for w in words):
                return text
            time.sleep(0.03)
        raise AssertionError(f"{words} did not come up in:\n{self.screen()}")

    def keys(self, *keys: str) -> None:
        for key in keys:
            if key.startswith("="):
                self.tmux("send-keys", "-t", "s", "-l", key[1:])
            else:
                self.tmux("send-keys", "-t", "s", key)

    def pull_the_plug(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        self.close()

    def close(self) -> None:
        """End the server of this start and leave no socket of it behind."""
        self.tmux("kill-server")
        folder = Path(os.environ.get("TMUX_TMPDIR", "/tmp")) / f"tmux-{os.getuid()}"
        (folder / self.socket).unlink(missing_ok=True)


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    (tmp_path / "home").mkdir()
    made = Terminal(tmp_path / "logbook", tmp_path / "home", (100, 32))
    yield made
    made.close()


def test_a_whole_four_cylinder_inspection_survives_a_pulled_plug(terminal: Terminal) -> None:
    """By keys alone, Enter of the keypad included; killed with -9 right after the last entry; reopened, all is there."""
    terminal.start()
    terminal.until("Begin an inspection", "demo", "findings pack")
    terminal.keys("n")
    terminal.until("Begin an inspection", "Layout")
    terminal.keys("=Blue van 7", "Enter", "=in-line 4", "Enter")
    terminal.until("CYLINDERS", "Blue van 7", "timing-drive end", "gearbox end")
    # facts
    terminal.keys("e")
    terminal.until("ENGINE", "Layout")
    terminal.keys("Down", "Down", "=1-3-4-2", "Enter")
    terminal.until("1-3-4-2")
    # compression, called out; C-j is what a keypad's Enter sends
    terminal.keys("F4")
    terminal.until("COMPRESSION DRY", "BEFORE COMPRESSION DRY", "any cranking")
    for value in ("178", "172 174", "62", "180"):
        terminal.keys(f"={value}", "C-j")
    terminal.until("180")
    text = terminal.until("Battery while cranking", "Throttle")
    assert "178" in text
    terminal.keys("=12,1", "Enter", "=y", "=b", "=o")
    terminal.until("brisk", "open")
    # leak-down with paths
    terminal.keys("C-p")
    terminal.until("Find")
    terminal.keys("=leak-down dry", "Enter")
    terminal.until("LEAK-DOWN DRY", "Compressed air can spin")
    for value in ("8 o", "9 o", "62 x", "7 o"):
        terminal.keys(f"={value}", "Enter")
    terminal.until("62 x", "7 o")
    # plugs by one letter, rest the same
    terminal.keys("C-p")
    terminal.until("Find")
    terminal.keys("=cylinder 1", "Enter")
    terminal.keys("F3")
    terminal.until("CYLINDERS")
    terminal.keys("3", "f")
    terminal.until("what was found")
    terminal.keys("=notch", "Enter")
    terminal.until("Where?")
    terminal.keys("=exhaust valve", "Enter")
    terminal.until("How bad?")
    terminal.keys("Enter")
    terminal.until("How sure?")
    terminal.keys("1")
    terminal.until("Old or fresh?")
    terminal.keys("3")
    terminal.until("found: Notch")
    terminal.keys("w")
    terminal.until("What kind of words?")
    terminal.keys("1")
    terminal.until("Words")
    terminal.keys("=seller says it ran", "C-s")
    terminal.until("noted: a note")
    terminal.keys("1", "l")
    terminal.until("nothing found")
    terminal.keys("l")
    terminal.until("every place is noted already")
    terminal.pull_the_plug()

    bench = open_bench(terminal.logbook, who="check")
    made = bench.inspection(bench.journal.find("Blue van 7"))
    readings = {(r.body.test, r.body.cylinder): r.body.values for r in made.of(Reading)}
    assert readings == {
        ("compression_dry", 1): (178.0,), ("compression_dry", 2): (172.0, 174.0), ("compression_dry", 3): (62.0,), ("compression_dry", 4): (180.0,),
        ("leakdown", 1): (8.0,), ("leakdown", 2): (9.0,), ("leakdown", 3): (62.0,), ("leakdown", 4): (7.0,),
    }  # fmt: skip
    assert {k: v for r in made.of(Conditions) for k, v in r.body.values.items()} == {
        "battery": "12,1",
        "charger": "yes",
        "cranking": "brisk",
        "throttle": "open",
    }
    assert made.facts["firing_order"] == "1-3-4-2"
    assert made.of(Finding)[0].body.term == "ex_notch" and made.of(Note)[0].body.cylinder == 3
    assert sum(r.body.cylinder == 1 for r in made.of(Looked)) >= 25
    bench.journal.close()

    terminal.start()
    terminal.until("Blue van 7", "in-line 4", "Notch")
    terminal.keys("Enter")
    terminal.until("CYLINDERS", "62 psi", "exhaust", "178 psi")
    terminal.keys("F6")
    terminal.until("VERDICT", "THE CALL", "exhaust valve", seconds=60)
    terminal.keys("C-z")
    terminal.until("taken back")
    terminal.keys("C-q")
    assert terminal.until_ended() == "0"


def test_a_v8_with_a_watched_folder(terminal: Terminal, tmp_path: Path) -> None:
    """Stills that appear in the folder go to the cylinder in hand; half-written ones are waited for; kill -9 loses none."""
    import numpy as np
    from PIL import Image

    folder = tmp_path / "camera"
    folder.mkdir()
    terminal.start()
    terminal.keys("n")
    terminal.until("Layout")
    terminal.keys("=Eight", "Enter", "=V8", "Enter")
    terminal.until("CYLINDERS", "bank 1", "bank 2")
    terminal.keys("F4")
    terminal.until("COMPRESSION DRY")
    for value in (150, 151, 152, 90, 153, 154, 155, 156):
        terminal.keys(f"={value}", "Enter")
    terminal.until("156")
    terminal.keys("F5", "]", "[")
    terminal.until("STILLS", "cylinder 8: no stills yet")
    terminal.keys("]", "]", "]")
    terminal.keys("u")
    terminal.until("Watch a folder")
    terminal.keys(f"={folder}", "Enter")
    terminal.until("watching")
    rng = np.random.default_rng(11)
    cylinders = (3, 4, 5, 6)
    for n in range(3):
        pixels = rng.integers(0, 255, (60, 80, 3), dtype=np.uint8).repeat(8, 0).repeat(8, 1)
        part = folder / f"still{n}.jpg.part"
        Image.fromarray(pixels).save(part, format="JPEG", quality=90)
        data = part.read_bytes()
        part.unlink()
        with open(folder / f"still{n}.jpg", "wb") as out:
            out.write(data[: len(data) // 2])
            out.flush()
            time.sleep(0.4)
            out.write(data[len(data) // 2 :])
        terminal.until(f"came in: still{n}.jpg", seconds=60)
        terminal.keys("]")
        terminal.until(f"cylinder {cylinders[n + 1]}: no stills yet")
    terminal.pull_the_plug()
    bench = open_bench(terminal.logbook, who="check")
    made = bench.inspection(bench.journal.find("Eight"))
    assert len(made.of(StillFiled)) == 3
    assert [r.body.cylinder for r in made.of(StillPlaced)] == [3, 4, 5]
    assert {r.body.cylinder for r in made.of(Reading)} == set(range(1, 9))
    for r in made.of(StillFiled):
        assert bench.journal.pictures.read(r.body.sha256) == (folder / r.body.name).read_bytes()
    assert not made.of(Seen)
    bench.journal.close()


def test_on_a_forty_column_phone_shell(terminal: Terminal) -> None:
    terminal.size = (40, 30)
    terminal.start()
    terminal.until("Begin an inspection")
    terminal.keys("n")
    terminal.until("Name")
    terminal.keys("=Trailer", "Enter", "=I3", "Enter")
    text = terminal.until("compression", "leak-down", "F1 Help")
    order = [text.index(w) for w in ("compression", "with oil", "leak-down", "plug")]
    assert order == sorted(order)
    terminal.keys("Enter")
    terminal.until("READINGS")
    terminal.keys("=120", "Enter", "=121", "Enter", "=122", "Enter")
    terminal.until("122")
    terminal.keys("F3")
    terminal.until("120 psi", "121 psi", "122 psi")
