"""Who has the logbook open: a shared hold for everyday work, an exclusive one for migration and restoring.

The operating system's lock decides; the notes beside it only put a name to it. A killed program's lock falls by
itself, and its note is recognised as stale.
"""

from __future__ import annotations

import contextlib
import json
import os
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import msgspec

from borelog.logbook.errors import Busy, plainly
from borelog.text import one_line

FILE = "logbook.lock"
NOTES = "open"


class Holder(msgspec.Struct, frozen=True):
    """One program that has the logbook open."""

    pid: int
    host: str
    since: str
    doing: str

    @property
    def words(self) -> str:
        """As in a sentence: 'process 4711 on bench-2 since 2026-01-01 10:00 (migration)'."""
        since = one_line(self.since, 25).replace("T", " ")
        return f"process {self.pid} on {one_line(self.host, 60)} since {since} ({one_line(self.doing, 40)})"


class Hold:
    """A hold on a logbook, until ``release``."""

    def __init__(self, handle: int, note: Path | None) -> None:
        self._handle = handle
        self._note = note

    def release(self) -> None:
        """Let go; twice does no harm."""
        if self._handle >= 0:
            if self._note is not None:
                with contextlib.suppress(OSError):
                    self._note.unlink()
            os.close(self._handle)
            self._handle = -1


def share(folder: Path, doing: str = "at work") -> Hold | None:
    """Hold the logbook together with others; None where the folder cannot be written (nobody can migrate it either).

    Raises
    ------
    Busy
        If somebody holds it alone; the sentence names who and since when.
    """
    handle = _handle(folder)
    if handle is None:
        return None
    if not _lock(handle, alone=False):
        os.close(handle)
        raise Busy(
            f"the logbook is held alone by {_named(folder)}; wait until that is done, then do this again"
        )
    return Hold(handle, _write_note(folder, doing))


@contextmanager
def alone(folder: Path, doing: str) -> Iterator[None]:
    """Hold the logbook alone for the block.

    Raises
    ------
    Busy
        If anybody has it open; the sentence names them.
    """
    with plainly(folder):
        handle = os.open(folder / FILE, os.O_RDWR | os.O_CREAT, 0o644)
    if not _lock(handle, alone=True):
        os.close(handle)
        raise Busy(
            f"{doing} needs the logbook alone, but it is open in {_named(folder)}; close it and do this again"
        )
    hold = Hold(handle, _write_note(folder, doing))
    try:
        yield
    finally:
        hold.release()


def holders(folder: Path) -> list[Holder]:
    """Programs that say they have the logbook open; notes of dead programs on this machine are left out."""
    found: list[Holder] = []
    with contextlib.suppress(OSError):
        for note in sorted((folder / NOTES).iterdir()):
            with contextlib.suppress(OSError, msgspec.DecodeError):
                holder = msgspec.json.decode(note.read_bytes(), type=Holder)
                if holder.host != platform.node() or _alive(holder.pid):
                    found.append(holder)
                else:
                    note.unlink()
    return found


def _named(folder: Path) -> str:
    names = [h.words for h in holders(folder)]
    return "; ".join(names[:3]) or "another program"


def _handle(folder: Path) -> int | None:
    for flags in (os.O_RDWR | os.O_CREAT, os.O_RDONLY):
        with contextlib.suppress(OSError):
            return os.open(folder / FILE, flags, 0o644)
    return None


def _write_note(folder: Path, doing: str) -> Path | None:
    holder = Holder(
        os.getpid(), platform.node(), datetime.now().astimezone().isoformat(timespec="seconds"), doing
    )
    note = folder / NOTES / f"{os.getpid()}-{os.urandom(3).hex()}.json"
    try:
        note.parent.mkdir(exist_ok=True)
        note.write_text(json.dumps(msgspec.to_builtins(holder)), "utf-8")
    except OSError:
        return None
    return note


def _alive(pid: int) -> bool:
    if os.name == "nt":  # pragma: no cover
        return True  # a signal of 0 would end the process there
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


if os.name == "nt":  # pragma: no cover
    import msvcrt

    _SLOTS = 1000

    def _lock(handle: int, *, alone: bool) -> bool:
        """One byte of many for a shared hold, all of them for an exclusive one: there are no shared locks here."""
        for slot in range(1 if alone else _SLOTS):
            os.lseek(handle, slot, os.SEEK_SET)
            with contextlib.suppress(OSError):
                msvcrt.locking(handle, msvcrt.LK_NBLCK, _SLOTS if alone else 1)  # type: ignore[attr-defined,unused-ignore]
                return True
        return False

else:
    import fcntl

    def _lock(handle: int, *, alone: bool) -> bool:
        try:
            fcntl.flock(handle, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
