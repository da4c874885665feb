"""What comparing and measuring cost at 1280 x 720, with a reference or floor in the same run.

Targets on the bench of the notes: align 220 ms fast and 450 ms thorough, change map 25, SSIM 15 and a fifth of
scikit-image, lines 65, hone 12, unroll 4 with its map kept, all suggestions 500. Elsewhere the ratio counts.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from skimage import data
from skimage.metrics import structural_similarity

from borelog.stills.align import align
from borelog.stills.change import change_map, change_score, regions_of
from borelog.stills.hone import patch_families
from borelog.stills.lines import find_lines
from borelog.stills.rim import find_rim
from borelog.stills.ssim import ssim_map
from borelog.stills.suggest import KINDS, suggest
from borelog.stills.unroll import BorePose, Lens, unroll

pytestmark = pytest.mark.bench
Speed = Callable[..., None]

POSE = BorePose((0.0, 0.0, 60.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0), 41.0)


@pytest.fixture(scope="module")
def earlier() -> np.ndarray:
    rock = cv2.resize(data.gravel(), (1280, 1280), interpolation=cv2.INTER_CUBIC)[:720]
    brick = cv2.resize(data.brick(), (1280, 1280), interpolation=cv2.INTER_CUBIC)[:720]
    grain = np.random.default_rng(0).normal(0, 3, rock.shape)
    grey = np.clip(0.6 * rock + 0.4 * brick + grain, 0, 255)
    return np.stack([grey * 0.9, grey, grey], axis=2).astype(np.uint8)


@pytest.fixture(scope="module")
def later(earlier: np.ndarray) -> np.ndarray:
    moved = np.roll(earlier, (4, -6), axis=(0, 1))
    cv2.circle(moved, (700, 300), 14, (30, 30, 30), -1)
    return moved


@pytest.fixture(scope="module")
def turned(earlier: np.ndarray) -> np.ndarray:
    matrix = cv2.getRotationMatrix2D((640, 360), 24, 0.9)
    return np.asarray(cv2.warpAffine(earlier, matrix, (1280, 720), borderMode=cv2.BORDER_REFLECT), np.uint8)


def best(work: Callable[[], object], times: int = 20) -> float:
    """The shortest of several runs, seconds."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


@pytest.fixture(scope="module")
def search(earlier: np.ndarray, turned: np.ndarray) -> float:
    """Seconds for one SIFT search in both pictures, at the size the aligner works at."""
    finder = cv2.SIFT_create(2500)  # type: ignore[attr-defined]
    greys = [cv2.resize(cv2.cvtColor(p, cv2.COLOR_BGR2GRAY), (960, 540)) for p in (earlier, turned)]
    return best(lambda: [finder.detectAndCompute(g, None) for g in greys], 5)


@pytest.fixture(scope="module")
def blur(earlier: np.ndarray) -> float:
    """Seconds for one wide blur of one plane."""
    plane = earlier[:, :, 1].astype(np.float32)
    return best(lambda: cv2.GaussianBlur(plane, (11, 11), 1.5))


def test_align_small_step(benchmark: BenchmarkFixture, earlier: np.ndarray, later: np.ndarray) -> None:
    benchmark.group = "align"
    assert benchmark(lambda: align(earlier, later)).accepted


@pytest.mark.parametrize("mode", ["fast", "thorough"])
def test_align_by_features(
    benchmark: BenchmarkFixture,
    earlier: np.ndarray,
    turned: np.ndarray,
    mode: str,
    search: float,
    speed: Speed,
) -> None:
    benchmark.group = "align"
    found = benchmark(lambda: align(earlier, turned, mode))  # type: ignore[arg-type]
    assert found.method == f"features, {mode}"
    speed(f"align_{mode}", floor=search)


@pytest.fixture(scope="module")
def marked(earlier: np.ndarray) -> np.ndarray:
    """The same place with three new marks and a little less light, as `change_map` is given it: laid on the earlier one."""
    image = np.asarray(earlier * 0.94, np.uint8)
    for x, y, size in ((700, 300, 14), (220, 560, 6), (1050, 180, 9)):
        cv2.circle(image, (x, y), size, (30, 30, 30), -1)
    return image


