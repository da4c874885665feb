"""What leaves the house: no metadata, masks solid in every copy, each reader's own share, and what was left out is said."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import socket
import zipfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from borelog.pack.build import build
from borelog.pack.privacy import READERS, items, share_of, shortened

OTHERS = ("customer", "buyer", "machinist", "insurer")
SECRETS = (b"SECRETMAKER", b"SECRETOWNER", b"SECRETCOMMENT")


def everything(folder: Path) -> bytes:
    """All bytes of a pack, with the pictures inside its page unpacked."""
    out = [p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()]
    html = (folder / "report.html").read_bytes()
    out += [base64.b64decode(x) for x in re.findall(rb"data:image/[a-z]+;base64,([A-Za-z0-9+/=]+)", html)]
    return b"\n".join(out)


def pictures(folder: Path) -> list[bytes]:
    """Every picture a reader can see: stills, views, page."""
    out = [p.read_bytes() for p in sorted((folder / "data").rglob("s0*.*")) if p.suffix != ".avi"]
    html = (folder / "report.html").read_bytes()
    return out + [
        base64.b64decode(x) for x in re.findall(rb"data:image/[a-z]+;base64,([A-Za-z0-9+/=]+)", html)
    ]


@pytest.mark.parametrize("reader", OTHERS)
def test_no_metadata_leaves(packs, reader):
    raw = everything(packs[reader].folder)
    for secret in SECRETS:
        assert secret not in raw
    for data in pictures(packs[reader].folder):
        exif = Image.open(io.BytesIO(data)).getexif()
        assert set(exif) <= {0x0112}, dict(exif)


def test_the_archive_keeps_originals_but_its_page_shows_none_of_it(packs):
    html = everything(packs["archive"].folder)
    assert any(s in html for s in SECRETS)
    page = (packs["archive"].folder / "report.html").read_bytes()
    for found in re.findall(rb"data:image/[a-z]+;base64,([A-Za-z0-9+/=]+)", page):
        assert not any(s in base64.b64decode(found) for s in SECRETS)


@pytest.mark.parametrize("reader", READERS)
def test_orientation_is_kept(scene, packs, reader):
    """s002 was stored lying down with Exif orientation 6; upright it is 480 wide and 640 high."""
    from PIL import ImageOps

    row = next(s for s in packs[reader].document.stills if s.id == "s002")
    shown = ImageOps.exif_transpose(Image.open(packs[reader].folder / row.file))
    assert shown.size == (480, 640) == (row.width, row.height)


def test_pixels_are_the_same_after_stripping(scene, packs):
    before = Image.open(scene.journal.pictures.path(scene.digests["IMG_0002.JPG"]))
    after = Image.open(packs["buyer"].folder / "data/stills/s002.jpg")
    assert np.array_equal(np.asarray(before), np.asarray(after))


@pytest.mark.parametrize("reader", READERS)
def test_masked_area_is_constant_in_every_copy(packs, reader):
    """The mask on s001 is 101 x 51 pixels from (400, 300): one value in all copies but the archive's original."""
    copies = 0
    original = packs[reader].document.stills[0].original
    import hashlib

    for data in pictures(packs[reader].folder):
        image = Image.open(io.BytesIO(data))
        if image.size != (640, 480) or image.format != "JPEG" or hashlib.sha256(data).hexdigest() == original:
            continue
        if 0x0112 in image.getexif():
            continue
        area = np.asarray(image.convert("RGB"))[300:351, 400:501]
        assert np.ptp(area) == 0
        copies += 1
    assert copies >= 2


def test_what_the_paper_shows_is_masked_too(scene, tmp_path):
    pytest.importorskip("typst")
    import pikepdf

    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="archive",
        entries=scene.entries, sync=False,
    )  # fmt: skip
    with pikepdf.open(built.folder / "report.pdf") as pdf:
        seen = 0
        for image in (
            o for o in pdf.objects if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Image"
        ):
            raw = image.read_raw_bytes()
            if (image.Width, image.Height) == (640, 480) and raw[:2] == b"\xff\xd8":
                assert not any(s in raw for s in SECRETS)
                area = np.asarray(Image.open(io.BytesIO(raw)).convert("RGB"))[300:351, 400:501]
                seen += int(np.ptp(area) == 0)
        assert seen == 1


