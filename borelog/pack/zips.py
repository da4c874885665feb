"""The bones of a zip file, looked at before any of it is unpacked: one list of files, and every byte accounted for.

Programs disagree about a zip that says one thing at its end and another before each file, hides bytes between files, or
carries a second list in a comment: one shows the harmless file, the next unpacks the other. A pack is none of these.
Offsets are those of PKWARE's APPNOTE 6.3.10, sections 4.3.7 (local header), 4.3.9 (descriptor) and 4.3.16 (end).
"""

from __future__ import annotations

import os
import stat
import struct
import zipfile
from collections.abc import Sequence
from typing import IO

from borelog.pack.errors import Fault, Refused
from borelog.text import one_line

MAX_RATIO = 200
_END = struct.Struct("<4s4H2LH")
_LOCAL = struct.Struct("<4s5H3L2H")
_DESCRIPTOR = 24
_OTHER_NAME = 0x7075
"""Extra field in which some programs keep another name for the file than the one listed (Info-ZIP Unicode Path)."""
_MOST_A_FILE = 46 + 2 * 255 + 255
_FOLLOWS, _ENCRYPTED, _UTF8 = 0x8, 0x2041, 0x800


def _refuse(kind: str, where: str, words: str) -> Refused:
    return Refused(Fault(kind, one_line(where, 80), words))


def check_ending(stream: IO[bytes], most: int) -> None:
    """Refuse a file that does not end as a plain zip of at most ``most`` files does, before its list is read."""
    size = stream.seek(0, os.SEEK_END)
    stream.seek(max(0, size - _END.size))
    tail = stream.read(_END.size)
    if len(tail) < _END.size or not tail.startswith(b"PK\x05\x06"):
        stream.seek(max(0, size - (1 << 16) - _END.size))
        words = (
            "carries a comment or more bytes behind its end"
            if b"PK\x05\x06" in stream.read()
            else "is no whole zip file"
        )
        raise _refuse("zip", "", words)
    _, disk, first, here, count, listing, at, comment = _END.unpack(tail)
    if comment or disk or first or here != count:
        raise _refuse("zip", "", "carries a comment, or is one of several parts")
    if count > most:
        raise _refuse("too large", "", f"the pack holds more than {most} files")
    if not 46 * count <= listing <= _MOST_A_FILE * count or at + listing != size - _END.size:
        raise _refuse(
            "zip", "", "announces another number of files, or another place for its list, than it has"
        )


def check_bones(stream: IO[bytes], infos: Sequence[zipfile.ZipInfo], listing_at: int) -> None:
    """Refuse any entry that is no plain, honest file, and any byte that belongs to none."""
    end = 0
    for info in sorted(infos, key=lambda i: i.header_offset):
        name = info.orig_filename
        _check_entry(info, name)
        stream.seek(info.header_offset)
        raw = stream.read(_LOCAL.size)
        if len(raw) < _LOCAL.size or not raw.startswith(b"PK\x03\x04"):
            raise _refuse("zip", name, "is not where the list says")
        _, _, flags, method, _, _, crc, packed, unpacked, name_size, extra_size = _LOCAL.unpack(raw)
        told, extra = stream.read(name_size), stream.read(extra_size)
        if info.header_offset < end:
            raise _refuse("overlap", name, "shares its bytes with another entry of the zip")
        if info.header_offset > end + _DESCRIPTOR or (end == 0 and info.header_offset):
            raise _refuse("zip", name, "stands behind bytes that belong to no file")
        follows = flags & _FOLLOWS
        sizes = {(crc, packed, unpacked), (info.CRC, info.compress_size, info.file_size)}
        agreed = len(sizes) == 1 or (follows and (crc, packed, unpacked) == (0, 0, 0))
        if (
            told != name.encode("utf-8" if flags & _UTF8 else "cp437", "replace")
            or method != info.compress_type
            or (flags ^ info.flag_bits) & (_FOLLOWS | _ENCRYPTED | _UTF8)
            or not agreed
        ):
            raise _refuse("zip", name, "is another file in the list than at its place")
        if any(_has_other_name(e) for e in (extra, info.extra)):
            raise _refuse("zip", name, "carries a second name")
        end = info.header_offset + _LOCAL.size + name_size + extra_size + info.compress_size
    if end > listing_at:
        raise _refuse("overlap", "", "files and their list share bytes")
    if listing_at > end + _DESCRIPTOR:
        raise _refuse("zip", "", "holds bytes that belong to no file")


def _check_entry(info: zipfile.ZipInfo, name: str) -> None:
    folder, mode = name.endswith("/"), stat.S_IFMT(info.external_attr >> 16)
    if mode not in (0, stat.S_IFDIR if folder else stat.S_IFREG):
        raise _refuse("link", name, "is a link or a device, not a file")
    if info.flag_bits & _ENCRYPTED:
        raise _refuse("zip", name, "is encrypted; unlock it first")
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise _refuse("zip", name, "is packed in a way a pack never is")
    if info.comment or info.volume:
        raise _refuse("zip", name, "carries a comment, or lies in another part")
    if info.file_size > max(1 << 20, MAX_RATIO * max(1, info.compress_size)):
        raise _refuse("bomb", name, "would unpack to far more than it holds")
    if info.compress_type == zipfile.ZIP_STORED and info.file_size != info.compress_size:
        raise _refuse("zip", name, "lies about its size")
    if folder and info.file_size:
        raise _refuse("zip", name, "is a folder that holds bytes")


def _has_other_name(extra: bytes) -> bool:
    at = 0
    while at + 4 <= len(extra):
        kind, size = struct.unpack_from("<2H", extra, at)
        if kind == _OTHER_NAME:
            return True
        at += 4 + size
    return False
