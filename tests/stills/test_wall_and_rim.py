"""Cross-hatch angle, rims, and the wall laid flat, against drawn truth."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import pytest

from borelog.demo.pictures import Rendered, bore_view, hone_wall, rim_scene, wall_view
from borelog.demo.pictures.wall import Wall
from borelog.marks.shapes import Ellipse, outline
from borelog.stills import StillError
from borelog.stills.ellipse import fit_ellipse
from borelog.stills.hone import bands, hone_angle, included_angle, patch_families, squared_up
from borelog.stills.rim import find_rim, rim_or_none
from borelog.stills.unroll import (
    BorePose,
    Lens,
    Window,
    lens_of,
    poses_from_rim,
    project,
    rays,
    read_wall,
    unroll,
    wall_spot,
    with_zero,
)


def bgr(scene: Rendered) -> np.ndarray:
    return np.ascontiguousarray(scene.image[:, :, ::-1])


@lru_cache(maxsize=4)
def bore(seed: int) -> Rendered:
    return bore_view(seed)


@lru_cache(maxsize=4)
def rim_view(seed: int) -> Rendered:
    return rim_scene(seed)


def true_lens(scene: Rendered) -> Lens:
    told = scene.truth["lens"]
    return Lens(told["focal_px"], *told["centre_px"], told["k1"])


def true_pose(scene: Rendered, z: float) -> BorePose:
    turn = np.array(scene.truth["tip"]["right_down_forward_columns"])
    at = np.array(scene.truth["tip"]["at_mm"])
    centre, axis, zero = (
        (np.array([0, 0, z]) - at) @ turn,
        np.array([0, 0, 1.0]) @ turn,
        np.array([1.0, 0, 0]) @ turn,
    )
    return BorePose(tuple(centre), tuple(axis), tuple(zero), scene.truth["bore_mm"] / 2)  # type: ignore[arg-type]


class TestHone:
    @pytest.mark.parametrize("angle", [24.0, 35.0, 45.0, 60.0, 75.0, 110.0])
    def test_flat_patch_to_a_tenth_of_a_degree(self, angle: float) -> None:
        for seed in range(3):
            families, why = patch_families(hone_wall(angle, 512, seed=seed, noise=1.0).image)
            assert not why
            assert included_angle(families) == pytest.approx(angle, abs=0.1)

    def test_an_angle_that_no_hone_leaves_is_refused(self) -> None:
        found = hone_angle(hone_wall(166.0, 512, seed=1, noise=1.0).image, squared=True)
        assert np.isnan(found.angle_deg) and "no hone leaves" in found.refused

    @pytest.mark.long
    def test_error_over_sizes_and_noise(self) -> None:
        dice = np.random.default_rng(3)
        for size, noise, most in ((512, 0.5, 0.1), (512, 2.0, 0.1), (384, 1.0, 0.15), (256, 0.5, 0.3)):
            off, refused = [], 0
            for seed in range(20):
                angle = float(dice.uniform(22, 75))
                families, why = patch_families(hone_wall(angle, size, seed=seed, noise=noise).image)
                refused += bool(why)
                if not why:
                    off.append(abs(included_angle(families) - angle))
            print(
                f"{size} px, noise {noise}: p90 {np.quantile(off, 0.9):.3f} degrees, {refused} of 20 refused"
            )
            assert np.quantile(off, 0.9) < most
            assert refused <= 4

    @pytest.mark.parametrize("seed", range(4))
    def test_one_family_is_refused(self, seed: int) -> None:
        _, why = patch_families(hone_wall(45, 512, seed=seed, single=True).image)
        assert "second groove family" in why

    def test_noise_is_refused(self) -> None:
        noise = np.random.default_rng(0).integers(60, 190, (512, 512)).astype(np.uint8)
        assert patch_families(noise)[1]

    def test_a_view_down_the_bore_is_refused(self) -> None:
        found = hone_angle(bgr(bore(1)))
        assert found.refused
        assert np.isnan(found.angle_deg)
        assert found.as_dict()["angle_deg"] is None

    def test_a_small_picture_is_refused(self) -> None:
        assert "too small" in hone_angle(np.full((120, 400, 3), 90, np.uint8)).refused

    def test_a_rolled_view_needs_its_axis(self) -> None:
        rolled = np.ascontiguousarray(np.rot90(hone_wall(45, 512).image))
        assert "axis" in hone_angle(rolled).refused or hone_angle(rolled).angle_deg == pytest.approx(
            135, abs=0.2
        )
        assert hone_angle(rolled, axis_deg=0.0).angle_deg == pytest.approx(45, abs=0.1)

    def test_included_angle_counts_across_the_circumference(self) -> None:
        assert included_angle((22.5, -22.5)) == pytest.approx(45)
        assert included_angle((60.0, -60.0)) == pytest.approx(120)
        assert np.isnan(included_angle((10.0, 50.0)))
        assert included_angle((32.5, -12.5), axis_deg=100.0) == pytest.approx(45)

    def test_the_answer_names_convention_error_and_bands(self) -> None:
        text = hone_angle(hone_wall(50, 512).image).text()
        assert "bisected by the direction round the bore" in text
        assert "not in agreement" in text
        assert "+-" in text
        assert len({b["source"] for b in bands()}) >= 4

    @pytest.mark.parametrize(("angle", "lean"), [(30.0, (6.0, 4.0)), (60.0, (14.0, 9.0))])
    def test_laid_square_by_a_known_pose_to_half_a_degree(
        self, angle: float, lean: tuple[float, float]
    ) -> None:
        scene = wall_view(1, wall=Wall(hone_deg=angle), tilt_deg=lean)
        lens, pose = true_lens(scene), true_pose(scene, 45.0)
        at, above = read_wall(lens, pose, np.array([640.0, 360.0]))
        half = float(np.degrees(8 / pose.radius_mm))
        side = int(16 * scene.truth["hatch"]["px_per_mm_round"])
        flat = unroll(bgr(scene), lens, pose, Window(at - half, at + half, above + 8, above - 8, side, side))
        found = hone_angle(flat.image, squared=True)
        assert not found.refused
        assert found.angle_deg == pytest.approx(angle, abs=0.5)
        assert abs(found.angle_deg - angle) < found.error_deg

    def test_squared_up_by_corners(self) -> None:
        patch = hone_wall(45, 512).image
        there = np.array([[80, 60], [700, 100], [660, 560], [40, 500]], np.float32)
        here = np.array([[0, 0], [512, 0], [512, 512], [0, 512]], np.float32)
        matrix = cv2.getPerspectiveTransform(here, there)
        slanted = cv2.warpPerspective(patch, matrix, (760, 620), flags=cv2.INTER_CUBIC)
        flat = squared_up(slanted, tuple((float(x), float(y)) for x, y in there), 20.0, 20.0)
        assert hone_angle(flat, squared=True).angle_deg == pytest.approx(45, abs=0.5)
        with pytest.raises(StillError, match="four corners"):
            squared_up(slanted, ((0.0, 0.0),), 20, 20)


class TestEllipse:
    @pytest.mark.parametrize("outliers", [0.0, 0.3, 0.6])
    def test_most_points_may_be_wrong(self, outliers: float) -> None:
        dice = np.random.default_rng(int(outliers * 10))
        for trial in range(8):
            true = Ellipse(
                *dice.uniform((300, 200, 120, 80), (500, 400, 200, 118)), float(dice.uniform(0, 180))
            )
            held = np.array(outline(true, 300))[dice.permutation(300)[: round(300 * (1 - outliers))]]
            wrong = dice.uniform((50, 0), (750, 600), (300 - len(held), 2))
            found = fit_ellipse(np.vstack([held + dice.normal(0, 0.7, held.shape), wrong]), seed=trial).shape
            assert np.hypot(found.cx - true.cx, found.cy - true.cy) < 0.6
            assert found.rx * found.ry == pytest.approx(true.rx * true.ry, rel=0.01)

    def test_a_quarter_of_the_way_round_may_be_missing(self) -> None:
        true = Ellipse(400, 300, 180, 140, 30)
        points = np.array(outline(true, 400))[:300] + np.random.default_rng(1).normal(0, 0.5, (300, 2))
        found = fit_ellipse(points)
        assert found.shape.cx == pytest.approx(400, abs=1)
        assert 0.6 < found.covered < 0.9

    def test_the_same_points_give_the_same_ellipse(self) -> None:
        points = np.array(outline(Ellipse(100, 90, 50, 40, 10), 60))
        assert fit_ellipse(points) == fit_ellipse(points)

    @pytest.mark.parametrize(
        "points",
        [np.zeros((3, 2)), np.full((20, 2), np.nan), np.random.default_rng(0).uniform(0, 500, (200, 2))],
        ids=["few", "no numbers", "scattered"],
    )
    def test_what_is_no_ellipse_is_refused(self, points: np.ndarray) -> None:
        with pytest.raises(StillError, match="mark"):
            fit_ellipse(points)


class TestRim:
    def test_a_drawn_ring_to_a_fraction_of_a_pixel(self) -> None:
        dice = np.random.default_rng(0)
        big = np.full((720 * 4, 1280 * 4), 120, np.uint8)
        cv2.ellipse(big, (2600, 1400), (1120, 1000), 20, 0, 360, 60, 24)
        grey = cv2.resize(big, (1280, 720), interpolation=cv2.INTER_AREA)
        grey = np.clip(grey + dice.normal(0, 4, grey.shape), 0, 255).astype(np.uint8)
        found = find_rim(np.repeat(grey[:, :, None], 3, axis=2), 640.0, 362.0).shape
        assert found.cx == pytest.approx(2600 / 4 + 0.125, abs=0.6)
        assert found.cy == pytest.approx(1400 / 4 + 0.125, abs=0.6)
        assert sorted((found.rx, found.ry)) == pytest.approx([250, 280], abs=0.8)

    @pytest.mark.parametrize("seed", [0, 1])
    def test_a_rendered_rim_is_found_from_a_tap_off_the_middle(self, seed: int) -> None:
        scene = rim_view(seed)
        true = np.array(scene.truth["rim"]["points"])
        x, y = true.mean(axis=0) + np.array([9, -7])
        found = find_rim(bgr(scene), float(x), float(y)).shape
        inside = ((true > 4) & (true < (1276, 716))).all(axis=1)
        c, s = np.cos(np.radians(found.angle)), np.sin(np.radians(found.angle))
        q = true[inside] - (found.cx, found.cy)
        on = np.hypot((q[:, 0] * c + q[:, 1] * s) / found.rx, (q[:, 1] * c - q[:, 0] * s) / found.ry)
        # The wall's foot has no sharp line there; the crown's chamfer, a millimetre inside, has.
        assert np.median(np.abs(on - 1)) * found.rx < 3

    def test_a_plain_picture_has_no_rim(self) -> None:
        with pytest.raises(StillError, match="no dark line"):
            find_rim(np.full((400, 600, 3), 100, np.uint8), 300, 200)
        assert rim_or_none(np.full((400, 600, 3), 100, np.uint8), 300, 200) is None

    def test_a_tap_outside_is_refused(self) -> None:
        with pytest.raises(StillError, match="inside"):
            find_rim(np.full((400, 600, 3), 100, np.uint8), 900, 200)


class TestUnroll:
    def test_reading_the_wall_with_the_true_pose_is_exact(self) -> None:
        scene = bore(0)
        depth = scene.truth["crown_depth_mm"]
        ys, xs = (v * 9 for v in np.nonzero(scene.maps["on_wall"][::9, ::9]))
        read = read_wall(true_lens(scene), true_pose(scene, depth), np.stack([xs + 0.5, ys + 0.5], axis=1))
        off = (read[:, 0] - scene.maps["theta_deg"][ys, xs] + 180) % 360 - 180
        assert np.nanmedian(np.abs(np.radians(off))) * 40.5 < 0.05
        assert np.nanmedian(np.abs(read[:, 1] - (depth - scene.maps["z_mm"][ys, xs]))) < 0.05

    def test_one_of_the_two_poses_of_an_exact_rim_is_the_true_one(self) -> None:
        lens = Lens(500, 640, 360, 0.0)
        axis = np.array([0.12, -0.08, 1.0])
        axis /= np.linalg.norm(axis)
        zero = np.cross(axis, [1.0, 0, 0])
        true = BorePose((3.0, -2.0, 70.0), tuple(axis), tuple(zero / np.linalg.norm(zero)), 40.0)  # type: ignore[arg-type]
        ring = project(lens, true.wall(np.arange(0, 360, 3), np.zeros(120)))
        poses = poses_from_rim(fit_ellipse(ring, 0.5).shape, lens, 80.0)
        best = min(poses, key=lambda p: np.linalg.norm(np.array(p.axis) - true.axis))
        assert np.degrees(np.arccos(np.clip(np.array(best.axis) @ axis, -1, 1))) < 0.2
        assert best.centre == pytest.approx(true.centre, abs=0.1)
        # Both are true to the picture: each sees the same ring.
        for pose in poses:
            seen = project(lens, pose.wall(np.arange(0, 360, 10), np.zeros(36)))
            away = np.linalg.norm(seen[:, None] - ring[None], axis=2).min(axis=1)
            assert np.median(away) < 8

    def test_from_a_found_rim_the_wall_is_read_within_the_stated_error(self) -> None:
        scene = bore(0)
        depth = scene.truth["crown_depth_mm"]
        x, y = np.array(scene.truth["rim"]["points"]).mean(axis=0)
        lens = true_lens(scene)
        poses = poses_from_rim(find_rim(bgr(scene), float(x), float(y)).shape, lens, scene.truth["bore_mm"])
        axis = np.array(true_pose(scene, depth).axis)
        pose = max(poses, key=lambda p: float(np.array(p.axis) @ axis))
        ys, xs = (v * 13 for v in np.nonzero(scene.maps["on_wall"][::13, ::13]))
        above = depth - scene.maps["z_mm"][ys, xs]
        near = above < 40
        read = read_wall(lens, pose, np.stack([xs + 0.5, ys + 0.5], axis=1)[near])
        off = (read[:, 0] - scene.maps["theta_deg"][ys, xs][near] + 180) % 360 - 180
        off = np.radians(off - np.nanmedian(off)) * pose.radius_mm
        spots = [wall_spot(pose, 0.0, float(a)) for a in above[near]]
        within = np.abs(off) < [s.round_error_mm for s in spots]
        deep = np.abs(read[:, 1] - above[near]) < [s.above_error_mm for s in spots]
        assert within[np.isfinite(off)].mean() > 0.85
        assert deep[np.isfinite(off)].mean() > 0.9

    def test_scores_become_verticals_and_read_back(self) -> None:
        scene = bore(0)
        lens, pose = true_lens(scene), true_pose(scene, scene.truth["crown_depth_mm"])
        flat = unroll(bgr(scene), lens, pose, Window(top_mm=45))
        spot = flat.read(360.0, 180.0)
        assert spot.angle_deg == pytest.approx(90)
        assert spot.above_mm == pytest.approx(22.5)
        assert spot.round_mm == pytest.approx(np.pi / 2 * 40.5)
        back = read_wall(lens, pose, np.array(flat.to_still(360.0, 180.0)))
        assert back == pytest.approx((90, 22.5), abs=1e-6)
        assert flat.px_per_mm == pytest.approx((1440 / (2 * np.pi * 40.5), 8.0))
        assert "degrees" in spot.text()

    def test_the_person_sets_the_zero(self) -> None:
        scene = bore(0)
        lens, pose = true_lens(scene), true_pose(scene, scene.truth["crown_depth_mm"])
        turned = with_zero(pose, lens, 1200.0, 300.0)
        assert read_wall(lens, turned, np.array([1200.0, 300.0]))[0] % 360 == pytest.approx(0, abs=1e-6)
        with pytest.raises(StillError, match="not on the wall"):
            with_zero(pose, Lens(300, 640, 360, -0.4), 4000.0, 300.0)

    def test_where_the_lens_folds_back_nothing_is_drawn(self) -> None:
        lens = Lens(420, 640, 360, -0.3)
        assert np.isfinite(rays(lens, np.array([700.0, 360.0]))).all()
        assert np.isnan(rays(lens, np.array([1279.0, 719.0]))).all()
        pose = BorePose((0.0, 0.0, 60.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0), 40.0)
        flat = unroll(np.full((720, 1280, 3), 200, np.uint8), lens, pose, Window(top_mm=58))
        assert not flat.seen.all()
        assert not flat.image[~flat.seen].any()
        assert flat.image[flat.seen].any()

    def test_the_map_is_kept(self) -> None:
        from borelog.stills.unroll import _map

        pose = BorePose((0.0, 0.0, 60.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0), 41.0)
        before = _map.cache_info().hits
        for _ in range(3):
            unroll(np.zeros((720, 1280, 3), np.uint8), Lens(400, 640, 360), pose)
        assert _map.cache_info().hits >= before + 2

    def test_a_lens_from_the_box(self) -> None:
        lens = lens_of(1280, 720, 90.0)
        corner = rays(lens, np.array([0.0, 0.0]))
        assert np.degrees(np.arctan(np.linalg.norm(corner))) == pytest.approx(45)
        with pytest.raises(StillError):
            lens_of(1280, 720, 200)
