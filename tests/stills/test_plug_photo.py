"""Thread scale, gap and colour of a plug, on drawn plugs with their truth."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import pytest

from borelog.demo.pictures import Rendered, plug_profile
from borelog.marks.shapes import Box, Line, Polygon
from borelog.stills import StillError
from borelog.stills.gap import Gap, gap_between, measure_gap
from borelog.stills.plug_photo import (
    UNCALIBRATED,
    PlugScale,
    colour_classes,
    nose_colour,
    thread_scale,
)


@lru_cache(maxsize=4)
def plug(seed: int = 3, **look: object) -> Rendered:
    return plug_profile(seed=seed, **look)  # type: ignore[arg-type]


def bgr(scene: Rendered) -> np.ndarray:
    return np.ascontiguousarray(scene.image[:, :, ::-1])


def outlines(scene: Rendered, dice: np.random.Generator) -> tuple[Line, ...]:
    ends = [np.array(line) + dice.normal(0, 1.5, (2, 2)) for line in scene.truth["thread"]["silhouettes_px"]]
    return tuple(Line(*(float(v) for v in e.ravel())) for e in ends)


def rough(scene: Rendered, dice: np.random.Generator) -> Line:
    told = scene.truth["gap"]
    ends = np.array([told["from_px"], told["to_px"]]) + dice.normal(0, 1.5, (2, 2))
    return Line(*(float(v) for v in ends.ravel()))


def visible_gap(scene: Rendered) -> float:
    """Pixels between the two electrodes as drawn, along the plug's axis."""
    a, b = (np.array(scene.truth["gap"][k]) for k in ("from_px", "to_px"))
    length = float(np.linalg.norm(b - a))
    steps = np.arange(-8, length + 8, 0.05)
    at = a + steps[:, None] * (b - a) / length
    cols, rows = at[:, 0].astype(int), at[:, 1].astype(int)
    centre = steps[scene.maps["label/centre electrode"][rows, cols]]
    strap = steps[scene.maps["label/ground strap"][rows, cols]]
    return float(strap[strap > 0.4 * length].min() - centre.max())


def drawn_gap(width: float, angle: float = 0.0, seed: int = 0) -> tuple[np.ndarray, Line]:
    """Two light electrodes on a dark ground, ``width`` px apart, drawn eight times too large and shrunk."""
    dice = np.random.default_rng(seed)
    big = np.full((240 * 8, 320 * 8), 60, np.uint8)
    half = round(width * 4)
    big[70 * 8 : 170 * 8, 100 * 8 : 160 * 8 - half] = 190
    big[60 * 8 : 180 * 8, 160 * 8 + half : 200 * 8] = 170
    grey = cv2.resize(big, (320, 240), interpolation=cv2.INTER_AREA)
    turn = cv2.getRotationMatrix2D((159.5, 119.5), angle, 1.0)
    grey = cv2.warpAffine(grey, turn, (320, 240), flags=cv2.INTER_CUBIC, borderValue=60)
    grey = np.clip(cv2.GaussianBlur(grey, (0, 0), 0.8) + dice.normal(0, 4, grey.shape), 0, 255).astype(
        np.uint8
    )
    c, s = np.cos(np.radians(angle)), -np.sin(np.radians(angle))
    ends = [(160 + sign * width / 2 * c, 120 + sign * width / 2 * s) for sign in (-1, 1)]
    jitter = dice.normal(0, 1.2, 4)
    return np.repeat(grey[:, :, None], 3, axis=2), Line(
        ends[0][0] + jitter[0], ends[0][1] + jitter[1], ends[1][0] + jitter[2], ends[1][1] + jitter[3]
    )


