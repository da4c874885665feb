"""Hostile packs: each builder spoils a good one in one way, and lists it anew where that makes it harder to see."""

from __future__ import annotations

import hashlib
import io
import json
import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image

Spoiler = Callable[[Path], Path]
SPOILERS: dict[str, tuple[str, str, Spoiler]] = {}


def spoiler(kind: str, reader: str = "customer") -> Callable[[Spoiler], Spoiler]:
    """Register a builder with the kind of fault it must be refused for."""

    def keep(make: Spoiler) -> Spoiler:
        SPOILERS[make.__name__] = (kind, reader, make)
        return make

    return keep


def relist(pack: Path) -> Path:
    """Manifests and Payload-Oxum made anew, as an attacker would."""
    files = sorted(p for p in pack.rglob("*") if p.is_file() and not p.is_symlink())
    names = {p.relative_to(pack).as_posix(): p for p in files}
    payload = {n: p for n, p in names.items() if n.startswith("data/")}
    info = (pack / "bag-info.txt").read_text().splitlines()
    oxum = f"Payload-Oxum: {sum(p.stat().st_size for p in payload.values())}.{len(payload)}"
    (pack / "bag-info.txt").write_text(
        "\n".join(oxum if x.startswith("Payload-Oxum") else x for x in info) + "\n"
    )

    def lines(chosen: dict[str, Path]) -> str:
        return "".join(
            f"{hashlib.sha256(p.read_bytes()).hexdigest()}  {n}\n" for n, p in sorted(chosen.items())
        )

    (pack / "manifest-sha256.txt").write_text(lines(payload))
    tags = {n: p for n, p in names.items() if not n.startswith(("data/", "tagmanifest"))}
    (pack / "tagmanifest-sha256.txt").write_text(lines(tags))
    return pack


def edit(pack: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    """Change inspection.json and list it anew."""
    path = pack / "data/inspection.json"
    document = json.loads(path.read_text())
    change(document)
    path.write_text(json.dumps(document))
    return relist(pack)


def text_edit(pack: Path, change: Callable[[str], str]) -> Path:
    """Change the text of inspection.json and list it anew."""
    path = pack / "data/inspection.json"
    path.write_text(change(path.read_text()))
    return relist(pack)


def still(pack: Path, data: bytes, name: str = "s001.jpg") -> Path:
    """Put other bytes in the place of a still, with digest and size right everywhere."""
    old = f"data/stills/{name}"
    (pack / old).write_bytes(data)
    digest = hashlib.sha256(data).hexdigest()

    def change(document: dict[str, Any]) -> None:
        for row in document["stills"]:
            if row["file"] == old:
                row["sha256"], row["size"] = digest, len(data)

    return edit(pack, change)


def zipped(pack: Path, extra: Callable[[zipfile.ZipFile], None] | None = None, top: str = "top") -> Path:
    """The pack as a zip, with more put in."""
    target = pack.with_suffix(".zip")
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
        for p in sorted(pack.rglob("*")):
            if p.is_file():
                out.write(p, f"{top}/{p.relative_to(pack).as_posix()}")
        if extra:
            extra(out)
    return target


def _entry(name: str, mode: int = stat.S_IFREG | 0o644) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, (2031, 5, 4, 0, 0, 0))
    info.create_system, info.external_attr = 3, mode << 16
    return info


# Names and links (CWE-22, CWE-59, CWE-61, CWE-176, CWE-178)


@spoiler("path")
def parent_folder(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(_entry("top/../../evil.txt"), "x"))


@spoiler("path")
def absolute_path(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(_entry("/tmp/evil.txt"), "x"))


@spoiler("path")
def drive_letter(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(_entry("top/C:evil.txt"), "x"))


@spoiler("path")
def backslashes(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(_entry("top/data\\stills\\evil.jpg"), "x"))


@spoiler("link")
def link_in_zip(pack: Path) -> Path:
    return zipped(
        pack, lambda z: z.writestr(_entry("top/data/stills/x.jpg", stat.S_IFLNK | 0o777), "/etc/passwd")
    )


@spoiler("link")
def device_in_zip(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(_entry("top/data/stills/x.jpg", stat.S_IFCHR | 0o666), ""))


