"""More hostile packs: the bones of a zip, forged journals with right hashes, pictures that are more than one thing."""

from __future__ import annotations

import hashlib
import json
import os
import struct
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from borelog.logbook import entries as e
from borelog.logbook.chain import head_digest

spoil = sys.modules["pack_spoil"]
spoiler, relist, edit, zipped, still = spoil.spoiler, spoil.relist, spoil.edit, spoil.zipped, spoil.still


def patched(pack: Path, change: Callable[[bytearray, int, int], None]) -> Path:
    """The zip with a change at (raw, first local header, first line of the list)."""
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    change(raw, raw.find(b"PK\x03\x04"), raw.find(b"PK\x01\x02"))
    target.write_bytes(raw)
    return target


# The bones of a zip (APPNOTE 4.3.7, 4.3.12, 4.3.16)


@spoiler("zip")
def other_name_at_its_place(pack: Path) -> Path:
    def change(raw: bytearray, local: int, _: int) -> None:
        raw[local + 30 + 4] ^= 0x20

    return patched(pack, change)


@spoiler("zip")
def other_method_at_its_place(pack: Path) -> Path:
    def change(raw: bytearray, local: int, _: int) -> None:
        struct.pack_into("<H", raw, local + 8, 0)

    return patched(pack, change)


@spoiler("zip")
def other_size_at_its_place(pack: Path) -> Path:
    def change(raw: bytearray, local: int, _: int) -> None:
        struct.pack_into("<L", raw, local + 22, struct.unpack_from("<L", raw, local + 22)[0] + 1)

    return patched(pack, change)


@spoiler("zip")
def encrypted_at_its_place(pack: Path) -> Path:
    def change(raw: bytearray, local: int, _: int) -> None:
        raw[local + 6] |= 1

    return patched(pack, change)


@spoiler("zip")
def comment(pack: Path) -> Path:
    return zipped(pack, lambda z: setattr(z, "comment", b"hello"))


@spoiler("zip")
def second_list_in_the_comment(pack: Path) -> Path:
    target = zipped(pack)
    whole = target.read_bytes()
    end = whole[whole.rfind(b"PK\x05\x06") :]
    target.write_bytes(whole[:-2] + struct.pack("<H", len(end)) + end)
    return target


@spoiler("zip")
def bytes_behind_the_end(pack: Path) -> Path:
    target = zipped(pack)
    target.write_bytes(target.read_bytes() + b"<script>alert(1)</script>")
    return target


@spoiler("zip")
def program_in_front(pack: Path) -> Path:
    target = zipped(pack)
    target.write_bytes(b"MZ" + bytes(510) + target.read_bytes())
    return target


@spoiler("zip")
def bytes_between_files(pack: Path) -> Path:
    """A file taken out of the list, its bytes still there."""
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    first = raw.find(b"PK\x01\x02")
    second = raw.find(b"PK\x01\x02", first + 4)
    third = raw.find(b"PK\x01\x02", second + 4)
    del raw[second:third]
    end = raw.rfind(b"PK\x05\x06")
    for at in (end + 8, end + 10):
        struct.pack_into("<H", raw, at, struct.unpack_from("<H", raw, at)[0] - 1)
    size = struct.unpack_from("<L", raw, end + 12)[0] - (third - second)
    struct.pack_into("<L", raw, end + 12, size)
    target.write_bytes(raw)
    return target


@spoiler("zip")
def fewer_announced(pack: Path) -> Path:
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    end = raw.rfind(b"PK\x05\x06")
    struct.pack_into("<2H", raw, end + 8, 1, 1)
    target.write_bytes(raw)
    return target


@spoiler("zip")
def part_of_several(pack: Path) -> Path:
    target = zipped(pack)
    raw = bytearray(target.read_bytes())
    struct.pack_into("<H", raw, raw.rfind(b"PK\x05\x06") + 4, 1)
    target.write_bytes(raw)
    return target


