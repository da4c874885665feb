"""What a file is, told from its first bytes alone; its name is only compared with that."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

PICTURES = ("JPEG", "PNG", "BMP", "TIFF", "WebP", "AVIF", "HEIC")
FILMS = ("AVI", "MP4", "Matroska")

SUFFIXES: dict[str, tuple[str, ...]] = {
    "JPEG": (".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"),
    "PNG": (".png",),
    "BMP": (".bmp", ".dib"),
    "TIFF": (".tif", ".tiff"),
    "WebP": (".webp",),
    "AVIF": (".avif",),
    "HEIC": (".heic", ".heif", ".hif"),
    "AVI": (".avi",),
    "MP4": (".mp4", ".m4v", ".mov", ".3gp"),
    "Matroska": (".mkv", ".webm"),
}
MIME: dict[str, str] = {
    "JPEG": "image/jpeg",
    "PNG": "image/png",
    "BMP": "image/bmp",
    "TIFF": "image/tiff",
    "WebP": "image/webp",
    "AVIF": "image/avif",
    "HEIC": "image/heic",
}
_AVIF_BRANDS = {b"avif", b"avis"}
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_STRANGERS: tuple[tuple[bytes, str], ...] = (
    (b"GIF8", "a GIF"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"Rar!", "a RAR archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"8BPS", "a layered artwork file"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000"),
    (b"<?xml", "XML or SVG text"),
    (b"<svg", "SVG text"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
)


@dataclass(frozen=True, slots=True)
class Kind:
    """``name`` is one of `PICTURES` or `FILMS`, or empty; ``words`` says what the bytes are in plain words."""

    name: str
    words: str

    @property
    def is_picture(self) -> bool:
        """Whether the first bytes are those of a picture of a kept format."""
        return self.name in PICTURES

    @property
    def is_film(self) -> bool:
        """Whether the first bytes are those of a film that can be read through."""
        return self.name in FILMS


def _boxed(head: bytes) -> Kind:
    # ISO 14496-12: 'ftyp' box with a major brand, a version and compatible brands.
    size = min(int.from_bytes(head[:4], "big"), len(head))
    brands = {head[8:12]} | {head[i : i + 4] for i in range(16, max(16, size - 3), 4)}
    if brands & _AVIF_BRANDS:
        return Kind("AVIF", "an AVIF")
    if head[8:12] in _HEIC_BRANDS or (brands & _HEIC_BRANDS and head[8:10] not in (b"is", b"mp", b"qt")):
        return Kind("HEIC", "a HEIC")
    return Kind("MP4", "an MP4 film")


def kind_of(data: bytes) -> Kind:
    """The kind of file from its first bytes (64 are enough).

    Parameters
    ----------
    data : bytes
        The file, or at least its beginning.

    Returns
    -------
    Kind
        With an empty name for anything that is neither a kept picture nor a readable film.
    """
    head = bytes(data[:64])
    if head.startswith(b"\xff\xd8\xff"):
        return Kind("JPEG", "a JPEG")
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return Kind("PNG", "a PNG")
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return Kind("TIFF", "a TIFF")
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return Kind("WebP", "a WebP")
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return Kind("AVI", "an AVI film")
    if head[4:8] == b"ftyp":
        return _boxed(head)
    if head.startswith(b"\x1aE\xdf\xa3"):
        return Kind("Matroska", "a Matroska film")
    if head[:2] == b"BM" and head[14:18] in {n.to_bytes(4, "little") for n in (12, 40, 52, 56, 64, 108, 124)}:
        return Kind("BMP", "a BMP")
    for start, words in _STRANGERS:
        if head.startswith(start):
            return Kind("", words)
    if not head.strip(b"\x00"):
        return Kind("", "nothing but zeros")
    if all(32 <= b < 127 or b in b"\t\r\n" for b in head):
        return Kind("", "plain text")
    return Kind("", "no picture that is known here")


def kind_by_name(name: str) -> str:
    """The kind that a file's name claims, or an empty text when it claims none."""
    suffix = PurePath(name).suffix.lower()
    return next((kind for kind, all_of in SUFFIXES.items() if suffix in all_of), "")
