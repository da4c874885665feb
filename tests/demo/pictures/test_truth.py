"""The truth beside a picture is checked against the picture itself, by means the picture maker does not use."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from borelog.demo.pictures import (
    PictureError,
    before_after,
    before_after_stills,
    bore_view,
    crack_scene,
    hone_wall,
    plug_profile,
    rim_scene,
    scene,
)
from borelog.demo.pictures.optics import Lens, look, plane_homography, project


def test_projection_agrees_with_opencv() -> None:
    """Brown's radial model as OpenCV documents it (projectPoints, k1 only); ours has pixel centres at .5."""
    lens, pose = Lens(640, 480, 400.0, -0.11), look((3.0, -2.0, 4.0), (10.0, 6.0, 60.0), 33.0)
    points = np.random.default_rng(1).uniform([-20, -20, 40], [20, 20, 90], (50, 3))
    turn = pose.matrix.T
    shift = -turn @ np.array(pose.at)
    camera = np.array([[400.0, 0, 320.0], [0, 400.0, 240.0], [0, 0, 1]])
    theirs = cv2.projectPoints(points, cv2.Rodrigues(turn)[0], shift, camera, np.array([-0.11, 0, 0, 0]))[0][
        :, 0
    ]
    assert np.abs(project(lens, pose, points) - theirs).max() < 1e-6


def test_rays_and_projection_are_inverse() -> None:
    lens, pose = Lens(320, 240, 170.0, -0.08), look((1.0, 2.0, 5.0), (4.0, -3.0, 60.0), -20.0)
    x, y = lens.directions()
    rays = np.stack([x, y, np.ones_like(x)], axis=-1).astype(np.float64) @ pose.matrix.T
    back = project(lens, pose, np.array(pose.at) + 30.0 * rays)
    rows, columns = np.mgrid[0:240, 0:320] + 0.5
    assert np.nanmax(np.abs(back - np.stack([columns, rows], axis=-1))) < 0.01


def test_points_of_the_map_land_on_their_pixel() -> None:
    shot = bore_view(5, size=(320, 240))
    at = np.array(shot.truth["tip"]["at_mm"])
    turn = np.array(shot.truth["tip"]["right_down_forward_columns"])
    local = (shot.maps["point_mm"].astype(np.float64) - at) @ turn
    focal, k1 = shot.truth["lens"]["focal_px"], shot.truth["lens"]["k1"]
    x, y = local[..., 0] / local[..., 2], local[..., 1] / local[..., 2]
    bend = 1 + k1 * (x * x + y * y)
    rows, columns = np.mgrid[0:240, 0:320] + 0.5
    off = np.hypot(160 + focal * x * bend - columns, 120 + focal * y * bend - rows)
    assert np.percentile(off, 99) < 0.05
    on_wall = shot.maps["on_wall"]
    radius = np.hypot(shot.maps["point_mm"][..., 0], shot.maps["point_mm"][..., 1])
    assert np.abs(radius[on_wall] - 40.5).max() < 0.01


@pytest.mark.parametrize("seed", [1, 2])
def test_rim_lies_on_a_dark_line_between_crown_and_wall(seed: int) -> None:
    shot = rim_scene(seed, size=(640, 360))
    points = np.array(shot.truth["rim"]["points"])
    ellipse = shot.truth["rim"]["ellipse"]
    (cx, cy), (a, b) = ellipse["centre"], ellipse["semi_axes"]
    turn = np.deg2rad(ellipse["angle_deg"])
    u = (points[:, 0] - cx) * np.cos(turn) + (points[:, 1] - cy) * np.sin(turn)
    v = -(points[:, 0] - cx) * np.sin(turn) + (points[:, 1] - cy) * np.cos(turn)
    assert np.abs(np.hypot(u / a, v / b) - 1).max() < 1e-4
    grey = cv2.GaussianBlur(shot.image.mean(axis=2), (0, 0), 1.0)
    inside = [(int(x), int(y)) for x, y in points if 12 < x < 628 and 12 < y < 348]
    at_rim = np.mean([grey[y, x] for x, y in inside])
    out = np.array([cx, cy])
    beside = []
    for x, y in inside:
        away = (np.array([x, y]) - out) / np.hypot(x - cx, y - cy)
        for step in (-10, 10):
            px, py = np.array([x, y]) + away * step
            beside.append(grey[int(np.clip(py, 0, 359)), int(np.clip(px, 0, 639))])
    assert at_rim < 0.9 * np.mean(beside)


@pytest.mark.parametrize("angle", [30.0, 47.0, 62.0])
def test_hatch_angle_is_in_the_spectrum(angle: float) -> None:
    """The two strongest directions of the windowed spectrum are half the included angle either side of upright."""
    shot = hone_wall(angle, 512, 4, 0.5)
    grey = shot.image[..., 0].astype(np.float64)
    window = np.outer(np.hanning(512), np.hanning(512))
    power = np.abs(np.fft.fftshift(np.fft.fft2((grey - grey.mean()) * window))) ** 2
    fy, fx = np.mgrid[-256:256, -256:256]
    ring = (np.hypot(fx, fy) > 25) & (np.hypot(fx, fy) < 140)
    lean = np.rad2deg(np.arctan2(fx[ring], fy[ring]))
    lean = (lean + 90) % 180 - 90
    bins, edges = np.histogram(lean, bins=720, range=(-90, 90), weights=power[ring])
    counts = np.histogram(lean, bins=720, range=(-90, 90))[0]
    smooth = np.convolve(bins / np.maximum(counts, 1), np.ones(5) / 5, mode="same")
    middle = (edges[1:] + edges[:-1]) / 2
    right = middle[middle > 5][np.argmax(smooth[middle > 5])]
    left = middle[middle < -5][np.argmax(smooth[middle < -5])]
    assert abs((right - left) - angle) < 1.0
    assert shot.truth["included_angle_deg"] == angle


