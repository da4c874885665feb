"""The same picture twice, black frames, hopeless blur: set aside with a reason, never deleted.

The fingerprint is the 64-bit DCT hash of Zauner, 'Implementation and Benchmarking of Perceptual Image Hash Functions'
(2010), from memory: stable under JPEG, size and light, and not fooled by the round black frame of a probe, as a
gradient hash is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from borelog.stills.planes import Picture, luma

NEAR = 8
REACH = 6
BITS = 64


def phash(picture: Picture) -> int:
    """64-bit fingerprint of a picture.

    Parameters
    ----------
    picture : ndarray
        ``uint8`` (height, width, 3) blue, green, red, or (height, width) grey.
    """
    grey = luma(picture)
    # Halving by whole pixels is nearly free, and an average of averages is the same average.
    while min(grey.shape) >= 256:
        even = grey[: grey.shape[0] // 2 * 2, : grey.shape[1] // 2 * 2]
        half = (even.shape[1] // 2, even.shape[0] // 2)
        grey = np.asarray(cv2.resize(even, half, interpolation=cv2.INTER_AREA), np.uint8)
    small = cv2.resize(grey, (32, 32), interpolation=cv2.INTER_AREA)
    low = cv2.dct(small.astype(np.float32))[:8, :8].ravel()
    bits = low > np.median(low[1:])
    bits[0] = False
    return int.from_bytes(np.packbits(bits).tobytes(), "big")


def distance(a: int, b: int) -> int:
    """How many of the 64 bits differ; up to `NEAR` is a near double, 18 and more another view."""
    return (a ^ b).bit_count()


@dataclass(frozen=True, slots=True)
class Judged:
    """What is needed of each still to sort out a card, in shooting order.

    ``digest`` any exact fingerprint of the bytes; ``hash`` from `phash`; ``sharpness`` the focus score;
    ``useless`` the reason, in words, why nothing can be seen ('black'), or empty.
    """

    digest: str
    hash: int
    sharpness: float
    useless: str = ""


@dataclass(frozen=True, slots=True)
class SetAside:
    """Still number ``index`` set aside; ``keeper`` is the still that stays in its place, if any."""

    index: int
    reason: str
    keeper: int | None = None


def sort_out(stills: Sequence[Judged], near: int = NEAR, reach: int = REACH) -> tuple[SetAside, ...]:
    """Which stills of a card to set aside, and why.

    Parameters
    ----------
    stills : sequence of Judged
        In shooting order.
    near : int
        Largest distance that counts as the same view.
    reach : int
        How many stills apart two near doubles may be: the same view of the next cylinder is no double. Byte for byte
        the same file is one however far apart.

    Returns
    -------
    tuple of SetAside
        By index. Of near doubles the sharpest stays; of exact ones the first.
    """
    aside: dict[int, SetAside] = {}
    first: dict[str, int] = {}
    for i, still in enumerate(stills):
        if still.useless:
            aside[i] = SetAside(i, still.useless)
        elif still.digest and still.digest in first:
            aside[i] = SetAside(i, "the same file twice", first[still.digest])
        else:
            first.setdefault(still.digest, i)
    left = [i for i in range(len(stills)) if i not in aside]
    # The sharpest keeps its place and takes in its neighbours, so that a chain of small moves is not eaten whole.
    for keeper in sorted(left, key=lambda i: (-stills[i].sharpness, i)):
        if keeper in aside:
            continue
        for other in left:
            close = other != keeper and other not in aside and abs(other - keeper) <= reach
            if close and distance(stills[other].hash, stills[keeper].hash) <= near:
                aside[other] = SetAside(other, "nearly the same view, less sharp", keeper)
    kept = {i for i in range(len(stills)) if i not in aside}
    return tuple(
        SetAside(a.index, a.reason, a.keeper if a.keeper in kept else _root(a, aside))
        for _, a in sorted(aside.items())
    )


def _root(entry: SetAside, aside: dict[int, SetAside]) -> int | None:
    keeper = entry.keeper
    while keeper is not None and keeper in aside:
        keeper = aside[keeper].keeper
    return keeper
