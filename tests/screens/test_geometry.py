"""Where a picture place is on the screen and back; samples, marks and tags sit where the map says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from borelog.marks.shapes import Arrow, Box, Ellipse, Freehand, Label, Line, Point, Polygon
from borelog.tui import drawing
from borelog.tui.frames import cells_of
from borelog.tui.overlay import Drawn, places_of, rasterise, tags
from borelog.tui.picture import Look
from borelog.tui.sampling import sample, source_of, tinted, wiped
from borelog.tui.themes import NIGHT
from borelog.tui.viewport import Viewport, fit

SIZE = (100, 40)
views = st.builds(
    Viewport,
    cx=st.floats(-50, 1300), cy=st.floats(-50, 800), px=st.floats(0.25, 40), turn=st.floats(0, 359.9),
    mirror=st.booleans(), tall=st.floats(1.6, 2.4),
)  # fmt: skip
places = st.floats(-500, 2000)


@given(views, places, places)
def test_to_cells_and_back(view: Viewport, x: float, y: float) -> None:
    column, row = view.to_cells(x, y, SIZE)
    assert view.to_picture(column, row, SIZE) == pytest.approx((x, y), abs=1e-6)


@given(views, st.floats(0, 100), st.floats(0, 40), st.floats(0.3, 3))
def test_zoom_keeps_the_place_under_the_pointer(
    view: Viewport, column: float, row: float, factor: float
) -> None:
    near = view.zoomed(factor, column, row, SIZE)
    assert near.to_picture(column, row, SIZE) == pytest.approx(view.to_picture(column, row, SIZE), abs=1e-6)


@given(views, st.floats(-30, 30), st.floats(-30, 30))
def test_pan_brings_the_place_to_the_middle(view: Viewport, columns: float, rows: float) -> None:
    there = view.to_picture(SIZE[0] / 2 + columns, SIZE[1] / 2 + rows, SIZE)
    assert view.panned(columns, rows).to_picture(SIZE[0] / 2, SIZE[1] / 2, SIZE) == pytest.approx(
        there, abs=1e-6
    )


@given(views, st.integers(0, 99), st.integers(0, 39), st.sampled_from([(1, 1), (2, 2), (1, 2), (2, 3)]))
def test_the_warp_samples_the_middle_of_every_dot(
    view: Viewport, column: int, row: int, dots: tuple[int, int]
) -> None:
    (a, b, c), (d, e, f) = view.affine(SIZE, dots)
    i, j = column * dots[0], row * dots[1]
    x, y = view.to_picture(column + 0.5 / dots[0], row + 0.5 / dots[1], SIZE)
    assert (a * i + b * j + c + 0.5, d * i + e * j + f + 0.5) == pytest.approx((x, y), abs=1e-6)


@given(st.integers(1, 5000), st.integers(1, 5000), st.floats(0, 359), st.booleans())
def test_fit_shows_all_corners(width: int, height: int, turn: float, mirror: bool) -> None:
    view = fit((width, height), SIZE, turn, mirror)
    for x, y in ((0, 0), (width, 0), (0, height), (width, height)):
        column, row = view.to_cells(x, y, SIZE)
        assert -1e-6 <= column <= SIZE[0] + 1e-6
        assert -1e-6 <= row <= SIZE[1] + 1e-6


def test_a_quarter_turn_is_clockwise_and_mirror_swaps_left_and_right() -> None:
    view = fit((100, 100), SIZE, 90)
    column, row = view.to_cells(50, 0, SIZE)  # the top of the picture
    assert column > SIZE[0] / 2 and row == pytest.approx(SIZE[1] / 2)
    column, _ = fit((100, 100), SIZE, 0, True).to_cells(0, 50, SIZE)
    assert column > SIZE[0] / 2


def test_one_pixel_to_a_dot_returns_the_pixels() -> None:
    pixels = np.random.default_rng(3).integers(0, 255, (64, 64, 3), dtype=np.uint8)
    view = Viewport(16, 16, 2.0, tall=1.0)
    out = sample(source_of(pixels), view, (16, 16), (2, 2))
    assert (out == pixels[0:32, 0:32]).all()


def test_outside_the_picture_is_ground_and_far_views_average() -> None:
    pixels = np.zeros((256, 256, 3), np.uint8)
    pixels[::2] = 200
    out = sample(source_of(pixels), fit((256, 256), (16, 8)), (16, 8), (2, 2), ground=(7, 8, 9))
    assert abs(int(out[8, 16, 0]) - 100) < 12
    aside = sample(source_of(pixels), Viewport(-500, -500, 2), (16, 8), (2, 2), ground=(7, 8, 9))
    assert (aside == (7, 8, 9)).all()


def test_a_second_picture_is_seen_through_a_map() -> None:
    pixels = np.zeros((120, 120, 3), np.uint8)
    pixels[50:70, 80:100] = 255
    moved = np.zeros_like(pixels)
    moved[60:80, 90:110] = 255
    through = np.array([[1.0, 0, 10], [0, 1, 10], [0, 0, 1]])
    view = Viewport(60, 60, 2.0)
    one = sample(source_of(pixels), view, (40, 20), (2, 2))
    two = sample(source_of(moved), view, (40, 20), (2, 2), through=through)
    assert np.abs(one.astype(int) - two).mean() < 1


def test_wipe_and_tint() -> None:
    left, right = np.zeros((2, 8, 3), np.uint8), np.full((2, 8, 3), 9, np.uint8)
    assert wiped(left, right, 0.25)[0, :, 0].tolist() == [0, 0, 9, 9, 9, 9, 9, 9]
    change = np.array([[0.0, 1.0, -1.0, 0, 0, 0, 0, 0]] * 2, np.float32)
    out = tinted(right, change, ((0, 0, 255), (255, 0, 0)))
    assert out[0, :3].tolist() == [[9, 9, 9], [255, 0, 0], [0, 0, 255]]


SHAPES = (
    Box(20, 10, 40, 30), Ellipse(50, 40, 20, 10, 30), Polygon(((5, 5), (60, 8), (30, 50))), Freehand(((1, 1), (50, 60))),
    Line(5, 60, 90, 70), Arrow(5, 60, 90, 20), Point(33, 44), Label(10, 70, "here"),
)  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES, ids=lambda s: type(s).__name__)
def test_a_shape_is_drawn_where_it_lies(shape: object) -> None:
    view = fit((100, 80), SIZE, 30, True)
    expected = [
        view.to_cells(*p, SIZE)
        for p in ([(shape.x, shape.y)] if isinstance(shape, Point | Label) else list(drawing.outline(shape)))
    ]  # type: ignore[arg-type]
    assert np.allclose(places_of(shape, view, SIZE), expected)  # type: ignore[arg-type]
    dots = rasterise([Drawn(shape, "1")], view, SIZE)  # type: ignore[arg-type]
    ys, xs = np.nonzero(dots)
    assert len(ys) > 3
    for column, row in expected[:3]:
        assert np.hypot(xs - column * 2, ys - row * 4).min() < 4.5


def test_far_outside_shapes_neither_crash_nor_show() -> None:
    view = Viewport(50, 40, 0.25)
    dots = rasterise(
        [Drawn(Box(1e7, 1e7, 1e6, 1e6), "1"), Drawn(Line(-1e9, -1e9, -1e8, -1e9), "2", broken=True)],
        view,
        SIZE,
    )
    assert not dots.any()
    assert tags([Drawn(Box(1e7, 1e7, 10, 10), "1")], view, SIZE) == []


def test_broken_lines_have_gaps() -> None:
    view = fit((100, 80), SIZE)
    whole = rasterise([Drawn(Box(10, 10, 80, 60))], view, SIZE)
    broken = rasterise([Drawn(Box(10, 10, 80, 60), broken=True)], view, SIZE)
    assert 0.3 < np.count_nonzero(broken) / np.count_nonzero(whole) < 0.9


@pytest.mark.parametrize("glyphs", ["quadrants", "half", "sextants", "letters"])
def test_a_frame_holds_picture_marks_tags_and_magnifier(glyphs: str) -> None:
    pixels = np.full((80, 100, 3), 90, np.uint8)
    marks = tuple(Drawn(s, str(k)) for k, s in enumerate(SHAPES, 1))
    grid = cells_of(
        source_of(pixels),
        fit((100, 80), SIZE),
        SIZE,
        Look(glyphs=glyphs, magnifier=True),
        marks,
        (20, 20),
        NIGHT,
    )
    text = "\n".join("".join(map(chr, row)) for row in grid.code.tolist())
    assert grid.code.shape == (40, 100)
    assert "8 here" in text and "1 cell = " in text
    if glyphs == "letters":
        assert text.replace("×", "x").isascii()


@given(st.sampled_from(SHAPES), st.floats(-20, 20), st.floats(-20, 20), st.data())
@settings(max_examples=80)
def test_pulling_a_handle_puts_it_there(shape: object, dx: float, dy: float, data: st.DataObject) -> None:
    points = drawing.handles(shape)  # type: ignore[arg-type]
    k = data.draw(st.integers(0, len(points) - 1))
    x, y = points[k]
    out = drawing.pulled(shape, k, (x + dx, y + dy))  # type: ignore[arg-type]
    assert type(out) is type(shape)
    near = min(math.dist(p, (x + dx, y + dy)) for p in drawing.handles(out))
    assert near < 1e-6 or isinstance(shape, Box | Ellipse)


def test_drawing_by_points() -> None:
    draft, shape = drawing.with_point(drawing.Draft("box"), (10, 10))
    assert shape is None and "1 of 2" in draft.says()
    assert drawing.preview(drawing.Draft("box", ((10, 10),), (30, 5))) == Box(10, 5, 20, 5)
    draft, shape = drawing.with_point(draft, (30, 5))
    assert shape == Box(10, 5, 20, 5)
    assert drawing.with_point(drawing.Draft("point"), (1, 2))[1] == Point(1, 2)
    outline = drawing.Draft("polygon", ((0, 0), (5, 0)))
    assert drawing.finished(outline) is None
    assert drawing.finished(drawing.Draft("polygon", ((0, 0), (5, 0), (5, 5)))) == Polygon(
        ((0, 0), (5, 0), (5, 5))
    )
    assert drawing.shape_of("box", ((3, 3), (3, 3))) is None


def test_hitting_takes_the_smallest_frame_around_a_place() -> None:
    shapes = (Box(0, 0, 100, 100), Box(40, 40, 10, 10), Point(90, 10))
    assert drawing.hit(shapes, (45, 45), 2) == 1
    assert drawing.hit(shapes, (20, 20), 2) == 0
    assert drawing.hit(shapes, (91, 11), 3) == 0 or drawing.hit(shapes, (91, 11), 3) == 2
    assert drawing.hit(shapes, (300, 300), 5) is None
    assert drawing.nearest_handle(Box(0, 0, 10, 10), (10.5, 0.5), 2) == 1
    assert drawing.nearest_handle(Box(0, 0, 10, 10), (5, 5), 2) is None
    assert drawing.nudged(Line(0, 0, 5, 5), 1, 2, 0) == Line(0, 0, 7, 5)
