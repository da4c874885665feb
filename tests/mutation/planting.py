"""``python -m tests.mutation.planting`` plants faults one at a time and counts how many the tests notice.

Each fault of ``faults.toml`` is written into a copy of the package, and the tests that ought to notice run against that
copy. A fault that every test lets pass is named. ``--write`` puts the count into ``docs/quality.md``.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "quality.md"
WORKERS = 2
SLOWEST = 120.0


@dataclass(frozen=True)
class Fault:
    """``text`` in ``file`` (under borelog/) becomes ``fault``; ``tests`` (under tests/) ought to notice."""

    file: str
    text: str
    fault: str
    tests: tuple[str, ...]

    @property
    def room(self) -> str:
        """The room it is planted in; money is shown by itself."""
        return "money" if self.file.startswith("verdict/money") else self.file.split("/")[0]


@dataclass(frozen=True)
class Planted:
    """What became of a fault: ``caught`` or not, and the first failing test."""

    fault: Fault
    caught: bool
    by: str


def faults() -> tuple[Fault, ...]:
    """The table."""
    with (Path(__file__).parent / "faults.toml").open("rb") as file:
        rows = tomllib.load(file)["fault"]
    return tuple(Fault(r["file"], r["text"], r["fault"], tuple(r["tests"].split())) for r in rows)


def misfits() -> list[str]:
    """Rows whose text is no longer in its file exactly once, or whose tests are gone."""
    found = []
    for f in faults():
        times = (ROOT / "borelog" / f.file).read_text(encoding="utf-8").count(f.text)
        if times != 1:
            found.append(f"{f.file}: {f.text!r} stands there {times} times")
        found += [f"{f.file}: no tests/{t}" for t in f.tests if not (ROOT / "tests" / t).exists()]
    return found


class Copy:
    """A copy of package and tests in which one fault after the other is planted.

    Every write carries a later time than the one before: bytecode is found stale by the second, and two faults a second
    apart would else run the same bytecode.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        kept = shutil.ignore_patterns("__pycache__", ".*")
        for name in ("borelog", "tests", "docs", "sample_images"):
            shutil.copytree(ROOT / name, folder / name, ignore=kept)
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE"):
            shutil.copy(ROOT / name, folder / name)
        self._time = time.time()

    def _write(self, path: Path, text: str) -> None:
        path.write_text(text, encoding="utf-8")
        self._time += 2
        os.utime(path, (self._time, self._time))

    def run(self, tests: tuple[str, ...], seconds: float = 900.0) -> tuple[int, str]:
        """Exit code and output of these tests against the copy."""
        command = [sys.executable, "-m", "pytest", "-x", "-q", "--no-header", *(f"tests/{t}" for t in tests)]
        # Bytecode is kept: fifty runs would else compile everything fifty times.
        env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {
            "PYTHONPATH": str(self.folder),
            "HYPOTHESIS_STORAGE_DIRECTORY": str(self.folder / ".h"),
        }
        try:
            done = subprocess.run(
                command,
                cwd=self.folder,
                env=env,
                capture_output=True,
                text=True,
                timeout=seconds,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return -1, "FAILED no end"
        return done.returncode, done.stdout + done.stderr

    def plant(self, fault: Fault) -> Planted:
        """Plant, run, take out again."""
        path = self.folder / "borelog" / fault.file
        whole = path.read_text(encoding="utf-8")
        self._write(path, whole.replace(fault.text, fault.fault))
        try:
            code, said = self.run(fault.tests, SLOWEST)
        finally:
            self._write(path, whole)
        first = re.search(r"^(?:FAILED|ERROR) (\S+)", said, re.M)
        return Planted(fault, code != 0, first[1] if first else "")


def plant_all() -> tuple[list[Planted], list[str]]:
    """Plant every fault; returns what became of each, and groups of tests that fail without any fault."""
    todo = faults()
    with tempfile.TemporaryDirectory() as top:
        copies: SimpleQueue[Copy] = SimpleQueue()
        for k in range(WORKERS):
            copies.put(Copy(Path(top) / str(k)))

        def with_copy(fault: Fault | tuple[str, ...]) -> Planted | tuple[int, str]:
            copy = copies.get()
            try:
                return copy.plant(fault) if isinstance(fault, Fault) else copy.run(fault)
            finally:
                copies.put(copy)

        with ThreadPoolExecutor(WORKERS) as pool:
            every = tuple(sorted({t for f in todo for t in f.tests}))
            sound = list(pool.map(with_copy, [every[0::2], every[1::2]]))
            broken = [str(said)[-2000:] for code, said in sound if code != 0]  # type: ignore[misc]
            planted = [] if broken else list(pool.map(with_copy, todo))
    return planted, broken  # type: ignore[return-value]


def table(planted: list[Planted]) -> str:
    """Share caught, by room, as the page shows it."""
    rooms = dict.fromkeys(p.fault.room for p in planted)
    lines = ["| room | planted | caught |", "|---|---|---|"]
    for room in rooms:
        mine = [p for p in planted if p.fault.room == room]
        lines.append(f"| {room} | {len(mine)} | {sum(p.caught for p in mine)} |")
    caught = sum(p.caught for p in planted)
    lines.append(f"| all | {len(planted)} | {caught} ({100 * caught / len(planted):.0f} %) |")
    return "\n".join(lines)


def main() -> None:
    """Plant all, print, and with ``--write`` renew the table of the page."""
    parser = argparse.ArgumentParser(description="Plant faults and count how many the tests notice.")
    parser.add_argument("--write", action="store_true", help="renew the table in docs/quality.md")
    args = parser.parse_args()
    if wrong := misfits():
        sys.exit("\n".join(wrong))
    planted, broken = plant_all()
    if broken:
        sys.exit("tests fail without any fault:\n" + "\n".join(broken))
    for p in planted:
        print(f"{'caught  ' if p.caught else 'SURVIVED'} {p.fault.file}: {p.fault.fault.strip()!r}  {p.by}")
    print(table(planted))
    if args.write:
        text = PAGE.read_text(encoding="utf-8")
        PAGE.write_text(
            re.sub(r"\| room \| planted \|.*?(?=\n\n|\Z)", table(planted), text, count=1, flags=re.S),
            encoding="utf-8",
        )


if __name__ == "__main__":
    main()
