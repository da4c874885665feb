"""Killed and unplugged at random moments: what was told as saved is there. Each rule left out is noticed."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

RIG = Path(__file__).with_name("crash_rig.py")


def test_a_few_kills_lose_nothing(rig: Callable[..., Any], tmp_path: Path) -> None:
    told = 0
    # A busy machine writes little between two kills: kill again until enough was told to lose something.
    for seed in range(1, 9):
        said = rig("kills", tmp_path / f"logbook-{seed}", "--count", "12", "--seed", str(seed))
        assert said["lost"] == []
        told += said["told"]
        if told > 12:
            break
    assert told > 12


@pytest.mark.long
def test_two_hundred_kills_lose_nothing(rig: Callable[..., Any], tmp_path: Path) -> None:
    said = rig("kills", tmp_path / "logbook", "--count", "200", "--seed", "2")
    print(said)
    assert said["lost"] == []
    assert said["told"] >= 100


@pytest.mark.long
def test_kills_notice_a_row_written_before_its_file(rig: Callable[..., Any], tmp_path: Path) -> None:
    assert rig("kills", tmp_path / "logbook", "--count", "60", "--break", "row-first")["lost"]


def pulls(plug: Any, count: int, rule: str, rig: Callable[..., Any], seed: int = 0) -> tuple[int, list[str]]:
    """Pull the plug until something told was lost, at most ``count`` times: (pulls, losses)."""
    chance = random.Random(seed)
    acks = plug.base / "acks"
    for number in range(1, count + 1):
        with plug.mounted() as volume:
            command = [sys.executable, str(RIG), "write", str(volume / "logbook"), "--acks", str(acks)]
            command += ["--seed", str(seed * 1000 + number), *(["--break", rule] if rule else [])]
            before = acks.stat().st_size if acks.exists() else 0
            with subprocess.Popen(command) as writer:
                while not acks.exists() or acks.stat().st_size == before:
                    assert writer.poll() is None
                    time.sleep(0.005)
                time.sleep(chance.uniform(0.01, 0.25))
                writer.send_signal(signal.SIGSTOP)
                told = acks.read_bytes()
                snapshot = plug.pull()
                writer.kill()
        check = plug.base / "told"
        check.write_bytes(told)
        with plug.after(snapshot) as volume:
            lost = rig("check", volume / "logbook", "--acks", check)
        if lost:
            return number, lost
        acks.write_bytes(told)
        snapshot.replace(plug.image)  # life goes on with what the disk had
    return count, []


@pytest.mark.long
@pytest.mark.parametrize("kind", ["ext4", "btrfs"])
def test_twenty_pulled_plugs_lose_nothing(plug: Any, rig: Callable[..., Any], kind: str) -> None:
    number, lost = pulls(plug(kind), 20, "", rig, seed=3)
    assert (number, lost) == (20, [])


@pytest.mark.long
@pytest.mark.parametrize(
    ("kind", "rule"), [("ext4", "file-sync"), ("btrfs", "folder-sync"), ("ext4", "commit-sync")]
)
def test_pulled_plugs_notice_a_rule_left_out(
    plug: Any, rig: Callable[..., Any], kind: str, rule: str
) -> None:
    # A new disk each time: the longer a logbook lives, the seldomer it makes the folders that can get lost.
    for life in range(4, 10):
        volume = plug(kind)
        volume.base.joinpath("acks").unlink(missing_ok=True)
        number, lost = pulls(volume, 10, rule, rig, seed=life)
        if lost:
            break
    print(f"{rule} left out on {kind}: noticed at pull {number} of life {life - 3}: {lost[:1]}")
    assert lost


@pytest.mark.long
@pytest.mark.parametrize("kind", ["ext4", "btrfs"])
def test_power_lost_during_a_migration_leaves_the_old_or_the_new(
    plug: Any, rig: Callable[..., Any], kind: str
) -> None:
    volume = plug(kind)
    with volume.mounted() as where:
        rig("prepare", where / "logbook")
    clean = volume.base / "clean.img"
    volume.image.replace(clean)
    for number in range(8):
        volume.image.write_bytes(clean.read_bytes())
        with volume.mounted() as where:
            command = [sys.executable, str(RIG), "migrate", str(where / "logbook")]
            with subprocess.Popen(command, stdout=subprocess.PIPE) as migration:
                assert migration.stdout is not None
                assert migration.stdout.readline() == b"begun\n"
                time.sleep(0.012 * number)
                migration.send_signal(signal.SIGSTOP)
                snapshot = volume.pull()
                migration.kill()
        with volume.after(snapshot) as where:
            assert rig("old-or-new", where / "logbook") == []
