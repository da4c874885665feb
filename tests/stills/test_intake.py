"""Taking in: every kept format, upright; everything else as one plain sentence."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import threading
import warnings
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from borelog.stills import StillError, intake
from borelog.stills.gather import gather, natural
from borelog.stills.guard import Guard
from borelog.stills.kinds import kind_by_name, kind_of

KEPT = ("JPEG", "PNG", "BMP", "TIFF", "WEBP", "AVIF")
BACK = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def scene() -> np.ndarray:
    """60 x 40, three coloured quarters and a black one: every turn looks different."""
    base = np.zeros((40, 60, 3), np.uint8)
    base[:20, :30], base[:20, 30:], base[20:, :30] = (0, 0, 255), (0, 255, 0), (255, 0, 0)
    return base


def saved(array: np.ndarray, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    picture = Image.fromarray(np.ascontiguousarray(array[:, :, ::-1]) if array.ndim == 3 else array)
    if kind in ("JPEG", "WEBP", "AVIF"):
        options.setdefault("quality", 95)
    picture.save(out, kind, **options)
    return out.getvalue()


@pytest.mark.parametrize("kind", KEPT)
def test_every_kept_format_comes_in_as_it_is(kind: str) -> None:
    array, facts = intake.decode(saved(scene(), kind), f"a.{kind.lower()}")
    assert array.shape == (40, 60, 3)
    assert array.dtype == np.uint8
    assert array.flags["C_CONTIGUOUS"]
    assert (facts.width, facts.height, facts.orientation) == (60, 40, 1)
    assert facts.remarks == ()
    assert np.abs(array.astype(int) - scene()).mean() < 6


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "AVIF"])
@pytest.mark.parametrize("turn", range(1, 9))
def test_stored_turn_is_honoured(kind: str, turn: int) -> None:
    """Exif 2.32 (CIPA DC-008), tag 0x0112: eight cases, each brought back to the same upright picture."""
    stored = Image.fromarray(np.ascontiguousarray(scene()[:, :, ::-1]))
    if BACK[turn] is not None:
        stored = stored.transpose(BACK[turn])
    exif = Image.Exif()
    exif[0x0112] = turn
    out = io.BytesIO()
    stored.save(out, kind, **({"tiffinfo": {274: turn}} if kind == "TIFF" else {"exif": exif}))
    array, facts = intake.decode(out.getvalue())
    assert array.shape == (40, 60, 3)
    assert (facts.width, facts.height) == (60, 40)
    assert np.abs(array.astype(int) - scene()).mean() < 8


def test_heic_needs_its_plugin_and_works_with_it() -> None:
    heif = pytest.importorskip("pillow_heif", reason="the optional HEIC plugin is not installed")
    heif.register_heif_opener()
    array, facts = intake.decode(saved(scene(), "HEIF"), "IMG_1.HEIC")
    assert facts.format == "HEIC"
    assert np.abs(array.astype(int) - scene()).mean() < 8


def test_heic_without_plugin_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    data = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + b"\x00" * 64
    with pytest.raises(StillError, match="optional plugin"):
        intake.decode(data, "IMG_1.HEIC")


@pytest.mark.parametrize(
    ("mode", "kind", "remark"),
    [
        ("CMYK", "JPEG", "CMYK"),
        ("RGBA", "PNG", "see-through"),
        ("LA", "PNG", "see-through"),
        ("P", "PNG", None),
        ("1", "PNG", None),
        ("L", "JPEG", None),
        ("I;16", "PNG", "16 bits"),
        ("I;16", "TIFF", "16 bits"),
        ("F", "TIFF", "16 bits"),
        ("YCbCr", "JPEG", None),
    ],
)
def test_unusual_modes_become_plain_pictures(mode: str, kind: str, remark: str | None) -> None:
    ramp = np.tile(np.arange(64, dtype=np.uint8) * 4, (48, 1))
    if mode == "I;16":
        picture = Image.fromarray(ramp.astype(np.uint16) * 257)
    elif mode == "F":
        picture = Image.fromarray(ramp.astype(np.float32))
    else:
        picture = Image.fromarray(ramp).convert("RGB").convert(mode) if mode != "L" else Image.fromarray(ramp)
    out = io.BytesIO()
    picture.save(out, kind)
    array, facts = intake.decode(out.getvalue())
    assert array.shape == (48, 64, 3)
    grey = array.mean(axis=(0, 2))
    assert grey[-8:].mean() - grey[:8].mean() > 120
    assert (remark is None and facts.remarks == ()) or any(remark in r for r in facts.remarks)


def test_see_through_parts_are_laid_on_grey() -> None:
    array = np.zeros((32, 32, 4), np.uint8)
    out = io.BytesIO()
    Image.fromarray(array).save(out, "PNG")
    shown, _ = intake.decode(out.getvalue())
    assert (shown == 128).all()


def test_animated_uses_the_first_frame_and_says_so() -> None:
    frames = [Image.new("RGB", (32, 32), c) for c in ("red", "blue")]
    for kind in ("PNG", "WEBP", "TIFF"):
        out = io.BytesIO()
        frames[0].save(
            out,
            kind,
            save_all=True,
            append_images=frames[1:],
            **({"lossless": True} if kind == "WEBP" else {}),
        )
        array, facts = intake.decode(out.getvalue())
        assert tuple(array[16, 16]) == (0, 0, 255)
        assert any("first" in r for r in facts.remarks)


def test_a_jpeg_cut_short_keeps_what_is_there() -> None:
    rng = np.random.default_rng(3)
    data = saved(rng.integers(0, 255, (256, 256, 3), np.uint8), "JPEG")
    whole, _ = intake.decode(data)
    half, facts = intake.decode(data[: len(data) // 2])
    assert any("cut short" in r and "%" in r for r in facts.remarks)
    assert (half[:96] == whole[:96]).all()
    with pytest.raises(StillError, match="missing"):
        intake.decode(data[: len(data) // 8])


def test_reduced_decoding_is_at_least_as_long_as_asked() -> None:
    rng = np.random.default_rng(3)
    data = saved(rng.integers(0, 255, (720, 1280, 3), np.uint8), "JPEG")
    small, facts = intake.decode(data, longest=320)
    assert 320 <= max(small.shape) < 1280
    assert (facts.width, facts.height) == (1280, 720)


def test_names_and_content_are_compared() -> None:
    _, facts = intake.decode(saved(scene(), "PNG"), "IMG_0001.JPG")
    assert facts.remarks == ("named like a JPEG, is a PNG",)
    for data, words in (
        (b"%PDF-1.7 " + b"x" * 99, "holds a PDF"),
        (b"hello, I am a note" * 9, "holds plain text"),
        (b"GIF89a" + b"\0" * 99, "holds a GIF"),
        (b"\0" * 99, "nothing but zeros"),
    ):
        with pytest.raises(StillError, match=words):
            intake.decode(data, "IMG_0002.JPG")
    with pytest.raises(StillError, match="borelog film"):
        intake.decode(b"RIFF\x00\x00\x00\x00AVI LIST" + b"\0" * 60, "MOV.AVI")


def test_special_files_are_refused_without_waiting(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").write_bytes(b"")
    with pytest.raises(StillError, match="0 bytes"):
        intake.read_file(tmp_path / "empty.jpg")
    with pytest.raises(StillError, match="folder"):
        intake.read_file(tmp_path)
    with pytest.raises(StillError, match="no such file"):
        intake.read_file(tmp_path / "none.jpg")
    with pytest.raises(StillError):
        intake.read_file("a\0b.jpg")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        with pytest.raises(StillError, match="pipe"):
            intake.read_file(tmp_path / "pipe.jpg")
        (tmp_path / "zero.jpg").symlink_to("/dev/zero")
        with pytest.raises(StillError, match="device"):
            intake.read_file(tmp_path / "zero.jpg")
    (tmp_path / "big.jpg").write_bytes(b"x" * 2000)
    with pytest.raises(StillError, match="more than"):
        intake.read_file(tmp_path / "big.jpg", cap=1000)


def test_more_than_sixty_megapixels_are_refused_before_decoding() -> None:
    out = io.BytesIO()
    Image.new("1", (7800, 7800)).save(out, "PNG")
    with pytest.raises(StillError, match="60 megapixels"):
        intake.decode(out.getvalue())


def test_messages_cannot_carry_escapes() -> None:
    with pytest.raises(StillError) as caught:
        intake.decode(b"", "evil\x1b]52;c;x\x07.jpg")
    assert "\x1b" not in str(caught.value)


def test_camera_facts_are_cleaned() -> None:
    exif = Image.Exif()
    exif[0x0110] = "Cam\x1b[31m X"
    exif[0x0132] = "2026:03:04 05:06:07"
    _, facts = intake.decode(saved(scene(), "JPEG", exif=exif))
    assert facts.taken == "2026-03-04 05:06:07"
    assert "\x1b" not in facts.camera
    assert facts.camera.startswith("Cam")


def test_quiet_leaves_the_filters_as_they_were() -> None:
    before = list(warnings.filters)
    inside = threading.Barrier(3)

    def work() -> None:
        with intake.quiet():
            inside.wait()

    threads = [threading.Thread(target=work) for _ in range(3)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert list(warnings.filters) == before


def test_guard_survives_its_child(tmp_path: Path) -> None:
    good = saved(scene(), "PNG")
    with Guard() as guard:
        assert guard.check(good, "a.png").width == 60
        with pytest.raises(StillError, match="damaged"):
            guard.check(good[:45] + b"\xff" * 200, "b.png")
        first = guard._child
        assert first is not None
        first.kill()
        first.wait()
        assert guard.check(good, "c.png").format == "PNG"
        assert guard._child is not first
    assert guard._child is None


def test_guard_bounds_time_and_memory() -> None:
    with Guard(seconds=0.0001) as guard, pytest.raises(StillError, match="took longer"):
        guard.check(saved(scene(), "PNG"), "slow.png")
    if sys.platform.startswith("linux"):
        out = io.BytesIO()
        Image.new("RGB", (7000, 7000)).save(out, "PNG", compress_level=1)
        with Guard(memory=120 * 1024 * 1024) as guard:
            with pytest.raises(StillError, match=r"memory|breaks"):
                guard.check(out.getvalue(), "large.png")
            assert guard.check(saved(scene(), "PNG"), "after.png").width == 60


def test_the_package_itself_is_light() -> None:
    code = "import sys, borelog.stills; print([m for m in ('numpy', 'cv2', 'PIL') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_natural_order() -> None:
    names = ["IMG_10.jpg", "img_9.jpg", "IMG_1.jpg", "z²3.jpg", "٣.jpg"]
    assert [n for n in sorted(names, key=natural) if n.startswith(("I", "i"))] == [
        "IMG_1.jpg",
        "img_9.jpg",
        "IMG_10.jpg",
    ]


def test_files_folders_and_globs(tmp_path: Path) -> None:
    for name in ("b10.jpg", "b9.jpg", "c.avi", "notes.txt", ".hidden.jpg", "half.jpg.part"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "d.PNG").write_bytes(b"x")
    (tmp_path / "we[1]rd.jpg").write_bytes(b"x")
    found = gather([tmp_path])
    assert [p.name for p in found.pictures] == ["b9.jpg", "b10.jpg", "d.PNG", "we[1]rd.jpg"]
    assert [p.name for p in found.films] == ["c.avi"]
    assert [p.name for p in found.others] == ["notes.txt"]
    found = gather(
        [tmp_path / "we[1]rd.jpg", tmp_path / "b*.jpg", tmp_path / "z*.jpg", tmp_path / "nope.jpg"]
    )
    assert [p.name for p in found.pictures] == ["we[1]rd.jpg", "b9.jpg", "b10.jpg"]
    assert len(found.refused) == 2
    assert gather([tmp_path / "notes.txt"]).pictures == (tmp_path / "notes.txt",)
    assert len(gather([tmp_path / "b9.jpg", tmp_path / "b9.jpg"]).pictures) == 1


def test_kinds_by_bytes_and_by_name() -> None:
    assert kind_of(b"\x00\x00\x00\x1cftypavif\0\0\0\0avifmif1miaf").name == "AVIF"
    assert kind_of(b"\x00\x00\x00\x1cftypmif1\0\0\0\0mif1avif").name == "AVIF"
    assert kind_of(b"\x00\x00\x00\x18ftypqt  \0\0\0\0qt  ").name == "MP4"
    assert kind_of(b"").name == ""
    assert kind_by_name("A.JPEG") == "JPEG"
    assert kind_by_name("jpeg") == ""
