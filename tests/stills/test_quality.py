"""Focus that noise and light do not fool, and remarks that say what to do."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data as skdata

from borelog.stills import doubles, quality
from borelog.stills.focus import edge_blur, focus, lacks_fine_detail, noise_gain, noise_sigma
from borelog.stills.glare import BURNT, fill_glare, glare_mask

CAMERA = skdata.camera()
COINS = skdata.coins()
COFFEE = np.ascontiguousarray(skdata.coffee()[:, :, ::-1])


def grainy(grey: np.ndarray, sigma: float, seed: int = 0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.clip(grey + rng.normal(0, sigma, grey.shape), 0, 255).round().astype(np.uint8)


@pytest.mark.parametrize("picture", [CAMERA, COINS, COFFEE[:, :, 1]], ids=["camera", "coins", "coffee"])
def test_focus_does_not_see_noise_or_light(picture: np.ndarray) -> None:
    """Target: rank stable within 5 % under four times the noise and 0.4 times the light."""
    quiet = focus(grainy(picture, 1)).score
    assert focus(grainy(picture, 4)).score == pytest.approx(quiet, rel=0.05)
    assert focus((picture * 0.4).round().astype(np.uint8)).score == pytest.approx(quiet, rel=0.05)


def test_focus_falls_with_blur() -> None:
    scores = [focus(cv2.GaussianBlur(CAMERA, (0, 0), s)).score for s in (0.3, 1.6, 2.4, 5, 10)]
    assert scores == sorted(scores, reverse=True)
    assert scores[-1] < 0.5 * scores[0]


def test_noise_gain_is_that_of_the_real_filter() -> None:
    rng = np.random.default_rng(5)
    white = rng.normal(0, 1, (800, 800)).astype(np.float32)
    for sigma in (1.0, 2.2):
        seen = cv2.Sobel(cv2.GaussianBlur(white, (0, 0), sigma), cv2.CV_32F, 1, 0, ksize=3)
        assert float(seen.var()) == pytest.approx(noise_gain(sigma), rel=0.04)
    assert noise_gain(1.0) == pytest.approx(1.3025, rel=0.01)


@pytest.mark.parametrize("sigma", [0.5, 1, 2, 4, 8])
def test_noise_is_measured(sigma: float) -> None:
    flat = np.full((480, 640), 128, np.uint8)
    assert noise_sigma(grainy(flat, sigma)) == pytest.approx(sigma, rel=0.1 if sigma >= 1 else 0.3)


@pytest.mark.parametrize("sigma", [3.0, 5.0, 8.0])
def test_edge_blur_is_a_width_in_pixels(sigma: float) -> None:
    board = np.kron(np.indices((5, 7)).sum(0) % 2, np.ones((140, 140))).astype(np.uint8) * 150 + 50
    soft = cv2.GaussianBlur(board, (0, 0), sigma)
    assert edge_blur(soft) == pytest.approx(sigma, rel=0.15)
    assert edge_blur(grainy(soft, 3)) == pytest.approx(sigma, rel=0.15)


def jpeg(grey: np.ndarray, q: int = 90) -> np.ndarray:
    return cv2.imdecode(cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, q])[1], cv2.IMREAD_GRAYSCALE)


def test_enlarged_stills_are_found_and_sharp_ones_left_alone() -> None:
    """On pictures that had no part in setting the limit."""
    others = [COINS, skdata.text(), skdata.page()]
    sharp = [lacks_fine_detail(jpeg(grainy(p, 1))) for p in others]
    assert sum(sharp) == 0
    hits = []
    for p in others:
        for factor in (2, 3):
            small = grainy(np.ascontiguousarray(p), 1)
            hits.append(
                lacks_fine_detail(
                    jpeg(cv2.resize(small, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC))
                )
            )
    assert sum(hits) >= 5


def probe(cx: float = 640, cy: float = 360, radius: float = 330) -> np.ndarray:
    y, x = np.mgrid[0:720, 0:1280]
    base = cv2.resize(CAMERA, (1280, 720), interpolation=cv2.INTER_CUBIC).astype(float) * 0.6 + 50
    inside = np.clip(radius - np.hypot(x + 0.5 - cx, y + 0.5 - cy) + 0.5, 0, 1)
    grey = grainy(base * inside + 3, 1)
    return cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)


@pytest.mark.parametrize(("cx", "cy", "radius"), [(640, 360, 330), (600, 380, 300), (640, 360, 420)])
def test_view_circle_is_found(cx: float, cy: float, radius: float) -> None:
    circle, mask = quality.view_circle(probe(cx, cy, radius))
    assert circle is not None
    assert circle.cx == pytest.approx(cx, abs=4)
    assert circle.cy == pytest.approx(cy, abs=4)
    assert circle.radius == pytest.approx(radius, abs=5)
    assert 0 < cv2.countNonZero(mask) < mask.size


def test_no_view_circle_in_a_plain_still() -> None:
    assert quality.view_circle(COFFEE)[0] is None


def test_black_frame_round_the_view_does_not_count() -> None:
    framed = quality.gate(probe())
    assert framed.dark < 0.2
    assert framed.useless == ""


def test_glare_mask_takes_what_is_clipped_and_leaves_colour() -> None:
    image = np.full((240, 320, 3), 90, np.uint8)
    cv2.circle(image, (100, 120), 20, (255, 255, 255), -1)
    cv2.circle(image, (220, 120), 20, (40, 120, 220), -1)
    mask = glare_mask(image)
    assert (mask[105:135, 90:110] == 255).all()
    assert (mask[105:135, 210:230] == 0).all()
    image[40:60, 40:60] = 160
    assert (glare_mask(image)[42:58, 42:58] == 255).all()
    assert (glare_mask(image, BURNT)[42:58, 42:58] == 0).all()


def test_bright_and_half_coloured_is_no_glare() -> None:
    image = np.full((240, 320, 3), 90, np.uint8)
    cv2.circle(image, (160, 120), 20, (120, 160, 220), -1)
    assert (glare_mask(image)[110:130, 150:170] == 0).all()


def test_filling_changes_only_what_it_says_it_fills() -> None:
    image = COFFEE.copy()
    cv2.circle(image, (200, 200), 15, (255, 255, 255), -1)
    before = image.copy()
    out, filled = fill_glare(image)
    assert (image == before).all()
    assert (out[filled == 0] == image[filled == 0]).all()
    assert out[200, 200].mean() < 250


@pytest.mark.parametrize(
    ("change", "word", "does"),
    [
        (lambda a: cv2.GaussianBlur(a, (0, 0), 7), "soft", "hold still"),
        (lambda a: cv2.GaussianBlur(a, (0, 0), 30), "hopelessly blurred", "take it again"),
        (lambda a: (a * 0.03).astype(np.uint8), "black", "light up"),
        (lambda a: np.clip(a.astype(float) * 4 + 60, 0, 255).astype(np.uint8), "burnt out", "dim the light"),
        (
            lambda a: cv2.circle(a.copy(), (300, 200), 70, (255, 255, 255), -1),
            "glare",
            "turn the tip a quarter",
        ),
    ],
)
def test_remarks_say_what_and_what_to_do(change: object, word: str, does: str) -> None:
    words = quality.judge(change(COFFEE)).in_words  # type: ignore[operator]
    assert word in words
    assert does in words


def test_a_good_still_is_called_good() -> None:
    assert quality.judge(COFFEE).in_words == "good"


def test_grain_is_named() -> None:
    assert (
        "grainy"
        in quality.judge(np.stack([grainy(COFFEE[:, :, k], 12, k) for k in range(3)], axis=2)).in_words
    )


def test_fingerprint_distances() -> None:
    base = doubles.phash(COFFEE)
    small = cv2.resize(COFFEE, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    recoded = cv2.imdecode(cv2.imencode(".jpg", COFFEE, [cv2.IMWRITE_JPEG_QUALITY, 40])[1], cv2.IMREAD_COLOR)
    dim = (COFFEE * 0.7).astype(np.uint8)
    for like in (small, recoded, dim):
        assert doubles.distance(base, doubles.phash(like)) <= doubles.NEAR
    for other in (COFFEE[:, ::-1], cv2.cvtColor(CAMERA, cv2.COLOR_GRAY2BGR)):
        assert doubles.distance(base, doubles.phash(np.ascontiguousarray(other))) >= 18


def test_sorting_out_keeps_the_sharpest_and_never_the_wrong_one() -> None:
    a, b = 0x0F0F0F0F0F0F0F0F, 0xF0F0F0F0F0F0F0F0
    stills = [
        doubles.Judged("1", a, 0.3),
        doubles.Judged("2", a ^ 0b111, 0.5),
        doubles.Judged("3", b, 0.4),
        doubles.Judged("3", b, 0.4),
        doubles.Judged("5", 0, 0.0, "black"),
        *[doubles.Judged(f"x{i}", (a * (i + 3)) & (2**64 - 1) ^ (0xABCDEF << i), 0.2) for i in range(8)],
        doubles.Judged("9", a, 0.9),
    ]
    aside = {s.index: s for s in doubles.sort_out(stills)}
    assert aside[0].keeper == 1
    assert aside[3].reason == "the same file twice"
    assert aside[3].keeper == 2
    assert aside[4].reason == "black"
    assert 1 not in aside
    assert 13 not in aside  # alike, but too far away on the card: the same view of another cylinder
    assert all(s.keeper not in aside for s in aside.values() if s.keeper is not None)