def test_change_map_with_its_regions(
    benchmark: BenchmarkFixture, earlier: np.ndarray, marked: np.ndarray, blur: float, speed: Speed
) -> None:
    benchmark.group = "change"

    def mapped() -> int:
        score, darker, _ = change_score(earlier, marked)
        return regions_of(score, darker)[1]

    assert benchmark(mapped) == 3
    speed("change", floor=blur)


def test_change_map_with_regions_and_numbers(
    benchmark: BenchmarkFixture, earlier: np.ndarray, marked: np.ndarray, blur: float, speed: Speed
) -> None:
    """What a comparison asks for: the map, its regions, and the similarity beside them."""
    benchmark.group = "change"
    benchmark(lambda: change_map(earlier, marked))
    speed(
        what="change map of 1280x720, its regions and the similarity number",
        room="compare", floor=blur, floor_is="one wide blur",
    )  # fmt: skip


def test_change_map_of_a_pair_that_does_not_fit(
    benchmark: BenchmarkFixture, earlier: np.ndarray, later: np.ndarray
) -> None:
    """Regions over half the frame cost more than the map itself."""
    benchmark.group = "change"
    benchmark(lambda: change_map(earlier, later))


def test_ssim(
    benchmark: BenchmarkFixture, earlier: np.ndarray, later: np.ndarray, blur: float, speed: Speed
) -> None:
    """Against scikit-image's with the same window, and beside one blur."""
    benchmark.group = "ssim"
    a, b = earlier[:, :, 1].copy(), later[:, :, 1].copy()
    benchmark(lambda: ssim_map(a, b))
    same = {"gaussian_weights": True, "sigma": 1.5, "use_sample_covariance": False, "data_range": 255}
    theirs = best(lambda: structural_similarity(a, b, full=True, **same), 8)
    speed("ssim", floor=blur)
    speed("ssim_ratio", value=theirs / benchmark.stats.stats.min, floor=theirs)


def test_lines(benchmark: BenchmarkFixture, earlier: np.ndarray, blur: float, speed: Speed) -> None:
    benchmark.group = "one still"
    benchmark(lambda: find_lines(earlier))
    speed("lines", floor=blur)


def test_hone_512(benchmark: BenchmarkFixture, earlier: np.ndarray, speed: Speed) -> None:
    benchmark.group = "one still"
    patch = np.ascontiguousarray(earlier[:512, :512])
    benchmark(lambda: patch_families(patch))
    plane = patch[:, :, 1].astype(np.float32)
    speed("hone", floor=best(lambda: np.fft.rfft2(plane)))


def test_unroll_with_its_map_kept(
    benchmark: BenchmarkFixture, earlier: np.ndarray, blur: float, speed: Speed
) -> None:
    benchmark.group = "one still"
    lens = Lens(520, 640, 360, -0.06)
    unroll(earlier, lens, POSE)
    benchmark(lambda: unroll(earlier, lens, POSE))
    speed("unroll", floor=blur)


def test_rim_from_one_tap(benchmark: BenchmarkFixture, blur: float, speed: Speed) -> None:
    benchmark.group = "one still"
    still = cv2.imread(str(Path(__file__).parents[2] / "sample_images" / "bore_down_ordinary.jpg"))
    found = benchmark(lambda: find_rim(still, 575, 405))
    assert found.shape.rx == pytest.approx(312, abs=6)
    speed(
        what="rim from one tap on a still of 1280x720", room="compare", floor=blur, floor_is="one wide blur"
    )


@pytest.mark.parametrize("view", ["bore", "wall", "roof"])
def test_all_suggestions(
    benchmark: BenchmarkFixture, earlier: np.ndarray, view: str, blur: float, speed: Speed
) -> None:
    benchmark.group = "one still"
    benchmark(lambda: suggest(earlier, view, tuple(KINDS)))  # type: ignore[arg-type]
    speed("suggest", floor=blur, what=f"all suggestions on a still of 1280x720, {view} view")
