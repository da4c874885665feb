"""Picking frames of a foreign film in a child process, so that no film can take the program down."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from typing import BinaryIO

from borelog.stills import StillError
from borelog.stills.film import MOST, FilmProgress, Pick, pick
from borelog.stills.guard import bound_memory
from borelog.stills.intake import decode, encode, shown
from borelog.stills.planes import Cancelled, Stopped

MEMORY_CAP = 3 * 1024**3
_EVERY = 5


def pick_apart(
    path: str | os.PathLike[str],
    most: int = MOST,
    progress: FilmProgress | None = None,
    cancelled: Cancelled | None = None,
    memory: int = MEMORY_CAP,
) -> Iterator[Pick]:
    """As `film.pick`, with the film read in a child process of bounded memory.

    Parameters
    ----------
    path, most, progress, cancelled
        As for `film.pick`; progress comes every few frames.
    memory : int
        Bytes of address space for the child, where the system can bound it (not on Windows).

    Raises
    ------
    StillError
        As `film.pick`, and when the film ends the child; `Stopped` when cancelled.
    """
    name = shown(path)
    try:
        child = subprocess.Popen(
            [sys.executable, "-m", "borelog.stills.filmguard", os.path.abspath(path), str(most), str(memory)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
        )
    except (OSError, ValueError) as error:
        raise StillError(
            f"{name}: films cannot be read: no second process can be started ({error})"
        ) from None
    assert child.stdout is not None
    finished = False
    try:
        for line in iter(child.stdout.readline, b""):
            if cancelled is not None and cancelled():
                raise Stopped("stopped before the film was read through")
            message = json.loads(line)
            if "error" in message:
                raise StillError(message["error"])
            if "done" in message:
                if progress is not None:
                    progress(message["done"], message["of"])
            elif "frame" in message:
                data = child.stdout.read(message["bytes"])
                image, _ = decode(data, name)
                yield Pick(message["frame"], message["seconds"], message["score"], image)
            else:
                finished = True
        if not finished:
            raise StillError(f"{name}: breaks the film reader; convert it to MJPEG AVI and try again")
    except json.JSONDecodeError:
        raise StillError(f"{name}: breaks the film reader; convert it to MJPEG AVI and try again") from None
    finally:
        child.kill()
        child.wait()
        child.stdout.close()


def _serve(path: str, most: int, sink: BinaryIO) -> None:
    def say(message: dict[str, object], data: bytes = b"") -> None:
        sink.write(json.dumps(message).encode() + b"\n" + data)
        sink.flush()

    def progress(done: int, of: int | None) -> None:
        if done % _EVERY == 0:
            say({"done": done, "of": of})

    try:
        for p in pick(path, most, progress):
            data = encode(p.image, "PNG")
            say({"frame": p.frame, "seconds": p.seconds, "score": p.score, "bytes": len(data)}, data)
        say({"end": True})
    except StillError as error:
        say({"error": str(error)})
    except MemoryError:
        say({"error": f"{shown(path)}: needs more memory than is allowed; save a smaller film"})


if __name__ == "__main__":
    bound_memory(int(sys.argv[3]))
    with contextlib.suppress(BrokenPipeError):
        _serve(sys.argv[1], int(sys.argv[2]), sys.stdout.buffer)
