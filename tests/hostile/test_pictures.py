"""Hostile pictures: each one ends as a usable still or a clear refusal, in bounded memory and time."""

from __future__ import annotations

import io
import os
import struct
import subprocess
import sys
import threading
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from borelog.stills import StillError, intake
from borelog.stills.doubles import phash
from borelog.stills.filmguard import pick_apart
from borelog.stills.gather import gather
from borelog.stills.guard import Guard
from borelog.stills.metadata import strip
from borelog.stills.quality import judge
from borelog.stills.thumbs import thumbnail

SCENE = np.random.default_rng(5).integers(0, 255, (48, 64, 3), np.uint8)
SMOOTH = np.tile(np.arange(0, 256, 4, dtype=np.uint8)[None, :, None], (48, 1, 3))


def saved(kind: str, array: np.ndarray = SCENE, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(array).save(out, kind, **options)
    return out.getvalue()


SEEDS: dict[str, tuple[bytes, ...]] = {
    "JPEG": (
        saved("JPEG", SMOOTH, quality=85),
        saved("JPEG", quality=70, progressive=True, comment=b"hello"),
    ),
    "PNG": (saved("PNG", SMOOTH), saved("PNG", SMOOTH[:, :, 0])),
    "BMP": (saved("BMP", SMOOTH), saved("BMP", SMOOTH[:, :, 0])),
    "TIFF": (
        saved("TIFF", SMOOTH),
        saved("TIFF", SMOOTH, compression="tiff_lzw"),
        saved("TIFF", SMOOTH, compression="jpeg"),
    ),
    "WebP": (saved("WEBP", SMOOTH), saved("WEBP", SMOOTH, lossless=True)),
    "AVIF": (saved("AVIF", SMOOTH, speed=10),),
}


def usable_or_refused(data: bytes, name: str = "a.jpg") -> str:
    """Everything that happens to a picture when it is taken in; anything but a still or a refusal is a failure."""
    try:
        array, facts = intake.decode(data, name)
    except StillError as error:
        words = str(error)
        assert words
        assert "\x1b" not in words
        assert "Traceback" not in words
        assert len(words) < 300
        return "refused"
    assert array.dtype == np.uint8
    assert array.shape == (facts.height, facts.width, 3)
    assert facts.width * facts.height <= intake.PIXEL_CAP
    phash(array)
    judge(array)
    thumbnail(data)
    copy = strip(data)
    again, _ = intake.decode(copy.data)
    assert again.shape == array.shape
    return "kept"


def mutate(data: bytes, plan: list[tuple[int, int, int]], cut: float) -> bytes:
    raw = bytearray(data)
    for how, where, value in plan:
        if not raw:
            break
        at = where % len(raw)
        if how == 0:
            raw[at] = value
        elif how == 1:
            raw[at : at + 4] = (
                b"\x00\x00\x00\x00",
                b"\xff\xff\xff\xff",
                b"\x7f\xff\xff\xff",
                b"\x80\x00\x00\x00",
            )[value % 4]
        elif how == 2:
            del raw[at : at + value]
        elif how == 3:
            raw[at:at] = raw[at : at + value]
        else:
            raw[at] ^= 1 << (value % 8)
    return healed(bytes(raw[: max(1, int(len(raw) * cut))]))


def healed(data: bytes) -> bytes:
    """A PNG's check sums made right again, so that the damage reaches what lies behind them."""
    if not data.startswith(b"\x89PNG\r\n\x1a\n"):
        return data
    raw, at = bytearray(data), 8
    while at + 12 <= len(raw):
        size = int.from_bytes(raw[at : at + 4], "big")
        if at + 12 + size > len(raw):
            break
        raw[at + 8 + size : at + 12 + size] = struct.pack(">I", zlib.crc32(raw[at + 4 : at + 8 + size]))
        at += 12 + size
    return bytes(raw)


PLANS = st.lists(
    st.tuples(st.integers(0, 4), st.integers(0, 1 << 16), st.integers(0, 255)), min_size=1, max_size=8
)
CUTS = st.one_of(st.just(1.0), st.floats(0.05, 1.0))
SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]


