"""Laying stills on each other and mapping what differs."""

from __future__ import annotations

import io
import json

import cv2
import numpy as np
import pytest
from PIL import Image

from borelog.demo.pictures import before_after
from borelog.stills import StillError
from borelog.stills.align import align, align_by_points, warp
from borelog.stills.change import MOST_REGIONS, change_map, with_threshold
from borelog.stills.compare import (
    Comparison,
    blink_frames,
    compare,
    files_of,
    gif,
    map_picture,
    ringed,
    side_by_side,
    strip,
)
from borelog.stills.matching import rigid
from borelog.stills.planes import Stopped
from tests.benchmarks.compare_curves import average_precision
from tests.stills.altered import altered, bases


def metal(seed: int = 0, height: int = 480, width: int = 640) -> np.ndarray:
    """A cloudy, scratched plate, (H, W, 3) uint8."""
    dice = np.random.default_rng(seed)
    plane = np.zeros((height, width), np.float32)
    for sigma, weight in ((2, 14), (6, 22), (24, 30)):
        cloud = cv2.GaussianBlur(dice.normal(size=(height, width)).astype(np.float32), (0, 0), sigma)
        plane += weight * cloud / cloud.std()
    for _ in range(25):
        a, b = (tuple(int(v) for v in dice.integers(0, (width, height))) for _ in range(2))
        cv2.line(plane, a, b, float(dice.uniform(-40, 40)), 1, cv2.LINE_AA)
    grey = np.clip(120 + plane, 5, 250)
    return np.stack([grey * 0.9, grey, grey * 1.02], axis=2).clip(0, 255).astype(np.uint8)


def noisy(image: np.ndarray, seed: int, sigma: float = 2.0) -> np.ndarray:
    dice = np.random.default_rng(seed)
    return np.clip(image + dice.normal(0, sigma, image.shape), 0, 255).astype(np.uint8)


def hits(found: Comparison, marks: tuple[np.ndarray, ...]) -> tuple[int, int]:
    """How many of the marks a listed region meets, and how many regions meet none."""
    near = [cv2.dilate(m.astype(np.uint8), np.ones((7, 7), np.uint8)) for m in marks]
    met: set[int] = set()
    false = 0
    for region in found.regions:
        plane = np.zeros(near[0].shape, np.uint8)
        cv2.fillPoly(plane, [np.rint(np.array(region.outline.points)).astype(np.int32)], 1)
        which = {k for k, m in enumerate(near) if (plane & m).any()}
        met |= which
        false += not which
    return len(met), false


def pitted(image: np.ndarray, spots: list[tuple[int, int, int]]) -> np.ndarray:
    out = image.copy()
    for x, y, r in spots:
        cv2.circle(out, (x, y), r, (25, 28, 30), -1, cv2.LINE_AA)
    return out


def moved(image: np.ndarray, matrix: np.ndarray, size: tuple[int, int] | None = None) -> np.ndarray:
    return cv2.warpPerspective(
        image, matrix, size or (image.shape[1], image.shape[0]), borderMode=cv2.BORDER_REFLECT
    )


def off_by(found: np.ndarray, matrix: np.ndarray, covered: np.ndarray) -> float:
    """Median distance in px between a field later -> earlier and the inverse of a matrix earlier -> later."""
    h, w = covered.shape
    grid = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).astype(np.float64).reshape(1, -1, 2)
    true = cv2.perspectiveTransform(grid, np.linalg.inv(matrix)).reshape(h, w, 2)
    return float(np.median(np.linalg.norm(found - true, axis=2)[covered]))


def turn(
    degrees: float, scale: float, dx: float, dy: float, size: tuple[int, int] = (640, 480)
) -> np.ndarray:
    matrix = np.vstack([cv2.getRotationMatrix2D((size[0] / 2, size[1] / 2), degrees, scale), [0, 0, 1]])
    matrix[:2, 2] += (dx, dy)
    return matrix


