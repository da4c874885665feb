"""The same picture twice, black frames, hopeless blur: set aside with a reason, never deleted.

The fingerprint is the 64-bit DCT hash of Zauner, 'Implementation and Benchmarking of Perceptual Image Hash Functions'
(2010), from memory: stable under JPEG, size and light, and not fooled by the round black frame of a probe, as a
gradient hash is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills.planes import Picture, luma

NEAR = 8
REACH = 6
CHANGED = 0.08
_WIDE = 64
Glimpse: TypeAlias = NDArray[np.float32]
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


def glimpse(image: Picture) -> Glimpse:
    """A copy 64 pixels wide: log brightness without its slow changes, for `differ`.

    Parameters
    ----------
    image : ndarray
        ``uint8``, colour or grey.

    Returns
    -------
    ndarray
        ``float32`` (about 48, 64).
    """
    grey = luma(image)
    height = max(8, round(grey.shape[0] * _WIDE / grey.shape[1]))
    small = cv2.resize(grey, (_WIDE, min(height, 4 * _WIDE)), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(np.log(small.astype(np.float32) + 8), (0, 0), 0.8)
    return np.asarray(light - cv2.GaussianBlur(light, (0, 0), 12), np.float32)


def differ(a: Glimpse, b: Glimpse) -> float:
    """How much some part of one still differs from the other where a small step of the tip does not explain it.

    The mean of the forty largest differences of log brightness that stay outside the other's range within two pixels of
    64. The same view again (JPEG, light, blur, 3 degrees, 2 % of the width) gives 0.00 to 0.09, a dent or another plug
    0.09 to 0.4 on the sample stills.
    """
    if a.shape != b.shape:
        b = np.asarray(cv2.resize(b, (a.shape[1], a.shape[0])), np.float32)
    reach = np.ones((5, 5), np.uint8)
    out = np.zeros_like(a)
    for one, other in ((a, b), (b, a)):
        over = one - cv2.dilate(other, reach)
        under = cv2.erode(other, reach) - one
        out = np.maximum(out, np.maximum(over, under))
    worst = np.sort(cv2.blur(out, (3, 3)), axis=None)[-40:]
    return float(worst.mean())


@dataclass(frozen=True, slots=True)
class Judged:
    """What is needed of each still to sort out a card, in shooting order.

    ``digest`` any exact fingerprint of the bytes; ``hash`` from `phash`; ``sharpness`` the focus score;
    ``useless`` the reason, in words, why nothing can be seen ('black'), or empty; ``small`` from `glimpse`, so that a
    like view in which something has changed (before and after, dry and wet) is not taken for a double.
    """

    digest: str
    hash: int
    sharpness: float
    useless: str = ""
    small: Glimpse | None = field(default=None, compare=False)


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
            if close and _same_view(stills[other], stills[keeper], near):
                aside[other] = SetAside(other, "nearly the same view, less sharp", keeper)
    kept = {i for i in range(len(stills)) if i not in aside}
    return tuple(
        SetAside(a.index, a.reason, a.keeper if a.keeper in kept else _root(a, aside))
        for _, a in sorted(aside.items())
    )


def _same_view(a: Judged, b: Judged, near: int) -> bool:
    if distance(a.hash, b.hash) > near:
        return False
    return a.small is None or b.small is None or differ(a.small, b.small) < CHANGED


def _root(entry: SetAside, aside: dict[int, SetAside]) -> int | None:
    keeper = entry.keeper
    while keeper is not None and keeper in aside:
        keeper = aside[keeper].keeper
    return keeper
