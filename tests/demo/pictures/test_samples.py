"""The folder sample_images/ is what the picture maker draws, and what the stories need is in it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from borelog.demo.pictures import SCENES, scene, write_samples
from borelog.demo.pictures.__main__ import main
from borelog.demo.pictures.film import write_film
from borelog.demo.pictures.press import from_jpeg
from borelog.demo.pictures.samples import COPY, FILM_FILE, TRUTH_FILE, made_with

FOLDER = Path(__file__).parents[3] / "sample_images"
QUICK = ("plug_tan", "gauge_low", "hatch_30", "crown_thin_carbon", "frame_black", "slate_cylinder_3")


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((FOLDER / TRUTH_FILE).read_text(encoding="utf-8"))
    return loaded


def _same_picture(name: str, truth: dict[str, Any]) -> None:
    """Bit for bit where versions and machine are the recorded ones, else within 2 levels and 0.1 in the mean."""
    shot = scene(name)
    kept = (FOLDER / f"{name}.jpg").read_bytes()
    if truth["made_with"] == made_with():
        assert hashlib.sha256(shot.jpeg).hexdigest() == hashlib.sha256(kept).hexdigest()
        return
    apart = np.abs(from_jpeg(kept).astype(int) - shot.image)
    assert apart.max() <= 2
    assert apart.mean() < 0.1


@pytest.mark.parametrize("name", QUICK)
def test_kept_still_is_drawn_again(name: str, truth: dict[str, Any]) -> None:
    _same_picture(name, truth)


@pytest.mark.long
@pytest.mark.parametrize("name", [n for n in SCENES if n not in QUICK])
def test_every_kept_still_is_drawn_again(name: str, truth: dict[str, Any]) -> None:
    _same_picture(name, truth)


@pytest.mark.long
def test_film_is_drawn_again(tmp_path: Path, truth: dict[str, Any]) -> None:
    made = write_film(tmp_path / FILM_FILE)
    assert len(made["frames"]) == len(truth["films"][FILM_FILE]["frames"])
    old, new = cv2.VideoCapture(str(FOLDER / FILM_FILE)), cv2.VideoCapture(str(tmp_path / FILM_FILE))
    for _ in made["frames"]:
        a, b = old.read()[1], new.read()[1]
        assert np.abs(a.astype(int) - b).mean() < 0.1


def test_folder_holds_what_the_truth_names(truth: dict[str, Any]) -> None:
    stills = {path.name for path in FOLDER.glob("*.jpg")}
    assert stills == set(truth["stills"]) == {f"{name}.jpg" for name in (*SCENES, COPY[0])}
    assert len(stills) >= 24
    assert sum(path.stat().st_size for path in FOLDER.glob("*.jpg")) < 4_000_000
    assert (FOLDER / FILM_FILE).read_bytes()[:4] == b"RIFF"


def test_copy_is_byte_for_byte(truth: dict[str, Any]) -> None:
    assert (FOLDER / f"{COPY[0]}.jpg").read_bytes() == (FOLDER / f"{COPY[1]}.jpg").read_bytes()


def test_film_reads_through_and_starts_dark(truth: dict[str, Any]) -> None:
    film = cv2.VideoCapture(str(FOLDER / FILM_FILE))
    levels = []
    while True:
        there, frame = film.read()
        if not there:
            break
        levels.append(float(frame.mean()))
    frames = truth["films"][FILM_FILE]["frames"]
    assert len(levels) == len(frames)
    dark = [level for level, kept in zip(levels, frames, strict=True) if not kept["lamp_on"]]
    lit = [level for level, kept in zip(levels, frames, strict=True) if kept["lamp_on"]]
    assert max(dark) < 0.5 * min(lit)


def _grey(name: str) -> Any:
    return cv2.imread(str(FOLDER / f"{name}.jpg"), cv2.IMREAD_GRAYSCALE)


def test_spoiled_frames_are_spoiled() -> None:
    assert _grey("frame_black").mean() < 16
    assert (_grey("frame_glared") >= 245).mean() > 0.08
    edges = {}
    for name in ("exhaust_valve_even", "frame_blurred"):
        calm = cv2.GaussianBlur(_grey(name).astype(np.float32), (0, 0), 2.0)
        edges[name] = float(np.percentile(np.hypot(*np.gradient(calm)), 99))
    assert edges["frame_blurred"] < 0.5 * edges["exhaust_valve_even"]


def test_near_double_is_near_and_no_copy() -> None:
    a, b, other = (
        cv2.resize(_grey(name), (32, 24), interpolation=cv2.INTER_AREA).astype(float).ravel()
        for name in ("crown_thin_carbon", "crown_thin_carbon_again", "crown_neighbour")
    )
    assert 0.95 < np.corrcoef(a, b)[0, 1] < 0.9999
    assert np.corrcoef(a, other)[0, 1] < 0.9


def test_stories_have_their_pictures(truth: dict[str, Any]) -> None:
    burnt = truth["stills"]["exhaust_valve_burnt.jpg"]["where"]
    assert burnt["notch"]["share"] > 0.004
    assert "notch" not in truth["stills"]["exhaust_valve_even.jpg"]["where"]
    assert truth["stills"]["bore_pin_streaks.jpg"]["where"]["pin streak"]["share"] > 0.001
    clean = truth["stills"]["crown_steam_clean.jpg"]["where"]["steam-clean area"]["share"]
    assert 0.05 < clean < 0.6
    assert "steam-clean area" not in truth["stills"]["crown_neighbour.jpg"]["where"]
    assert truth["stills"]["crown_missing_piece.jpg"]["where"]["missing piece"]["share"] > 0.005
    assert truth["stills"]["chamber_line.jpg"]["line"]["really"] == "casting line"


def test_no_closed_gap_beside_a_broken_crown() -> None:
    from borelog.demo.pictures.story_scenes import STORY_SCENES

    assert not {"crown_missing_piece", "plug_closed_gap"} & set(STORY_SCENES)


def test_command_writes_what_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(tmp_path / "out"), "frame_black", "slate_cylinder_3"]) == 0
    assert capsys.readouterr().out.split() == ["frame_black.jpg", "slate_cylinder_3.jpg"]
    kept = json.loads((tmp_path / "out" / TRUTH_FILE).read_text(encoding="utf-8"))
    assert set(kept["stills"]) == {"frame_black.jpg", "slate_cylinder_3.jpg"}
    with pytest.raises(SystemExit):
        main([str(tmp_path), "nothing_of_the_kind"])


def test_folder_that_cannot_be_made_is_told_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("")
    assert main([str(tmp_path / "file" / "below"), "frame_black"]) == 3
    assert "Choose another folder" in capsys.readouterr().err


def test_writing_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write_samples(tmp_path / name, ["frame_black", "gauge_all_low"], film=False)
    for file in ("frame_black.jpg", "gauge_all_low.jpg", TRUTH_FILE):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