@spoiler("link")
def link_to_file(pack: Path) -> Path:
    os.symlink("/etc/hostname", pack / "data/stills/link.jpg")
    return pack


@spoiler("link")
def link_to_folder(pack: Path) -> Path:
    os.symlink("/etc", pack / "data/views")
    return pack


@spoiler("link")
def pipe(pack: Path) -> Path:
    os.mkfifo(pack / "data/stills/pipe.jpg")
    return pack


@spoiler("twin")
def twice_in_zip(pack: Path) -> Path:
    def more(z: zipfile.ZipFile) -> None:
        import warnings

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            z.writestr("top/report.html", "<script>alert(1)</script>")

    return zipped(pack, more)


@spoiler("twin")
def twin_by_case(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/REPORT.html", "x"))


@spoiler("name")
def other_letters(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/data/stills/cafe\u0301.jpg", "x"))


@spoiler("name")
def reserved_name(pack: Path) -> Path:
    (pack / "data/stills/aux.jpg").write_bytes(b"x")
    return relist(pack)


@spoiler("name")
def dot_at_the_end(pack: Path) -> Path:
    (pack / "data/stills/x.").write_bytes(b"x")
    return relist(pack)


@spoiler("name")
def hidden_file(pack: Path) -> Path:
    (pack / ".profile").write_text("x")
    return relist(pack)


@spoiler("name")
def deep_folder(pack: Path) -> Path:
    deep = pack / "data/stills/a/b"
    deep.mkdir(parents=True)
    (deep / "x.jpg").write_bytes(b"x")
    return relist(pack)


# Zip structure (CWE-409, CVE-2024-0450)


@spoiler("bomb")
def deflate_bomb(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/data/stills/zeros.jpg", bytes(64 << 20)))


@spoiler("zip")
def lying_size(pack: Path) -> Path:
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    at = raw.rfind(b"PK\x01\x02", 0, raw.find(b"report.html", raw.find(b"PK\x01\x02")))
    size = struct.unpack_from("<I", raw, at + 24)[0]
    struct.pack_into("<I", raw, at + 24, size - 7)
    target.write_bytes(raw)
    return target


@spoiler("overlap")
def overlapping(pack: Path) -> Path:
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    first = raw.find(b"PK\x01\x02")
    second = raw.find(b"PK\x01\x02", first + 4)
    struct.pack_into("<I", raw, second + 42, struct.unpack_from("<I", raw, first + 42)[0])
    target.write_bytes(raw)
    return target


@spoiler("zip")
def encrypted(pack: Path) -> Path:
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    at = raw.find(b"PK\x01\x02")
    raw[at + 8] |= 1
    target.write_bytes(raw)
    return target


@spoiler("zip")
def strange_packing(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/data/stills/x.jpg", b"x" * 100, zipfile.ZIP_LZMA))


@spoiler("zip")
def cut_zip(pack: Path) -> Path:
    target = zipped(pack)
    target.write_bytes(target.read_bytes()[:-2000])
    return target


@spoiler("too large")
def too_many_files(pack: Path) -> Path:
    return zipped(
        pack, lambda z: [z.writestr(_entry(f"top/data/stills/x{i}.jpg"), b"") for i in range(25_001)]
    )  # type: ignore[func-returns-value]


@spoiler("zip")
def database(pack: Path) -> Path:
    target = pack.with_suffix(".zip")
    target.write_bytes(b"SQLite format 3\x00" + bytes(4096))
    return target


# Sets of files (RFC 8493)


@spoiler("fetch")
def fetch(pack: Path) -> Path:
    (pack / "fetch.txt").write_text("http://example.invalid/x 10 data/stills/x.jpg\n")
    return relist(pack)


@spoiler("unlisted")
def planted_page(pack: Path) -> Path:
    (pack / "report2.html").write_text("<h1>open me</h1>")
    return relist(pack)


@spoiler("unlisted")
def unlisted_still(pack: Path) -> Path:
    (pack / "data/stills/s099.jpg").write_bytes((pack / "data/stills/s001.jpg").read_bytes())
    return pack


@spoiler("unlisted")
def listed_but_unnamed_still(pack: Path) -> Path:
    (pack / "data/stills/s099.jpg").write_bytes((pack / "data/stills/s001.jpg").read_bytes())
    return relist(pack)


@spoiler("missing")
def lost_still(pack: Path) -> Path:
    (pack / "data/stills/s002.jpg").unlink()
    return pack


@spoiler("missing")
def lost_page(pack: Path) -> Path:
    (pack / "report.html").unlink()
    return relist(pack)


@spoiler("unlisted")
def program(pack: Path) -> Path:
    (pack / "data/stills/setup.exe").write_bytes(b"MZ" + bytes(100))
    return relist(pack)


@spoiler("changed")
def flipped_bit(pack: Path) -> Path:
    path = pack / "data/stills/s001.jpg"
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2] ^= 1
    path.write_bytes(raw)
    return pack


@spoiler("changed")
def changed_page(pack: Path) -> Path:
    path = pack / "report.html"
    path.write_text(path.read_text().replace("Head off", "Sound"))
    return pack


@spoiler("bag")
def grown_file(pack: Path) -> Path:
    with open(pack / "data/tables/readings.csv", "ab") as stream:
        stream.write(b"\r\n")
    return pack


@spoiler("bag")
def wrong_declaration(pack: Path) -> Path:
    (pack / "bagit.txt").write_bytes(b"\xef\xbb\xbfBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    return relist(pack)


@spoiler("manifest")
def named_twice(pack: Path) -> Path:
    path = pack / "manifest-sha256.txt"
    path.write_text(path.read_text() + path.read_text().splitlines()[0] + "\n")
    return pack


@spoiler("path")
def manifest_outside(pack: Path) -> Path:
    path = pack / "manifest-sha256.txt"
    path.write_text(path.read_text() + f"{'0' * 64}  ../evil\n")
    return pack


@spoiler("manifest")
def manifest_of_other_letters(pack: Path) -> Path:
    path = pack / "manifest-sha256.txt"
    path.write_bytes(path.read_bytes() + b"%s  data/caf\xc3\xa9\n" % (b"0" * 64))
    return pack


# Pictures (CWE-20, CWE-409, CWE-789)


def _png(width: int, height: int) -> bytes:
    def chunk(tag: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + tag + body + struct.pack(">I", zlib.crc32(tag + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 100))
        + chunk(b"IEND", b"")
    )


@spoiler("picture")
def pixel_bomb(pack: Path) -> Path:
    data = _png(60_000, 60_000)

    def grow(document: dict[str, Any]) -> None:
        document["stills"][2].update(width=60_000, height=60_000)

    still(pack, data, "s003.png")
    return edit(pack, grow)


@spoiler("picture")
def wrong_pixels(pack: Path) -> Path:
    return edit(pack, lambda d: d["stills"][0].update(width=9999))


@spoiler("picture")
def garbage_picture(pack: Path) -> Path:
    return still(pack, b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8 + b"\xff\xd9")


@spoiler("picture")
def cut_picture(pack: Path) -> Path:
    return still(pack, (pack / "data/stills/s001.jpg").read_bytes()[:-4000])


@spoiler("picture")
def hollow_png(pack: Path) -> Path:
    return still(pack, _png(320, 240), "s003.png")


@spoiler("picture")
def other_kind(pack: Path) -> Path:
    out = io.BytesIO()
    Image.new("RGB", (640, 480)).save(out, "TIFF")
    return still(pack, out.getvalue())


@spoiler("picture")
def program_as_picture(pack: Path) -> Path:
    return still(pack, b"\x7fELF" + bytes(4000))


@spoiler("picture")
def zip_as_picture(pack: Path) -> Path:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as z:
        z.writestr("x", "y")
    return still(pack, out.getvalue())


@spoiler("picture")
def svg_as_picture(pack: Path) -> Path:
    return still(pack, b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>")


# Document (CWE-20, CWE-22, CWE-150, CWE-674, CWE-918)


@spoiler("json")
def deep_json(pack: Path) -> Path:
    return text_edit(pack, lambda t: t.rstrip()[:-1] + ', "x": ' + "[" * 200_000 + "]" * 200_000 + "}")


@spoiler("json")
def not_a_number(pack: Path) -> Path:
    return text_edit(pack, lambda t: t.replace('"roll": 0.0', '"roll": NaN', 1))


@spoiler("json")
def name_twice(pack: Path) -> Path:
    return text_edit(pack, lambda t: t.replace('"about": {', '"about": {"name": "another", ', 1))


@spoiler("json")
def endless_digits(pack: Path) -> Path:
    return text_edit(pack, lambda t: t.replace('"number": 1', '"number": 1' + "0" * 100_000, 1))


@spoiler("json")
def lone_surrogate(pack: Path) -> Path:
    return edit(pack, lambda d: d["about"].update(name="\ud800"))


@spoiler("json")
def escape_codes(pack: Path) -> Path:
    return edit(pack, lambda d: d["about"].update(name="x\x1b]52;c;aGk=\x07"))


@spoiler("json")
def c1_codes(pack: Path) -> Path:
    return edit(pack, lambda d: d["notes"][0].update(text="x\x9b31m"))


@spoiler("json")
def turned_text(pack: Path) -> Path:
    return edit(pack, lambda d: d["about"].update(name="gpj.\u202eexe"))


@spoiler("schema")
def unknown_field(pack: Path) -> Path:
    return edit(pack, lambda d: d.update(run="rm -rf"))


@spoiler("schema")
def path_in_json(pack: Path) -> Path:
    return edit(pack, lambda d: d["stills"][0].update(file="../../etc/passwd"))


@spoiler("schema")
def address_in_json(pack: Path) -> Path:
    return edit(pack, lambda d: d["stills"][0].update(file="http://example.invalid/x.jpg"))


@spoiler("schema")
def newer_version(pack: Path) -> Path:
    return edit(pack, lambda d: d.update(version=2))


@spoiler("still")
def still_twice(pack: Path) -> Path:
    return edit(pack, lambda d: d["stills"].append(d["stills"][0]))


@spoiler("still")
def wrong_digest_in_json(pack: Path) -> Path:
    return edit(pack, lambda d: d["stills"][0].update(sha256="0" * 64))


@spoiler("schema")
def other_schema(pack: Path) -> Path:
    (pack / "data/inspection.schema.json").write_text("{}")
    return relist(pack)


# Journal


def _lines(pack: Path, change: Callable[[list[bytes]], list[bytes]]) -> Path:
    path = pack / "data/journal.jsonl"
    path.write_bytes(b"".join(x + b"\n" for x in change(path.read_bytes().splitlines())))
    return relist(pack)


@spoiler("journal", "archive")
def changed_entry(pack: Path) -> Path:
    return _lines(pack, lambda x: [y.replace(b'"178 176 psi"', b'"078 176 psi"') for y in x])


@spoiler("journal", "archive")
def dropped_entry(pack: Path) -> Path:
    return _lines(pack, lambda x: x[:5] + x[6:])


@spoiler("journal", "archive")
def dropped_end(pack: Path) -> Path:
    return _lines(pack, lambda x: x[:-1])


@spoiler("journal", "archive")
def cut_line(pack: Path) -> Path:
    path = pack / "data/journal.jsonl"
    path.write_bytes(path.read_bytes()[:-5])
    return relist(pack)


@spoiler("journal", "archive")
def other_inspection(pack: Path) -> Path:
    return edit(pack, lambda d: d["about"].update(inspection="f" * 32))


@spoiler("journal", "archive")
def no_entry(pack: Path) -> Path:
    return _lines(pack, lambda x: [*x, b'{"hello": 1}'])


@spoiler("json", "archive")
def escape_codes_in_journal(pack: Path) -> Path:
    return _lines(pack, lambda x: [y.replace(b"smells of coolant", b"smells\\u001b[2J") for y in x])


@spoiler("journal", "archive")
def lost_journal(pack: Path) -> Path:
    (pack / "data/journal.jsonl").unlink()
    return relist(pack)


@spoiler("journal")
def journal_where_none_belongs(pack: Path) -> Path:
    (pack / "data/journal.jsonl").write_text("{}\n")
    return relist(pack)


@spoiler("still", "archive")
def another_original(pack: Path) -> Path:
    out = io.BytesIO()
    Image.new("RGB", (640, 480), "red").save(out, "JPEG")
    return still(pack, out.getvalue())