def test_hatch_with_one_family_has_one_direction() -> None:
    both, one = hone_wall(45.0, 256, 3, 0.2), hone_wall(45.0, 256, 3, 0.2, single=True)
    assert np.abs(both.image.astype(int) - one.image).mean() > 2


def test_thread_period_on_the_outline_is_the_pitch() -> None:
    shot = plug_profile(
        0.9, 20.0, 1.25, 3, size=(560, 320), turn_deg=0.0, ground="paper", fine=2, distance_mm=400.0
    )
    line = shot.truth["thread"]["silhouettes_px"][0]
    (x0, y0), (x1, _) = line
    seen = shot.maps["label/thread"][:, int(x0) : int(x1)]
    top = np.argmax(seen, axis=0).astype(float)
    trace = top - top.mean()
    spectrum = np.abs(np.fft.rfft(trace * np.hanning(len(trace)), 16384))
    low = int(16384 / 40)
    period = 16384 / (low + np.argmax(spectrum[low : int(16384 / 12)]))
    assert abs(period / 25.0 - 1) < 0.02
    assert abs(top.min() - y0) < 1.5


@pytest.mark.parametrize("gap", [0.6, 1.1])
def test_gap_between_the_labelled_electrodes(gap: float) -> None:
    shot = plug_profile(gap, 20.0, seed=5, size=(480, 300), turn_deg=0.0, fine=2, distance_mm=400.0)
    (ax, ay), (bx, _) = shot.truth["gap"]["from_px"], shot.truth["gap"]["to_px"]
    assert bx - ax == pytest.approx(gap * 20.0, abs=0.01)
    row = int(ay)
    centre = np.flatnonzero(shot.maps["label/centre electrode"][row]).max() + 1
    strap = np.flatnonzero(shot.maps["label/ground strap"][row])
    assert strap[strap > centre].min() - centre == pytest.approx(gap * 20.0, abs=1.6)


def test_crack_is_darker_than_both_its_sides() -> None:
    shot = crack_scene(4, size=(640, 360))
    mask = shot.maps["crack"]
    assert 0.0005 < mask.mean() < 0.02
    near = cv2.dilate(mask.astype(np.uint8), np.ones((15, 15), np.uint8)).astype(bool)
    near &= ~cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
    grey = shot.image.mean(axis=2)
    assert grey[mask].mean() < 0.85 * grey[near].mean()
    sound = crack_scene(4, size=(640, 360), crack=False)
    assert not sound.maps["crack"].any()
    same = np.abs(sound.image.astype(int) - shot.image).max(axis=2)
    assert np.median(same[mask]) > 4 * np.median(same[~near & ~mask])


@pytest.mark.parametrize("kind", ["dents", "notch"])
def test_pair_differs_where_the_mask_says(kind: str) -> None:
    a, b, mask, _, flow = before_after_stills(3, kind, size=(640, 360))
    assert 0.0005 < mask.mean() < 0.2
    at = flow.astype(np.float32) - 0.5
    moved = cv2.remap(b.image, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    inside = (
        np.isfinite(flow).all(axis=2)
        & (at[..., 0] > 2)
        & (at[..., 0] < 637)
        & (at[..., 1] > 2)
        & (at[..., 1] < 357)
    )
    change = np.abs(moved.astype(int) - a.image).mean(axis=2)
    assert change[mask & inside].mean() > 2.5 * change[~mask & inside].mean()


def test_pair_without_change_has_an_empty_mask_and_a_near_homography() -> None:
    a, _, mask, matrix, flow = before_after_stills(1, "same", size=(320, 180))
    assert not mask.any()
    floor = a.maps["on_floor"] & np.isfinite(flow).all(axis=2)
    rows, columns = np.mgrid[0:180, 0:320] + 0.5
    points = np.stack([columns[floor], rows[floor]], axis=1)
    by_matrix = cv2.perspectiveTransform(points[None], matrix)[0]
    assert np.median(np.hypot(*(by_matrix - flow[floor]).T)) < 1.0


def test_plane_homography_is_exact_on_its_plane() -> None:
    lens = Lens(640, 360, 460.0, 0.0)
    a, b = look((1.0, 2.0, 15.0), (3.0, 3.0, 60.0), 10.0), look((2.5, 0.0, 17.0), (2.0, 5.0, 60.0), 22.0)
    matrix = plane_homography(lens, a, b, 60.0)
    points = np.array([[-8.0, 4.0, 60.0], [9.0, 7.0, 60.0], [0.0, -6.0, 60.0]])
    there = cv2.perspectiveTransform(project(lens, a, points)[None], matrix)[0]
    assert np.abs(there - project(lens, b, points)).max() < 1e-8


def test_pair_unpacks_into_four() -> None:
    a, b, mask, matrix = before_after(1, "flakes", size=(320, 180))
    assert a.shape == b.shape == (180, 320, 3)
    assert mask.dtype == np.bool_
    assert matrix.shape == (3, 3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: scene("no such"),
        lambda: before_after(1, "no such"),
        lambda: plug_profile(state="no such"),
        lambda: hone_wall(0.0),
    ],
)
def test_unknown_names_say_what_there_is(call: object) -> None:
    with pytest.raises(PictureError, match=r"choose one of|between 0 and 180"):
        call()  # type: ignore[operator]