class TestAlign:
    def test_a_small_shift_needs_no_features(self) -> None:
        matrix = turn(0.6, 1.004, 5.3, -3.7)
        found = align(metal(), noisy(moved(metal(), matrix), 1))
        assert found.accepted
        assert found.method == "small step"
        assert off_by(found.positions, matrix, found.covered) < 0.5

    @pytest.mark.parametrize("mode", ["fast", "thorough"])
    def test_a_turn_and_a_zoom_are_found_by_features(self, mode: str) -> None:
        matrix = turn(28, 0.85, 30, -20)
        found = align(metal(), noisy(moved(metal(), matrix), 2), mode)  # type: ignore[arg-type]
        assert found.accepted, found.why
        assert found.method == f"features, {mode}"
        assert off_by(found.positions, matrix, found.covered) < 1.0
        assert 0 <= found.residual_px < 1.5
        assert 0.5 < found.share <= 1

    def test_two_sizes_of_one_place(self) -> None:
        big = metal(3, 720, 960)
        small = cv2.resize(big, (600, 450), interpolation=cv2.INTER_AREA)
        found = align(small, big)
        assert found.accepted
        x, y = found.to_earlier(480.0, 360.0)
        assert (x, y) == pytest.approx((300, 225), abs=0.6)

    def test_a_known_mirror_is_undone(self) -> None:
        mirrored = np.ascontiguousarray(metal(4)[:, ::-1])
        assert not align(mirrored, metal(4)).accepted
        found = align(mirrored, metal(4), mirror=True)
        assert found.accepted
        assert found.to_earlier(100.0, 50.0) == pytest.approx((540, 50), abs=0.7)

    def test_a_known_roll_makes_a_quarter_turn_a_small_step(self) -> None:
        rolled = np.ascontiguousarray(np.rot90(metal(5), -1))
        found = align(rolled, metal(5), roll_deg=90.0)
        assert found.accepted
        assert found.method == "small step"

    def test_a_roll_that_contradicts_the_picture_is_refused(self) -> None:
        found = align(metal(6), noisy(moved(metal(6), turn(80, 0.9, 0, 0)), 1), roll_deg=0.0)
        assert not found.accepted
        assert "roll" in found.why

    @pytest.mark.parametrize("seed", [11, 12, 13])
    def test_other_places_are_refused_and_four_points_asked(self, seed: int) -> None:
        found = align(metal(seed), metal(seed + 50))
        assert not found.accepted
        assert "four pairs of points" in found.why

    def test_a_flat_thing_seen_far_aslant_is_laid(self) -> None:
        """Foreshortened two and a half times: words of upright views alone do not bear that."""
        from skimage import data

        image = cv2.resize(cv2.cvtColor(data.coffee(), cv2.COLOR_RGB2BGR), (720, 480))
        middle = np.array([[1, 0, 360], [0, 1, 240], [0, 0, 1.0]])
        turned = np.vstack([cv2.getRotationMatrix2D((0, 0), 35, 1.0), [0, 0, 1]])
        matrix = middle @ turned @ np.diag([1, 0.4, 1]) @ turned.T @ np.linalg.inv(middle)
        found = align(image, noisy(moved(image, matrix), 3))
        assert found.accepted, found.why
        assert off_by(found.positions, matrix, found.covered) < 1.5

    def test_pairs_with_nothing_in_common_fit_no_scene(self) -> None:
        """Eight such pairs on which OpenCV 5 ends its search for a fundamental matrix with an assertion."""
        a = [(441.87357, 18.861399), (610.18604, 173.79366), (389.10626, 539.93878), (593.05768, 519.52094)]
        a += [(662.2039, 256.9475), (308.67706, 221.3022), (658.0382, 5.1043730), (273.42001, 403.86676)]
        b = [(70.187691, 230.3499), (453.62527, 169.11382), (555.38019, 525.58392), (794.68884, 342.18683)]
        b += [(604.68079, 166.30688), (98.105164, 438.95297), (829.86194, 713.05493), (365.28406, 341.26758)]
        assert not rigid(np.array(a, np.float32), np.array(b, np.float32)).any()

    def test_plain_pictures_are_refused(self) -> None:
        flat = np.full((300, 400, 3), 90, np.uint8)
        assert not align(flat, flat).accepted

    def test_four_points_are_used_as_marked(self) -> None:
        matrix = turn(12, 1.1, -8, 4)
        at = np.array([[100.5, 90.5], [520.5, 80.5], [500.5, 400.5], [120.5, 390.5]])
        there = cv2.perspectiveTransform(at[None] - 0.5, matrix)[0] + 0.5
        pairs = [(tuple(p), tuple(q)) for p, q in zip(at, there, strict=True)]
        found = align_by_points(metal(), moved(metal(), matrix), pairs)  # type: ignore[arg-type]
        assert found.accepted
        assert found.method == "points"
        assert off_by(found.positions, matrix, found.covered) < 0.01

    def test_points_on_one_line_are_refused(self) -> None:
        line = [((float(k), float(k)), (float(k) + 2, float(k))) for k in (10, 20, 30, 40)]
        with pytest.raises(StillError, match="one line"):
            align_by_points(metal(), metal(), line)
        with pytest.raises(StillError, match="too few"):
            align_by_points(metal(), metal(), line[:3])

    def test_what_is_not_covered_is_black(self) -> None:
        matrix = turn(0, 1, 60, 0)
        blank = cv2.warpPerspective(metal(7), matrix, (640, 480))
        found = align(metal(7), noisy(blank, 3))
        laid = warp(metal(7), found)
        assert not laid[~found.covered].any()
        assert found.share < 0.95

    def test_it_can_be_stopped(self) -> None:
        with pytest.raises(Stopped):
            align(metal(), metal(1), cancelled=lambda: True)

    def test_progress_only_grows(self) -> None:
        said: list[float] = []
        align(metal(), moved(metal(), turn(25, 0.9, 0, 0)), progress=lambda share, _: said.append(share))
        assert said == sorted(said)
        assert said[-1] == 1.0

    @pytest.mark.parametrize("size", [(20, 960), (16, 3000), (960, 17), (16, 16)])
    def test_strips_and_scraps_are_answered_not_crashed_on(self, size: tuple[int, int]) -> None:
        scrap = np.random.default_rng(0).integers(0, 255, (*size, 3)).astype(np.uint8)
        assert compare(scrap, scrap).alignment.share > 0

    @pytest.mark.parametrize(
        "name",
        [
            "gravel",
            pytest.param("page", marks=pytest.mark.long),
            pytest.param("plate 2", marks=pytest.mark.long),
        ],
    )
    def test_two_visits_of_a_place_are_laid_on_each_other(self, name: str) -> None:
        """Another light, gamma, focus, noise, JPEG, turn and zoom; whole, half the size, rolled and mirrored."""
        pair = altered(dict(bases())[name], 31)
        half = cv2.resize(pair.before, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        rolled = np.ascontiguousarray(np.rot90(pair.before, 2))
        assert align(pair.before, pair.after).accepted
        assert align(half, pair.after).accepted
        assert align(rolled, pair.after).accepted
        assert align(np.ascontiguousarray(pair.before[:, ::-1]), pair.after, mirror=True).accepted


class TestChange:
    @pytest.mark.parametrize("gamma", [0.75, 1.3])
    def test_another_gamma_is_no_change_and_hides_none(self, gamma: float) -> None:
        bent = (((metal() / 255.0) ** gamma) * 255).astype(np.uint8)
        assert change_map(metal(), bent).found <= 1
        spots = [(120, 100, 7), (400, 300, 10), (560, 60, 6)]
        found = change_map(metal(), pitted(bent, spots))
        for x, y, _ in spots:
            assert any(
                r.box.x <= x <= r.box.x + r.box.width and r.box.y <= y <= r.box.y + r.box.height
                for r in found.regions
            )

    @pytest.mark.long
    def test_marks_between_two_visits(self) -> None:
        """Four marks a pair on ten pictures; the curve over many is in docs/pictures.md."""
        seen = marks = false = 0
        for k, (_, image) in enumerate(bases()):
            pair = altered(image, 4000 + k)
            result = hits(compare(pair.before, pair.after), pair.marks)
            seen, marks, false = seen + result[0], marks + len(pair.marks), false + result[1]
        assert seen >= 0.5 * marks
        assert false <= 5

    def test_new_spots_are_found_and_nothing_else(self) -> None:
        spots = [(120, 100, 7), (400, 300, 10), (560, 60, 6)]
        found = change_map(noisy(metal(), 1), noisy(pitted(metal(), spots), 2))
        inside = [
            any(
                r.box.x <= x <= r.box.x + r.box.width and r.box.y <= y <= r.box.y + r.box.height
                for r in found.regions
            )
            for x, y, _ in spots
        ]
        assert all(inside)
        assert found.found == 3
        assert not any(r.lighter for r in found.regions)
        assert [r.rank for r in found.regions] == [1, 2, 3]
        assert [r.score for r in found.regions] == sorted((r.score for r in found.regions), reverse=True)

    def test_a_spot_that_went_is_lighter(self) -> None:
        found = change_map(pitted(metal(), [(200, 200, 8)]), metal())
        assert [r.lighter for r in found.regions] == [True]

    def test_equal_pictures_have_no_regions(self) -> None:
        found = change_map(metal(), metal())
        assert found.regions == ()
        assert found.ssim == pytest.approx(1, abs=1e-6)
        assert found.mean_change == pytest.approx(0, abs=1e-6)

    def test_other_light_is_no_change(self) -> None:
        ramp = np.linspace(0.55, 1.1, 640)[None, :, None]
        found = change_map(metal(), np.clip(metal() * ramp, 0, 255).astype(np.uint8))
        assert found.found == 0
        assert found.ssim < 0.97

    def test_a_pixel_of_misfit_is_forgiven(self) -> None:
        assert change_map(metal(), np.roll(metal(), 1, axis=1)).found <= 1

    def test_the_slider_only_takes_away(self) -> None:
        dice = np.random.default_rng(0)
        spots = [(int(x), int(y), int(r)) for x, y, r in dice.integers((20, 20, 3), (620, 460, 9), (25, 3))]
        found = change_map(metal(), pitted(metal(), spots), threshold=2.0)
        counts = [with_threshold(found, t).found for t in (2.0, 3.0, 4.0, 6.0)]
        assert counts == sorted(counts, reverse=True)
        assert counts[0] > MOST_REGIONS
        assert len(found.regions) == MOST_REGIONS

    def test_nothing_is_claimed_where_nothing_was(self) -> None:
        covered = np.ones((480, 640), np.bool_)
        covered[:, :200] = False
        found = change_map(metal(), pitted(metal(), [(100, 100, 10), (400, 100, 10)]), covered=covered)
        assert found.found == 1
        assert found.regions[0].box.x > 300

    def test_large_pictures_keep_their_pixels(self) -> None:
        big = cv2.resize(metal(), (2560, 1920), interpolation=cv2.INTER_CUBIC)
        found = change_map(big, pitted(big, [(1800, 900, 40)]))
        (region,) = found.regions
        assert found.scale == pytest.approx(0.5)
        assert region.box.x < 1800 < region.box.x + region.box.width
        assert region.area_px == pytest.approx(np.pi * 40**2, rel=0.35)

    def test_sizes_must_agree(self) -> None:
        with pytest.raises(StillError, match="size"):
            change_map(metal(), metal(0, 240, 320))

    def test_words_never_judge(self) -> None:
        words = json.dumps(change_map(metal(), pitted(metal(), [(200, 200, 8)])).as_dict())
        assert "different" in words
        assert "damage" not in words


class TestCompare:
    def test_moved_and_changed(self) -> None:
        matrix = turn(14, 0.95, 12, 9)
        later = noisy(moved(pitted(metal(2), [(330, 220, 9)]), matrix), 4)
        found = compare(noisy(metal(2), 3), later)
        assert found.alignment.accepted
        x, y = cv2.perspectiveTransform(np.array([[[330.0, 220.0]]]), matrix)[0, 0]
        best = found.regions[0].box
        assert best.x < x < best.x + best.width
        assert best.y < y < best.y + best.height
        assert "aligned" in found.text()

    def test_the_grid_of_the_earlier_one(self) -> None:
        later = moved(pitted(metal(2), [(330, 220, 9)]), turn(14, 0.95, 12, 9))
        best = compare(metal(2), later, onto="earlier").regions[0].box
        assert best.x < 330 < best.x + best.width
        assert best.y < 220 < best.y + best.height

    def test_unlike_pictures_still_end_in_a_comparison_that_says_so(self) -> None:
        found = compare(metal(1), metal(90, 300, 500))
        assert not found.alignment.accepted
        assert found.text().startswith("NOT aligned")
        assert len(found.regions) <= MOST_REGIONS

    def test_grey_planes_are_taken(self) -> None:
        grey = cv2.cvtColor(metal(), cv2.COLOR_BGR2GRAY)
        assert compare(grey, grey).change.found == 0

    @pytest.mark.parametrize(
        "bad", [np.zeros((4, 4, 3), np.uint8), np.zeros((50, 50, 3)), np.zeros((50, 50, 2), np.uint8)]
    )
    def test_what_is_no_picture_is_refused(self, bad: np.ndarray) -> None:
        with pytest.raises(StillError):
            compare(bad, metal())

    def test_every_file_for_a_chat(self) -> None:
        found = compare(metal(), pitted(metal(), [(200, 200, 9)]))
        files = files_of(found, ("3 May", "9 June"))
        assert set(files) == {
            "earlier.png",
            "later.png",
            "map.png",
            "regions.json",
            "side-by-side.png",
            "blink.gif",
        }
        assert set(files) - set(files_of(found, blink=False)) == {"blink.gif"}
        told = json.loads(files["regions.json"])
        assert told["change"]["regions"][0]["what"] == "different, darker"
        assert told["alignment"]["accepted"]
        with Image.open(io.BytesIO(files["blink.gif"])) as moving:
            assert moving.n_frames == 2
            assert moving.info["duration"] >= 334
        later = cv2.imdecode(np.frombuffer(files["later.png"], np.uint8), cv2.IMREAD_COLOR)
        assert later.shape == (480, 640, 3)

    def test_blinking_is_never_faster_than_three_a_second(self) -> None:
        with Image.open(io.BytesIO(gif([metal(), metal(1)], ms=10))) as moving:
            assert moving.info["duration"] >= 334

    def test_blink_frames_are_equally_light(self) -> None:
        dark = (metal() * 0.6).astype(np.uint8)
        one, two = blink_frames(dark, metal())
        assert one.mean() == pytest.approx(two.mean(), rel=0.03)

    def test_compositions(self) -> None:
        a, b = metal(), metal(1)
        beside = side_by_side(a, cv2.resize(b, (320, 240)), ("before", "after"))
        assert beside.shape[0] > 480
        assert beside.shape[1] > 1280
        dates = strip([a, b, a], ["1 May", "2 June", "3 July"], 120)
        assert dates.shape[1] == 3 * 160 + 12
        found = compare(a, pitted(a, [(200, 200, 9)]))
        drawn = ringed(a, found.regions)
        assert (drawn != a).any()
        assert map_picture(found.change).max() == 255


@pytest.mark.long
@pytest.mark.parametrize("kind", ["notch", "dents"])
def test_rendered_pairs_are_laid_to_a_pixel_and_their_change_found(kind: str) -> None:
    pair = before_after(1 if kind == "notch" else 2, kind)
    a, b = (np.ascontiguousarray(p[:, :, ::-1]) for p in (pair.a, pair.b))
    found = compare(a, b, onto="earlier")
    assert found.alignment.accepted
    assert found.alignment.residual_px < 1
    near = cv2.dilate(pair.mask.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0
    best = found.regions[0].box
    part = near[int(best.y) : int(best.y + best.height), int(best.x) : int(best.x + best.width)]
    assert part.any()


@pytest.mark.long
def test_the_map_ranks_what_is_new_first() -> None:
    """Target: average precision 0.70, pixels of all maps ranked together; here four pairs, more in docs/pictures.md."""
    scores, truths = [], []
    for kind in ("dents", "flakes", "notch", "bite"):
        pair = before_after(500, kind)
        a, b = (np.ascontiguousarray(p[:, :, ::-1]) for p in (pair.a, pair.b))
        found = compare(a, b, onto="earlier")
        assert found.alignment.accepted
        scores.append(found.change.score[found.alignment.covered])
        truths.append(pair.mask[found.alignment.covered])
    reached = average_precision(np.concatenate(scores), np.concatenate(truths))
    print(f"average precision {reached:.2f}")
    assert reached >= 0.70
