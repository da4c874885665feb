"""An outline that follows edges, worked out on a thread of its own so that the cross hair never waits for it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Lock
from typing import Any

from borelog.marks.shapes import Freehand, Pair
from borelog.text import BorelogError

Told = Callable[[tuple[Pair, ...], str], None]


class Tracer:
    """Follows the pointer along edges; only the latest place counts while one is worked out.

    Parameters
    ----------
    pixels
        Gives the picture, (H, W, 3) uint8; called on the thread.
    start
        The first point, in the original's pixels.
    told
        Called on the thread with the path so far and '' or what went wrong.
    """

    def __init__(self, pixels: Callable[[], Any], start: Pair, told: Told) -> None:
        self._told, self._lock = told, Lock()
        self._pool = ThreadPoolExecutor(1, "trace")
        self._latest: Pair | None = None
        self._asked = False
        self._tool: Any = None
        self.fixed = 0
        self._pool.submit(self._safely, lambda: self._begin(pixels, start))

    def _begin(self, pixels: Callable[[], Any], start: Pair) -> None:
        from borelog.stills.scissors import Scissors

        self._tool = Scissors(pixels(), start)

    def _safely(self, work: Callable[[], None]) -> None:
        try:
            work()
        except (BorelogError, OSError) as error:
            self._told((), str(error))

    def follow(self, place: Pair) -> None:
        """The pointer is here now."""
        with self._lock:
            self._latest = place
            if self._asked:
                return
            self._asked = True
        self._pool.submit(self._safely, self._move)

    def _move(self) -> None:
        with self._lock:
            place, self._asked = self._latest, False
        if place is not None and self._tool is not None:
            trace = self._tool.move(place)
            self._told((*trace.fixed, *trace.live), "")

    def fix(self, place: Pair) -> None:
        """Keep the path up to here."""
        self.fixed += 1

        def work() -> None:
            if self._tool is not None:
                self._told(self._tool.fix(place).fixed, "")

        self._pool.submit(self._safely, work)

    def back(self) -> bool:
        """Take the last kept piece away; False where nothing is kept."""
        if not self.fixed:
            return False
        self.fixed -= 1

        def work() -> None:
            if self._tool is not None:
                self._told(self._tool.back().fixed, "")

        self._pool.submit(self._safely, work)
        return True

    def finish(self, done: Callable[[Freehand], None]) -> None:
        """Close the outline; ``done`` is called on the thread with the shape."""

        def work() -> None:
            if self._tool is not None:
                done(self._tool.finish())

        self._pool.submit(self._safely, work)

    def end(self) -> None:
        """Nothing more is asked of it."""
        self._pool.shutdown(wait=False, cancel_futures=True)
