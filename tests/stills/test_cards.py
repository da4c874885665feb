"""A whole card: order, groups, slips, films, arrivals, thumbnails."""

from __future__ import annotations

import random
import threading
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from skimage import data as skdata

from borelog.stills import StillError, intake
from borelog.stills.arrivals import Arrival, arrivals
from borelog.stills.card import Shot, move_still, propose, shift_cylinders, shift_stills, shooting_order
from borelog.stills.doubles import distance, phash
from borelog.stills.film import choose, pick, score
from borelog.stills.filmguard import pick_apart
from borelog.stills.intake import PictureFacts
from borelog.stills.planes import Stopped
from borelog.stills.seen import nearest, propose_views, see, unlike
from borelog.stills.thumbs import thumbnail, thumbnails

COFFEE = np.ascontiguousarray(skdata.coffee()[:, :, ::-1])


def session(sizes: list[int], gap: float = 90.0, seed: int = 0, start: int = 1) -> list[Shot]:
    """Stills a few seconds apart, a pause while the next plug is reached, names from a counter."""
    rng, at, shots = random.Random(seed), 1e9, []
    for size in sizes:
        for _ in range(size):
            shots.append(Shot(f"DCIM/IMG_{start + len(shots):04d}.JPG", taken=at))
            at += rng.uniform(3, 9)
        at += gap
    return shots


def sizes_of(shots: list[Shot], pull: list[int], **how: object) -> list[int]:
    return [len(g.stills) for g in propose(shots, pull, **how).groups]  # type: ignore[arg-type]


def test_sixty_stills_are_cut_by_pauses() -> None:
    sizes = [8, 7, 9, 6, 8, 7, 8, 7]
    shots = session(sizes)
    mixed = shots[:]
    random.Random(4).shuffle(mixed)
    proposal = propose(mixed, [1, 3, 5, 7, 2, 4, 6, 8])
    assert [len(g.stills) for g in proposal.groups] == sizes
    assert [g.cylinder for g in proposal.groups] == [1, 3, 5, 7, 2, 4, 6, 8]
    names = [mixed[i].name for g in proposal.groups for i in g.stills]
    assert names == [s.name for s in shots]
    assert "pause" in proposal.groups[1].why
    assert "number" in proposal.order_by


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(3, 12), min_size=2, max_size=8), st.integers(0, 99))
def test_every_still_is_in_exactly_one_place(sizes: list[int], seed: int) -> None:
    shots = session(sizes, seed=seed)
    proposal = propose(shots, list(range(1, len(sizes) + 1)))
    assert sorted([*proposal.loose, *(i for g in proposal.groups for i in g.stills)]) == list(
        range(len(shots))
    )
    assert [len(g.stills) for g in proposal.groups] == sizes


def test_a_clock_that_stands_still_is_not_believed() -> None:
    shots = [replace(s, taken=0.0) for s in session([6, 6, 6])]
    order = shooting_order(shots)
    assert order.times == (None,) * 18
    proposal = propose(shots, [1, 2, 3])
    assert [len(g.stills) for g in proposal.groups] == [6, 6, 6]
    assert "even numbers only" in proposal.groups[1].why


def test_copying_stamps_are_not_believed_but_real_file_times_are() -> None:
    copied = [replace(s, taken=None, changed=5.0 + i * 0.01) for i, s in enumerate(session([5, 9]))]
    assert shooting_order(copied).times[0] is None
    kept = [replace(s, taken=None, changed=s.taken) for s in session([5, 9])]
    assert sizes_of(kept, [1, 2]) == [5, 9]


def test_clock_reset_in_the_middle_of_a_card() -> None:
    shots = session([6, 7, 6, 7])
    shots = [replace(s, taken=(s.taken or 0) - (9e8 if i >= 15 else 0)) for i, s in enumerate(shots)]
    proposal = propose(shots, [1, 2, 3, 4])
    assert [len(g.stills) for g in proposal.groups] == [6, 7, 6, 7]


def test_counter_that_ran_over() -> None:
    names = [f"IMG_{n:04d}.JPG" for n in (9997, 9998, 9999, 1, 2, 3)]
    order = shooting_order([Shot(n) for n in sorted(names)])
    assert [sorted(names)[i] for i in order.indices] == names