@settings(max_examples=25, deadline=None, suppress_health_check=SLOW)
@given(plan=PLANS, cut=CUTS, which=st.integers(0, 9))
@pytest.mark.parametrize("kind", sorted(SEEDS))
def test_mutants_end_well(kind: str, plan: list[tuple[int, int, int]], cut: float, which: int) -> None:
    usable_or_refused(mutate(SEEDS[kind][which % len(SEEDS[kind])], plan, cut))


@pytest.mark.long
@settings(max_examples=340, deadline=None, suppress_health_check=SLOW)
@given(plan=PLANS, cut=CUTS, which=st.integers(0, 9))
@pytest.mark.parametrize("kind", sorted(SEEDS))
def test_two_thousand_mutants_end_well(
    kind: str, plan: list[tuple[int, int, int]], cut: float, which: int
) -> None:
    usable_or_refused(mutate(SEEDS[kind][which % len(SEEDS[kind])], plan, cut))


def test_mutants_through_the_guard() -> None:
    rng = np.random.default_rng(11)
    kept = 0
    with Guard() as guard:
        for n in range(60):
            kind = sorted(SEEDS)[n % 6]
            plan = [tuple(int(v) for v in rng.integers(0, 256, 3)) for _ in range(4)]
            data = mutate(SEEDS[kind][0], [(a % 5, b * 7, c) for a, b, c in plan], 1.0)
            try:
                guard.check(data, f"m{n}.{kind.lower()}")
                kept += 1
            except StillError:
                pass
        assert guard.check(SEEDS["PNG"][0], "good.png").width == 64
    assert 0 < kept < 60