class TestScale:
    def test_within_one_and_a_half_per_cent(self) -> None:
        scene = plug()
        found = thread_scale(bgr(scene), outlines(scene, np.random.default_rng(0)))
        assert found.px_per_mm == pytest.approx(20, rel=0.015)
        assert abs(found.px_per_mm - 20) < 3 * found.error
        assert found.turns > 6
        assert "px per mm" in found.text()

    @pytest.mark.parametrize("ground", ["paper", "bench"])
    def test_on_plain_paper_in_a_shadow_and_on_wood(self, ground: str) -> None:
        """The metal is as light as the paper here and there, and one side lies in the plug's shadow."""
        scene = plug(207, ground=ground, px_per_mm=18.0)
        found = thread_scale(bgr(scene), outlines(scene, np.random.default_rng(1)))
        assert found.px_per_mm == pytest.approx(18, rel=0.015)

    def test_an_outline_drawn_backwards_is_the_same(self) -> None:
        scene = plug()
        one, two = outlines(scene, np.random.default_rng(0))
        back = Line(two.x2, two.y2, two.x1, two.y1)
        assert thread_scale(bgr(scene), (one, back)) == thread_scale(bgr(scene), (one, two))

    def test_one_outline_is_not_enough(self) -> None:
        with pytest.raises(StillError, match="each side"):
            thread_scale(bgr(plug()), (Line(0, 0, 100, 0),))

    def test_no_thread_no_scale(self) -> None:
        flat = np.random.default_rng(0).integers(90, 110, (400, 600, 3)).astype(np.uint8)
        with pytest.raises(StillError):
            thread_scale(flat, (Line(100, 100, 500, 100), Line(100, 300, 500, 300)))


class TestGap:
    @pytest.mark.parametrize("width", [8.0, 14.4, 25.0])
    @pytest.mark.parametrize("angle", [0.0, 17.0, -40.0])
    def test_drawn_gap_to_a_twentieth_of_a_millimetre(self, width: float, angle: float) -> None:
        """At 16 px per mm 0.05 mm is 0.8 px."""
        image, line = drawn_gap(width, angle, seed=int(width))
        assert measure_gap(image, line).px == pytest.approx(width, abs=0.8)

    @pytest.mark.long
    def test_on_drawn_plugs(self) -> None:
        """Target 0.05 mm in 90 % at 16 px per mm and more; the figures are printed.

        Against the gap in the plane of the axis, which the view from aside narrows by a tenth of a millimetre or two.
        """
        dice = np.random.default_rng(11)
        true, plain, held, refused, scales = [], [], [], 0, []
        for k in range(16):
            ppm = (16.0, 18.0, 20.0, 24.0)[k % 4]
            scene = plug_profile(
                float(dice.uniform(0.5, 1.3)),
                ppm,
                seed=200 + k,
                distance_mm=(150.0, 200.0, 400.0)[k % 3],
                ground=("rag", "paper", "card")[k % 3],
            )
            camera = scene.truth["thread"]["camera_mm"]
            gap = scene.truth["gap"]["mm"]
            try:
                scale = thread_scale(bgr(scene), outlines(scene, dice), 1.25, camera)
                line = rough(scene, dice)
                found = measure_gap(bgr(scene), line, scale, camera)
                plain.append(abs(measure_gap(bgr(scene), line, scale).mm - gap))
            except StillError:
                refused += 1
                continue
            scales.append(abs(scale.px_per_mm / ppm - 1))
            true.append(abs(found.mm - gap))
            held.append(true[-1] < found.error_mm)
        print(f"scale: {np.max(scales):.2%} off at worst")
        for name, off in (("with the distance", true), ("as seen", plain)):
            print(
                f"gap {name}: median {np.median(off):.3f} mm, p90 {np.quantile(off, 0.9):.3f} mm, "
                f"{np.mean(np.array(off) <= 0.05):.0%} within 0.05 mm"
            )
        print(f"{sum(held)} of {len(held)} within the stated error, {refused} of 16 refused")
        assert refused <= 2
        assert np.max(scales) < 0.015
        assert np.median(true) < 0.05 < np.median(plain)
        assert np.mean(held) >= 0.85

    def test_the_view_from_aside_is_put_right_by_the_distance(self) -> None:
        """9 mm from the middle, 150 mm away, both electrodes about 2.6 mm wide: 9 x 2.6 / 150 = 0.16 mm."""
        image, line = drawn_gap(16)
        canvas = np.full((400, 900, 3), 60, np.uint8)
        canvas[80:320, 450:770] = image
        aside = Line(line.x1 + 450, line.y1 + 80, line.x2 + 450, line.y2 + 80)
        scale = PlugScale(160 / 9, 0.01, 22.0, 12)
        seen, right = measure_gap(canvas, aside, scale), measure_gap(canvas, aside, scale, 150.0)
        assert right.mm - seen.mm == pytest.approx(0.156, abs=0.01)
        assert right.seen_aside_mm == pytest.approx(0.156, abs=0.01)
        assert seen.error_mm > 0.3 > right.error_mm
        assert "give the camera's distance" in seen.text()
        assert "hidden" in right.text()

    def test_a_closed_gap_is_refused(self) -> None:
        image, _ = drawn_gap(10)
        with pytest.raises(StillError, match="closed"):
            measure_gap(image, Line(150, 120, 151, 120))

    def test_where_nothing_stands_out_edges_are_put_by_hand(self) -> None:
        with pytest.raises(StillError, match="by hand"):
            measure_gap(np.full((200, 200, 3), 90, np.uint8), Line(80, 100, 110, 100))
        found = gap_between(Line(80, 100, 100, 100), PlugScale(20.0, 0.2, 25.0, 10))
        assert found.mm == pytest.approx(1.0)
        assert 0.02 < found.error_mm < 0.2

    def test_without_a_scale_there_are_no_millimetres(self) -> None:
        found = measure_gap(*drawn_gap(14))
        assert isinstance(found, Gap)
        assert np.isnan(found.mm)
        assert "no scale" in found.text()
        assert found.as_dict()["gap_mm"] is None

    def test_both_edges_are_given_to_be_dragged(self) -> None:
        image, line = drawn_gap(14)
        edges = measure_gap(image, line).edges
        assert edges.x1 == pytest.approx(153, abs=0.8)
        assert edges.x2 == pytest.approx(167, abs=0.8)


