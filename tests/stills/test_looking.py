"""What is shown and drawn: the original stays, marks stay where they belong, one description for both renderers."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage import data as skdata

from borelog.marks.shapes import Arrow, Box, Ellipse, Freehand, Label, Line, Point, Polygon
from borelog.stills import StillError
from borelog.stills.draw import Marked, burn, describe, to_svg
from borelog.stills.frames import turned
from borelog.stills.look import CLEARER, Look, apply, from_plain

COFFEE = np.ascontiguousarray(skdata.coffee()[:, :, ::-1])
HEIGHT, WIDTH = COFFEE.shape[:2]
SHAPES = (
    Box(100, 80, 60, 40),
    Ellipse(300, 200, 80, 30, 25),
    Polygon(((10, 10), (90, 20), (40, 90))),
    Freehand(((5, 300), (60, 320), (120, 310))),
    Line(10, 390, 200, 350),
    Arrow(400, 300, 450, 220),
    Point(500, 100),
    Label(420, 360, "rust <?> & µm"),
)


@settings(max_examples=60, deadline=None)
@given(st.floats(-360, 360), st.booleans(), st.floats(0.05, 20), st.floats(0, 600), st.floats(0, 400))
def test_points_go_to_the_display_turned_zoomed_and_mirrored(
    degrees: float, mirror: bool, zoom: float, x: float, y: float
) -> None:
    frame = turned(degrees, mirror, zoom, (123.4, 56.7), (400.0, 300.0))
    assert frame.to_display(123.4, 56.7) == pytest.approx((400, 300))
    at = np.array(frame.to_display(x, y))
    right, down = (np.array(frame.to_display(x + i, y + 1 - i)) - at for i in (1, 0))
    assert np.hypot(*right) == pytest.approx(zoom, rel=1e-6)
    assert right @ down == pytest.approx(0, abs=1e-6 * zoom**2)
    assert right[0] * down[1] - right[1] * down[0] == pytest.approx((-1 if mirror else 1) * zoom**2, rel=1e-6)
    way = math.degrees(math.atan2(right[1], -right[0] if mirror else right[0]))
    assert math.cos(math.radians(way - degrees)) == pytest.approx(1, abs=1e-6)


def spotted(x: int, y: int) -> np.ndarray:
    image = np.zeros((240, 320, 3), np.uint8)
    cv2.circle(image, (x, y), 4, (255, 255, 255), -1)
    return image


def bright_spot(image: np.ndarray) -> tuple[float, float]:
    moments = cv2.moments(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY))
    return moments["m10"] / moments["m00"] + 0.5, moments["m01"] / moments["m00"] + 0.5


def test_default_look_is_the_original_itself() -> None:
    looked = apply(COFFEE, Look())
    assert (looked.image == COFFEE).all()
    assert looked.filled is None
    assert looked.words == "as taken"


def test_no_look_touches_the_original() -> None:
    before = COFFEE.copy()
    apply(COFFEE, Look(2, 0.7, True, 2, 1, 30, True))
    assert (before == COFFEE).all()


def test_local_contrast_brings_out_a_faint_line_and_keeps_colour() -> None:
    image = np.full((240, 320, 3), (60, 70, 80), np.uint8)
    image[:, 158:162] = (54, 64, 74)
    out = apply(image, CLEARER).image.astype(int)
    assert abs(out[120, 160].mean() - out[120, 100].mean()) > 8
    plain = apply(COFFEE, Look(contrast=2)).image
    a = cv2.cvtColor(COFFEE, cv2.COLOR_BGR2Lab)[:, :, 1].astype(int)
    assert np.abs(cv2.cvtColor(plain, cv2.COLOR_BGR2Lab)[:, :, 1] - a).mean() < 2.5


def test_filled_glare_is_labelled() -> None:
    image = COFFEE.copy()
    cv2.circle(image, (300, 200), 30, (255, 255, 255), -1)
    looked = apply(image, Look(fill_glare=True))
    assert looked.filled is not None
    assert "guess" in looked.words
    bare = apply(image, Look(fill_glare=True), outline_filled=False)
    assert (looked.image != bare.image).any()
    assert ((looked.image != bare.image).any(axis=2) <= (looked.filled > 0)).all()


@pytest.mark.parametrize(
    ("rotate", "mirror"), [(0, True), (90, False), (180, True), (270, False), (-90, True), (37, False)]
)
def test_turned_look_and_its_frame_agree(rotate: float, mirror: bool) -> None:
    looked = apply(spotted(40, 60), Look(rotate=rotate, mirror=mirror))
    assert bright_spot(looked.image) == pytest.approx(looked.frame.to_display(40.5, 60.5), abs=0.6)


def test_settings_survive_as_plain_values() -> None:
    plain = {"contrast": 2.5, "fill_glare": True, "rotate": 90}
    assert from_plain(plain) == Look(contrast=2.5, fill_glare=True, rotate=90)
    assert from_plain({}) == Look()
    for bad in ({"contrast": 99}, {"contrast": True}, {"mirror": 1}, {"depth": 2}, {"gamma": float("nan")}):
        with pytest.raises(StillError):
            from_plain(bad)


def marks() -> list[Marked]:
    return [
        Marked(1, (SHAPES[0],), 4, "seen clearly", "Crack line <b>"),
        Marked(2, (SHAPES[1],), 2, "seen in part"),
        Marked(3, (SHAPES[2], SHAPES[5]), 1, "inferred"),
        Marked(14, (SHAPES[7], SHAPES[4]), 3),
        Marked(5, (SHAPES[6],), 0),
    ]


def test_svg_is_well_formed_and_says_the_numbers() -> None:
    root = ET.fromstring(to_svg(describe(marks(), WIDTH, HEIGHT), "a&b.jpg", "Cylinder 3 <script>"))
    texts = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"1", "2", "3", "14", "5", "Crack line <b>", "rust <?> & µm"} <= set(texts)
    assert not list(root.iter("{http://www.w3.org/2000/svg}script"))


def test_certainty_is_told_by_dashes_not_by_colour() -> None:
    counts = [
        len(describe([Marked(1, (SHAPES[0],), 2, c)], WIDTH, HEIGHT).strokes)
        for c in ("seen clearly", "seen in part", "inferred")
    ]
    assert counts[0] == 1
    assert counts[0] < counts[1] < counts[2]


@pytest.mark.parametrize("level", [0, 128, 255])
def test_marks_are_readable_on_any_ground(level: int) -> None:
    """WCAG 2.2, 1.4.11: at least 3 : 1 between neighbours; line core against its band, band or core against the ground."""
    ground = np.full((400, 600, 3), level, np.uint8)
    out = burn(ground, describe([Marked(1, (Line(50, 200, 550, 200),), 2)], 600, 400))
    column = cv2.cvtColor(out, cv2.COLOR_BGR2GRAY)[180:220, 300].astype(float) / 255
    linear = np.where(column <= 0.04045, column / 12.92, ((column + 0.055) / 1.055) ** 2.4)
    ground_light = linear[0]
    steps = {round(float(v), 3) for v in linear}
    assert (max(steps) + 0.05) / (min(steps) + 0.05) > 7
    best = max((max(v, ground_light) + 0.05) / (min(v, ground_light) + 0.05) for v in steps)
    assert best > 3


def test_svg_and_burned_copy_show_the_same() -> None:
    drawing = describe(marks(), WIDTH, HEIGHT)
    burned = burn(np.full((HEIGHT, WIDTH, 3), 128, np.uint8), drawing)
    changed = (burned != 128).any(axis=2)
    for stroke in drawing.strokes:
        for x, y in stroke.points[:: max(1, len(stroke.points) // 7)]:
            if 1 < x < WIDTH - 1 and 1 < y < HEIGHT - 1:
                assert changed[int(y), int(x)]
    for badge in drawing.badges:
        assert changed[int(badge.y), int(badge.x - badge.radius * 0.8)]
    assert changed.mean() < 0.12


def test_badges_stay_inside_and_apart() -> None:
    crowded = [Marked(n, (Box(2, 2, 20, 20),)) for n in range(1, 6)]
    badges = describe(crowded, 320, 240).badges
    for b in badges:
        assert b.radius <= b.x <= 320 - b.radius
        assert b.radius <= b.y <= 240 - b.radius
    assert len({(b.x, b.y) for b in badges}) == 5


def test_a_smaller_copy_is_drawn_to_scale() -> None:
    drawing = describe(marks(), WIDTH, HEIGHT)
    small = burn(np.full((HEIGHT // 2, WIDTH // 2, 3), 128, np.uint8), drawing)
    large = burn(np.full((HEIGHT, WIDTH, 3), 128, np.uint8), drawing)
    shrunk = cv2.resize(large, (WIDTH // 2, HEIGHT // 2), interpolation=cv2.INTER_AREA)
    assert np.abs(small.astype(int) - shrunk).mean() < 6


@pytest.mark.parametrize("far", [1e6, 1e9, 1e300])
def test_a_mark_that_leaves_its_picture_far_behind_is_drawn_at_once(far: float) -> None:
    """A mark taken in from elsewhere may hold any numbers; its dashes must not be counted out one by one."""
    for shape in (
        Line(0.0, 0.0, far, far),
        Box(-far, -far, 2 * far, 2 * far),
        Polygon(((0.0, 0.0), (far, 0.0), (0.0, far))),
    ):
        drawing = describe([Marked(1, (shape,), 2, "inferred")], 640, 480)
        assert 0 < len(drawing.strokes) <= 5000
