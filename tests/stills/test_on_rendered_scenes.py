"""Scales and quality on rendered scenes whose geometry is known to the pixel."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from borelog.demo.pictures import bench, spoiled
from borelog.demo.pictures.bore import rim_scene
from borelog.demo.pictures.plug import plug_profile
from borelog.marks.shapes import Line, Polygon
from borelog.stills import quality
from borelog.stills.measure import distance, share
from borelog.stills.rim import find_rim
from borelog.stills.scale import from_disc, from_disc_pose
from borelog.stills.seen import see
from borelog.stills.thread import PLUG_THREADS, from_thread

M14 = PLUG_THREADS["M14x1.25"]


@lru_cache(maxsize=4)
def rim(seed: int) -> Any:
    return rim_scene(seed)


def on_crown(truth: dict[str, Any], points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Where points of the crown's plane (mm from the bore's axis) are in the picture: pinhole, no distortion."""
    tip, lens = truth["tip"], truth["lens"]
    at, axes = np.array(tip["at_mm"]), np.array(tip["right_down_forward_columns"])
    world = np.column_stack([np.array(points), np.full(len(points), truth["rim"]["z_mm"])])
    seen = (world - at) @ axes
    return [
        (
            float(lens["focal_px"] * x / z + lens["centre_px"][0]),
            float(lens["focal_px"] * y / z + lens["centre_px"][1]),
        )
        for x, y, z in seen
    ]


def radius_of(truth: dict[str, Any]) -> float:
    """Radius of the rim in mm, from its own points."""
    tip, lens = truth["tip"], truth["lens"]
    at, axes = np.array(tip["at_mm"]), np.array(tip["right_down_forward_columns"])
    radii = []
    for x, y in truth["rim"]["points"]:
        ray = axes @ np.array(
            [
                (x - lens["centre_px"][0]) / lens["focal_px"],
                (y - lens["centre_px"][1]) / lens["focal_px"],
                1.0,
            ]
        )
        hit = at + ray * (truth["rim"]["z_mm"] - at[2]) / ray[2]
        radii.append(math.hypot(hit[0], hit[1]))
    assert max(radii) - min(radii) < 0.05
    return float(np.mean(radii))


@pytest.mark.parametrize(
    "seed",
    [
        0,
        pytest.param(1, marks=pytest.mark.long),
        pytest.param(2, marks=pytest.mark.long),
        pytest.param(3, marks=pytest.mark.long),
    ],
)
def test_scale_from_the_rim_that_was_found(seed: int) -> None:
    scene = rim(seed)
    truth, radius = scene.truth, radius_of(scene.truth)
    middle = on_crown(truth, [(0.0, 0.0)])[0]
    found = find_rim(scene.image, middle[0] + 9, middle[1] - 8, "crown").shape
    ends = [(18.0, -9.0), (-14.0, 20.0)]
    a, b = on_crown(truth, ends)
    true, line = math.dist(*ends), Line(*a, *b)
    plain = distance(line, from_disc(found, 2 * radius, 1280, focal_px=truth["lens"]["focal_px"]))
    assert abs(plain.value - true) < 3 * plain.u
    poses = from_disc_pose(found, 2 * radius, focal_px=truth["lens"]["focal_px"], size=(1280, 720))
    posed = min((distance(line, s) for s in poses), key=lambda m: abs(m.value - true))
    assert abs(posed.value - true) < 3 * posed.u
    assert posed.value == pytest.approx(true, rel=0.04)


def test_share_of_the_crown_within_a_tenth() -> None:
    """Target: crown area within 10 %; a bite of known size at the rim, outlined exactly."""
    truth, radius = rim(0).truth, radius_of(rim(0).truth)
    turns = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    bite = Polygon(tuple(on_crown(truth, [(float(25 + 9 * np.cos(t)), float(9 * np.sin(t))) for t in turns])))
    outline = on_crown(truth, [(float(radius * np.cos(t)), float(radius * np.sin(t))) for t in turns])
    whole = Polygon(tuple(outline))
    true = 100 * 81 / radius**2
    assert share(bite, whole).value == pytest.approx(true, rel=0.10)


@pytest.mark.parametrize(
    ("state", "ground", "away"),
    [
        ("tan", "rag", 170.0),
        pytest.param("dry_soot", "rag", 400.0, marks=pytest.mark.long),
        pytest.param("oil_wet", "rag", 170.0, marks=pytest.mark.long),
    ],
)
def test_scale_from_a_plug_on_a_rag(state: str, ground: str, away: float) -> None:
    """Target: scale within 1.5 % at 150 mm and more."""
    scene = plug_profile(seed=3, state=state, ground=ground, distance_mm=away)
    thread = scene.truth["thread"]
    upper, lower = thread["silhouettes_px"]
    a, b = (((upper[i][0] + lower[i][0]) / 2 + 2, (upper[i][1] + lower[i][1]) / 2 - 2) for i in (0, 1))
    half = math.dist(upper[0], lower[0]) / 2 + thread["px_per_mm"]
    found = from_thread(scene.image, a, b, M14, half_width=half, distance_mm=away)
    assert found.scale.mm_per_px(0, 0) * thread["px_per_mm"] == pytest.approx(1, abs=0.015)
    assert found.crest_px * found.scale.mm_per_px(0, 0) == pytest.approx(14, abs=0.2)


def test_spoiled_frames_are_named() -> None:
    for seed in range(3):
        assert quality.gate(spoiled.black(seed).image).useless == "black"
    assert "glare" in quality.judge(spoiled.glared(1).image).in_words
    assert "blurred" in (words := quality.judge(spoiled.blurred(1).image).in_words) or "soft" in words


@pytest.mark.parametrize("number", [1, 4])
def test_a_slate_is_a_slate_and_a_gauge_is_not(number: int) -> None:
    assert see(bench.slate(number, text=f"CYL {number}").image).is_card
    assert not see(bench.gauge(number).image).is_card
