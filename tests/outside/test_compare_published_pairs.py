"""Planar pairs with published matrices, from Debian's opencv-doc where it is installed.

graf1 to graf3 with H1to3p.xml: the 'graffiti' pair of K. Mikolajczyk and C. Schmid (IEEE PAMI 27(10), 2005), shipped
with the OpenCV samples. BORELOG_OPENCV_DOC names another folder that holds the samples' data.
"""

from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from borelog.stills.align import align

FOLDER = Path(os.environ.get("BORELOG_OPENCV_DOC", "/usr/share/doc/opencv-doc/examples/data"))
needs = pytest.mark.skipif(
    not (FOLDER / "H1to3p.xml").exists(), reason="opencv-doc is not installed: no published matrices here"
)


def corner_error(found: np.ndarray, true: np.ndarray, shape: tuple[int, ...]) -> float:
    h, w = shape[:2]
    corners = np.array([[[0, 0], [w, 0], [w, h], [0, h]]], np.float64)
    away = cv2.perspectiveTransform(corners, found) - cv2.perspectiveTransform(corners, true)
    return float(np.linalg.norm(away, axis=2).mean())


@needs
@pytest.mark.parametrize("mode", ["thorough", "fast"])
def test_graf_within_five_pixels(mode: str) -> None:
    # The node is only alive as long as its file.
    stored = cv2.FileStorage(str(FOLDER / "H1to3p.xml"), cv2.FILE_STORAGE_READ)
    true = stored.getNode("H13").mat()
    later, earlier = (cv2.imread(str(FOLDER / name)) for name in ("graf1.png", "graf3.png"))
    found = align(earlier, later, mode)  # type: ignore[arg-type]
    assert found.accepted, found.why
    assert found.homography is not None
    print(
        f"graf1 to graf3, {mode}: mean corner error {corner_error(found.homography, true, later.shape):.2f} px"
    )
    assert corner_error(found.homography, true, later.shape) < 5
    h, w = later.shape[:2]
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).astype(np.float64).reshape(1, -1, 2)
    there = cv2.perspectiveTransform(grid, true).reshape(h, w, 2)
    away = np.linalg.norm(found.positions - there, axis=2)[found.covered]
    assert np.median(away) < 1.5


@needs
def test_a_pair_of_a_scene_with_depth_is_laid_or_refused_not_bent() -> None:
    """aloeL and aloeR (Middlebury 2006): no matrix can be right, so either the bend holds or four points are asked."""
    pair = [FOLDER / "aloeL.jpg", FOLDER / "aloeR.jpg"]
    if not all(p.exists() for p in pair):
        pytest.skip("aloe pair is not in this opencv-doc")
    found = align(*(cv2.imread(str(p)) for p in pair))
    assert not found.accepted or found.residual_px < 3


@needs
def test_blurred_text_is_laid_on_itself_after_a_known_matrix() -> None:
    """leuvenA with a matrix of our own: the answer is exact, the picture is real."""
    earlier = cv2.imread(str(FOLDER / "leuvenA.jpg"))
    h, w = earlier.shape[:2]
    matrix = np.vstack([cv2.getRotationMatrix2D((w / 2, h / 2), 17, 0.8), [0, 0, 1]])
    later = cv2.warpPerspective(earlier, matrix, (w, h))
    found = align(earlier, later)
    assert found.accepted
    assert found.homography is not None
    assert corner_error(found.homography, np.linalg.inv(matrix), later.shape) < 3
