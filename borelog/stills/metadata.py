"""Taking what a camera wrote about place, owner and device out of a picture, pixels untouched; and masks that hold.

JPEG, PNG and WebP are copied part by part without decoding (ITU-T T.81 annex B; ISO/IEC 15948; RFC 9649), so pixels stay
bit for bit. Colour profiles stay. A stored turn stays as the only Exif tag, so that the copy stands upright.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Box, Ellipse, Freehand, Polygon, outline
from borelog.stills import StillError
from borelog.stills.intake import check_kind, decode, encode, opened, shown

_PNG_KEPT = {b"IHDR", b"PLTE", b"tRNS", b"gAMA", b"sRGB", b"iCCP", b"cHRM", b"sBIT", b"IDAT", b"IEND"}
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"}
MaskShape = Box | Ellipse | Polygon | Freehand


@dataclass(frozen=True, slots=True)
class Cleaned:
    """``data`` the copy, ``format`` 'JPEG', 'PNG' or 'WebP', ``removed`` in words, ``recoded`` if it had to be."""

    data: bytes
    format: str
    removed: tuple[str, ...]
    recoded: bool = False


def _broken(name: str, what: str) -> StillError:
    return StillError(f"{shown(name)}: {what}; the picture cannot be copied part by part")


def _turn_exif(orientation: int) -> bytes:
    # Smallest Exif that holds one tag: big-endian TIFF, one entry 0x0112 SHORT.
    return b"MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01" + struct.pack(
        ">HHI", orientation, 0, 0
    )


def _orientation(data: bytes, name: str) -> int:
    with opened(data, name) as (image, _):
        turn = image.getexif().get(0x0112, 1)
    return turn if isinstance(turn, int) and 1 <= turn <= 8 else 1


_APP_NAMES: tuple[tuple[int, bytes, str], ...] = (
    (0xE1, b"Exif\x00", "Exif"),
    (0xE1, b"http://ns.adobe.com/xap", "XMP"),
    (0xE1, b"http://ns.adobe.com/xmp", "XMP"),
    (0xE2, b"MPF\x00", "further pictures"),
    (0xED, b"", "IPTC"),
)


def _app_name(marker: int, body: bytes) -> str:
    if marker == 0xFE:
        return "comment"
    fits = (name for code, start, name in _APP_NAMES if code == marker and body.startswith(start))
    return next(fits, f"camera data (APP{marker - 0xE0})")


def strip_jpeg(data: bytes, orientation: int = 1, name: str = "picture") -> tuple[bytes, tuple[str, ...]]:
    """A JPEG with JFIF, Adobe and ICC segments only; cut behind its end mark.

    Parameters
    ----------
    data : bytes
        The file.
    orientation : int
        When not 1, a new Exif segment with this tag alone is written.

    Returns
    -------
    tuple of (bytes, tuple of str)
        The copy, and what was left out.

    Raises
    ------
    StillError
        When the segments do not follow ITU-T T.81.
    """
    if data[:2] != b"\xff\xd8":
        raise _broken(name, "is no JPEG")
    out, removed, at = [data[:2]], [], 2
    turn = b"Exif\x00\x00" + _turn_exif(orientation)
    put_turn = orientation != 1
    while True:
        if at + 2 > len(data) or data[at] != 0xFF:
            raise _broken(name, "its segments are out of order")
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker in (0x00, 0x01, 0xD8) or 0xD0 <= marker <= 0xD7:
            raise _broken(name, "its segments are out of order")
        if marker == 0xD9:
            out.append(b"\xff\xd9")
            end = at + 2
            break
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        if size < 2 or at + 2 + size > len(data):
            raise _broken(name, "a segment is longer than the file")
        body, whole = data[at + 4 : at + 2 + size], data[at : at + 2 + size]
        kept_app = (
            (marker == 0xE0 and body.startswith(b"JFIF\x00"))
            or (marker == 0xEE and body.startswith(b"Adobe"))
            or (marker == 0xE2 and body.startswith(b"ICC_PROFILE\x00"))
        )
        at += 2 + size
        if (0xE0 <= marker <= 0xEF or marker == 0xFE) and not kept_app:
            removed.append(_app_name(marker, body))
            continue
        if put_turn and marker != 0xE0:
            out.append(b"\xff\xe1" + (len(turn) + 2).to_bytes(2, "big") + turn)
            put_turn = False
        if kept_app and marker == 0xE0 and len(body) > 14:
            # A JFIF segment may carry a small unmasked picture behind its 14 fixed bytes.
            whole = b"\xff\xe0\x00\x10" + body[:12] + b"\x00\x00"
            removed.append("small picture")
        out.append(whole)
        if marker == 0xDA:
            stop = _scan_end(data, at)
            out.append(data[at:stop])
            at = stop
            if at >= len(data):
                out.append(b"\xff\xd9")
                end = at
                break
    if data[end:].strip(b"\x00"):
        removed.append(f"{len(data) - end} bytes behind the picture")
    return b"".join(out), tuple(dict.fromkeys(removed))


# Inside a scan 0xFF is followed by 0x00 or a restart mark; any other mark ends it (fill bytes 0xFF may precede it).
_SCAN_END = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def _scan_end(data: bytes, at: int) -> int:
    match = _SCAN_END.search(data, at)
    return match.start() if match else len(data)


def strip_png(data: bytes, orientation: int = 1, name: str = "picture") -> tuple[bytes, tuple[str, ...]]:
    """A PNG with the chunks that make its pixels and colours only; arguments and errors as `strip_jpeg`."""
    if data[:8] != b"\x89PNG\r\n\x1a\n":
        raise _broken(name, "is no PNG")
    out, removed, at = [data[:8]], [], 8
    put_turn = orientation != 1
    while True:
        if at + 12 > len(data):
            raise _broken(name, "a chunk is longer than the file")
        size, tag = struct.unpack_from(">I4s", data, at)
        if at + 12 + size > len(data):
            raise _broken(name, "a chunk is longer than the file")
        whole = data[at : at + 12 + size]
        at += 12 + size
        if tag not in _PNG_KEPT:
            removed.append(
                {b"eXIf": "Exif", b"tIME": "time", b"fdAT": "further pictures"}.get(
                    tag, "text and other chunks"
                )
            )
            continue
        if tag == b"IDAT" and put_turn:
            body = b"eXIf" + _turn_exif(orientation)
            out.append(struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body)))
            put_turn = False
        out.append(whole)
        if tag == b"IEND":
            break
    if len(data) > at:
        removed.append(f"{len(data) - at} bytes behind the picture")
    return b"".join(out), tuple(dict.fromkeys(removed))


def strip_webp(data: bytes, orientation: int = 1, name: str = "picture") -> tuple[bytes, tuple[str, ...]]:
    """A still WebP without Exif, XMP and unknown chunks; arguments and errors as `strip_jpeg`."""
    if data[:4] != b"RIFF" or data[8:12] != b"WEBP":
        raise _broken(name, "is no WebP")
    end = 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise _broken(name, "is shorter than it says")
    chunks: list[tuple[bytes, bytes]] = []
    removed: list[str] = []
    at = 12
    while at + 8 <= end:
        tag, size = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        if at + 8 + size > end:
            raise _broken(name, "a chunk is longer than the file")
        body = data[at + 8 : at + 8 + size]
        at += 8 + size + (size & 1)
        if tag in (b"ANIM", b"ANMF"):
            raise _broken(name, "is animated")
        if tag in _WEBP_KEPT:
            chunks.append((tag, body))
        else:
            removed.append({b"EXIF": "Exif", b"XMP ": "XMP"}.get(tag, "other chunks"))
    extended = bool(chunks) and chunks[0][0] == b"VP8X" and len(chunks[0][1]) >= 10
    if extended:
        flags = chunks[0][1][0] & ~0x0C  # bits 2 and 3: XMP and Exif present (RFC 9649, 2.7)
        chunks[0] = (b"VP8X", bytes([flags | (0x08 if orientation != 1 else 0)]) + chunks[0][1][1:])
        if orientation != 1:
            chunks.append((b"EXIF", _turn_exif(orientation)))
    if len(data) > end:
        removed.append(f"{len(data) - end} bytes behind the picture")
    body = b"".join(t + len(b).to_bytes(4, "little") + b + b"\x00" * (len(b) & 1) for t, b in chunks)
    return b"RIFF" + (len(body) + 4).to_bytes(4, "little") + b"WEBP" + body, tuple(dict.fromkeys(removed))


_STRIPPERS = {"JPEG": strip_jpeg, "PNG": strip_png, "WebP": strip_webp}


def strip(data: bytes, name: str = "picture") -> Cleaned:
    """A copy to hand over: no metadata, same pixels.

    JPEG, PNG and WebP keep their pixels bit for bit. Other formats, and files that do not keep to their standard, are
    decoded and written upright as PNG, which loses nothing that can be seen.

    Raises
    ------
    StillError
        When the bytes are no usable picture.
    """
    kind = check_kind(data, name)
    stripper = _STRIPPERS.get(kind)
    if stripper is not None:
        try:
            copy, removed = stripper(data, _orientation(data, name), name)
            return Cleaned(copy, kind, removed)
        except StillError:
            pass
    bgr, _ = decode(data, name)
    return Cleaned(encode(bgr, "PNG"), "PNG", ("everything but the pixels",), recoded=True)


def burn_masks(
    bgr: NDArray[np.uint8], masks: Sequence[MaskShape], grey: int = 64, *, whole_blocks: bool = False
) -> NDArray[np.uint8]:
    """A copy with each mask filled solid: blur and mosaic can be undone, a fill cannot.

    Parameters
    ----------
    bgr : ndarray
        The upright picture.
    masks : sequence of shapes
        Closed shapes in its pixels; every pixel that one touches is filled.
    grey : int
        Level of the fill, 0 to 255.
    whole_blocks : bool
        Grow each mask to the 8 x 8 blocks of JPEG that it touches, so that it comes out of the coder exactly even.
    """
    out = bgr.copy()
    cover = np.zeros(bgr.shape[:2], np.uint8)
    for shape in masks:
        corners = np.asarray(outline(shape, 96), np.float64)
        # Pixel (i, j) covers [i, i+1); OpenCV counts pixel centres as whole numbers, in 1/256 with shift 8.
        fixed = np.clip(np.round((corners - 0.5) * 256), -(2**30), 2**30).astype(np.int32).reshape(-1, 1, 2)
        cv2.fillPoly(cover, [fixed], 255, lineType=cv2.LINE_8, shift=8)
        cv2.polylines(cover, [fixed], True, 255, 2, cv2.LINE_8, shift=8)
    if whole_blocks:
        height, width = bgr.shape[:2]
        blocks = cv2.copyMakeBorder(cover, 0, -height % 8, 0, -width % 8, cv2.BORDER_CONSTANT)
        touched = blocks.reshape(blocks.shape[0] // 8, 8, -1, 8).any(axis=(1, 3))
        cover = np.kron(touched, np.ones((8, 8), np.uint8))[:height, :width]
    out[cover > 0] = grey
    return out


def masked(
    data: bytes, masks: Sequence[MaskShape], name: str = "picture", kind: str = "JPEG", quality: int = 95
) -> Cleaned:
    """The picture as a masked, upright copy without any metadata (an Exif thumbnail would show the unmasked view).

    JPEG is written without colour subsampling; the fill is solid before it is coded, so nothing of what was under it
    remains in the file.
    """
    bgr, _ = decode(data, name)
    copy = encode(burn_masks(bgr, masks, whole_blocks=kind == "JPEG"), kind, quality)
    return Cleaned(copy, kind, ("everything but the pixels", f"{len(masks)} masked parts"), recoded=True)
