"""Volumes of their own for the crash tests: loop-mounted images and small file systems in memory."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

RIG = Path(__file__).with_name("crash_rig.py")


def call(*command: str | Path) -> None:
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True, check=False)
    if done.returncode:
        raise OSError(f"{command[0]}: {done.stderr.strip()}")


@contextmanager
def mounted(what: str | Path, where: Path, *options: str) -> Iterator[Path]:
    where.mkdir(exist_ok=True)
    call("mount", *options, what, where)
    try:
        yield where
    finally:
        for _ in range(50):
            with contextlib.suppress(OSError):
                call("umount", where)
                break


@pytest.fixture
def rig() -> Callable[..., Any]:
    """Run one job of the crash rig to its end and give back what it printed."""

    def run(*args: str | Path) -> Any:
        command = [sys.executable, str(RIG), *(str(a) for a in args)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
        assert done.returncode == 0, done.stderr[-2000:]
        return json.loads(done.stdout) if done.stdout.startswith(("{", "[")) else done.stdout

    return run


class Plug:
    """A volume in an image file, from which the plug can be pulled: a copy of the image at one moment."""

    def __init__(self, kind: str, base: Path) -> None:
        self.kind = kind
        self.base = base
        self.image = base / "volume.img"
        with open(self.image, "wb") as file:
            file.truncate((160 if kind == "btrfs" else 64) << 20)
        call(f"mkfs.{kind}", "-q", *(["-f"] if kind == "btrfs" else ["-F"]), self.image)

    def mounted(self) -> contextlib.AbstractContextManager[Path]:
        return mounted(self.image, self.base / "volume", "-o", "loop")

    def pull(self) -> Path:
        """The state a disk would have if the power went now."""
        snapshot = self.base / "pulled.img"
        call("cp", "--sparse=always", self.image, snapshot)
        return snapshot

    def after(self, snapshot: Path) -> contextlib.AbstractContextManager[Path]:
        return mounted(snapshot, self.base / "after", "-o", "loop")


@pytest.fixture
def plug(tmp_path: Path) -> Callable[[str], Plug]:
    def make(kind: str) -> Plug:
        if not hasattr(os, "geteuid") or os.geteuid() != 0:
            pytest.skip("pulling the plug needs the right to mount loop devices")
        if shutil.which(f"mkfs.{kind}") is None:
            pytest.skip(f"mkfs.{kind} is not installed")
        try:
            made = Plug(kind, tmp_path)
            with made.mounted():
                pass
        except OSError as error:
            pytest.skip(f"loop mounts of {kind} are not allowed here: {error}")
        return made

    return make


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of four megabytes."""
    try:
        with mounted("tmpfs", tmp_path / "small", "-t", "tmpfs", "-o", "size=4m") as where:
            yield where
    except (OSError, FileNotFoundError) as error:
        pytest.skip(f"a small disk in memory cannot be mounted here: {error}")
