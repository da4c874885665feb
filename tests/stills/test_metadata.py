"""Copies to hand over: pixels untouched, nothing of the camera left; masks that hold."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from borelog.marks.shapes import Box, Polygon
from borelog.stills import StillError, intake
from borelog.stills.metadata import burn_masks, masked, strip, strip_jpeg, strip_png, strip_webp

NOISE = np.random.default_rng(1).integers(0, 255, (96, 160, 3), np.uint8)
SECRET = b"OWNER-4711"
PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def telling(kind: str, turn: int = 1) -> bytes:
    """A file that carries the secret in every place its format has for one, and a colour profile."""
    exif = Image.Exif()
    exif[0x0112] = turn
    exif[0x0110] = SECRET.decode()
    exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    options: dict[str, object] = {"exif": exif, "icc_profile": PROFILE}
    if kind == "JPEG":
        options |= {"comment": SECRET, "quality": 90}
    if kind == "WEBP":
        options |= {"xmp": SECRET, "lossless": True}
    if kind == "PNG":
        from PIL.PngImagePlugin import PngInfo

        info = PngInfo()
        info.add_text("Owner", SECRET.decode())
        options["pnginfo"] = info
    Image.fromarray(NOISE).save(out, kind, **options)
    return out.getvalue() + SECRET


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("turn", [1, 6])
def test_pixels_stay_and_secrets_go(kind: str, turn: int) -> None:
    data = telling(kind, turn)
    assert data.count(SECRET) >= 3
    copy = strip(data, f"a.{kind.lower()}")
    assert not copy.recoded
    assert SECRET not in copy.data
    assert copy.removed
    before, after = intake.decode(data)[0], intake.decode(copy.data)[0]
    assert before.shape == after.shape
    assert (before == after).all()
    with Image.open(io.BytesIO(copy.data)) as seen:
        assert set(seen.getexif()) == ({0x0112} if turn != 1 else set())
        assert seen.info.get("icc_profile") == PROFILE


@pytest.mark.parametrize("kind", ["TIFF", "AVIF", "BMP"])
def test_other_formats_become_png(kind: str) -> None:
    out = io.BytesIO()
    Image.fromarray(NOISE).save(out, kind)
    copy = strip(out.getvalue())
    assert (copy.format, copy.recoded) == ("PNG", True)
    assert (intake.decode(out.getvalue())[0] == intake.decode(copy.data)[0]).all()


def test_progressive_and_restart_marks_survive() -> None:
    for options in ({"progressive": True}, {"restart_marker_rows": 1}, {"subsampling": 2, "optimize": True}):
        out = io.BytesIO()
        Image.fromarray(NOISE).save(out, "JPEG", **options)
        copy, _ = strip_jpeg(out.getvalue())
        assert (intake.decode(out.getvalue())[0] == intake.decode(copy)[0]).all()


def test_small_picture_inside_jfif_goes() -> None:
    out = io.BytesIO()
    Image.fromarray(NOISE).save(out, "JPEG")
    data = out.getvalue()
    size = struct.unpack(">H", data[4:6])[0]
    small = data[6 : 4 + size][:-2] + b"\x02\x02" + b"THUMBNAIL!!!"
    inside = data[:4] + struct.pack(">H", len(small) + 2) + small + data[4 + size :]
    copy, removed = strip_jpeg(inside)
    assert b"THUMBNAIL" not in copy
    assert "small picture" in removed


def test_masked_pixels_are_constant_and_the_rest_stays_close() -> None:
    smooth = np.tile(np.linspace(40, 200, 160).astype(np.uint8)[None, :, None], (96, 1, 3))
    out = io.BytesIO()
    Image.fromarray(smooth).save(out, "JPEG", quality=92)
    data = out.getvalue()
    for kind in ("JPEG", "PNG"):
        copy = masked(
            data,
            [Box(40.0, 30.0, 50.0, 20.0), Polygon(((100.0, 10.0), (140.0, 12.0), (120.0, 60.0)))],
            kind=kind,
        )
        pixels, _ = intake.decode(copy.data)
        patch = pixels[30:50, 40:90]
        assert patch.max() == patch.min()
        outside = np.abs(pixels[70:].astype(int) - intake.decode(data)[0][70:])
        assert outside.mean() < 1.5


def test_every_touched_pixel_is_covered() -> None:
    white = np.full((40, 40, 3), 255, np.uint8)
    out = burn_masks(white, [Box(10.9, 10.9, 9.3, 9.3)], grey=0)
    assert (out[10:21, 10:21] == 0).all()
    assert (out[:9] == 255).all()


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_broken_files_are_refused_not_followed(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(["JPEG", "PNG", "WEBP"]))
    raw = bytearray(telling(kind))
    for _ in range(data.draw(st.integers(1, 6))):
        raw[data.draw(st.integers(0, len(raw) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(4, len(raw)))
    stripper = {"JPEG": strip_jpeg, "PNG": strip_png, "WEBP": strip_webp}[kind]
    try:
        copy, _ = stripper(bytes(raw[:cut]))
    except StillError:
        return
    assert len(copy) <= cut + 64
