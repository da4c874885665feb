"""Small copies for rows of stills: upright, free of metadata, made from the original's bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills import StillError
from borelog.stills.intake import decode, encode

LONGEST = 320


def shrink(bgr: NDArray[np.uint8], longest: int) -> NDArray[np.uint8]:
    """The picture reduced by area averaging so that its longer side is ``longest`` pixels; never enlarged."""
    height, width = bgr.shape[:2]
    ratio = longest / max(height, width)
    if ratio >= 1:
        return bgr
    size = (max(1, round(width * ratio)), max(1, round(height * ratio)))
    return np.asarray(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), np.uint8)


def thumbnail(data: bytes, longest: int = LONGEST, name: str = "picture", quality: int = 80) -> bytes:
    """A JPEG whose longer side is at most ``longest`` pixels.

    Raises
    ------
    StillError
        When the bytes are no usable picture.
    """
    bgr, _ = decode(data, name, longest=longest)
    return encode(shrink(bgr, longest), "JPEG", quality)


def thumbnails(
    sources: Iterable[tuple[str, Callable[[], bytes]]], longest: int = LONGEST, workers: int = 2
) -> Iterator[tuple[str, bytes | StillError]]:
    """Thumbnails of many pictures on several threads, in the order given; a bad one does not stop the rest.

    Parameters
    ----------
    sources : iterable of (name, read)
        ``read()`` returns the bytes, and is called on the worker thread, so that few originals are in memory at once.
    longest : int
        Longer side in pixels.
    workers : int
        Threads.

    Yields
    ------
    tuple of (str, bytes or StillError)
    """

    def one(name: str, read: Callable[[], bytes]) -> bytes | StillError:
        try:
            return thumbnail(read(), longest, name)
        except StillError as error:
            return error

    waiting = iter(sources)
    with ThreadPoolExecutor(workers) as pool:
        running: list[tuple[str, Future[bytes | StillError]]] = []

        def feed(count: int) -> None:
            running.extend((name, pool.submit(one, name, read)) for name, read in islice(waiting, count))

        feed(workers * 2)
        while running:
            name, future = running.pop(0)
            result = future.result()
            feed(1)
            yield name, result
