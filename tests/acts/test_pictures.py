"""Filing as a person does it: doubles, a card read again, a folder watched while one walks on, scales, strips, films."""

from __future__ import annotations

import shlex
import threading
from pathlib import Path

import cv2
import numpy as np
import pytest

from borelog.acts import cards, copies, entering, filing, filming, marking, scales, strips, views, watching
from borelog.acts.bench import Bench, open_bench
from borelog.acts.whereabouts import Spot, be_at
from borelog.logbook.entries import Finding, Mark, MaskDrawn, Scaled, StillFiled, StillPlaced
from borelog.marks.places import Place
from borelog.marks.shapes import Box, Ellipse, Freehand, Line
from borelog.stills import StillError


@pytest.fixture
def shop(tmp_path: Path):  # type: ignore[no-untyped-def]
    bench = open_bench(tmp_path / "logbook", who="tester")
    id_ = entering.open_inspection(bench, "Bay 2", facts={"layout": "inline 4"})
    yield bench, id_
    bench.journal.close()


def texture(seed: int, wide: int = 640, high: int = 480) -> np.ndarray:
    rng = np.random.default_rng(seed)
    grey = sum(
        cv2.resize(rng.normal(0, 1, (high // k, wide // k)).astype(np.float32), (wide, high)) * k**0.5
        for k in (4, 9, 21, 60)
    )
    return np.dstack([np.clip(110 + 14 * grey + d, 0, 255) for d in (0, 8, 20)]).astype(np.uint8)


def saved(path: Path, pixels: np.ndarray) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), pixels)
    return str(path)


def placed(bench: Bench, id_: str) -> dict[str, StillPlaced]:
    inspection = bench.inspection(id_)
    names = {r.body.sha256: r.body.name for r in inspection.of(StillFiled)}
    return {names[r.body.still]: r.body for r in inspection.of(StillPlaced)}


def test_the_sharper_of_two_doubles_stays_whichever_came_first(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    sharp = texture(1)
    files = [
        saved(tmp_path / "1.png", cv2.GaussianBlur(sharp, (0, 0), 1.5)),
        saved(tmp_path / "2.png", sharp),
    ]
    added = filing.add_pictures(bench, id_, files, cylinder=1)
    assert [bool(f.aside) for f in added.filed] == [True, False]
    assert placed(bench, id_)["1.png"].aside.startswith("nearly the same view")
    assert not placed(bench, id_)["2.png"].aside


def test_before_and_after_are_no_doubles(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """The pair that is to be compared must not be sorted out: a dent has come in."""
    bench, id_ = shop
    before = cv2.GaussianBlur(texture(2), (0, 0), 2)
    after = before.copy()
    cv2.circle(after, (330, 250), 26, (225, 225, 225), -1)
    files = [saved(tmp_path / "a.png", before), saved(tmp_path / "b.png", after)]
    assert not any(f.aside for f in filing.add_pictures(bench, id_, files, cylinder=1).filed)


def test_the_same_bytes_twice_are_filed_once_and_stay_filed(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    one = saved(tmp_path / "x" / "IMG1.png", texture(3))
    two = saved(tmp_path / "x" / "IMG2.png", texture(3))
    added = filing.add_pictures(bench, id_, [one, two], cylinder=2)
    assert [(f.aside, f.again) for f in added.filed] == [("", False), (filing.TWICE, True)]
    assert [p.aside for p in placed(bench, id_).values()] == [""]
    card = cards.propose(bench, id_, [str(tmp_path / "x")], lambda done, total: None)
    cards.accept(bench, id_, card)
    assert [p.aside for p in placed(bench, id_).values()] == [""]


def test_a_folder_comes_number_by_number_and_says_what_it_leaves(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    folder = tmp_path / "card"
    for n in (10, 9, 1):
        saved(folder / f"IMG{n}.png", texture(n))
    (folder / "clip.avi").write_bytes(b"RIFF0000AVI ")
    (folder / "old.gif").write_bytes(b"GIF89a")
    (folder / "readme.txt").write_text("hello")
    added = filing.add_pictures(bench, id_, [str(folder)], cylinder=1)
    assert [f.name for f in added.filed] == ["IMG1.png", "IMG9.png", "IMG10.png"]
    assert {r.name for r in added.refused} == {"clip.avi", "old.gif"}
    with pytest.raises(filing.FilingError, match="no picture is there"):
        filing.add_pictures(bench, id_, [str(saved_empty(tmp_path))], cylinder=1)


def saved_empty(tmp_path: Path) -> Path:
    (tmp_path / "nothing").mkdir()
    return tmp_path / "nothing"


def test_a_card_changed_after_it_was_looked_at_is_told(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    for n in range(4):
        saved(tmp_path / "card" / f"IMG{n}.png", texture(n + 40))
    card = cards.propose(bench, id_, [str(tmp_path / "card")], lambda done, total: None, (4, 3, 2, 1))
    assert all(not x.data for x in card.looked), "a card is held without its bytes"
    assert [r.cylinder for r in card.rows] == [4, 3, 2, 1]
    saved(tmp_path / "card" / "IMG1.png", texture(99))
    (tmp_path / "card" / "IMG2.png").unlink()
    added = cards.accept(bench, id_, card)
    assert [f.name for f in added.filed] == ["IMG0.png", "IMG3.png"]
    assert [r.name for r in added.refused] == ["IMG1.png", "IMG2.png"]
    with pytest.raises(filing.FilingError, match="cylinder 9"):
        cards.propose(bench, id_, [str(tmp_path / "card")], lambda done, total: None, (9,))


def test_a_picture_goes_to_where_one_was_when_it_appeared(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Half written at cylinder 1, finished when the person is at cylinder 3 already."""
    bench, id_ = shop
    folder = tmp_path / "camera"
    folder.mkdir()
    whole = Path(saved(tmp_path / "whole.png", texture(5))).read_bytes()
    be_at(bench, Spot(id_, 1, Place("crown")))
    stop = threading.Event()
    looks = 0
    found = []
    for item in watching.watch(bench, id_, folder, stop):
        if item is not None:
            found.append(item)
            if len(found) == 2:
                stop.set()
            continue
        looks += 1
        if looks == 1:
            (folder / "a.png").write_bytes(whole[: len(whole) // 2])
        if looks == 3:
            be_at(bench, Spot(id_, 3, Place("exhaust_valve")))
        if looks == 5:
            (folder / "a.png").write_bytes(whole)
            saved(folder / "b.png", texture(6))
        assert looks < 200
    where = {f.name: (f.cylinder, f.place) for f in found if isinstance(f, filing.Filed)}
    assert where == {"a.png": (1, Place("crown")), "b.png": (3, Place("exhaust_valve"))}


def test_a_film_in_a_watched_folder_is_told_once_with_the_command_that_files_it(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    folder = tmp_path / "the camera"
    folder.mkdir()
    (folder / "old.avi").write_bytes(b"was there before")
    film = folder / "walk 1.avi"
    stop = threading.Event()
    looks = 0
    found = []
    for item in watching.watch(bench, id_, folder, stop):
        if item is not None:
            found.append(item)
            if isinstance(item, filing.Filed):
                stop.set()
            continue
        looks += 1
        if looks in (1, 2, 6):  # the last long after it was told
            film.write_bytes(bytes(1000 * looks))
        if looks == 9:
            saved(folder / "last.png", texture(8))
        assert looks < 200
    told = [f for f in found if isinstance(f, filing.Refused)]
    assert [f.name for f in told] == ["walk 1.avi"]
    command = shlex.split(told[0].why.split(": ", 1)[1])
    assert command[:2] == ["borelog", "film"]
    assert bench.journal.find(command[2]) == id_
    assert Path(command[3]) == film


def test_a_film_is_kept_and_its_frames_come_with_the_probe(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    path = tmp_path / "walk.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 10, (640, 480))
    for k in range(40):
        writer.write(cv2.GaussianBlur(texture(70 + k // 20), (0, 0), 0.6 + (k % 20) / 5))
    writer.release()
    scales.note_probe(bench, id_, "side", mirror=True, roll=90)
    added = filming.add_film(bench, id_, path, cylinder=2, probe="side")
    assert 1 <= len(added.filed) <= 4
    now = placed(bench, id_)
    assert now["walk.avi"].aside.startswith("film")
    assert all((p.mirror, p.roll) == (True, 90) for n, p in now.items() if n.endswith(".png"))
    before = len(bench.inspection(id_).of(StillFiled))
    with pytest.raises(StillError):
        filming.add_film(bench, id_, Path(saved(tmp_path / "no.png", texture(1))), cylinder=2)
    assert len(bench.inspection(id_).of(StillFiled)) == before


def test_noting_a_probe_again_turns_its_stills(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    scales.note_probe(bench, id_, "side")
    filing.add_pictures(bench, id_, [saved(tmp_path / "a.png", texture(1))], cylinder=1, probe="side")
    noted, turned = scales.note_probe(bench, id_, "side", mirror=True, roll=-90)
    assert (noted.mirror, noted.roll, turned) == (True, 270, 1)
    assert placed(bench, id_)["a.png"].roll == 270
    for name, roll in (("", 0.0), ("side", float("nan"))):
        with pytest.raises(filing.FilingError):
            scales.note_probe(bench, id_, name, roll=roll)


def test_scales_rest_on_what_they_were_taken_from(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A ring of 80 mm seen at a slant of 40 degrees: its plane's millimetres come out the same along both axes."""
    bench, id_ = shop
    filing.add_pictures(bench, id_, [saved(tmp_path / "a.png", texture(1))], cylinder=1)
    inspection = bench.inspection(id_)
    still = inspection.of(StillFiled)[0].body.sha256
    rim = Ellipse(320, 240, 160, 160 * np.cos(np.radians(40)))
    scale = scales.from_known_round(inspection, still, rim, 80)
    scales.set_scale(bench, id_, still, scale, scales.middle_of(rim), "bore")
    kept = scales.scale_of(bench.inspection(id_), still)
    assert kept is not None
    for line in (Line(160, 240, 480, 240), Line(320, 240 - rim.ry, 320, 240 + rim.ry)):
        mark = marking.measured(bench.inspection(id_), Mark(still, line))
        assert abs(float(mark.measured["value"]) - 80) < 0.1 and mark.measured["unit"] == "mm"  # type: ignore[arg-type]
        assert "circle of 80 mm" in mark.measure
    noted = bench.inspection(id_).of(Scaled)[0].body
    assert noted.rests_on.startswith("bore; circle of 80 mm")
    with pytest.raises(StillError):
        marking.measured(
            bench.inspection(id_), Mark(still, marking.shape_typed("point", "3,4", lambda: None))
        )


def test_a_lens_kept_with_a_probe_reaches_its_stills(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    lens = {"fx": 500.0, "fy": 500.0, "cx": 319.5, "cy": 239.5, "k1": -0.2, "k2": 0.0, "p1": 0.0, "p2": 0.0, "k3": 0.0,
            "width": 640, "height": 480, "rms": 0.3, "views": 12, "u_focal": 2.0}  # fmt: skip
    scales.note_probe(bench, id_, "side", lens=lens)
    filing.add_pictures(bench, id_, [saved(tmp_path / "a.png", texture(1))], cylinder=1, probe="side")
    filing.add_pictures(
        bench, id_, [saved(tmp_path / "b.png", texture(2, 480, 480))], cylinder=1, probe="side"
    )
    inspection = bench.inspection(id_)
    a, b = (r.body.sha256 for r in inspection.of(StillFiled))
    found = scales.lens_for(inspection, a)
    assert found is not None and found.fx == 500
    with pytest.raises(StillError, match="calibrated at 640 x 480"):
        scales.lens_for(inspection, b)
    # Near the border the lens bends most: the same pixels are more millimetres there.
    scale = scales.from_known_length(inspection, a, Line(300, 240, 340, 240), 10)
    scales.set_scale(bench, id_, a, scale, (320, 240))
    kept = scales.scale_of(bench.inspection(id_), a)
    assert (
        kept is not None
        and kept.lens is not None
        and kept.mm_per_px(600, 440) > 1.1 * kept.mm_per_px(320, 240)
    )


def test_marks_from_typed_places(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    pixels = np.full((240, 320, 3), 60, np.uint8)
    pixels[80:140, 100:180] = 230
    filing.add_pictures(bench, id_, [saved(tmp_path / "a.png", pixels)], cylinder=1, place=Place("crown"))
    still = bench.inspection(id_).of(StillFiled)[0].body.sha256
    traced = marking.shape_typed("trace", "99,79 181,81 179,141 101,139", lambda: pixels)
    assert isinstance(traced, Freehand) and traced.closed
    assert abs(cv2.contourArea(np.array(traced.points, np.float32)) - 80 * 60) < 400
    first = marking.mark_still(bench, id_, Mark(still, traced), Finding("own", 1, own="a dent"))
    marking.mark_still(bench, id_, Mark(still, Box(1, 2, 3, 4)), to=first.entry.id)
    assert [len(r.body.marks) for r in bench.inspection(id_).of(Finding)] == [2]
    marking.mask_still(bench, id_, still, Box(0, 0, 9, 9), "plate")
    marking.mask_still(bench, id_, still, Box(9, 0, 9, 9), "plate")
    assert len(bench.inspection(id_).of(MaskDrawn)[-1].body.shapes) == 2
    with pytest.raises(entering.ActError, match="needs an area"):
        marking.mask_still(bench, id_, still, Line(0, 0, 9, 9), "plate")
    filed = bench.inspection(id_).of(StillFiled)[0].body
    marking.check_inside(Box(0, 0, 320, 240), filed)
    with pytest.raises(entering.ActError, match="320 x 240"):
        marking.check_inside(Box(0, 0, 330, 240), filed)
    with pytest.raises(entering.ActError, match="no shape is called"):
        marking.shape_typed("blob", "1,1", lambda: pixels)


def test_a_place_over_its_dates_reaches_earlier_looks(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    later = entering.open_inspection(bench, "Bay 2, a year on", facts={"layout": "inline 4"})
    entering.link_earlier(bench, later, id_)
    for where, n in ((id_, 1), (later, 2)):
        filing.add_pictures(
            bench,
            where,
            [saved(tmp_path / f"{n}.png", np.roll(texture(8), n * 3, 1))],
            cylinder=1,
            place=Place("crown"),
        )
    with pytest.raises(filing.FilingError, match="there is one"):
        strips.strip_of(bench, id_, Place("crown"), 1)
    made = strips.strip_of(bench, later, Place("crown"), 1)
    assert len(made.stills) == 2 and made.image.shape[1] > 2 * 600
    path = strips.write_strip(made, tmp_path)
    assert path.name == "strip.png" and cv2.imread(str(path)).shape == made.image.shape


def test_proposed_places_come_from_what_was_filed(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    assert views.proposed_views(bench, id_) == {}
    filing.add_pictures(bench, id_, [saved(tmp_path / "k.png", texture(7))], cylinder=1, place=Place("crown"))
    filing.add_pictures(bench, id_, [saved(tmp_path / "l.png", np.roll(texture(7), 9, 1))], cylinder=2)
    found = views.proposed_views(bench, id_)
    assert [v for v, _ in found.values()] == ["crown"]
    assert views.spot_of("gauge", 2) == (None, Place("gauge"))


def test_a_person_says_which_still_is_a_slate(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """A hand with fingers held up is not found by the tool; said by a person it cuts the card there."""
    bench, id_ = shop
    for n in range(12):
        saved(tmp_path / "card" / f"IMG{n:02d}.png", texture(n + 60, 320, 240))
    card = cards.propose(bench, id_, [str(tmp_path / "card")], lambda done, total: None)
    for k in (0, 2, 7, 10):
        card = cards.slate_marked(card, k)
    assert [g.stills[0] for g in card.proposal.groups] == [0, 2, 7, 10]
    assert [r.slate for r in card.rows].count(True) == 4
    card = cards.slate_marked(card, 2)
    assert [r.slate for r in card.rows].count(True) == 3


def test_a_copy_carries_marks_words_and_fills(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    pixels = np.full((240, 320, 3), 128, np.uint8)
    pixels[::16, ::16] = (20, 200, 90)
    filing.add_pictures(bench, id_, [saved(tmp_path / "a.png", pixels)], cylinder=1, place=Place("crown"))
    still = bench.inspection(id_).of(StillFiled)[0].body.sha256
    marking.mark_still(
        bench, id_, Mark(still, Box(100, 80, 60, 50)), Finding("own", 1, own="a dent", severity=3)
    )
    marking.mask_still(bench, id_, still, Box(0, 0, 40, 40), "plate")
    done = copies.write_copy(bench, id_, still, tmp_path / "out.png")
    assert (done.marks, done.masks, done.legend) == (1, 1, ("1  a dent",))
    copy = cv2.imread(str(tmp_path / "out.png"))
    assert (copy[5:35, 5:35] == copy[5, 5]).all(), "the masked area is one even fill"
    assert (copy[80, 100:160] != pixels[80, 100:160]).any(), "the mark is on it"
    open_eyed = copies.write_copy(bench, id_, still, tmp_path / "own.jpg", words=False, masked=False)
    assert open_eyed.masks == 0 and cv2.imread(str(open_eyed.file)).shape == (240, 320, 3)
    copies.write_copy(bench, id_, still, tmp_path / "out.svg")
    drawn = (tmp_path / "out.svg").read_text()
    assert "data:image/jpeg;base64," in drawn and "a dent" in drawn
    with pytest.raises(filing.FilingError, match=r"\.png, \.jpg or \.svg"):
        copies.write_copy(bench, id_, still, tmp_path / "out.gif")
    kept = bench.journal.pictures.read(still)
    assert kept == (tmp_path / "a.png").read_bytes(), "the original is what it was"


def test_thumbnails_of_a_card_come_whatever_one_of_them_is(shop, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    bench, id_ = shop
    files = [saved(tmp_path / f"{n}.png", texture(n + 90)) for n in range(5)]
    stills = [f.still for f in filing.add_pictures(bench, id_, files, cylinder=1).filed]
    bench.journal.pictures.path(stills[2]).unlink()
    found = dict(filing.thumbnails_of(bench, stills))
    assert [bool(found[s]) for s in stills] == [True, True, False, True, True]
    assert all(p.stat().st_size for p in found.values() if p)


def test_a_thread_is_scaled_with_the_camera_s_distance() -> None:
    """Far away the thread's outline and the axis are the same to a camera: the scale is surer."""
    from borelog.demo.pictures import plug_profile
    from borelog.stills import StillError

    scene = plug_profile(seed=3, distance_mm=400.0)
    image = np.ascontiguousarray(scene.image[:, :, ::-1])
    lines = [Line(*first, *last) for first, last in scene.truth["thread"]["silhouettes_px"]]
    plain, told = (scales.from_known_thread(image, lines, 1.25, away) for away in (None, 400.0))
    assert told.u_rel < 0.6 * plain.u_rel
    assert "camera 400 mm away" in told.rests_on
    assert any("not known" in words for words in plain.rests_on)
    with pytest.raises(StillError, match="above zero"):
        scales.from_known_thread(image, lines, 1.25, -5.0)
