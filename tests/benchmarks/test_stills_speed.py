"""What a still costs, with the floor beside it: decoding the same picture, reading the same film.

Targets at 1280 x 720 on the bench of the notes: gate 6 ms, glare mask 4, enhance 8, fingerprint 1.5, film 3 ms a frame at
960 x 540, 60 thumbnails under 1 s on two cores, scissors under 30 ms a move. Elsewhere the ratio to the floor counts.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from skimage import data as skdata

from borelog.marks.shapes import Box, Ellipse
from borelog.stills import draw, film, glare, intake, look, quality, scissors, thumbs
from borelog.stills.doubles import phash

pytestmark = pytest.mark.bench
Speed = Callable[..., None]


@pytest.fixture(scope="module")
def still() -> np.ndarray:
    big = cv2.resize(
        np.ascontiguousarray(skdata.coffee()[:, :, ::-1]), (1280, 853), interpolation=cv2.INTER_CUBIC
    )[:720]
    grain = np.random.default_rng(0).normal(0, 3, big.shape)
    out = np.clip(big + grain, 0, 255).astype(np.uint8)
    cv2.circle(out, (500, 300), 40, (255, 255, 255), -1)
    return out


@pytest.fixture(scope="module")
def jpeg(still: np.ndarray) -> bytes:
    return intake.encode(still, "JPEG", 90)


@pytest.fixture(scope="module")
def avi(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("film") / "f.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 25, (960, 540))
    base = cv2.resize(np.ascontiguousarray(skdata.coffee()[:, :, ::-1]), (1100, 700))
    for k in range(100):
        dx, dy = int(60 + 50 * np.sin(k / 20)), int(60 + 50 * np.cos(k / 15))
        writer.write(cv2.GaussianBlur(base[dy : dy + 540, dx : dx + 960], (0, 0), 0.6 + abs(np.sin(k / 9))))
    writer.release()
    return path


@pytest.fixture(scope="module")
def decoding(jpeg: bytes) -> float:
    """Seconds to decode the still, the shortest of many."""
    return best(lambda: intake.decode(jpeg), 20)


def best(work: Callable[[], object], times: int) -> float:
    """The shortest of several runs, seconds."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


def test_floor_decode(benchmark: BenchmarkFixture, jpeg: bytes) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: intake.decode(jpeg))


def test_floor_decode_by_opencv(benchmark: BenchmarkFixture, jpeg: bytes) -> None:
    benchmark.group = "still 1280x720"
    raw = np.frombuffer(jpeg, np.uint8)
    benchmark(lambda: cv2.imdecode(raw, cv2.IMREAD_COLOR))


def test_gate(benchmark: BenchmarkFixture, still: np.ndarray, decoding: float, speed: Speed) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: quality.gate(still))
    speed("gate", floor=decoding)


def test_everything_about_a_still(benchmark: BenchmarkFixture, still: np.ndarray) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: quality.judge(still))


def test_glare_mask(benchmark: BenchmarkFixture, still: np.ndarray, decoding: float, speed: Speed) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: glare.glare_mask(still))
    speed("glare", floor=decoding)


def test_glare_fill(benchmark: BenchmarkFixture, still: np.ndarray) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: glare.fill_glare(still))


def test_enhance(benchmark: BenchmarkFixture, still: np.ndarray, decoding: float, speed: Speed) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: look.apply(still, look.Look(contrast=2.0)))
    speed("enhance", floor=decoding)


def test_fingerprint(benchmark: BenchmarkFixture, still: np.ndarray, decoding: float, speed: Speed) -> None:
    benchmark.group = "still 1280x720"
    benchmark(lambda: phash(still))
    speed("fingerprint", floor=decoding)


def test_burn_marks(benchmark: BenchmarkFixture, still: np.ndarray) -> None:
    benchmark.group = "still 1280x720"
    marks = [draw.Marked(n, (Box(90 * n, 100, 60, 60), Ellipse(90 * n, 400, 40, 20))) for n in range(1, 9)]
    benchmark(lambda: draw.burn(still, draw.describe(marks, 1280, 720)))


def read(avi: Path) -> int:
    """How many frames there are, each of them decoded."""
    capture, count = cv2.VideoCapture(str(avi), cv2.CAP_FFMPEG), 0
    while capture.read()[0]:
        count += 1
    capture.release()
    return count


def test_film_frame(benchmark: BenchmarkFixture, avi: Path, speed: Speed) -> None:
    benchmark.group = "film 960x540, 100 frames"
    assert read(avi) == 100
    assert benchmark.pedantic(lambda: film.score(avi), rounds=5, warmup_rounds=1).scores.size == 100
    speed("film", floor=best(lambda: read(avi), 5), per=100)


def test_card_of_thumbnails(benchmark: BenchmarkFixture, jpeg: bytes, decoding: float, speed: Speed) -> None:
    benchmark.group = "60 stills"
    benchmark.pedantic(lambda: list(thumbs.thumbnails((str(i), lambda: jpeg) for i in range(60))), rounds=3)
    speed("card", floor=60 * decoding)


def test_scissors_move_within_the_window(
    benchmark: BenchmarkFixture, still: np.ndarray, speed: Speed
) -> None:
    benchmark.group = "scissors"
    tracer = scissors.Scissors(still, (640, 300))
    points = iter([(640 + 90 * np.sin(k), 300 + 90 * np.cos(k)) for k in range(100_000)])
    benchmark.pedantic(lambda: tracer.move(next(points)), rounds=200, warmup_rounds=5)
    speed("scissors")


def test_scissors_move_out_of_the_window(benchmark: BenchmarkFixture, still: np.ndarray) -> None:
    benchmark.group = "scissors"
    spots = iter([(400 + 130 * (k % 5), 300 + 100 * (k % 3)) for k in range(100_000)])
    tracer = scissors.Scissors(still, (640, 300))
    benchmark.pedantic(lambda: tracer.fix(next(spots)), rounds=20, warmup_rounds=2)
