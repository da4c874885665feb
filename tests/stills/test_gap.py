"""The gap between electrodes drawn as solids seen by a pinhole camera: rays against a round bar and a square one."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from borelog.marks.shapes import Line
from borelog.stills.gap import measure_gap
from borelog.stills.plug_photo import PlugScale

WIDTH, HEIGHT, FINER = 1000, 500, 4
STRAP_HALF = 1.35
DARK, LIGHT = 40.0, 175.0


def electrodes(
    gap: float,
    ppm: float,
    aside: float,
    away: float,
    *,
    radius: float = 1.25,
    ground: float = DARK,
    slope: float = 0.0,
    flank: float = 120.0,
    corner: tuple[float, float] = (0.0, 0.0),
    seed: int = 0,
) -> tuple[np.ndarray, Line]:
    """A picture of a gap and a rough line across it.

    Parameters
    ----------
    gap, ppm, aside, away : mm; px per mm at the axis; middle of the gap from the middle of the frame, mm; camera, mm
    radius : of the centre electrode, mm
    ground, slope : level behind the gap, and how it rises across it per mm
    flank : level of the strap's face towards the gap
    corner : width in mm, and level, of the strap's front beside its edge
    """
    dice = np.random.default_rng(seed)
    half = round(4.5 * ppm)
    left, top = round(WIDTH / 2 + aside * ppm) - half, HEIGHT // 2 - half
    grid = (np.arange(2 * half * FINER) + 0.5) / FINER
    u = ((left + grid - WIDTH / 2) / ppm)[None, :]
    v = ((top + grid - HEIGHT / 2) / ppm)[:, None]
    first, second = aside - gap / 2, aside + gap / 2
    assert first > 0
    big = ground + slope * (u - aside) + 0 * v
    # Round bar about the axis: v (1 - z / away) and z on the circle; the nearer of both hits.
    a, b = 1 + (v / away) ** 2, -2 * v**2 / away
    root = b**2 - 4 * a * (v**2 - radius**2)
    near = (-b + np.sqrt(np.maximum(root, 0))) / (2 * a)
    big = np.where((root > 0) & (u * (1 - near / away) < first), LIGHT * (0.6 + 0.4 * near / radius), big)
    # The strap's face towards the gap is seen between its far edge and its near one.
    lift = (1 - second / u) * away
    big = np.where((np.abs(lift) < STRAP_HALF) & (v > -9) & (v < 1.5), flank, big)
    front = u * (1 - STRAP_HALF / away)
    big = np.where((front > second) & (v < 1.5), LIGHT * 0.9, big)
    big = np.where((front > second) & (front < second + corner[0]) & (v < 1.5), corner[1], big)
    small = cv2.resize(big, (2 * half, 2 * half), interpolation=cv2.INTER_AREA)
    frame = np.full((HEIGHT, WIDTH), ground)
    frame[top : top + 2 * half, left : left + 2 * half] = small
    frame = cv2.GaussianBlur(frame, (0, 0), 0.8) + dice.normal(0, 2, frame.shape)
    levels = np.repeat(np.clip(np.rint(frame), 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)
    done, data = cv2.imencode(".jpg", levels, [cv2.IMWRITE_JPEG_QUALITY, 90])
    assert done
    jitter = dice.normal(0, 1.2, 4)
    ends = (WIDTH / 2 + first * ppm, HEIGHT / 2, WIDTH / 2 + second * ppm, HEIGHT / 2)
    return cv2.imdecode(data, cv2.IMREAD_COLOR), Line(
        *(float(e + j) for e, j in zip(ends, jitter, strict=True))
    )


def scale(ppm: float) -> PlugScale:
    return PlugScale(ppm, 0.003 * ppm, 1.25 * ppm, 12)


@pytest.mark.parametrize("away", [80.0, 150.0, 400.0])
@pytest.mark.parametrize("aside", [2.0, 5.0, 9.0])
def test_within_a_twentieth_of_a_millimetre_with_the_distance(away: float, aside: float) -> None:
    image, rough = electrodes(0.9, 18.0, aside, away, seed=int(aside))
    found = measure_gap(image, rough, scale(18.0), away)
    assert found.mm == pytest.approx(0.9, abs=0.04)
    assert abs(found.mm - 0.9) < found.error_mm


def test_half_of_sharp_edges_within_a_hundredth() -> None:
    """Far away and near the middle of the frame, where only the edges count: 16 gaps at 16 px per mm."""
    off = []
    for k in range(16):
        gap = 0.6 + 0.05 * k
        image, rough = electrodes(gap, 16.0, 1.5, 2000.0, ground=(DARK, 215.0)[k % 2], seed=k)
        off.append(abs(measure_gap(image, rough, scale(16.0), 2000.0).mm - gap))
    assert np.median(off) < 0.012
    assert max(off) < 0.03


def test_a_faint_dark_corner_on_a_ground_in_shade_is_the_strap() -> None:
    """The ground rises towards the strap, whose corner is a little darker than it; the front behind is far lighter."""
    image, rough = electrodes(
        1.0, 20.0, 2.0, 2000.0, ground=100.0, slope=25.0, flank=95.0, corner=(0.25, 95.0), seed=4
    )
    found = measure_gap(image, rough, scale(20.0), 2000.0)
    assert found.mm == pytest.approx(1.0, abs=0.05)


def test_a_fine_wire_hides_less() -> None:
    """8 mm aside at 80 mm: a wire of 0.6 mm hides 0.03 mm where a bar of 2.5 mm would hide 0.125 mm."""
    image, rough = electrodes(0.8, 20.0, 8.0, 80.0, radius=0.3, seed=2)
    found = measure_gap(image, rough, scale(20.0), 80.0)
    assert found.mm == pytest.approx(0.8, abs=0.05)
    assert found.seen_aside_mm < 0.19
    bar, line = electrodes(0.8, 20.0, 8.0, 80.0, seed=2)
    assert measure_gap(bar, line, scale(20.0), 80.0).seen_aside_mm > 0.24
