"""Trying foreign pictures in a child process first, so that no file can take the program down.

The child has bounded memory and each picture a bounded time. What passes there is decoded again in the program by the
same decoder from the same bytes. One child serves a whole card; where a picture ends it, the next picture gets a new one.
"""

from __future__ import annotations

import contextlib
import json
import queue
import subprocess
import sys
import threading
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

from borelog.stills import StillError
from borelog.stills.intake import PIXEL_CAP, PictureFacts, check_kind, decode, shown

MEMORY_CAP = 2 * 1024**3
SECONDS = 30.0


class Guard:
    """Use as a context manager: ``with Guard() as guard: picture = guard.check(data, name)``.

    Parameters
    ----------
    seconds : float
        Longest time for one picture.
    memory : int
        Bytes of address space for the child beyond what its libraries take, where the system can bound it (not on
        Windows).
    """

    def __init__(self, seconds: float = SECONDS, memory: int = MEMORY_CAP) -> None:
        self._seconds, self._memory = seconds, memory
        self._child: subprocess.Popen[bytes] | None = None
        self._answers: queue.Queue[bytes] = queue.Queue()
        self._lock = threading.Lock()

    def __enter__(self) -> Guard:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the child; a later check starts a new one."""
        with self._lock:
            self._end()

    def _end(self) -> None:
        child, self._child = self._child, None
        if child is None:
            return
        child.kill()
        child.wait()
        for stream in (child.stdin, child.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def _start(self) -> subprocess.Popen[bytes]:
        if self._child is not None and self._child.poll() is None:
            return self._child
        self._end()
        try:
            child = subprocess.Popen(
                [sys.executable, "-m", "borelog.stills.guard", str(self._memory)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
            )
        except OSError as error:
            raise StillError(
                f"pictures cannot be checked: no second process can be started ({error.strerror})"
            ) from None
        self._child, self._answers = child, queue.Queue()
        threading.Thread(target=_pump, args=(child.stdout, self._answers), daemon=True).start()
        return child

    def check(self, data: bytes, name: str = "picture") -> PictureFacts:
        """Decode the picture in the child and say what it is.

        Raises
        ------
        StillError
            When it is no usable picture, takes longer than the limit, or ends the child.
        """
        check_kind(data, name)
        with self._lock:
            child = self._start()
            assert child.stdin is not None
            label = name.encode("utf-8", "replace")[-1000:]
            try:
                child.stdin.write(len(label).to_bytes(4, "big") + len(data).to_bytes(8, "big") + label)
                child.stdin.write(data)
                child.stdin.flush()
                line = self._answers.get(timeout=self._seconds)
            except queue.Empty:
                self._end()
                raise StillError(
                    f"{shown(name)}: took longer than {self._seconds:.0f} s to decode; not taken in"
                ) from None
            except OSError:
                line = b""
            if not line:
                self._end()
                raise StillError(f"{shown(name)}: breaks the picture decoder; not taken in, the rest goes on")
        answer = json.loads(line)
        if "error" in answer:
            raise StillError(answer["error"])
        return PictureFacts(**{**answer, "remarks": tuple(answer["remarks"])})


def _pump(stream: BinaryIO | None, answers: queue.Queue[bytes]) -> None:
    if stream is None:
        return
    with contextlib.suppress(OSError, ValueError):
        while line := stream.readline():
            answers.put(line)
    answers.put(b"")


def bound_memory(limit: int) -> None:
    """Bound this process: ``limit`` more bytes of address space, no core files; nothing where the system cannot.

    What is loaded counts first: one release of a numeric library reserves hundreds of megabytes more than another.
    """
    try:
        import resource
    except ImportError:
        return
    taken = 0
    with contextlib.suppress(OSError, ValueError):
        taken = int(Path("/proc/self/statm").read_text("ascii").split()[0]) * resource.getpagesize()
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (taken + limit, taken + limit))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _exactly(stream: BinaryIO, count: int) -> bytes:
    data = stream.read(count)
    if len(data) < count:
        raise EOFError
    return data


def serve(source: BinaryIO, sink: BinaryIO) -> None:
    """The child's loop: read a framed picture, answer with one JSON line, until the source ends."""
    while True:
        try:
            label_size = int.from_bytes(_exactly(source, 4), "big")
            size = int.from_bytes(_exactly(source, 8), "big")
            name = _exactly(source, label_size).decode("utf-8", "replace")
            data = _exactly(source, size)
        except EOFError:
            return
        try:
            answer = asdict(decode(data, name, cap=PIXEL_CAP)[1])
        except StillError as error:
            answer = {"error": str(error)}
        except MemoryError:
            answer = {"error": f"{shown(name)}: needs more memory than is allowed; save a smaller copy"}
        del data
        sink.write(json.dumps(answer).encode() + b"\n")
        sink.flush()


if __name__ == "__main__":
    import cv2

    cv2.setNumThreads(1)
    bound_memory(int(sys.argv[1]))
    serve(sys.stdin.buffer, sys.stdout.buffer)