def png(width: int, height: int, depth: int = 8, colour: int = 2, body: bytes = b"") -> bytes:
    def chunk(tag: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + tag + data + struct.pack(">I", zlib.crc32(tag + data))

    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def bmp(width: int, height: int) -> bytes:
    return (
        b"BM"
        + struct.pack("<IHHI", 60, 0, 0, 54)
        + struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
        + b"\0" * 99
    )


def tiff(width: int, height: int) -> bytes:
    tags = [
        (256, 4, width),
        (257, 4, height),
        (258, 3, 8),
        (259, 3, 1),
        (262, 3, 1),
        (273, 4, 8),
        (278, 4, height),
        (279, 4, 100),
    ]
    body = (
        struct.pack("<H", len(tags))
        + b"".join(struct.pack("<HHII", t, k, 1, v) for t, k, v in tags)
        + b"\0" * 4
    )
    return b"II*\0" + struct.pack("<I", 8) + body


BOMBS: dict[str, Callable[[], bytes]] = {
    "png 60000 x 60000": lambda: png(60000, 60000, body=zlib.compress(b"\0" * 9999)),
    "png 2^31": lambda: png(2**31 - 1, 2**31 - 1),
    "png 1 bit, 64 MP in 8 kB": lambda: png(8000, 8001, 1, 0, zlib.compress(b"\0" * (1001 * 8001), 9)),
    "bmp 30000 x 30000": lambda: bmp(30000, 30000),
    "bmp negative": lambda: bmp(-5, 100),
    "tiff 40000 x 40000": lambda: tiff(40000, 40000),
    "text bomb in png": lambda: _with_text_bomb(),
    "webp 16383 x 16383": lambda: (
        b"RIFF"
        + struct.pack("<I", 30)
        + b"WEBPVP8X"
        + struct.pack("<I", 10)
        + b"\0\0\0\0"
        + b"\xfe\x3f\0" * 2
        + b"\0" * 9
    ),
    "jpeg 65500 x 65500": lambda: _resized_jpeg(65500, 65500),
    "jpeg 65535 x 0": lambda: _resized_jpeg(65535, 0),
    "png zero wide": lambda: png(0, 100),
    "one pixel": lambda: saved("PNG", np.zeros((1, 1, 3), np.uint8)),
}


def _with_text_bomb() -> bytes:
    data = saved("PNG", SMOOTH)
    body = b"Comment\0\0" + zlib.compress(b"A" * 80_000_000, 9)
    chunk = struct.pack(">I", len(body)) + b"zTXt" + body + struct.pack(">I", zlib.crc32(b"zTXt" + body))
    return data[:33] + chunk + data[33:]


def _resized_jpeg(width: int, height: int) -> bytes:
    data = bytearray(SEEDS["JPEG"][0])
    at = data.find(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


@pytest.mark.parametrize("name", sorted(BOMBS))
def test_bombs_are_refused_before_they_unfold(name: str) -> None:
    with pytest.raises(StillError):
        intake.decode(BOMBS[name](), "bomb.png")


@pytest.mark.long
@pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="memory is read from /proc, which only Linux has"
)
def test_memory_stays_bounded_at_the_limit() -> None:
    """59 megapixels are 177 MB as bytes; taking one in stays under 1 GB, a refused one under 150 MB."""
    code = (
        "import io, sys\n"
        "from PIL import Image\n"
        "from borelog.stills import StillError, intake\n"
        "import cv2\n"
        "side = int(sys.argv[1])\n"
        "out = io.BytesIO()\n"
        "Image.new('1', (side, side)).save(out, 'PNG')\n"
        "try:\n"
        "    intake.decode(out.getvalue())\n"
        "    print('kept')\n"
        "except StillError:\n"
        "    print('refused')\n"
        "lines = open('/proc/self/status').read().splitlines()\n"
        "print(next(line.split()[1] for line in lines if line.startswith('VmHWM')))\n"
    )
    for side, word, limit in ((7680, "kept", 1_000_000), (7800, "refused", 250_000)):
        done = subprocess.run(
            [sys.executable, "-c", code, str(side)], capture_output=True, text=True, check=True
        )
        said, kilobytes = done.stdout.split()
        assert said == word
        assert int(kilobytes) < limit


NAMES = [
    "new\nline.jpg",
    "tab\tbell\x07.jpg",
    "esc\x1b[31mred.jpg",
    "emoji \U0001f527\U0001f697.jpg",
    "right\u202egpj.exe.jpg",
    "x" * 240 + ".jpg",
    "CON.jpg",
    "aux",
    "trailing dot..jpg",
    "-rf.jpg",
    "%s%n{0}.jpg",
    "[a]*?.jpg",
    "'; drop table stills.jpg",
    "..jpg",
]


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names_come_in_and_read_cleanly(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(SEEDS["JPEG"][0])
    assert usable_or_refused(intake.read_file(path), name) == "kept"
    assert gather([path]).pictures == (path,)
    path.write_bytes(b"")
    with pytest.raises(StillError) as caught:
        intake.read_file(path)
    words = str(caught.value)
    assert not any(ord(c) < 32 or c in "\x7f\u202e" for c in words)
    assert len(words) < 200


def test_names_that_are_not_text(tmp_path: Path) -> None:
    raw = os.fsencode(tmp_path) + b"/bad\xff\xfe.jpg"
    try:
        with open(raw, "wb") as stream:
            stream.write(SEEDS["JPEG"][0])
    except OSError:
        pytest.skip("this file system takes only names that are text")
    found = gather([tmp_path]).pictures
    assert len(found) == 1
    assert intake.decode_file(found[0])[1].width == 64
    found[0].write_bytes(b"")
    with pytest.raises(StillError) as caught:
        intake.read_file(found[0])
    str(caught.value).encode("utf-8")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes and devices as files exist on POSIX only")
def test_pipes_devices_and_loops_do_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "fifo.jpg")
    for name, to in (
        ("null.jpg", "/dev/null"),
        ("zero.jpg", "/dev/zero"),
        ("tty.jpg", "/dev/tty"),
        ("self.jpg", "self.jpg"),
    ):
        (tmp_path / name).symlink_to(to)
    (tmp_path / "dangling.jpg").symlink_to("nowhere")
    (tmp_path / "up").symlink_to("..", target_is_directory=True)
    (tmp_path / "good.jpg").write_bytes(SEEDS["JPEG"][0])
    results = {}

    def read() -> None:
        for path in gather([tmp_path]).pictures:
            try:
                results[path.name] = intake.decode_file(path)[1].format
            except StillError:
                results[path.name] = "refused"

    reading = threading.Thread(target=read, daemon=True)
    reading.start()
    reading.join(600)  # whoever waits for the other end of a pipe waits for ever
    assert not reading.is_alive(), f"hangs after {sorted(results)}"
    assert results.pop("good.jpg") == "JPEG"
    assert set(results.values()) == {"refused"}
    assert len(results) == 6


def test_unreadable_file_is_said(tmp_path: Path) -> None:
    path = tmp_path / "locked.jpg"
    path.write_bytes(SEEDS["JPEG"][0])
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    with pytest.raises(StillError, match="may not be read"):
        intake.read_file(path)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\0" * 4096,
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0" + b"\xff" * 5000,
        b"\x89PNG\r\n\x1a\n",
        b"II*\0\xff\xff\xff\xff",
        b"II*\0\x08\0\0\0\xff\xff" + b"\xff" * 300,
        b"BM" + b"\0" * 12 + b"\x28\0\0\0" + b"\xff" * 60,
        b"RIFF\xff\xff\xff\xffWEBP",
        b"RIFF\x04\0\0\0WEBPVP8 ",
        b"\0\0\0\x18ftypavif",
        b"\0\0\0\x18ftypavif\0\0\0\0avifmif1" + b"\0" * 200,
        b"\0\0\0\x01ftypheic" + b"\xff" * 64,
        b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 200,
        b"GIF89a" + b"\0" * 64,
        b"<svg onload='alert(1)'/>",
        b"%PDF-1.7",
        b"MZ" + b"\0" * 99,
    ],
    ids=range(18),
)
def test_fragments_are_refused(data: bytes) -> None:
    assert usable_or_refused(data) == "refused"


