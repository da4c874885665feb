"""SSIM against scikit-image (Wang et al., IEEE Trans. Image Processing 13(4), 2004): 1e-4 a pixel, 1e-5 in the mean."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data
from skimage.metrics import structural_similarity

from borelog.stills.ssim import ssim, ssim_map


def reference(a: np.ndarray, b: np.ndarray) -> tuple[float, np.ndarray]:
    mean, full = structural_similarity(
        a, b, gaussian_weights=True, sigma=1.5, use_sample_covariance=False, data_range=255, full=True
    )
    return float(mean), full


def pairs() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    dice = np.random.default_rng(0)
    camera = data.camera()
    blots = ((cv2.GaussianBlur(dice.normal(size=(300, 400)), (0, 0), 6) > 0) * 255).astype(np.uint8)
    return {
        "photograph and its noise": (
            camera,
            np.clip(camera + dice.normal(0, 12, camera.shape), 0, 255).astype(np.uint8),
        ),
        "photograph and its blur": (camera, cv2.GaussianBlur(camera, (0, 0), 2)),
        "brick and gravel": (data.brick(), data.gravel()),
        "photograph half as light": (camera, (camera // 2).astype(np.uint8)),
        "black and white against its negative": (blots, 255 - blots),
        "black and white with specks": (blots, np.where(dice.random(blots.shape) < 0.02, 255 - blots, blots)),
        "white against black": (np.full((64, 64), 255, np.uint8), np.zeros((64, 64), np.uint8)),
        "noise against noise": tuple(dice.integers(0, 256, (2, 200, 301)).astype(np.uint8)),  # type: ignore[dict-item]
    }


@pytest.mark.parametrize("name", list(pairs()))
def test_equal_to_the_reference_at_every_pixel(name: str) -> None:
    a, b = pairs()[name]
    mean, full = reference(a, b)
    np.testing.assert_allclose(ssim_map(a, b), full, atol=1e-4)
    assert ssim(a, b) == pytest.approx(mean, abs=1e-5)
