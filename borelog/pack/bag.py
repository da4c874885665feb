"""A BagIt 1.0 bag (RFC 8493, SHA-256) written once, and its zip: the same content gives the same bytes."""

from __future__ import annotations

import hashlib
import os
import shutil
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from borelog.logbook.durable import sync_handle
from borelog.pack.errors import PackError
from borelog.text import one_line

Progress = Callable[[int, int, str], None]
MANIFEST, TAG_MANIFEST = "manifest-sha256.txt", "tagmanifest-sha256.txt"
DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
_STORED = (".jpg", ".jpeg", ".png", ".pdf", ".webp", ".heic", ".avif", ".mp4", ".avi", ".mkv")


class BagWriter:
    """Files of a bag under ``folder``, hashed as they are written; several threads may put files at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = os.fspath(folder)
        self._made: set[str] = set()
        self.digests: dict[str, str] = {}
        self.sizes: dict[str, int] = {}

    def put(self, name: str, data: bytes, digest: str = "") -> str:
        """Write one file; returns its SHA-256. ``digest`` spares hashing bytes whose digest was just checked."""
        inside = name.rpartition("/")[0]
        if inside not in self._made:
            os.makedirs(f"{self.folder}/{inside}", exist_ok=True)
            self._made.add(inside)
        with open(f"{self.folder}/{name}", "xb", buffering=0) as stream:
            view = memoryview(data)
            while view:
                view = view[stream.write(view) or 0 :]
        self.sizes[name] = len(data)
        self.digests[name] = digest or hashlib.sha256(data).hexdigest()
        return self.digests[name]

    def manifest(self) -> bytes:
        """The payload manifest, as `sha256sum -c` reads it."""
        return self._lines(n for n in self.digests if n.startswith("data/"))

    def tag_manifest(self) -> bytes:
        """The manifest of every file beside the payload."""
        return self._lines(n for n in self.digests if not n.startswith("data/"))

    def _lines(self, names: Iterator[str]) -> bytes:
        return "".join(f"{self.digests[n]}  {n}\n" for n in sorted(names)).encode()

    def close(self, info: Mapping[str, str]) -> str:
        """Write declaration, bag-info and both manifests; returns the digest of the tag manifest, which covers all."""
        payload = [n for n in self.sizes if n.startswith("data/")]
        oxum = f"{sum(self.sizes[n] for n in payload)}.{len(payload)}"
        rows = {**info, "Payload-Oxum": oxum}
        self.put("bagit.txt", DECLARATION)
        text = "".join(f"{k}: {one_line(v, 400)}\n" for k, v in sorted(rows.items()) if v)
        self.put("bag-info.txt", text.encode())
        self.put(MANIFEST, self.manifest())
        return self.put(TAG_MANIFEST, self.tag_manifest())


def refuse_taken(target: Path) -> None:
    """Refuse a place where something is already.

    Raises
    ------
    PackError
        Naming it.
    """
    if target.exists():
        error = PackError(
            f"{one_line(target.name, 80)} is there already; give another folder or move it away"
        )
        error.exit_code = 5
        raise error


@contextmanager
def building(target: Path) -> Iterator[Path]:
    """A folder beside ``target`` that becomes it when the block ends well, and vanishes when it does not.

    Raises
    ------
    PackError
        If the target exists, or the place cannot be written.
    """
    refuse_taken(target)
    part = target.with_name(f".{target.name}.part-{os.getpid()}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir()
        yield part
        os.rename(part, target)
    except OSError as error:
        unwritten = PackError(
            f"the pack cannot be written there ({error.strerror or error}); choose a folder with room that may be written"
        )
        unwritten.exit_code = 3
        raise unwritten from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def zip_bag(folder: Path, target: Path, made: str) -> Path:
    """The bag as one zip with one top folder: sorted, one date (of ``made``), mode 0644, pictures stored.

    Parameters
    ----------
    folder
        A finished bag.
    target
        The zip to write; refused if it exists.
    made
        ISO time whose date and time every entry carries.
    """
    stamp = zip_time(made)
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    part = target.with_name(f".{target.name}.part-{os.getpid()}")
    if target.exists():
        error = PackError(f"{one_line(target.name, 80)} is there already; move it away first")
        error.exit_code = 5
        raise error
    try:
        with zipfile.ZipFile(part, "w") as out:
            for name in names:
                info = zipfile.ZipInfo(f"{folder.name}/{name}", stamp)
                info.create_system, info.external_attr = 3, 0o100644 << 16
                stored = name.endswith(_STORED)
                info.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
                data = (folder / name).read_bytes()
                info.file_size = len(data)
                with out.open(info, "w") as stream:
                    if name.endswith(".html"):
                        # Base64 has no repeats worth a search: its letters' codes alone are quicker and come out smaller.
                        # Where the library calls its packer otherwise this does nothing, and the zip is as good.
                        vars(stream)["_compressor"] = zlib.compressobj(
                            1, zlib.DEFLATED, -zlib.MAX_WBITS, zlib.DEF_MEM_LEVEL, zlib.Z_HUFFMAN_ONLY
                        )
                    stream.write(data)
        with open(part, "rb") as written:
            sync_handle(written.fileno())
        os.rename(part, target)
    except OSError as error:
        raise PackError(f"the zip cannot be written ({error.strerror or error}); is there room?") from error
    finally:
        part.unlink(missing_ok=True)
    return target


def zip_time(made: str) -> tuple[int, int, int, int, int, int]:
    """Date and time of an ISO text as a zip holds it (even seconds, not before 1980); 1980-01-01 if unreadable."""
    try:
        parts = [int(made[i:j]) for i, j in ((0, 4), (5, 7), (8, 10), (11, 13), (14, 16), (17, 19))]
        year, month, day, hour, minute, second = parts
    except ValueError:
        return (1980, 1, 1, 0, 0, 0)
    if not (1980 <= year <= 2107 and 1 <= month <= 12 and 1 <= day <= 31):
        return (1980, 1, 1, 0, 0, 0)
    return (year, month, day, hour, minute, second // 2 * 2)
