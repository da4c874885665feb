"""Threads, ellipses, areas and uncertainties against a standard's table and reference libraries."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from borelog.marks.shapes import Box, Ellipse, Line, Polygon, outline
from borelog.stills.measure import area, distance
from borelog.stills.metadata import burn_masks
from borelog.stills.scale import from_disc, from_length
from borelog.stills.scissors import simplified
from borelog.stills.thread import PLUG_THREADS, Thread

# ISO 724:1993, table of basic dimensions: d, P, d2, d1 in mm (values as in the published table, from memory).
ISO_724 = [
    (8, 1, 7.350, 6.917),
    (10, 1, 9.350, 8.917),
    (10, 1.25, 9.188, 8.647),
    (12, 1.25, 11.188, 10.647),
    (14, 1.25, 13.188, 12.647),
    (14, 1.5, 13.026, 12.376),
    (18, 1.5, 17.026, 16.376),
    (6, 1, 5.350, 4.917),
    (8, 1.25, 7.188, 6.647),
    (10, 1.5, 9.026, 8.376),
    (12, 1.75, 10.863, 10.106),
]


@pytest.mark.parametrize(("d", "pitch", "d2", "d1"), ISO_724)
def test_thread_diameters_are_those_of_iso_724(d: float, pitch: float, d2: float, d1: float) -> None:
    thread = Thread("", d, pitch)
    assert thread.pitch_diameter == pytest.approx(d2, abs=6e-4)
    assert thread.minor_diameter == pytest.approx(d1, abs=6e-4)


def test_plug_threads_are_sizes_of_iso_261() -> None:
    """ISO 261:1998 lists each of these pitches for its diameter."""
    listed = {
        8: {1.25, 1, 0.75},
        10: {1.5, 1.25, 1, 0.75},
        12: {1.75, 1.5, 1.25, 1},
        14: {2, 1.5, 1.25, 1},
        18: {2.5, 2, 1.5, 1},
    }
    for thread in PLUG_THREADS.values():
        assert thread.pitch in listed[round(thread.major)]


@pytest.mark.parametrize("seed", range(12))
def test_rim_scale_from_points_of_which_sixty_in_a_hundred_are_wrong(seed: int) -> None:
    """Known conic, 40 % true points with 0.5 px of noise, 60 % anywhere; the scale is that of the true ellipse."""
    fit_ellipse = pytest.importorskip("borelog.stills.ellipse").fit_ellipse
    rng = np.random.default_rng(seed)
    true = Ellipse(
        rng.uniform(500, 800),
        rng.uniform(300, 420),
        rng.uniform(220, 300),
        rng.uniform(140, 210),
        rng.uniform(0, 180),
    )
    rim = np.array(outline(true, 400))[rng.choice(400, 120, replace=False)] + rng.normal(0, 0.5, (120, 2))
    wrong = np.column_stack([rng.uniform(150, 1150, 180), rng.uniform(20, 700, 180)])
    found = fit_ellipse(np.concatenate([rim, wrong])).shape
    assert math.dist((found.cx, found.cy), (true.cx, true.cy)) < 1.0
    assert sorted((found.rx, found.ry)) == pytest.approx(sorted((true.rx, true.ry)), abs=1.5)
    a, b = from_disc(found, 81, 1280), from_disc(true, 81, 1280)
    assert distance(Line(500, 300, 700, 400), a).value == pytest.approx(
        distance(Line(500, 300, 700, 400), b).value, rel=0.01
    )


def shapes() -> list[Polygon]:
    rng = np.random.default_rng(7)
    out = []
    for _ in range(30):
        turns = np.sort(rng.uniform(0, 2 * math.pi, rng.integers(5, 40)))
        radii = rng.uniform(40, 180, turns.size)
        out.append(
            Polygon(
                tuple(
                    (float(320 + r * math.cos(t)), float(240 + r * math.sin(t)))
                    for t, r in zip(turns, radii, strict=True)
                )
            )
        )
    return out


@pytest.mark.parametrize("index", range(30))
def test_areas_agree_with_coco_masks(index: int) -> None:
    """pycocotools, the reference code of the COCO data set: rasterised polygon area within 1 %."""
    masks = pytest.importorskip("pycocotools.mask")
    shape = shapes()[index]
    flat = [v for p in shape.points for v in p]
    theirs = float(masks.area(masks.merge(masks.frPyObjects([flat], 480, 640))))
    assert area(shape).value == pytest.approx(theirs, rel=0.01)


@pytest.mark.filterwarnings("ignore:__array__ implementation:DeprecationWarning")
def test_burned_masks_cover_what_coco_covers() -> None:
    masks = pytest.importorskip("pycocotools.mask")
    for shape in shapes()[:8]:
        flat = [v for p in shape.points for v in p]
        theirs = masks.decode(masks.merge(masks.frPyObjects([flat], 480, 640))) > 0
        ours = burn_masks(np.full((480, 640, 3), 255, np.uint8), [shape], grey=0)[:, :, 0] == 0
        assert not (theirs & ~ours).any()
        assert ours.sum() < theirs.sum() + 3.2 * _around(shape)


def _around(shape: Polygon) -> float:
    points = np.array([*shape.points, shape.points[0]])
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def test_ellipse_and_box_areas_agree_with_scikit_image() -> None:
    draw = pytest.importorskip("skimage.draw")
    rows, _ = draw.ellipse(239.5, 319.5, 90, 140, rotation=math.radians(-30))
    assert area(Ellipse(320, 240, 140, 90, 30)).value == pytest.approx(rows.size, rel=0.01)
    rows, _ = draw.polygon([10, 10, 110, 110], [20, 220, 220, 20])
    assert area(Box(20, 10, 200, 100)).value == pytest.approx(rows.size, rel=0.02)


def test_uncertainty_agrees_with_the_uncertainties_package() -> None:
    """`uncertainties` propagates to first order as JCGM 100 asks; the same measurement written in its terms."""
    lib = pytest.importorskip("uncertainties")
    umath = pytest.importorskip("uncertainties.umath")
    first, second = (100.0, 120.0), (400.0, 180.0)
    line = Line(220.0, 300.0, 300.0, 345.0)

    def gap(a: tuple[float, float], b: tuple[float, float]) -> object:
        xa, ya, xb, yb = (lib.ufloat(v, 1.0) for v in (*a, *b))
        return umath.sqrt((xa - xb) ** 2 + (ya - yb) ** 2)

    theirs = gap((line.x1, line.y1), (line.x2, line.y2)) / gap(first, second) * lib.ufloat(25.0, 0.1)  # type: ignore[operator]
    ours = distance(line, from_length(first, second, 25.0, u_mm=0.1))
    assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-9)
    assert ours.u == pytest.approx(theirs.std_dev, rel=0.01)


def test_simplified_paths_agree_with_scikit_image() -> None:
    measure = pytest.importorskip("skimage.measure")
    path = [(float(x), 100 + 40 * math.sin(x / 25) + 0.3 * math.cos(x)) for x in range(400)]
    theirs = measure.approximate_polygon(np.array(path), 1.0)
    ours = simplified(path, closed=False, tolerance_px=1.0)
    assert len(ours) <= len(theirs) * 1.15 + 2
    hausdorff = pytest.importorskip("skimage.metrics").hausdorff_distance
    image = np.zeros((2, 200, 420), np.uint8)
    for plane, points in zip(image, (ours, theirs), strict=True):
        cv2.polylines(plane, [np.round(np.array(points)).astype(np.int32)], False, 1)
    assert hausdorff(image[0] > 0, image[1] > 0) <= 3
