"""JPEG pressing and seeded chance: what makes pictures agree between machines."""

from __future__ import annotations

import io
import os
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from borelog.demo.pictures.grain import Dice, fractal, normal, uniform
from borelog.demo.pictures.press import from_jpeg, to_jpeg


def _levels(
    seed: int, size: tuple[int, int] = (96, 128)
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    base = np.stack([fractal(size, 24, f"t{i}", seed) for i in range(3)], axis=-1)
    return np.clip(120 + 40 * base + 6 * normal((*size, 3), "n", seed), 0, 255).astype(np.float64)


def test_pressed_picture_is_near_the_levels() -> None:
    levels = _levels(1)
    assert np.abs(from_jpeg(to_jpeg(levels, 4)).astype(float) - levels).mean() < 6
    assert len(to_jpeg(levels, 16)) < len(to_jpeg(levels, 4))


def test_tiny_differences_move_a_pixel_by_two_at_most() -> None:
    worst = []
    for seed in range(8):
        levels = _levels(seed)
        shaken = levels + np.random.default_rng(seed).normal(0, 1e-4, levels.shape)
        apart = np.abs(from_jpeg(to_jpeg(levels)).astype(int) - from_jpeg(to_jpeg(shaken)))
        worst.append((apart.max(), apart.mean()))
    assert max(peak for peak, _ in worst) <= 2
    assert max(mean for _, mean in worst) < 0.1


@pytest.mark.parametrize("size", [(480, 640), (45, 61), (8, 8), (17, 16)])
def test_any_size_is_kept(size: tuple[int, int]) -> None:
    data = to_jpeg(np.full((*size, 3), 90.0))
    with Image.open(io.BytesIO(data)) as opened:
        assert opened.size == (size[1], size[0])
        assert opened.format == "JPEG"
        assert not opened.getexif()


def test_chance_keeps_its_stream() -> None:
    """Words of PCG64 (O'Neill 2014) behind NumPy's SeedSequence, which NEP 19 promises to keep; read off NumPy 2.4."""
    dice = Dice("key", 7)
    assert [dice.whole(0, 999) for _ in range(6)] == [616, 985, 692, 537, 108, 642]
    assert uniform((3,), "key", 7).tolist() == [0.5669964551925659, 0.9817208051681519, 0.33297038078308105]
    assert normal((2,), "key", 7).tolist() == [0.4978165924549103, -0.9760228991508484]


def test_chance_has_the_spread_it_says() -> None:
    values = normal((200_000,), "key", 3)
    assert abs(float(values.mean())) < 0.01
    assert abs(float(values.std()) - 1) < 0.01
    flat = uniform((200_000,), "key", 3)
    assert 0 <= float(flat.min()) < 0.001
    assert 0.999 < float(flat.max()) < 1
    assert not np.array_equal(normal((50,), "key", 3), normal((50,), "other", 3))


def test_noise_joins_at_its_edges() -> None:
    field = fractal((128, 256), 32, "wrap", 5)
    inner = np.abs(np.diff(field, axis=1)).mean()
    seam = np.abs(field[:, 0] - field[:, -1]).mean()
    assert seam < 2.5 * inner


@pytest.mark.long
def test_a_processor_without_wide_vectors_draws_the_same_within_two_levels() -> None:
    """NumPy and OpenCV told to do without AVX stand in for another machine."""
    code = (
        "import sys; from borelog.demo.pictures import scene;"
        "[sys.stdout.buffer.write(scene(n).image.tobytes()) for n in ('hatch_30', 'plug_tan', 'crown_dents')]"
    )
    plain = {
        k: v for k, v in os.environ.items() if k not in ("OPENCV_CPU_DISABLE", "NPY_DISABLE_CPU_FEATURES")
    }
    poor = plain | {
        "OPENCV_CPU_DISABLE": "AVX512-SKX,AVX512-COMMON,AVX2,FMA3",
        "NPY_DISABLE_CPU_FEATURES": "AVX512F AVX512CD AVX512_SKX AVX2 FMA3 X86_V3 X86_V4",
    }
    drawn = []
    for setting in (plain, poor):
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", code], env=setting, capture_output=True, check=True
        )
        drawn.append(np.frombuffer(done.stdout, np.uint8).astype(int))
    apart = np.abs(drawn[0] - drawn[1])
    assert apart.max() <= 2
    assert apart.mean() < 0.1