def test_two_cameras_are_merged_by_their_clocks() -> None:
    scope = session([4, 4])
    phone = [Shot("PXL_77.jpg", taken=(scope[4].taken or 0) - 20)]
    order = shooting_order([*phone, *scope])
    assert order.indices.index(0) == 4
    assert "2 cameras" in order.by


def slate(text: str) -> np.ndarray:
    image = np.full((480, 640, 3), 45, np.uint8)
    corners = np.array([[80, 70], [560, 90], [545, 400], [95, 410]], np.int32)
    cv2.fillConvexPoly(image, corners, (205, 210, 212), cv2.LINE_AA)
    cv2.putText(image, text, (150, 290), cv2.FONT_HERSHEY_SIMPLEX, 4, (30, 30, 30), 16, cv2.LINE_AA)
    noise = np.random.default_rng(len(text)).normal(0, 3, image.shape)
    return np.clip(cv2.GaussianBlur(image, (0, 0), 1.2) + noise, 0, 255).astype(np.uint8)


def inside(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:480, 0:640]
    r = np.hypot(x - 320 - rng.uniform(-40, 40), y - 240 - rng.uniform(-40, 40))
    grain = cv2.GaussianBlur(rng.normal(0, 1, (480, 640)), (0, 0), 4) * 90
    grey = 60 + 70 * np.exp(-(((r - rng.uniform(80, 220)) / 90) ** 2)) + grain
    return cv2.cvtColor(np.clip(grey, 0, 255).astype(np.uint8), cv2.COLOR_GRAY2BGR)


def test_slates_cut_a_card_without_any_clock() -> None:
    sizes, shots = [4, 9, 3, 6], []
    for k, size in enumerate(sizes):
        shots.append(Shot(f"P{len(shots):03d}.jpg", seen=see(slate(f"C{k + 1}"))))
        shots += [Shot(f"P{len(shots) + j:03d}.jpg", seen=see(inside(10 * k + j))) for j in range(size)]
    proposal = propose(shots, [2, 1, 3, 4])
    assert [len(g.stills) - 1 for g in proposal.groups] == sizes
    assert [g.slate for g in proposal.groups] == [0, 5, 15, 19]
    assert all("slate" in g.why for g in proposal.groups)
    before = [Shot("A1.jpg", seen=see(inside(900))), *shots]
    assert propose([replace(s, name=f"Q{i:03d}.jpg") for i, s in enumerate(before)], [2, 1, 3, 4]).loose == (
        0,
    )


def test_a_person_marks_the_slates_the_tool_cannot_see() -> None:
    shots = [Shot(f"P{i:03d}.jpg") for i in range(20)]
    assert sizes_of(shots, [1, 2, 3], marked_slates=[0, 4, 15]) == [4, 11, 5]


def test_stills_are_not_taken_for_slates() -> None:
    assert not any(see(inside(s)).is_card for s in range(30))
    assert not see(COFFEE).is_card
    assert see(slate("CYL 3")).is_card


def test_a_run_is_shifted_by_one_in_one_step() -> None:
    proposal = propose(session([5, 5, 5, 5]), [1, 2, 3, 4])
    later = shift_stills(proposal, 2, 1)
    assert [len(g.stills) for g in later.groups] == [5, 6, 5, 4]
    assert shift_stills(later, 2, -1).groups[3].stills == proposal.groups[3].stills
    assert shift_stills(proposal, 1, 99).groups[1].stills == ()
    moved = shift_cylinders(proposal, 1, 1)
    assert [g.cylinder for g in moved.groups] == [1, 3, 4, None]
    with pytest.raises(StillError):
        shift_stills(proposal, 0, 1)


def test_one_still_moves_alone() -> None:
    proposal = propose(session([3, 3]), [1, 2])
    there = move_still(proposal, 2, 1)
    assert there.groups[1].stills == (2, 3, 4, 5)
    away = move_still(there, 2, None)
    assert away.loose == (2,)
    with pytest.raises(StillError):
        move_still(proposal, 99, 0)


def test_no_cylinders_and_no_stills() -> None:
    assert propose([], [1, 2]).groups == ()
    assert len(propose(session([2]), [1, 2, 3]).groups) == 2
    with pytest.raises(StillError, match="pulled"):
        propose(session([2]), [])


def test_a_thousand_stills_are_cut_as_well() -> None:
    shots = session([125] * 8)
    assert sizes_of(shots, list(range(8))) == [125] * 8