@spoiler("zip")
def second_name(pack: Path) -> Path:
    """An Info-ZIP Unicode Path field, which some programs believe instead."""

    def more(z: zipfile.ZipFile) -> None:
        info = zipfile.ZipInfo("top/data/stills/x.jpg", (2031, 5, 4, 0, 0, 0))
        name = b"../../evil.exe"
        info.extra = struct.pack("<2HBL", 0x7075, 5 + len(name), 1, 0) + name
        z.writestr(info, b"x")

    return zipped(pack, more)


@spoiler("path")
def name_cut_by_a_nul(pack: Path) -> Path:
    target = zipped(pack, lambda z: z.writestr("top/data/stills/x.jpgQexe", b"x"))
    target.write_bytes(target.read_bytes().replace(b"x.jpgQexe", b"x.jpg\x00exe"))
    return target


@spoiler("path")
def home_folder(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("~/evil.txt", "x"))


@spoiler("path")
def network_path(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("//server/share/evil.txt", "x"))


@spoiler("path")
def top_folder_leads_out(pack: Path) -> Path:
    return zipped(pack, top="..")


@spoiler("path")
def top_folder_with_codes(pack: Path) -> Path:
    return zipped(pack, top="a\x1b[2Jb")


@spoiler("name")
def endless_name(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(f"top/data/stills/{'x' * 300}.jpg", "x"))