def card(lab_levels: tuple[int, int, int], white: int = 200) -> np.ndarray:
    image = np.full((200, 300, 3), 60, np.uint8)
    image[50:150, 30:130] = lab_levels
    image[50:150, 170:270] = white
    return image


NOSE, PATCH = Box(40, 60, 80, 80), Box(180, 60, 80, 80)


class TestColour:
    def test_without_a_patch_no_class_is_given(self) -> None:
        found = nose_colour(card((90, 140, 180)), NOSE)
        assert found.text() == UNCALIBRATED
        assert not found.nearest
        assert not found.term

    def test_the_card_takes_light_and_exposure_out(self) -> None:
        scene = card((110, 150, 180))
        warm = np.clip(scene * (0.55, 0.8, 0.95), 0, 255).astype(np.uint8)
        labs = [np.array(nose_colour(image, NOSE, PATCH).lab) for image in (scene, warm)]
        assert np.abs(labs[0] - labs[1]).max() < 4

    def test_white_is_white_and_asks_whether_it_is_new(self) -> None:
        found = nose_colour(card((198, 200, 200)), NOSE, PATCH)
        assert found.nearest == "chalk white"
        assert "new plug" in found.ask

    def test_soot_against_oil_is_asked_not_guessed(self) -> None:
        found = nose_colour(card((32, 33, 34)), NOSE, PATCH)
        assert found.nearest == "black"
        assert found.term == ""
        assert "greasy" in found.ask

    def test_a_far_colour_has_no_class(self) -> None:
        found = nose_colour(card((200, 40, 40)), NOSE, PATCH)
        assert found.nearest == ""
        assert "no class is near" in found.text()

    @pytest.mark.parametrize("white", [255, 3])
    def test_a_spoiled_patch_is_refused(self, white: int) -> None:
        with pytest.raises(StillError, match="patch"):
            nose_colour(card((90, 140, 180), white), NOSE, PATCH)

    def test_drawn_plugs_with_a_card(self) -> None:
        scene = plug(5, state="tan", patch="grey", ground="paper")
        nose = Polygon(tuple((float(x), float(y)) for x, y in max(scene.truth["nose"]["outlines"], key=len)))
        patch = Polygon(tuple((float(x), float(y)) for x, y in scene.truth["patch"]["outline"]))
        found = nose_colour(bgr(scene), nose, patch, "grey")
        assert found.calibrated
        assert found.term in ("plug_tan", "")
        assert "tan" in found.nearest

    def test_every_class_says_where_it_comes_from(self) -> None:
        assert all(c["source"] for c in colour_classes())
