"""What is masked is in no copy at all: a colour that stands only under masks is looked for in every picture made."""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from borelog.logbook import entries as e
from borelog.marks.places import Place
from borelog.marks.shapes import Box, Ellipse, Freehand, Label, Line, Point, Polygon, Shape
from borelog.pack import build as module
from borelog.pack.build import build
from borelog.pack.privacy import READERS

MASKS: tuple[tuple[Shape, tuple[int, int, int, int]], ...] = (
    (Box(200.5, 140.25, 160, 60), (204, 144, 150, 50)),
    (Ellipse(320, 240, 90, 50, 30), (290, 220, 60, 40)),
    (Polygon(((100, 100), (300, 110), (290, 260), (110, 250))), (130, 130, 140, 100)),
    (Freehand(((50, 50), (250, 60), (240, 200), (60, 190)), True), (80, 80, 140, 90)),
    (Line(100, 200, 300, 230), (105, 202, 190, 26)),
    (Label(400, 300, "AB CD 123"), (396, 296, 8, 8)),
    (Point(500, 100), (494, 94, 12, 12)),
)
"""A mask, and the magenta box (x, y, width, height) that lies wholly under it."""
MAGENTA = (255, 0, 255)


def magenta(data: bytes) -> int:
    """How many pixels are near the colour that must not be seen; JPEG blurs it, so near is wide."""
    pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)
    return int(((pixels[..., 0] > 150) & (pixels[..., 1] < 110) & (pixels[..., 2] > 150)).sum())


@pytest.fixture(scope="module")
def masked(scenes, tmp_path_factory):
    """A logbook of stills in several formats, each with a magenta patch under a mask of one kind."""
    made = scenes.build_scene(tmp_path_factory.mktemp("masked"))
    bodies: list[tuple[e.Known, str]] = []
    kinds = [("JPEG", ".jpg"), ("PNG", ".png"), ("WEBP", ".webp"), ("BMP", ".bmp"), ("TIFF", ".tif")]
    originals = set()
    for i, (mask, (x, y, w, h)) in enumerate(MASKS):
        kind, suffix = kinds[i % len(kinds)]
        image = scenes.picture(200 + i).convert("RGB")
        image.paste(MAGENTA, (x, y, x + w, y + h))
        more = {"exif": scenes.exif()} if kind == "JPEG" else {}
        data = scenes.encoded(image, kind, **more)
        assert magenta(data) > 30
        row = scenes.filed(made.journal, f"m{i}{suffix}", data, {"WEBP": "WebP"}.get(kind, kind), 640, 480)
        originals.add(row.sha256)
        found = e.Finding(
            "own_words",
            cylinder=1,
            own=f"seen {i}",
            severity=4,
            marks=(e.Mark(row.sha256, Box(10, 10, 80, 60)),),
        )
        bodies += [
            (row, ""), (e.StillPlaced(row.sha256, cylinder=1, place=Place("crown")), ""),
            (e.MaskDrawn(row.sha256, (mask,), "plate"), ""), (found, "seen"),
        ]  # fmt: skip
    made.journal.append_many(made.id, bodies, who=scenes.WHO, at=scenes.AT)
    yield made, originals
    made.journal.close()


def copies(folder: Path, originals: set[str]) -> dict[str, bytes]:
    """Every picture of a pack by name but untouched originals: files, in the page, on the paper."""
    import hashlib

    import pikepdf

    out = {}
    for path in sorted((folder / "data").rglob("s*.*")):
        data = path.read_bytes()
        shown = path.parent.name in ("stills", "views") and path.suffix != ".avi"
        if shown and hashlib.sha256(data).hexdigest() not in originals:
            out[path.name] = data
    html = (folder / "report.html").read_bytes()
    for i, found in enumerate(re.findall(rb"data:image/[a-z]+;base64,([A-Za-z0-9+/=]+)", html)):
        out[f"page {i}"] = base64.b64decode(found)
    with pikepdf.open(folder / "report.pdf") as pdf:
        for i, thing in enumerate(pdf.objects):
            if (
                isinstance(thing, pikepdf.Stream)
                and thing.get("/Subtype") == "/Image"
                and "/SMask" not in thing
            ):
                held = io.BytesIO()
                kind = pikepdf.PdfImage(thing).extract_to(stream=held)
                assert kind
                out[f"paper {i}"] = held.getvalue()
    return out


@pytest.mark.parametrize(
    "reader", [r if r == "buyer" else pytest.param(r, marks=pytest.mark.long) for r in READERS]
)
def test_in_no_copy_of_any_reader(masked, reader, tmp_path):
    pytest.importorskip("typst")
    scene, originals = masked
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader=reader,
        entries=scene.entries, cards=True, sync=False,
    )  # fmt: skip
    found = copies(built.folder, originals)
    found |= {card.name: card.read_bytes() for card in built.cards}
    assert len(built.cards) >= 4
    assert len(found) > 2 * len(MASKS)
    assert {name: n for name, data in found.items() if (n := magenta(data))} == {}


@pytest.mark.parametrize("limits", [(0, 1 << 40), (0, 0)], ids=["previews", "small copies"])
def test_in_no_preview_of_a_large_pack(masked, limits, monkeypatch, tmp_path):
    scene, _ = masked
    monkeypatch.setattr(module, "INSIDE", limits[0])
    monkeypatch.setattr(module, "PREVIEWED", limits[1])
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="archive",
        entries=scene.entries, pdf=False, sync=False,
    )  # fmt: skip
    html = (built.folder / "report.html").read_bytes()
    shown = [base64.b64decode(x) for x in re.findall(rb"data:image/[a-z]+;base64,([A-Za-z0-9+/=]+)", html)]
    assert len(shown) > len(MASKS)
    assert [n for data in shown if (n := magenta(data))] == []
    # The page opens whole stills beside it: those must be the masked views, never the archive's originals.
    for name in re.findall(rb'data-full="([^"]+)"', html):
        path = built.folder / name.decode()
        assert path.exists()
        assert magenta(path.read_bytes()) == 0, name


def test_the_test_would_notice(masked):
    """The originals do show the colour."""
    scene, originals = masked
    for digest in originals:
        assert magenta(scene.journal.pictures.read(digest)) > 30
