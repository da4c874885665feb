"""Ten thousand stills, and a day of entry: nothing grows that should stay flat."""

from __future__ import annotations

import gc
import hashlib
import os
import random
import shutil
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from borelog.logbook.entries import Note, Reading, Seen, StillFiled
from borelog.logbook.journal import Journal

STILLS = int(os.environ.get("BORELOG_LOAD_STILLS", "10000"))
"""A quarter of a minute on a quiet disk, some minutes on a busy one; docs/record.md has the curve."""
SINGLE = 50
"""Of each tenth so many are added one by one, as from a camera, and timed; the others come in packs of 60."""
SIZE = 200_000
STEPS = 10


def timed(work: Callable[[], Any], repeats: int = 3) -> float:
    best = float("inf")
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begun)
    return best * 1000


def floor(path: Path, data: bytes) -> None:
    """The least that must be done to have a file safe."""
    with open(path, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    path.unlink()


def other(base: bytearray, part: int, number: int) -> bytes:
    """A still unlike all others."""
    base[:8] = (part * STILLS + number).to_bytes(8, "big")
    return bytes(base)


class Steps:
    """Counts the database's own steps (instructions of its virtual machine) on every connection made from here on.

    A search that reads all rows, a list that is made anew for every entry: whatever grows with the record shows in them, and
    no other work of the machine does.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.made: list[sqlite3.Connection] = []
        self.counting = False
        self.count = 0
        connect = sqlite3.connect

        def counted(*args: Any, **more: Any) -> sqlite3.Connection:
            made = connect(*args, **more)
            self.made.append(made)
            if self.counting:
                made.set_progress_handler(self._step, 1)
            return made

        monkeypatch.setattr(sqlite3, "connect", counted)

    def _step(self) -> int:
        self.count += 1
        return 0

    def of(self, work: Callable[[], Any]) -> int:
        """How many steps some work takes."""
        self.count, self.counting = 0, True
        self._told(self._step)
        work()
        self.counting = False
        self._told(None)
        return self.count

    def _told(self, handler: Callable[[], int] | None) -> None:
        for made in list(self.made):
            try:
                made.set_progress_handler(handler, 1)
            except sqlite3.ProgrammingError:  # closed since
                self.made.remove(made)


@pytest.mark.long
def test_thousands_of_stills_stay_as_quick_as_the_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Prints the curve of times, which depend on the machine; judged by the steps of the database, which do not."""
    if shutil.disk_usage(tmp_path).free < 2 * STILLS * SIZE:
        pytest.skip("not enough room for the stills")
    folder = tmp_path / "logbook"
    base = bytearray(random.Random(5).randbytes(SIZE))
    curve: list[tuple[int, float, float, float, float, float, float]] = []
    steps: list[tuple[int, int, int, int]] = []
    counter = Steps(monkeypatch)
    with Journal.open(folder) as journal:
        for part in range(STEPS):
            adding: list[float] = []
            bare: list[float] = []
            share = STILLS // STEPS
            packed = max(0, share - SINGLE)
            begun = time.perf_counter()
            for first in range(0, packed, 60):
                id_ = journal.create(f"engine {part}-{first}", who="ab")
                datas = [other(base, part, n) for n in range(first, min(first + 60, packed))]
                given = {hashlib.sha256(d).hexdigest(): d for d in datas}
                journal.pictures.put_all((k, ".jpg", lambda d=d: d) for k, d in given.items())  # type: ignore[misc]
                journal.append_many(
                    id_, [(StillFiled(k, "p.jpg", SIZE, "JPEG"), "") for k in given], who="ab"
                )
            together = (time.perf_counter() - begun) * 1000 / max(1, packed)
            for n in range(packed, share):
                if n % 60 == 0 or n == packed:
                    id_ = journal.create(f"engine {part}-{n}", who="ab")
                data = other(base, part, n)
                begun = time.perf_counter()
                sha256 = journal.pictures.put(data, ".jpg")
                journal.append(id_, StillFiled(sha256, f"{n}.jpg", SIZE, "JPEG"), who="ab")
                adding.append((time.perf_counter() - begun) * 1000)
                if n % 5 == 0:
                    bare.append(timed(lambda data=data: floor(tmp_path / "bare", data), 1))  # type: ignore[misc]
            listing = timed(journal.summaries)
            opening = timed(lambda: Journal.open(folder).close())
            finding = timed(lambda sha=sha256: journal.pictures.path(sha))  # type: ignore[misc]
            medians = statistics.median(adding), statistics.median(bare)
            curve.append(((part + 1) * STILLS // STEPS, *medians, listing, opening, finding, together))
            engine = journal.create(f"engine {part} counted", who="ab")
            append = counter.of(lambda id_=engine: journal.append(id_, Note("counted", 1), who="ab"))  # type: ignore[misc]
            listed = counter.of(journal.summaries) / len(journal.summaries())
            fresh = counter.of(lambda: Journal.open(folder).close())
            fullest = max(len(os.listdir(f)) for f in (folder / "stills").iterdir() if f.is_dir())
            steps.append((append, round(listed), fresh, fullest))
    print("\nstills  add ms  bare ms  list ms  open ms  find ms  in packs ms")
    for row in curve:
        print("{:6d}  {:6.2f}  {:7.2f}  {:7.2f}  {:7.2f}  {:7.3f}  {:11.2f}".format(*row))
    print("steps of the database to append, to list one engine, to open; most files in a folder")
    for told in steps:
        print("{:6d}  {:6d}  {:6d}  {:4d}".format(*told))
    shutil.rmtree(folder)
    early, late = steps[0], steps[-1]
    # A tree of pages gets one level deeper or two, nothing else: half as many steps again for ten times the record.
    assert late[0] <= 1.5 * early[0]
    assert late[1] <= 1.5 * early[1]
    assert late[2] <= 1.5 * early[2]
    assert late[3] <= 3 * max(8, STILLS / 256)  # a still is found by reading one folder of 256


def resident() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


@pytest.mark.long
def test_a_day_of_entry_does_not_make_memory_grow() -> None:
    """17 280 entries, one every five seconds of a day, over 48 inspections, with the screens reading along."""
    if not Path("/proc/self/statm").exists():
        pytest.skip("memory is read from /proc")
    memory = Path("/dev/shm")
    base = Path(tempfile.mkdtemp(dir=memory if memory.is_dir() else None))
    sizes: list[int] = []
    try:
        with Journal.open(base / "logbook") as journal, Journal.open(base / "logbook") as screen:
            for engine in range(48):
                id_ = journal.create(f"engine {engine}", who="ab")
                for n in range(360):
                    body = [
                        Note(f"note {n}", n % 6 + 1),
                        Seen("plug_colour", n % 6 + 1, "tan"),
                        Reading("compression_dry", n % 6 + 1, "150", (150.0,), "psi", series=str(n)),
                    ][n % 3]
                    journal.append(id_, body, who="ab")
                    if n % 4 == 0:
                        screen.version()
                        screen.inspection(id_)
                        journal.set_whereabouts({"inspection": id_, "cylinder": n % 6})
                screen.summaries()
                gc.collect()
                sizes.append(resident())
    finally:
        shutil.rmtree(base)
    print("\nresident MB after each 4 inspections:", [round(s / 2**20, 1) for s in sizes[3::4]])
    assert sizes[-1] - sizes[15] < 6 * 2**20  # from when the caches are full to the end