def test_views_are_proposed_from_what_is_filed() -> None:
    filed = [(see(inside(k)), "crown") for k in range(3)] + [
        (see(COFFEE[:, k * 40 : k * 40 + 400]), "bore") for k in range(3)
    ]
    proposed = propose_views([see(inside(7)), see(COFFEE[10:, 30:500]), see(slate("C4"))], filed)
    assert [v for v, _ in proposed] == ["crown", "bore", ""]
    assert propose_views([see(COFFEE)], []) == (("", 0.0),)
    assert unlike(see(COFFEE), see(COFFEE)) == 0
    assert nearest(see(COFFEE), [see(inside(1)), see(COFFEE)])[0][0] == 1


def write_film(path: Path, blurs: list[float], fourcc: str = "MJPG") -> None:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*fourcc), 25, (320, 240))
    rng = np.random.default_rng(0)
    scenes = [
        cv2.resize(COFFEE, (420, 320)),
        cv2.resize(np.ascontiguousarray(skdata.astronaut()[:, :, ::-1]), (420, 320)),
    ]
    for k, sigma in enumerate(blurs):
        base = scenes[k * 2 // len(blurs)]
        dx, dy = int(30 + 25 * np.sin(k / 14)), int(30 + 25 * np.cos(k / 11))
        frame = cv2.GaussianBlur(base[dy : dy + 240, dx : dx + 320], (0, 0), sigma)
        writer.write(np.clip(frame + rng.normal(0, 2, frame.shape), 0, 255).astype(np.uint8))
    writer.release()


BLURS = [0.6 + 3 * abs(float(np.sin(k / 9))) + (4.0 if 40 < k < 62 else 0.0) for k in range(120)]


def test_film_gives_sharp_different_frames(tmp_path: Path) -> None:
    write_film(tmp_path / "f.avi", BLURS)
    seen: list[tuple[int, int | None]] = []
    picks = list(pick(tmp_path / "f.avi", progress=lambda done, of: seen.append((done, of))))
    assert 3 <= len(picks) <= 12
    # Target: every pick within 1.5 times the sharpest blur of its neighbourhood, none inside the shake.
    for p in picks:
        near = BLURS[max(0, p.frame - 15) : p.frame + 16]
        assert BLURS[p.frame] <= 1.5 * min(near)
        assert not 42 <= p.frame <= 60
    hashes = [phash(p.image) for p in picks]
    assert all(distance(a, b) > 4 for i, a in enumerate(hashes) for b in hashes[:i])
    assert [d for d, _ in seen] == list(range(1, 121))
    assert picks[0].image.shape == (240, 320, 3)
    assert picks[-1].seconds == pytest.approx(picks[-1].frame / 25)


def test_picked_frame_is_the_frame(tmp_path: Path) -> None:
    write_film(tmp_path / "f.avi", BLURS)
    for p in pick(tmp_path / "f.avi", most=2):
        back, _ = intake.decode(intake.encode(p.image, "PNG"))
        assert (back == p.image).all()


def test_film_that_lies_about_its_length(tmp_path: Path) -> None:
    write_film(tmp_path / "f.avi", BLURS[:60])
    data = bytearray((tmp_path / "f.avi").read_bytes())
    at = data.find(b"avih") + 8 + 16
    data[at : at + 4] = (7).to_bytes(4, "little")
    (tmp_path / "lie.avi").write_bytes(data)
    assert score(tmp_path / "lie.avi").scores.size == 60
    cut = bytes(data[: len(data) // 2])
    (tmp_path / "cut.avi").write_bytes(cut)
    assert 10 < score(tmp_path / "cut.avi").scores.size < 60


def test_film_can_be_stopped_and_refused(tmp_path: Path) -> None:
    write_film(tmp_path / "f.avi", BLURS[:40])
    with pytest.raises(Stopped):
        score(tmp_path / "f.avi", cancelled=lambda: True)
    (tmp_path / "list.avi").write_text("#EXTM3U\nhttp://127.0.0.1/x\n")
    for name, words in (("list.avi", "plain text"), ("none.avi", "no film file")):
        with pytest.raises(StillError, match=words):
            score(tmp_path / name)
    write_film(tmp_path / "black.avi", [1.0] * 5)
    dark = score(tmp_path / "black.avi")
    assert choose(replace(dark, light=dark.light * 0)) == ()


def test_film_read_apart_gives_the_same_frames(tmp_path: Path) -> None:
    write_film(tmp_path / "f.avi", BLURS)
    seen: list[int] = []
    apart = list(pick_apart(tmp_path / "f.avi", progress=lambda done, _of: seen.append(done)))
    here = list(pick(tmp_path / "f.avi"))
    assert [p.frame for p in apart] == [p.frame for p in here]
    assert all((a.image == b.image).all() for a, b in zip(apart, here, strict=True))
    assert seen == list(range(5, 121, 5))
    with pytest.raises(Stopped):
        list(pick_apart(tmp_path / "f.avi", cancelled=lambda: True))
    with pytest.raises(StillError, match="no film file"):
        list(pick_apart(tmp_path / "none.avi"))
    with pytest.raises(StillError, match=r"breaks|memory|read"):
        list(pick_apart(tmp_path / "f.avi", memory=0))


def test_thumbnails_are_small_upright_and_clean() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x0110] = "SECRET"
    import io

    out = io.BytesIO()
    Image.fromarray(COFFEE[:, :, ::-1]).save(out, "JPEG", exif=exif)
    small = thumbnail(out.getvalue(), 200)
    array, facts = intake.decode(small)
    assert array.shape == (200, 133, 3)
    assert facts.orientation == 1
    assert b"SECRET" not in small
    tiny = intake.encode(COFFEE[:40, :60], "PNG")
    assert intake.decode(thumbnail(tiny, 320))[0].shape == (40, 60, 3)


def test_thumbnails_keep_order_and_pass_over_bad_ones() -> None:
    good = intake.encode(COFFEE, "JPEG")
    rows = list(thumbnails((f"n{i}", (lambda: b"") if i == 3 else (lambda: good)) for i in range(9)))
    assert [name for name, _ in rows] == [f"n{i}" for i in range(9)]
    assert isinstance(rows[3][1], StillError)
    assert all(isinstance(r, bytes) for i, (_, r) in enumerate(rows) if i != 3)


def collect(
    folder: Path, until: int, act: object = None, seconds: float = 20.0, **how: object
) -> list[Arrival]:
    stop, got = threading.Event(), []
    limit = time.monotonic() + seconds
    for step, item in enumerate(arrivals(folder, stop, interval=0.02, **how)):  # type: ignore[arg-type]
        if item is not None:
            got.append(item)
        elif callable(act):
            act(step)
        if len(got) >= until or time.monotonic() > limit:
            stop.set()
    return got


def known(data: bytes, name: str) -> PictureFacts:
    return intake.decode(data, name)[1]


def test_new_pictures_are_given_out_once_whole(tmp_path: Path) -> None:
    good = intake.encode(COFFEE, "JPEG")
    (tmp_path / "old.jpg").write_bytes(good)
    half = tmp_path / "half.jpg"

    def act(step: int) -> None:
        if step == 0:
            half.write_bytes(good[: len(good) // 2])
            (tmp_path / "DCIM").mkdir()
            (tmp_path / "DCIM" / "b.png").write_bytes(intake.encode(COFFEE[:64, :64], "PNG"))
            (tmp_path / "c.jpg.part").write_bytes(good)
            (tmp_path / "notes.txt").write_bytes(b"x")
        elif step == 40:
            half.write_bytes(good)

    got = collect(tmp_path, 2, act, check=known)
    assert [a.path.name for a in got] == ["b.png", "half.jpg"]
    assert got[1].data == good
    assert got[1].picture is not None
    assert got[1].why == ""


def test_a_file_that_never_becomes_a_picture_is_given_up_on(tmp_path: Path) -> None:
    def act(step: int) -> None:
        if step == 0:
            (tmp_path / "bad.jpg").write_bytes(b"not a picture at all")

    got = collect(tmp_path, 1, act, check=known, patience=0.2)
    assert "plain text" in got[0].why
    assert got[0].data == b""


def test_existing_pictures_and_the_guard(tmp_path: Path) -> None:
    (tmp_path / "img_2.png").write_bytes(intake.encode(COFFEE[:64, :64], "PNG"))
    (tmp_path / "img_10.png").write_bytes(intake.encode(COFFEE[:64, 64:128], "PNG"))
    got = collect(tmp_path, 2, existing=True)
    assert {a.path.name for a in got} == {"img_2.png", "img_10.png"}
    assert all(a.picture is not None and a.picture.format == "PNG" for a in got)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(StillError, match="cannot be watched"):
        next(iter(arrivals(tmp_path / "none", threading.Event())))
