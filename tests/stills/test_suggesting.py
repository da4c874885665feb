"""Lines, spots and areas on one still, and the list of suggestions."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from borelog.demo.pictures import crack_scene, wall_view
from borelog.demo.pictures.wall import Wall, scored
from borelog.knowledge import tables
from borelog.marks.shapes import Ellipse, Freehand, Polygon, outline
from borelog.stills import StillError
from borelog.stills.lines import find_lines, find_scores
from borelog.stills.missing_crown import cut_out, missing_share
from borelog.stills.patches import find_deposits, find_oil, find_pits
from borelog.stills.planes import Stopped
from borelog.stills.suggest import DEFAULTS, KINDS, MOST, NOTHING, how_often_wrong, suggest
from borelog.stills.unroll import BorePose, Lens, project


def plate(seed: int = 0, height: int = 480, width: int = 640, level: int = 130) -> np.ndarray:
    dice = np.random.default_rng(seed)
    cloud = cv2.GaussianBlur(dice.normal(size=(height, width)).astype(np.float32), (0, 0), 6)
    grey = np.clip(level + 4 * cloud / cloud.std() + dice.normal(0, 2, cloud.shape), 0, 255)
    return np.repeat(grey[:, :, None], 3, axis=2).astype(np.uint8)


def near_path(path: Freehand, x: float, y: float, reach: float) -> bool:
    return min(np.hypot(px - x, py - y) for px, py in path.points) < reach


class TestLines:
    def test_a_dark_line_is_found_where_it_is(self) -> None:
        image = plate()
        cv2.line(image, (100, 100), (420, 260), (70, 70, 70), 3, cv2.LINE_AA)
        (line,) = find_lines(image)
        assert line.length_px == pytest.approx(np.hypot(320, 160), rel=0.12)
        assert all(abs((y - 100) - (x - 100) / 2) < 4 for x, y in line.path.points)

    def test_a_step_edge_is_no_line(self) -> None:
        image = plate()
        image[:, 320:] = (image[:, 320:] * 0.5).astype(np.uint8)
        assert find_lines(image) == ()

    def test_a_bright_line_is_no_dark_line(self) -> None:
        image = plate()
        cv2.line(image, (100, 100), (420, 260), (230, 230, 230), 3, cv2.LINE_AA)
        assert not [f for f in find_lines(image) if near_path(f.path, 260, 180, 3) and f.length_px > 200]

    def test_what_is_left_out_is_not_seen(self) -> None:
        image = plate()
        cv2.line(image, (100, 100), (420, 260), (70, 70, 70), 3, cv2.LINE_AA)
        blind = np.zeros((480, 640), np.bool_)
        blind[60:300, 60:460] = True
        assert find_lines(image, leave_out=blind) == ()

    def test_a_jagged_line_wanders_and_an_arc_does_not(self) -> None:
        dice = np.random.default_rng(2)
        jagged, arc = plate(), plate()
        xs = np.arange(60, 560, 12)
        ys = 240 + np.cumsum(dice.normal(0, 6, len(xs)))
        cv2.polylines(jagged, [np.int32(np.stack([xs, ys], axis=1))], False, (60, 60, 60), 3, cv2.LINE_AA)
        cv2.ellipse(arc, (320, 500), (300, 300), 0, 215, 325, (60, 60, 60), 3, cv2.LINE_AA)
        one = max(find_lines(jagged), key=lambda f: f.length_px)
        two = max(find_lines(arc), key=lambda f: f.length_px)
        assert one.wander > 3 * two.wander

    @pytest.mark.long
    def test_cracks_on_drawn_roofs(self) -> None:
        """Share of the crack's length found, and of the listed lines that are crack; the figures are printed."""
        covered, right, listed = [], 0, 0
        for seed in range(4):
            scene = crack_scene(seed)
            truth = scene.maps["label/crack"]
            near = cv2.dilate(truth.astype(np.uint8), np.ones((11, 11), np.uint8)) > 0
            drawn = np.zeros(truth.shape, np.uint8)
            items = suggest(np.ascontiguousarray(scene.image[:, :, ::-1]), "roof", ("crack",)).items
            for item in items:
                one = np.zeros(truth.shape, np.uint8)
                cv2.polylines(one, [np.int32(item.shape.points)], False, 1, 1)  # type: ignore[union-attr]
                right += bool(near[one > 0].mean() > 0.5)
                cv2.polylines(drawn, [np.int32(item.shape.points)], False, 1, 13)  # type: ignore[union-attr]
            listed += len(items)
            covered.append(float((drawn > 0)[truth].mean()))
        print(f"crack covered {np.round(covered, 2)}, {right} of {listed} listed lines are crack")
        assert np.mean(covered) > 0.5
        assert right >= 6