def test_chassis_number_is_shortened_and_the_plate_left_out(packs):
    for reader, built in packs.items():
        journal = built.folder / "data/journal.jsonl"
        raw = everything(built.folder)
        if journal.exists():
            raw = raw.replace(journal.read_bytes(), b"")
        assert b"WZZINVENTED123456" not in raw, reader
        assert b"AB CD 123" not in raw, reader
        assert "…123456".encode() in raw


def test_asked_for_it_is_there(scene, tmp_path):
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer",
        also=("plate", "chassis_full"), pdf=False, sync=False,
    )  # fmt: skip
    facts = {f.id: f.value for f in built.document.engine.facts}
    assert (facts["plate"], facts["chassis_number"]) == ("AB CD 123", "WZZINVENTED123456")
    assert "the number plate" not in {x.what for x in built.document.about.left_out}


@pytest.mark.parametrize("reader", READERS)
def test_the_table_holds(packs, reader):
    document, share = packs[reader].document, share_of(reader)
    parts = {
        "told": document.told, "consent": document.consent, "notes": document.notes, "own_prices": document.prices,
        "withdrawn": document.withdrawn, "journal": document.journal,
    }  # fmt: skip
    for item, rows in parts.items():
        assert bool(rows) == (item in share), item
    assert (document.verdict.money is not None) == ("courses" in share)
    said = {x.what for x in document.about.left_out}
    assert said == {
        i.label for i in items().values() if i.id not in share and i.id not in ("calls", "hand_overs")
    }


def test_a_buyer_sees_no_money(packs):
    raw = everything(packs["buyer"].folder)
    raw = raw.replace((packs["buyer"].folder / "data/inspection.schema.json").read_bytes(), b"")
    for words in (
        b"1 in 10 worse",
        b"Stop if over 900",
        b"head_off",
        b"hourly rate",
        b"worth about",
        b'"85"',
    ):
        assert words not in raw


def test_what_was_left_out_is_printed(packs):
    for built in packs.values():
        html = (built.folder / "report.html").read_text()
        for left in built.document.about.left_out:
            assert left.what in html


def test_no_host_user_or_path_names(scene, packs, monkeypatch):
    needles = {socket.gethostname(), os.path.expanduser("~"), str(scene.journal.folder), os.getcwd(), "/tmp/"}
    needles |= {v for k in ("USER", "LOGNAME", "HOSTNAME") if len(v := os.environ.get(k, "")) > 3}
    for built in packs.values():
        raw = everything(built.folder)
        with zipfile.ZipFile(built.zip) as z:
            raw += repr([(i.filename, i.comment, i.extra) for i in z.infolist()]).encode()
        for needle in needles:
            if len(needle) > 3:
                assert needle.encode() not in raw, needle


def test_file_names_of_the_camera_stay_home(packs):
    for reader in OTHERS:
        raw = everything(packs[reader].folder)
        assert b"IMG_0001" not in raw
        assert b"Probe 5000" not in raw


def test_free_views_of_formats_no_browser_shows(packs):
    """BMP and TIFF travel as originals in the archive with a PNG beside them, and as PNG alone to others."""
    archive = {s.id: s for s in packs["archive"].document.stills}
    assert (archive["s004"].file, archive["s004"].view) == ("data/stills/s004.bmp", "data/views/s004.png")
    assert (archive["s005"].file, archive["s005"].view) == ("data/stills/s005.tif", "data/views/s005.png")
    assert archive["s006"].view == ""
    other = {s.id: s for s in packs["buyer"].document.stills}
    assert other["s004"].file == "data/stills/s004.png"
    assert other["s007"].file == ""


@pytest.mark.parametrize(
    ("number", "short"), [("WZZINVENTED123456", "…123456"), ("123456", "123456"), (" AB1 ", "AB1")]
)
def test_shortened(number, short):
    assert shortened(number) == short


def test_masks_of_open_shapes_hide_the_box_around_them(scenes):
    from borelog.marks.shapes import Line
    from borelog.pack.views import view_of

    data = scenes.encoded(scenes.picture(9), "JPEG", quality=92)
    view = view_of(data, "JPEG", masks=(Line(100, 100, 200, 150),))
    area = np.asarray(Image.open(io.BytesIO(view.data)))[100:150, 100:200]
    assert np.ptp(area) == 0


def test_the_journal_alone_holds_the_whole_numbers(packs):
    lines = (packs["archive"].folder / "data/journal.jsonl").read_text().splitlines()
    assert any("WZZINVENTED123456" in json.dumps(json.loads(x)) for x in lines)
