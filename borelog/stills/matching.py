"""Pairs of points between two stills: features, mutual nearest neighbours, a homography that most of them believe.

RootSIFT: Lowe, IJCV 2004; Arandjelovic and Zisserman, CVPR 2012. Slanted views: Morel and Yu, SIAM J. Imaging
Sciences 2(2), 2009. ORB: Rublee et al., ICCV 2011. MAGSAC++: Barath et
al., CVPR 2020.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills.planes import Picture, both

Points = NDArray[np.float32]
# The wheel's type stubs leave some of its factories out.
opencv: Any = cv2
_FEATURES, _FEATURES_FAST, _FEATURES_A_SLANT = 2500, 1500, 1200
# Seen aslant by 1.4 and 2 times: what the words of upright views do not bear out.
_SLANTS = 2
# Lowe's ratio of distances is squared for SIFT, since likeness falls with the square; Hamming distances fall with it.
_RATIO_SIFT, _RATIO_ORB = 0.85**2, 0.9
_ROWS = 256
_MAGSAC_PX, _CONFIDENCE, _ROUNDS = 2.5, 0.9999, 10_000


@dataclass(frozen=True, slots=True, eq=False)
class Matched:
    """Point pairs and the homography between them.

    Attributes
    ----------
    a, b : (n, 2) float32, matched points in the two pictures
    homography : (3, 3) float64 from a to b, or None where none was found
    inliers : (n,) bool, pairs within 2.5 px of the homography
    bendable : (n,) bool, pairs that fit one rigid scene, flat or not
    """

    a: Points
    b: Points
    homography: NDArray[np.float64] | None
    inliers: NDArray[np.bool_]
    bendable: NDArray[np.bool_]


def features(grey: Picture, thorough: bool, slants: bool = False) -> tuple[Points, NDArray[np.float32]]:
    """Key points (n, 2) of a luma plane and their words, unit vectors: RootSIFT (n, 128), or ORB's bits as (n, 256) signs.

    With ``slants`` those of views aslant made of it as well.
    """
    even = cv2.createCLAHE(2.0, (8, 8)).apply(grey)
    if thorough:
        most = _FEATURES_A_SLANT if slants else _FEATURES
        finder = opencv.SIFT_create(most, contrastThreshold=0.015, edgeThreshold=12)
    else:
        finder = opencv.ORB_create(_FEATURES_FAST, fastThreshold=8)
    if slants:
        finder = opencv.AffineFeature_create(finder, _SLANTS, 0)
    found, words = finder.detectAndCompute(even, None)
    if words is None or not found:
        return np.zeros((0, 2), np.float32), np.zeros((0, 128 if thorough else 256), np.float32)
    if thorough:
        words = np.sqrt(words / np.maximum(words.sum(axis=1, keepdims=True), 1e-6))
    else:
        words = (np.unpackbits(words, axis=1).astype(np.float32) * 2 - 1) / 16
    return np.array([k.pt for k in found], np.float32), words


def nearest(a: NDArray[np.float32], b: NDArray[np.float32], ratio: float) -> NDArray[np.intp]:
    """Index pairs (n, 2) of mutual nearest neighbours that beat their runner-up by the ratio test.

    Parameters
    ----------
    a, b : (n, d) and (m, d) unit vectors
    ratio : of ``1 - likeness``, which is half the squared distance, or the share of bits that differ
    """
    if len(a) < 2 or len(b) < 2:
        return np.zeros((0, 2), np.intp)
    best = np.empty(len(a), np.intp)
    top, second = np.empty(len(a), np.float32), np.empty(len(a), np.float32)
    # A band of rows at a time stays in the processor's cache.
    for start in range(0, len(a), _ROWS):
        band = slice(start, start + _ROWS)
        likeness = a[band] @ b.T
        rows = np.arange(len(likeness))
        best[band] = likeness.argmax(axis=1)
        top[band] = likeness[rows, best[band]]
        likeness[rows, best[band]] = -np.inf
        second[band] = likeness.max(axis=1)
    kept = np.flatnonzero((1 - top) < ratio * (1 - second))
    # Only those that pass are asked whether the choice is mutual.
    bands = [kept[start : start + _ROWS] for start in range(0, len(kept), _ROWS)]
    home = [(b[best[band]] @ a.T).argmax(axis=1) for band in bands]
    kept = kept[np.concatenate(home) == kept] if home else kept
    return np.stack([kept, best[kept]], axis=1)


def match(a: Picture, b: Picture, thorough: bool = True, slants: bool = False) -> Matched:
    """Matched points of two luma planes and the homography most of them follow.

    Parameters
    ----------
    a, b : (H, W) uint8
    thorough : RootSIFT, else ORB
    slants : match ``a`` with views aslant of ``b`` too; some eight times the work, for pictures taken from far apart
    """
    (points_a, words_a), (points_b, words_b) = both(
        lambda job: features(job[0], thorough, job[1]), (a, False), (b, slants)
    )
    pairs = nearest(words_a, words_b, _RATIO_SIFT if thorough else _RATIO_ORB)
    pa, pb = points_a[pairs[:, 0]], points_b[pairs[:, 1]]
    none = np.zeros(len(pa), np.bool_)
    if len(pa) < 8:
        return Matched(pa, pb, None, none, none)
    homography, mask = cv2.findHomography(
        pa, pb, cv2.USAC_MAGSAC, _MAGSAC_PX, maxIters=_ROUNDS, confidence=_CONFIDENCE
    )
    if homography is None or not np.isfinite(homography).all():
        return Matched(pa, pb, None, none, none)
    flat = mask.ravel() > 0
    return Matched(pa, pb, np.asarray(homography, np.float64), flat, flat | rigid(pa, pb))


def rigid(a: Points, b: Points) -> NDArray[np.bool_]:
    """Which of the pairs (n, 2) fit one rigid scene, (n,) bool; none where no such scene is found."""
    try:
        _, mask = cv2.findFundamentalMat(a, b, cv2.USAC_MAGSAC, _MAGSAC_PX, _CONFIDENCE, _ROUNDS)
    except cv2.error:
        # Pairs with nothing in common: OpenCV gives up with an assertion of its own instead of an empty answer.
        mask = None
    if mask is None or mask.size != len(a):
        return np.zeros(len(a), np.bool_)
    return np.asarray(mask.ravel() > 0)


def tiles(points: Points, shape: tuple[int, int]) -> int:
    """In how many of 4 x 4 tiles of a picture of (height, width) at least one point lies."""
    if not len(points):
        return 0
    x = np.clip(points[:, 0] * 4 // shape[1], 0, 3)
    y = np.clip(points[:, 1] * 4 // shape[0], 0, 3)
    return len(np.unique(y * 4 + x))