class TestScores:
    def strip(self) -> np.ndarray:
        flat = plate(3, 360, 720)
        cv2.line(flat, (200, 40), (203, 330), (95, 95, 95), 3)
        cv2.line(flat, (480, 60), (480, 300), (175, 175, 175), 3)
        cv2.line(flat, (300, 100), (400, 160), (90, 90, 90), 3)
        return flat

    def test_dark_and_bright_ones_along_the_bore_only(self) -> None:
        found = [f for f in find_scores(self.strip()) if f.length_px > 150]
        columns = sorted((np.mean([p[0] for p in f.path.points]), f.dark) for f in found)
        assert [(pytest.approx(c, abs=4), d) for c, d in columns] == [(201.5, True), (480, False)]

    def test_only_where_wall_is_seen(self) -> None:
        seen = np.ones((360, 720), np.bool_)
        seen[:, :300] = False
        assert all(f.path.points[0][0] > 300 for f in find_scores(self.strip(), seen))


class TestSuggest:
    def test_scores_on_a_drawn_wall(self) -> None:
        scene = wall_view(1, at_deg=40, wall=Wall(lines=scored(1)))
        found = suggest(np.ascontiguousarray(scene.image[:, :, ::-1]), "wall", ("score",))
        near = cv2.dilate(scene.maps["label/score"].astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
        right = 0
        for item in found.items:
            assert isinstance(item.shape, Freehand)
            one = np.zeros(near.shape, np.uint8)
            cv2.polylines(one, [np.int32(item.shape.points)], False, 1, 1)
            right += bool(near[one > 0].mean() > 0.5)
        assert right >= 0.75 * len(found.items) > 0

    def test_never_more_than_twelve_and_ranked(self) -> None:
        image = plate(4)
        for k in range(30):
            cv2.line(image, (20 + 20 * k, 30), (20 + 20 * k, 450), (90, 90, 90), 2)
        found = suggest(image, "wall", ("score",))
        assert len(found.items) == MOST < found.found
        assert [s.rank for s in found.items] == list(range(1, MOST + 1))
        strengths = [s.strength for s in found.items]
        assert strengths == sorted(strengths, reverse=True)
        assert "not shown" in found.text()

    def test_every_kind_gets_a_place(self) -> None:
        image = plate(4)
        for k in range(30):
            cv2.line(image, (20 + 20 * k, 30), (20 + 20 * k, 300), (90, 90, 90), 2)
        image[360:440, 100:300] = (image[360:440, 100:300] * (0.55, 0.85, 1.0)).astype(np.uint8)
        assert {s.kind for s in suggest(image, "wall", ("score", "oil")).items} == {"score", "oil"}

    def test_nothing_suggested_is_never_nothing_wrong(self) -> None:
        found = suggest(plate(5), "wall")
        assert found.items == ()
        assert NOTHING in found.text()
        assert "does not mean there is nothing" in found.text()

    def test_cracks_and_pits_are_off_on_carbon(self) -> None:
        for view in ("crown", "bore"):
            assert not {"crack", "pit"} & set(DEFAULTS[view])
        assert not any("pit" in kinds for kinds in DEFAULTS.values())

    def test_what_is_accepted_keeps_method_version_and_threshold(self) -> None:
        image = plate()
        cv2.line(image, (300, 40), (303, 430), (80, 80, 80), 3)
        kept = suggest(image, "wall", ("score",)).items[0].as_dict()
        assert kept["method"] == KINDS["score"].method
        assert kept["version"]
        assert kept["threshold"] == KINDS["score"].threshold

    def test_how_often_it_is_wrong_stands_in_every_answer(self) -> None:
        found = suggest(plate(), "roof")
        assert dict(found.wrong).keys() == set(found.looked_for)
        assert all("wrong" in rate for _, rate in found.wrong)

    def test_the_counts_come_from_the_table_and_name_their_stills(self) -> None:
        words = how_often_wrong("score", "bore")
        row = next(
            r for r in tables.rows("suggestion_rates.csv") if (r["kind"], r["view"]) == ("score", "bore")
        )
        assert f"{1 - float(row['right']):.0%} of the marks wrong" in words
        assert f"{1 - float(row['found']):.0%} of what is there missed" in words
        assert f"{row['stills']} drawn stills" in words
        assert "was not counted" in how_often_wrong("deposit", "roof")

    def test_deposits_are_the_darker_part_and_an_even_plate_has_none(self) -> None:
        image = plate(10, level=150)
        image[100:380, 60:330] = (image[100:380, 60:330] * 0.55).astype(np.uint8)
        (patch,) = find_deposits(image)
        assert patch.area_px == pytest.approx(280 * 270, rel=0.15)
        assert find_deposits(plate(10, level=150)) == ()

    @pytest.mark.parametrize(("size", "level"), [((97, 531), 18), ((70, 485), 147)])
    def test_a_plate_of_one_grey_has_no_deposits(self, size: tuple[int, int], level: int) -> None:
        """Levelling leaves rounding alone, too little to be parted."""
        assert find_deposits(np.full((*size, 3), level, np.uint8)) == ()

    def test_glare_gives_no_suggestion(self) -> None:
        image = plate(6, level=90)
        cv2.circle(image, (300, 200), 60, (255, 255, 255), -1)
        inside = [
            s
            for s in suggest(image, "wall", ("pit",)).items
            if isinstance(s.shape, Ellipse) and np.hypot(s.shape.cx - 300, s.shape.cy - 200) < 62
        ]
        assert not inside

    def test_unknown_words_are_refused(self) -> None:
        with pytest.raises(StillError, match="can be suggested"):
            suggest(plate(), "wall", ("rust",))
        with pytest.raises(StillError, match="view"):
            suggest(plate(), "sump")  # type: ignore[arg-type]

    def test_it_can_be_stopped(self) -> None:
        with pytest.raises(Stopped):
            suggest(plate(), "wall", cancelled=lambda: True)


def test_pits_in_units_of_the_texture() -> None:
    image = plate(7)
    spots = [(120, 120), (400, 300), (520, 90)]
    for spot in spots:
        cv2.circle(image, spot, 6, (90, 90, 90), -1, cv2.LINE_AA)
    found = find_pits(image)[:3]
    for x, y in spots:
        assert any(
            np.hypot(f.shape.cx - x, f.shape.cy - y) < 4 for f in found if isinstance(f.shape, Ellipse)
        )


def test_oil_is_warmer_than_the_wall() -> None:
    image = plate(8)
    image[100:300, 200:450] = (image[100:300, 200:450] * (0.8, 0.93, 1.0)).astype(np.uint8)
    (patch,) = find_oil(image)
    assert patch.area_px == pytest.approx(200 * 250, rel=0.15)
    assert find_oil(plate(8)) == ()


class TestMissingPiece:
    def crown(self) -> tuple[np.ndarray, Polygon]:
        image = plate(9, 720, 960, 150)
        piece = np.array(outline(Ellipse(560, 300, 60, 38, 25), 60))
        cv2.fillPoly(image, [np.int32(piece)], (60, 70, 75))
        noise = np.random.default_rng(0).normal(0, 5, image.shape)
        image = np.clip(cv2.GaussianBlur(image, (0, 0), 1.0) + noise, 0, 255).astype(np.uint8)
        return image, Polygon(tuple((float(x), float(y)) for x, y in piece))

    def test_one_tap_cuts_it_out_within_a_tenth(self) -> None:
        image, true = self.crown()
        found = cut_out(image, 560, 300)
        drawn = [np.zeros(image.shape[:2], np.uint8) for _ in range(2)]
        for plane, shape in zip(drawn, (true, found), strict=True):
            cv2.fillPoly(plane, [np.int32(shape.points)], 1)
        both = (drawn[0] & drawn[1]).sum() / (drawn[0] | drawn[1]).sum()
        assert both > 0.9

    def test_share_on_the_disc(self) -> None:
        lens = Lens(520, 480, 360)
        axis = np.array([0.3, -0.2, 1.0])
        axis /= np.linalg.norm(axis)
        zero = np.cross(axis, [1.0, 0, 0])
        pose = BorePose((2.0, 1.0, 75.0), tuple(axis), tuple(zero / np.linalg.norm(zero)), 40.0)  # type: ignore[arg-type]
        side = np.cross(axis, np.array(pose.zero))
        turn = np.linspace(0, 2 * np.pi, 80, endpoint=False)
        on = (
            np.array(pose.centre)
            + np.outer(22 + 6 * np.cos(turn), pose.zero)
            + np.outer(6 * np.sin(turn), side)
        )
        piece = Polygon(tuple((float(x), float(y)) for x, y in project(lens, on)))
        found = missing_share(piece, lens=lens, pose=pose)
        assert found.area_mm2 == pytest.approx(np.pi * 36, rel=0.01)
        assert found.share == pytest.approx(36 / 1600, rel=0.01)
        assert "+-" in found.text()

    def test_without_a_rim_there_is_no_share(self) -> None:
        found = missing_share(Polygon(((0.0, 0.0), (10.0, 0.0), (0.0, 10.0))))
        assert np.isnan(found.share)
        assert "mark the rim" in found.text()

    def test_a_rim_alone_gives_a_rougher_share(self) -> None:
        rim = Ellipse(480, 360, 300, 280, 0)
        found = missing_share(
            Polygon(((400.0, 300.0), (500.0, 300.0), (500.0, 400.0), (400.0, 400.0))), rim, bore_mm=80
        )
        assert found.share == pytest.approx(1e4 / (np.pi * 300 * 280))
        assert found.area_mm2 == pytest.approx(found.share * np.pi * 1600)
        assert found.error > 0.1

    def test_a_tap_outside_is_refused(self) -> None:
        with pytest.raises(StillError):
            cut_out(plate(), 5000, 10)