@spoiler("name")
def blank_at_the_end(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/data/stills/x.jpg ", "x"))


@spoiler("name")
def line_end_in_a_name(pack: Path) -> Path:
    (pack / "data/stills/x\ny.jpg").write_bytes(b"x")
    return pack


@spoiler("name")
def codes_in_a_name(pack: Path) -> Path:
    (pack / "data/stills/x\x1b[2J.jpg").write_bytes(b"x")
    return pack


@spoiler("name")
def full_width_twin(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/report．html", "x"))


@spoiler("name")
def strange_empty_folder(pack: Path) -> Path:
    (pack / "data/scripts").mkdir()
    return pack


@spoiler("name")
def strange_empty_folder_in_zip(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr("top/autorun/", ""))


@spoiler("link")
def link_as_a_folder_in_zip(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(spoil._entry("top/data/views/", 0o120777), ""))


@spoiler("link")
def pipe_in_zip(pack: Path) -> Path:
    return zipped(pack, lambda z: z.writestr(spoil._entry("top/data/stills/x.jpg", 0o010644), ""))


@spoiler("link")
def link_in_the_place_of_a_still(pack: Path) -> Path:
    path = pack / "data/stills/s001.jpg"
    path.rename(pack.parent / "elsewhere.jpg")
    os.symlink(pack.parent / "elsewhere.jpg", path)
    return pack


@spoiler("unlisted")
def pack_in_a_pack(pack: Path) -> Path:
    inner = zipped(pack)
    (pack / "data/stills/s098.zip").write_bytes(inner.read_bytes())
    inner.unlink()
    return relist(pack)


# The bag


@spoiler("unlisted")
def weaker_manifest(pack: Path) -> Path:
    (pack / "manifest-md5.txt").write_text("d41d8cd98f00b204e9800998ecf8427e  data/inspection.json\n")
    return relist(pack)


@spoiler("manifest")
def other_algorithm_in_the_manifest(pack: Path) -> Path:
    path = pack / "manifest-sha256.txt"
    path.write_text("".join(f"{'0' * 40}  {x.split('  ')[1]}\n" for x in path.read_text().splitlines()))
    return pack


@spoiler("missing")
def no_tag_manifest(pack: Path) -> Path:
    (pack / "tagmanifest-sha256.txt").unlink()
    return pack


@spoiler("manifest")
def empty_manifest(pack: Path) -> Path:
    (pack / "manifest-sha256.txt").write_text("")
    return pack


@spoiler("manifest")
def windows_line_ends(pack: Path) -> Path:
    path = pack / "manifest-sha256.txt"
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    return pack


@spoiler("bag")
def older_bag(pack: Path) -> Path:
    (pack / "bagit.txt").write_text("BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n")
    return relist(pack)


@spoiler("bag")
def two_counts(pack: Path) -> Path:
    path = pack / "bag-info.txt"
    text = path.read_text()
    relist(pack)
    path.write_text(text + "Payload-Oxum: 1.1\n")
    tags = pack / "tagmanifest-sha256.txt"
    lines = [x for x in tags.read_text().splitlines() if not x.endswith("  bag-info.txt")]
    lines.append(f"{hashlib.sha256(path.read_bytes()).hexdigest()}  bag-info.txt")
    tags.write_text("".join(f"{x}\n" for x in sorted(lines, key=lambda x: x[66:])))
    return pack


# Documents


@spoiler("json")
def byte_order_mark(pack: Path) -> Path:
    path = pack / "data/inspection.json"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    return relist(pack)


@spoiler("json")
def other_encoding(pack: Path) -> Path:
    path = pack / "data/inspection.json"
    path.write_bytes(path.read_text().encode("utf-16"))
    return relist(pack)


@spoiler("schema")
def number_beyond_all(pack: Path) -> Path:
    return spoil.text_edit(pack, lambda t: t.replace('"roll": 0.0', '"roll": 1e999', 1))


@spoiler("schema")
def endless_text(pack: Path) -> Path:
    return edit(pack, lambda d: d["notes"][0].update(text="x" * 30_000))


@spoiler("still")
def mark_on_another_continent(pack: Path) -> Path:
    def far(d: dict[str, Any]) -> None:
        d["findings"][0]["marks"][0]["shape"]["x"] = 1e300

    return edit(pack, far)


@spoiler("still")
def mark_on_no_still(pack: Path) -> Path:
    return edit(pack, lambda d: d["findings"][0]["marks"][0].update(still="s777"))


@spoiler("schema")
def cylinder_of_no_engine(pack: Path) -> Path:
    return edit(pack, lambda d: d["readings"][0].update(cylinder=10**12))


@spoiler("schema")
def time_that_is_none(pack: Path) -> Path:
    return edit(pack, lambda d: d["about"].update(made="yesterday"))


# Pictures that are more than one thing


@spoiler("picture")
def page_behind_a_picture(pack: Path) -> Path:
    bare = (pack / "data/stills/s001.jpg").read_bytes()
    return still(pack, bare + b"<html><script>alert(1)</script></html>\xff\xd9")


@spoiler("picture")
def script_in_a_comment(pack: Path) -> Path:
    bare = (pack / "data/stills/s001.jpg").read_bytes()
    said = b"<script>alert(1)</script>"
    return still(pack, bare[:2] + b"\xff\xfe" + struct.pack(">H", len(said) + 2) + said + bare[2:])


@spoiler("picture")
def zip_behind_a_png(pack: Path) -> Path:
    bare = (pack / "data/stills/s003.png").read_bytes()
    return still(pack, bare + b"PK\x05\x06" + bytes(18), "s003.png")


@spoiler("picture")
def page_as_picture(pack: Path) -> Path:
    return still(pack, b"<!doctype html><script>alert(1)</script>")


@spoiler("picture")
def animation_as_picture(pack: Path) -> Path:
    return still(pack, b"GIF89a" + bytes(40))


@spoiler("picture")
def empty_picture(pack: Path) -> Path:
    return still(pack, b"")


# Forged journals: every hash, link, head and digest made right again


def forged(pack: Path, change: Callable[[list[dict[str, Any]]], None]) -> Path:
    """The journal with entries changed as plain values, its chain, the document's heads and all digests made anew."""
    path = pack / "data/journal.jsonl"
    entries = [json.loads(x) for x in path.read_bytes().splitlines()]
    change(entries)
    links: dict[str, str] = {}
    heads: dict[str, tuple[int, str]] = {}
    lines = []
    for entry in entries:
        entry["prev"] = links.get(entry["writer"], "")
        raw = msgspec.json.encode(entry, order="sorted")
        links[entry["writer"]] = e.digest_of(raw)
        heads[entry["writer"]] = (entry["number"], e.digest_of(raw))
        lines.append(raw)
    path.write_bytes(b"".join(x + b"\n" for x in lines))
    info = pack / "bag-info.txt"
    state = f"Journal-State: {head_digest(heads)}"
    kept = [state if x.startswith("Journal-State") else x for x in info.read_text().splitlines()]
    info.write_text("".join(f"{x}\n" for x in kept))

    def right(document: dict[str, Any]) -> None:
        document["journal"] = [
            {"writer": w, "entries": n, "digest": d} for w, (n, d) in sorted(heads.items())
        ]
        document["about"]["inspection"] = entries[0]["inspection"]

    return edit(pack, right)


def forged_unchanged(pack: Path) -> Path:
    """The tool itself: nothing changed, all made anew."""
    return forged(pack, lambda entries: None)


@spoiler("journal", "archive")
def clock_at_its_end(pack: Path) -> Path:
    """No entry could follow it: the logbook that took it in could not be written on any more."""
    return forged(pack, lambda x: x[-1].update(clock=2**53))


@spoiler("journal", "archive")
def clock_below_zero(pack: Path) -> Path:
    return forged(pack, lambda x: x[0].update(clock=-5))


@spoiler("journal", "archive")
def number_left_out(pack: Path) -> Path:
    return forged(pack, lambda x: x[-1].update(number=x[-1]["number"] + 1))


@spoiler("journal", "archive")
def one_id_twice(pack: Path) -> Path:
    return forged(pack, lambda x: x[-1].update(id=x[0]["id"]))


@spoiler("schema", "archive")
def path_as_a_writer(pack: Path) -> Path:
    return forged(pack, lambda x: [y.update(writer="../../evil") for y in x] and None)


@spoiler("journal", "archive")
def prices_of_the_shop(pack: Path) -> Path:
    return forged(pack, lambda x: [y.update(inspection="0" * 32) for y in x] and None)


@spoiler("journal", "archive")
def no_time(pack: Path) -> Path:
    return forged(pack, lambda x: x[3].update(at="next week"))


@spoiler("journal", "archive")
def endless_who(pack: Path) -> Path:
    return forged(pack, lambda x: x[3].update(who="A" * 100_000))


@spoiler("too large", "archive")
def endless_entry(pack: Path) -> Path:
    return forged(pack, lambda x: x[3].update(how="A" * (9 << 20)))


@spoiler("journal", "archive")
def seen_what_is_not_there(pack: Path) -> Path:
    return forged(pack, lambda x: x[3].update(seen={"f" * 32: 10**9}))


def _of_kind(entries: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    return next(x["body"] for x in entries if x["body"]["kind"] == kind)


@spoiler("journal", "archive")
def far_mark_in_the_journal(pack: Path) -> Path:
    return forged(pack, lambda x: _of_kind(x, "finding")["marks"][0]["shape"].update(x=1e300))


@spoiler("journal", "archive")
def size_of_no_picture(pack: Path) -> Path:
    return forged(pack, lambda x: _of_kind(x, "still").update(width=10**12))


@spoiler("journal", "archive")
def cylinder_of_no_engine_in_the_journal(pack: Path) -> Path:
    return forged(pack, lambda x: _of_kind(x, "reading").update(cylinder=-(10**9)))


@spoiler("json", "archive")
def surrogate_in_the_journal(pack: Path) -> Path:
    path = pack / "data/journal.jsonl"
    path.write_bytes(path.read_bytes().replace(b"smells of coolant", b"smells \\ud800"))
    return relist(pack)


@spoiler("json", "archive")
def deep_entry(pack: Path) -> Path:
    path = pack / "data/journal.jsonl"
    line = b'{"body":{"kind":"new","x":' + b"[" * 100_000 + b"]" * 100_000 + b"}}"
    path.write_bytes(path.read_bytes() + line + b"\n")
    return relist(pack)


@spoiler("json", "archive")
def name_twice_in_an_entry(pack: Path) -> Path:
    path = pack / "data/journal.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"who":', b'"who":"another","who":', 1))
    return relist(pack)


@spoiler("journal", "archive")
def locks_your_own(pack: Path) -> Path:
    """An entry that would make an inspection read-only, behind its others."""

    def change(entries: list[dict[str, Any]]) -> None:
        entries[-1]["body"] = {"kind": "taken_in", "by": "somebody", "digest": "0" * 64, "document": {}}

    return forged(pack, change)
