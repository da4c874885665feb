"""New pictures in a folder, each given out once it is completely written."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from borelog.stills import StillError
from borelog.stills.gather import is_passed_over, natural
from borelog.stills.guard import Guard
from borelog.stills.intake import PictureFacts, read_file, shown
from borelog.stills.kinds import FILMS, PICTURES, kind_by_name

DEEPEST = 3
PATIENCE = 10.0

Stamp = tuple[int, int, int]
Check = Callable[[bytes, str], PictureFacts]


@dataclass(frozen=True, slots=True)
class Arrival:
    """One picture: its bytes and what it is, or, when ``why`` is not empty, the reason it cannot be used.

    ``film`` says that it is no picture but a film, to be filed in its own way; that is said once a film.

    ``seen`` is when its name was first there, by the clock of `arrivals`: while a picture is still being written the
    person may have gone on to another place.
    """

    path: Path
    data: bytes = field(default=b"", repr=False)
    picture: PictureFacts | None = None
    why: str = ""
    seen: float = 0.0
    film: bool = False


@dataclass(slots=True)
class _Waiting:
    stamp: Stamp
    since: float
    first: float
    tried: bool = False


def scan(folder: Path) -> dict[Path, Stamp]:
    """Pictures and films by name in the folder and up to three levels below (cameras make folders), with (size, time, file number).

    Raises
    ------
    StillError
        When the folder itself is missing or cannot be listed.
    """
    found: dict[Path, Stamp] = {}

    def listing(at: Path, depth: int) -> None:
        try:
            with os.scandir(at) as entries:
                for entry in entries:
                    if is_passed_over(entry.name):
                        continue
                    if entry.is_dir(follow_symlinks=False):
                        if depth < DEEPEST:
                            listing(Path(entry.path), depth + 1)
                    elif kind_by_name(entry.name) in (*PICTURES, *FILMS):
                        about = entry.stat()
                        found[Path(entry.path)] = (about.st_size, about.st_mtime_ns, about.st_ino)
        except OSError as error:
            # A folder below may vanish while it is listed (card pulled, camera renames); the watched one may not.
            if depth == 0:
                raise StillError(
                    f"{shown(folder)}: cannot be watched ({error.strerror}); is the card or share still there?"
                ) from None

    listing(folder, 0)
    return found


def arrivals(
    folder: str | os.PathLike[str],
    stop: threading.Event,
    *,
    existing: bool = False,
    interval: float = 0.4,
    patience: float = PATIENCE,
    check: Check | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[Arrival | None]:
    """Watch a folder by looking, which also works on network shares and cards.

    Parameters
    ----------
    folder : path
        Watched with up to three levels below.
    stop : threading.Event
        Set it from anywhere to end the watch within one interval.
    existing : bool
        Whether the pictures that are there at the start count as new.
    interval : float
        Seconds between two looks.
    patience : float
        How long a file that has stopped growing may stay undecodable before it is given out as unusable.
    check : callable, optional
        Decides whether bytes are a whole picture; raises `StillError`. Default: a `Guard` of its own.
    clock : callable
        Seconds, rising.

    Yields
    ------
    Arrival or None
        None after every look, so that the caller can do something else; an Arrival for each new picture, in the
        order of the file times and names. A picture that changes after it was given out is given out again.

    Raises
    ------
    StillError
        When the folder is missing at the start. If it goes away later, the watch waits for it to come back.
    """
    root = Path(folder)
    done: dict[Path, Stamp] = scan(root)
    if existing:
        done = {}
    waiting: dict[Path, _Waiting] = {}
    guard = Guard() if check is None else None
    test: Check = guard.check if guard is not None else check  # type: ignore[assignment]
    try:
        while not stop.is_set():
            try:
                present = scan(root)
            except StillError:
                present = {}
            for path in [p for p in waiting if p not in present]:
                del waiting[path]
            for path in sorted(present, key=lambda p: (present[p][1], natural(str(p)))):
                if stop.is_set():
                    break
                arrival = _step(path, present[path], done, waiting, test, patience, clock())
                if arrival is not None:
                    yield arrival
            yield None
            stop.wait(interval)
    finally:
        if guard is not None:
            guard.close()


def _step(
    path: Path,
    stamp: Stamp,
    done: dict[Path, Stamp],
    waiting: dict[Path, _Waiting],
    test: Check,
    patience: float,
    now: float,
) -> Arrival | None:
    film = kind_by_name(path.name) in FILMS
    if done.get(path) == stamp or (film and path in done):
        return None
    seen = waiting.get(path)
    if seen is None or seen.stamp != stamp:
        waiting[path] = _Waiting(stamp, now, seen.first if seen else now)
        return None
    if film:  # said once it no longer grows; whether it can be read shows when it is filed
        done[path] = stamp
        del waiting[path]
        return Arrival(path, why="is a film, not a picture", seen=seen.first, film=True)
    patient = now - seen.since < patience
    if patient and (seen.tried or stamp[0] == 0):
        return None
    seen.tried = True
    try:
        data = read_file(path)
        picture = test(data, path.name)
        if patient and any("cut short" in remark for remark in picture.remarks):
            return None
        arrival = Arrival(path, data, picture, seen=seen.first)
    except StillError as error:
        if patient:
            return None
        arrival = Arrival(path, why=str(error).removeprefix(f"{shown(path)}: "), seen=seen.first)
    done[path] = stamp
    del waiting[path]
    return arrival