def test_tiff_that_points_at_itself() -> None:
    data = bytearray(tiff(64, 64))
    data[-4:] = struct.pack("<I", 8)
    usable_or_refused(bytes(data) + b"\0" * 4096)


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(n, marks=pytest.mark.long) for n in range(2, 30))])
def test_damaged_films_give_frames_or_a_refusal(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "f.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 25, (128, 96))
    for k in range(20):
        writer.write(np.roll(np.kron(SCENE, np.ones((2, 2, 1), np.uint8)), k * 5, axis=1))
    writer.release()
    rng = np.random.default_rng(seed)
    raw = bytearray(path.read_bytes())
    for at in rng.integers(0, 400 if seed % 2 else len(raw), 12):
        raw[at] = int(rng.integers(0, 256))
    path.write_bytes(raw[: int(len(raw) * (0.4 if seed % 3 == 0 else 1))])
    refusal = ""
    try:
        for pick in pick_apart(path):
            assert pick.image.ndim == 3
    except StillError as error:
        refusal = str(error)
    assert not refusal or "f.avi" in refusal


def test_nothing_is_written_to_the_terminal(capfd: pytest.CaptureFixture[str]) -> None:
    """Some decoders complain on the terminal; the guard's child has none, and what passes it is silent in the program."""
    kept = 0
    with Guard() as guard:
        for kind, seeds in SEEDS.items():
            for seed in seeds:
                for cut in (0.3, 0.6, 0.9, 1.0):
                    raw = bytearray(seed[: int(len(seed) * cut)])
                    if cut < 1:
                        raw[len(raw) // 2] ^= 0xFF
                    try:
                        guard.check(bytes(raw), f"a.{kind.lower()}")
                    except StillError:
                        continue
                    assert usable_or_refused(bytes(raw), f"a.{kind.lower()}") == "kept"
                    kept += 1
    assert kept >= 12
    out, err = capfd.readouterr()
    assert (out, err) == ("", "")
