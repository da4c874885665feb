"""Pairs of points between two stills: features, mutual nearest neighbours, a homography that most of them believe.

RootSIFT: Lowe, IJCV 2004; Arandjelovic and Zisserman, CVPR 2012. ORB: Rublee et al., ICCV 2011. MAGSAC++: Barath et
al., CVPR 2020.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills.planes import Picture, luma

Points = NDArray[np.float32]
# The wheel's type stubs leave some of its factories out.
opencv: Any = cv2
_FEATURES, _FEATURES_FAST = 2500, 1500
_RATIO_SIFT, _RATIO_ORB = 0.85, 0.9
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


def features(image: Picture, thorough: bool) -> tuple[Points, NDArray[Any]]:
    """Key points (n, 2) and descriptors: RootSIFT (n, 128) float32 when thorough, else ORB (n, 32) uint8."""
    grey = cv2.createCLAHE(2.0, (8, 8)).apply(luma(image))
    if thorough:
        finder = opencv.SIFT_create(_FEATURES, contrastThreshold=0.015, edgeThreshold=12)
    else:
        finder = opencv.ORB_create(_FEATURES_FAST, fastThreshold=8)
    found, words = finder.detectAndCompute(grey, None)
    if words is None or not found:
        return np.zeros((0, 2), np.float32), np.zeros((0, 128 if thorough else 32), np.float32)
    if thorough:
        words = np.sqrt(words / np.maximum(words.sum(axis=1, keepdims=True), 1e-6))
    return np.array([k.pt for k in found], np.float32), words


def nearest(a: NDArray[Any], b: NDArray[Any]) -> NDArray[np.intp]:
    """Index pairs (n, 2) of mutual nearest neighbours that beat their runner-up by the ratio test."""
    if len(a) < 2 or len(b) < 2:
        return np.zeros((0, 2), np.intp)
    if a.dtype == np.uint8:
        there = cv2.BFMatcher(cv2.NORM_HAMMING).knnMatch(a, b, k=2)
        back = cv2.BFMatcher(cv2.NORM_HAMMING).match(b, a)
        home = {m.queryIdx: m.trainIdx for m in back}
        pairs = [
            (m.queryIdx, m.trainIdx)
            for m, n in there
            if m.distance < _RATIO_ORB * n.distance and home.get(m.trainIdx) == m.queryIdx
        ]
        return np.array(pairs, np.intp).reshape(-1, 2)
    likeness = a @ b.T
    rows = np.arange(len(a))
    best = likeness.argmax(axis=1)
    top = likeness[rows, best]
    likeness[rows, best] = -1
    second = likeness.max(axis=1)
    likeness[rows, best] = top
    # Unit vectors: distance**2 = 2 - 2 likeness.
    kept = np.flatnonzero((1 - top) < _RATIO_SIFT**2 * (1 - second))
    # Only those that pass are asked whether the choice is mutual: columns are slow to read.
    kept = kept[likeness[:, best[kept]].argmax(axis=0) == kept]
    return np.stack([kept, best[kept]], axis=1)


def match(a: Picture, b: Picture, thorough: bool = True) -> Matched:
    """Matched points of two pictures and the homography most of them follow."""
    points_a, words_a = features(a, thorough)
    points_b, words_b = features(b, thorough)
    pairs = nearest(words_a, words_b)
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
    _, rigid = cv2.findFundamentalMat(pa, pb, cv2.USAC_MAGSAC, _MAGSAC_PX, _CONFIDENCE, _ROUNDS)
    scene = flat if rigid is None or rigid.size != len(pa) else flat | (rigid.ravel() > 0)
    return Matched(pa, pb, np.asarray(homography, np.float64), flat, scene)


def tiles(points: Points, shape: tuple[int, int]) -> int:
    """In how many of 4 x 4 tiles of a picture of (height, width) at least one point lies."""
    if not len(points):
        return 0
    x = np.clip(points[:, 0] * 4 // shape[1], 0, 3)
    y = np.clip(points[:, 1] * 4 // shape[0], 0, 3)
    return len(np.unique(y * 4 + x))
