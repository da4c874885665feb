"""Scales and measures against geometry that is known, and uncertainties that cover what they claim to."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from borelog.marks.shapes import Box, Ellipse, Freehand, Line, Point, Polygon
from borelog.stills import StillError
from borelog.stills.lens import Lens, calibrate
from borelog.stills.measure import angle, area, distance, share
from borelog.stills.scale import from_disc, from_disc_pose, from_length
from borelog.stills.scissors import Scissors, simplified
from borelog.stills.thread import PLUG_THREADS, from_thread

FOCAL, SIZE, RADIUS = 700.0, (1280, 720), 40.5
CAMERA = np.array([[FOCAL, 0, 640], [0, FOCAL, 360], [0, 0, 1.0]])


class Disc:
    """A circle of 81 mm in front of a pinhole camera, tilted by ``tilt`` degrees toward ``azimuth``."""

    def __init__(self, tilt: float, azimuth: float, centre: tuple[float, float, float]) -> None:
        t, a = math.radians(tilt), math.radians(azimuth)
        normal = np.array([math.sin(t) * math.cos(a), math.sin(t) * math.sin(a), -math.cos(t)])
        first = np.cross(normal, [0, 1, 0])
        self.axes = np.array([first / np.linalg.norm(first), np.cross(normal, first / np.linalg.norm(first))])
        self.centre = np.array(centre)
        turn = np.linspace(0, 2 * math.pi, 180, endpoint=False)
        rim = self.pixels(RADIUS * np.column_stack([np.cos(turn), np.sin(turn)]))
        (x, y), (w, h), angle = cv2.fitEllipseDirect(np.float32(rim))
        self.rim = Ellipse(x, y, w / 2, h / 2, angle)

    def pixels(self, on_plane: np.ndarray) -> list[tuple[float, float]]:
        points = (self.centre + np.atleast_2d(on_plane) @ self.axes) @ CAMERA.T
        return [(float(x), float(y)) for x, y in points[:, :2] / points[:, 2:]]


@settings(max_examples=40, deadline=None)
@given(st.floats(4, 50), st.floats(0, 360), st.floats(-12, 12), st.floats(-8, 8), st.floats(90, 150))
def test_one_of_the_two_poses_is_exact(tilt: float, azimuth: float, x: float, y: float, z: float) -> None:
    disc = Disc(tilt, azimuth, (x, y, z))
    a, b, c = disc.pixels(np.array([[5.0, 3.0], [-20.0, 10.0], [0.0, -25.0]]))
    poses = from_disc_pose(disc.rim, 2 * RADIUS, focal_px=FOCAL, size=SIZE)
    errors = []
    for scale in poses:
        lengths = distance(Line(*a, *b), scale).value, distance(Line(*a, *c), scale).value
        errors.append(
            max(abs(lengths[0] - math.dist((5, 3), (-20, 10))), abs(lengths[1] - math.dist((5, 3), (0, -25))))
        )
    assert min(errors) < 0.01


def test_poses_name_the_nearer_side() -> None:
    for azimuth, side in ((0, "right"), (180, "left"), (90, "lower"), (270, "upper")):
        disc = Disc(25, azimuth, (0, 0, 110))
        a, b = disc.pixels(np.array([[30.0, 0.0], [-30.0, 0.0]]))
        good = min(
            from_disc_pose(disc.rim, 2 * RADIUS, focal_px=FOCAL, size=SIZE),
            key=lambda s: abs(distance(Line(*a, *b), s).value - 60),
        )
        # The normal leans toward the azimuth and the camera: that side is the far one, the other is near.
        far = {"right": "left", "left": "right", "lower": "upper", "upper": "lower"}[side]
        depth = {s: disc.centre[2] + (RADIUS * v @ disc.axes)[2] for s, v in _extremes(disc).items()}
        nearest = min(depth, key=depth.get)  # type: ignore[arg-type]
        assert nearest in (side, far)
        assert nearest in good.plane


def _extremes(disc: Disc) -> dict[str, np.ndarray]:
    turn = np.linspace(0, 2 * math.pi, 360, endpoint=False)
    ways = np.column_stack([np.cos(turn), np.sin(turn)])
    pixels = np.array(disc.pixels(RADIUS * ways))
    picks = {
        "right": pixels[:, 0].argmax(),
        "left": pixels[:, 0].argmin(),
        "lower": pixels[:, 1].argmax(),
        "upper": pixels[:, 1].argmin(),
    }
    return {k: ways[i] for k, i in picks.items()}


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 40), st.floats(0, 360), st.floats(95, 150))
def test_plain_disc_scale_is_within_what_it_claims(tilt: float, azimuth: float, z: float) -> None:
    disc = Disc(tilt, azimuth, (0, 0, z))
    a, b = disc.pixels(np.array([[25.0, 0.0], [-25.0, 5.0]]))
    measured = distance(Line(*a, *b), from_disc(disc.rim, 2 * RADIUS, 1280, focal_px=FOCAL))
    assert abs(measured.value - math.dist((25, 0), (-25, 5))) < 3 * measured.u


def test_share_of_the_crown_under_slant() -> None:
    disc = Disc(30, 40, (0, 0, 110))
    turn = np.linspace(0, 2 * math.pi, 90, endpoint=False)
    bite = np.column_stack([25 + 8 * np.cos(turn), 8 * np.sin(turn)])
    part = Polygon(tuple(disc.pixels(bite)))
    true = 100 * 64 / RADIUS**2
    plain = share(part, disc.rim)
    posed = min(
        (share(part, disc.rim, s) for s in from_disc_pose(disc.rim, 2 * RADIUS, focal_px=FOCAL, size=SIZE)),
        key=lambda m: abs(m.value - true),
    )
    assert posed.value == pytest.approx(true, rel=0.02)
    assert abs(plain.value - true) > abs(posed.value - true)
    assert plain.unit == "%"


def test_known_length_and_its_uncertainty() -> None:
    scale = from_length((100, 100), (300, 100), 20.0, u_mm=0.1)
    assert scale.mm_per_px(0, 0) == pytest.approx(0.1)
    measured = distance(Line(0, 0, 30, 40), scale)
    assert measured.value == pytest.approx(5.0)
    # JCGM 100: (u/L)^2 = (0.1/20)^2 + 2 (1/200)^2 for the scale, 2 (1/50)^2 for the line.
    expected = 5 * math.sqrt((0.1 / 20) ** 2 + 2 / 200**2 + 2 / 50**2)
    assert measured.u == pytest.approx(expected, rel=1e-3)
    assert "±" in measured.in_words
    assert any("known length" in r for r in measured.rests_on)


def test_uncertainty_agrees_with_chance() -> None:
    rng = np.random.default_rng(2)
    arms = ((100.0, 100.0), (150.0, 160.0), (260.0, 120.0))
    said = angle(arms, click_px=1.5)
    tries = [angle(tuple(map(tuple, np.array(arms) + rng.normal(0, 1.5, (3, 2))))).value for _ in range(3000)]  # type: ignore[arg-type]
    assert said.u == pytest.approx(np.std(tries), rel=0.08)
    path = Freehand(((0, 0), (40, 10), (80, -5)))
    tries = [
        distance(Freehand(tuple(map(tuple, np.array(path.points) + rng.normal(0, 1, (3, 2)))))).value
        for _ in range(3000)
    ]
    assert distance(path).u == pytest.approx(np.std(tries), rel=0.08)


def test_without_a_scale_only_pixels_and_shares() -> None:
    assert distance(Line(0, 0, 3, 4)).unit == "px"
    assert area(Box(0, 0, 10, 20)).unit == "px²"
    assert area(Box(0, 0, 10, 20)).value == pytest.approx(200)
    assert any("no scale" in r for r in area(Box(0, 0, 10, 20)).rests_on)


def test_areas_of_all_closed_shapes() -> None:
    scale = from_length((0, 0), (100, 0), 10.0)
    assert area(Ellipse(50, 50, 30, 20, 33), scale).value == pytest.approx(math.pi * 6, rel=2e-3)
    assert area(Polygon(((0, 0), (40, 0), (0, 30))), scale).value == pytest.approx(6.0)


def test_angle_on_the_part_needs_a_plane() -> None:
    disc = Disc(35, 10, (0, 0, 120))
    arms = tuple(disc.pixels(np.array([[20.0, 0.0], [0.0, 0.0], [0.0, 20.0]])))
    seen = angle(arms)  # type: ignore[arg-type]
    true = min(
        (angle(arms, s).value for s in from_disc_pose(disc.rim, 81, focal_px=FOCAL, size=SIZE)),
        key=lambda v: abs(v - 90),
    )  # type: ignore[arg-type]
    assert true == pytest.approx(90, abs=0.1)
    assert abs(seen.value - 90) > 1
    assert "in the picture" in seen.rests_on[0]


def test_wrong_shapes_are_refused_in_words() -> None:
    for act in (
        lambda: distance(Point(1, 1)),
        lambda: distance(Box(0, 0, 5, 5)),
        lambda: area(Line(0, 0, 1, 1)),
        lambda: from_length((0, 0), (3, 0), 10),
        lambda: from_length((0, 0), (30, 0), -1),
        lambda: from_disc(Ellipse(0, 0, 3, 3), 81, 640),
        lambda: from_disc_pose(Ellipse(300, 200, 90, 80), 81),
        lambda: angle(((0, 0), (1, 1), (2, 2))),
    ):
        with pytest.raises(StillError):
            act()


@pytest.mark.parametrize(
    ("value", "u", "words"),
    [(12.345, 0.3, "12.3 ± 0.6 mm"), (123.4, 12.0, "123 ± 24 mm"), (0.123, 0.002, "0.123 ± 0.004 mm")],
)
def test_no_more_digits_than_it_carries(value: float, u: float, words: str) -> None:
    from borelog.stills.measure import Measure

    assert Measure("length", value, "mm", u, ()).in_words == words


def silhouette(
    px: float, tilt: float, noise: float, name: str = "M14x1.25", light: tuple[float, float] = (70, 200)
) -> np.ndarray:
    """A thread's outline on plain ground; the two flanks are half a turn apart, as on any single thread."""
    thread = PLUG_THREADS[name]
    y, x = np.mgrid[0:1000, 0:1400] / 2.0
    x, y = x + 0.25 - 350, y + 0.25 - 250
    c, s = math.cos(tilt), math.sin(tilt)
    along, across = (c * x + s * y) / px, (c * y - s * x) / px
    depth = (thread.major - thread.minor_diameter) / 2

    def tooth(v: np.ndarray) -> np.ndarray:
        return np.clip(np.abs((v / thread.pitch % 1) * 2 - 1) * 1.2 - 0.1, 0, 1) * depth

    body = (across > -thread.major / 2 + tooth(along)) & (
        across < thread.major / 2 - tooth(along + thread.pitch / 2)
    )
    grey = cv2.resize(
        np.where(body, float(light[0]), float(light[1])), (700, 500), interpolation=cv2.INTER_AREA
    )
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0)
    return np.clip(grey + np.random.default_rng(1).normal(0, noise, grey.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("px", [12, 16, 22])
@pytest.mark.parametrize("tilt", [0.0, 0.12, -0.3])
@pytest.mark.parametrize("light", [(70, 200), (210, 40)])
def test_thread_gives_the_scale(px: float, tilt: float, light: tuple[float, float]) -> None:
    image = silhouette(px, tilt, 4, light=light)
    reach = 8 * px
    a = (350 - reach * math.cos(tilt) + 3, 250 - reach * math.sin(tilt) + 2)
    b = (350 + reach * math.cos(tilt) - 2, 250 + reach * math.sin(tilt) - 4)
    found = from_thread(image, a, b, PLUG_THREADS["M14x1.25"], half_width=9 * px, distance_mm=400)
    assert found.scale.mm_per_px(0, 0) * px == pytest.approx(1, abs=0.002)
    assert found.crest_px * found.scale.mm_per_px(0, 0) == pytest.approx(14, abs=0.15)
    assert found.steady > 0.9


def test_no_thread_is_said() -> None:
    plain = np.full((500, 700), 200, np.uint8)
    plain[150:350] = 70
    with pytest.raises(StillError, match="no steady thread"):
        from_thread(plain, (100, 250), (600, 250), PLUG_THREADS["M14x1.25"], half_width=140)
    with pytest.raises(StillError, match="does not stand out"):
        from_thread(
            np.full((500, 700), 90, np.uint8),
            (100, 250),
            (600, 250),
            PLUG_THREADS["M14x1.25"],
            half_width=140,
        )


def board(lens: np.ndarray, k1: float, seed: int) -> np.ndarray:
    """A 9 x 6 chessboard seen through a bent lens, rendered by looking up each pixel's ray."""
    rng = np.random.default_rng(seed)
    rotation, _ = cv2.Rodrigues(rng.uniform(-0.45, 0.45, 3))
    offset = np.array([rng.uniform(-60, 60) - 125, rng.uniform(-40, 40) - 87, rng.uniform(330, 430)])
    y, x = np.mgrid[0:480, 0:640].astype(np.float64)
    rays = cv2.undistortPoints(
        np.column_stack([x.ravel(), y.ravel()]).reshape(-1, 1, 2), lens, np.array([k1, 0, 0, 0.0])
    ).reshape(-1, 2)
    rays3 = np.column_stack([rays, np.ones(len(rays))])
    normal = rotation[:, 2]
    t = (normal @ offset) / (rays3 @ normal)
    plane = (rays3 * t[:, None] - offset) @ rotation[:, :2]
    u, v = plane[:, 0] / 25 + 1, plane[:, 1] / 25 + 1
    inside = (u > 0) & (v > 0) & (u < 10) & (v < 7)
    grey = np.where(inside & ((np.floor(u) + np.floor(v)) % 2 == 0), 40.0, 215.0).reshape(480, 640)
    return cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.uint8)


def test_lens_from_rendered_boards() -> None:
    true = np.array([[520.0, 0, 315], [0, 520.0, 245], [0, 0, 1]])
    stills = [(f"b{i}.png", board(true, -0.22, i)) for i in range(8)]
    result = calibrate([*stills, ("blank.png", np.full((480, 640), 128, np.uint8))], 9, 6, 25.0)
    assert result.lens.fx == pytest.approx(520, rel=0.005)
    assert result.lens.k1 == pytest.approx(-0.22, abs=0.02)
    assert any("blank.png" in r for r in result.refused)
    line = [(20.0 + 60 * i, 30.0) for i in range(11)]
    bent = cv2.projectPoints(
        np.column_stack([[((x - 315) / 520, (y - 245) / 520) for x, y in line], np.ones(11)]).astype(np.float64),
        np.zeros(3), np.zeros(3), true, np.array([-0.22, 0, 0, 0.0]),
    )[0].reshape(-1, 2)  # fmt: skip
    straight = np.array(result.lens.straight([(float(x) + 0.5, float(y) + 0.5) for x, y in bent])) - 0.5
    fit = np.polyfit(straight[:, 0], straight[:, 1], 1)
    assert np.abs(straight[:, 1] - np.polyval(fit, straight[:, 0])).max() < 0.5
    with pytest.raises(StillError, match="at least 5"):
        calibrate(stills[:3], 9, 6)


def test_lens_follows_the_size_but_not_another_crop() -> None:
    lens = Lens(500, 500, 319.5, 239.5, -0.2, 0, 0, 0, 0, 640, 480, 0.3, 12, 1.0)
    half = lens.resized(320, 240)
    assert (half.fx, half.cx) == pytest.approx((250, 159.5))
    with pytest.raises(StillError, match="another crop"):
        lens.resized(640, 360)


def disc_picture() -> np.ndarray:
    image = np.full((720, 1280, 3), 60, np.uint8)
    cv2.circle(image, (640, 360), 250, (150, 150, 150), -1, cv2.LINE_AA)
    noise = np.random.default_rng(0).normal(0, 3, image.shape)
    return np.clip(image + noise, 0, 255).astype(np.uint8)


def test_scissors_follow_an_edge_round() -> None:
    scissors = Scissors(disc_picture(), (640, 111))
    for k in range(1, 46):
        turn = -math.pi / 2 + k * 2 * math.pi / 48
        trace = scissors.move((640 + 258 * math.cos(turn), 360 + 244 * math.sin(turn)))
        assert trace.live
    shape = scissors.finish()
    assert shape.closed
    radii = [math.dist(p, (640, 360)) for p in shape.points]
    assert np.median(np.abs(np.array(radii) - 250)) < 2
    assert area(shape).value == pytest.approx(math.pi * 250**2, rel=0.03)


def test_scissors_go_back_and_stay_inside() -> None:
    scissors = Scissors(disc_picture(), (640, 111))
    scissors.fix((700, 118))
    assert len(scissors.fixed) > 10
    assert scissors.back().fixed == ()
    trace = scissors.move((99999, -50))
    assert all(0 <= x <= 1280 and 0 <= y <= 720 for x, y in (*trace.fixed, *trace.live))
    with pytest.raises(StillError, match="nothing is traced"):
        Scissors(disc_picture(), (5, 5)).finish()


def test_simplified_path_stays_close() -> None:
    path = [(float(x), 50 + 20 * math.sin(x / 30)) for x in range(0, 300)]
    thin = simplified(path, closed=False, tolerance_px=0.5)
    assert len(thin) < 40
    xs, ys = zip(*thin, strict=True)
    assert max(abs(np.interp(x, xs, ys) - y) for x, y in path) < 0.8


def test_a_disc_seen_as_an_ellipse_has_its_true_scale_along_the_long_axis() -> None:
    """By hand: 81 mm over 200 px along the long axis, over 160 px across it."""
    scale = from_disc(Ellipse(300, 200, 100, 80, 0), 81, 1280)
    assert distance(Line(200, 200, 400, 200), scale).value == pytest.approx(81)
    assert distance(Line(300, 120, 300, 280), scale).value == pytest.approx(81)
