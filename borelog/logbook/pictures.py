"""The picture store: original bytes as files named by their SHA-256, and thumbnails as a cache that can be rebuilt."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from borelog.logbook import durable
from borelog.logbook.errors import LogbookError, WrongBytes, plain, plainly
from borelog.text import one_line

DIGEST = re.compile(r"[0-9a-f]{64}")
_SUFFIX = re.compile(r"[^a-z0-9]")
_CHUNK = 1 << 20


def suffix_of(name: str) -> str:
    """A file name's ending as the store writes it: lower-case letters and digits, at most eight, with its dot."""
    ending = name.rpartition(".")[2] if "." in name else name
    return "." + (_SUFFIX.sub("", ending.lower())[:8] or "bin")


def digest_of_file(path: Path) -> str:
    """SHA-256 of a file's bytes, hex."""
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


class Pictures:
    """Content-addressed files under ``stills/`` with two-letter sub-folders, so that no folder grows without end.

    A file is written and synced, and so is its folder, before any entry names it; it is never written again.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.stills = folder / "stills"
        self.thumbs = folder / "thumbs"

    def put(self, data: bytes, suffix: str = ".bin") -> str:
        """Keep bytes; return their SHA-256 in hex. The same bytes twice are one file.

        Raises
        ------
        LogbookError
            If the disk is full, read-only or failing; nothing half-written stays.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        held = self.find(sha256)
        if held is not None and held.stat().st_size == len(data):
            return sha256
        with plainly(self.folder):
            target = held or self._target(sha256, suffix)
            durable.make_folder(target.parent)
            durable.write_file(target, data)
        return sha256

    def put_all(self, files: Iterable[tuple[str, str, Callable[[], bytes]]]) -> tuple[str, ...]:
        """Keep many files at once, given as (SHA-256, suffix, what gives the bytes); return the digests that are new.

        When this returns, all of them are on the disk. Bytes are asked for one file after another, and only for those that are
        not here yet.

        Raises
        ------
        WrongBytes
            If bytes are not what their digest says; nothing was kept then.
        LogbookError
            If the disk is full, read-only or failing; nothing half-written stays.
        """
        wanted = {sha256: (suffix, give) for sha256, suffix, give in files if self.find(sha256) is None}

        def checked(sha256: str, give: Callable[[], bytes]) -> Callable[[], bytes]:
            def bytes_of() -> bytes:
                data = give()
                if hashlib.sha256(data).hexdigest() != sha256:
                    raise WrongBytes(f"the still {sha256[:12]} is not what its digest says; nothing was kept")
                return data

            return bytes_of

        with plainly(self.folder):
            durable.write_files([(self._target(k, s), checked(k, give)) for k, (s, give) in wanted.items()])
        return tuple(wanted)

    def put_file(self, source: Path, suffix: str = "") -> str:
        """Keep a file too large to hold in memory (a film); as ``put``."""
        return self._take(source, suffix or source.suffix, "")

    def put_copy(self, source: Path, sha256: str) -> bool:
        """Keep a file that should have this digest; False, and nothing kept, if its bytes are others."""
        return self._take(source, source.suffix, sha256) == sha256

    def _take(self, source: Path, suffix: str, expected: str) -> str:
        part = self.stills / f".incoming.{os.getpid()}.{os.urandom(4).hex()}.part"
        try:
            durable.make_folder(self.stills)
            digest = hashlib.sha256()
            with open(source, "rb") as read, open(part, "xb") as write:
                while chunk := read.read(_CHUNK):
                    digest.update(chunk)
                    write.write(chunk)
                size = write.tell()
                sha256 = digest.hexdigest()
                held = self.find(sha256)
                needed = held is None or held.stat().st_size != size
                if expected in ("", sha256) and needed:
                    write.flush()
                    durable.sync_handle(write.fileno())
            if expected in ("", sha256) and needed:
                target = held or self._target(sha256, suffix)
                durable.make_folder(target.parent)
                os.replace(part, target)
                durable.sync_folder(target.parent)
        except OSError as error:
            if error.filename == os.fspath(source):
                raise LogbookError(
                    f"the file {one_line(source.name, 80)} cannot be read; look whether it is there"
                ) from error
            raise plain(error, self.folder) from error
        finally:
            if self.stills.is_dir():
                part.unlink(missing_ok=True)
        return sha256

    def find(self, sha256: str) -> Path | None:
        """Where the bytes lie, or None."""
        if not DIGEST.fullmatch(sha256):
            return None
        folder = self.stills / sha256[:2]
        try:
            with os.scandir(folder) as found:
                for item in found:
                    if item.name.startswith(sha256 + "."):
                        return folder / item.name
        except OSError:
            pass
        return None

    def path(self, sha256: str) -> Path:
        """Where the bytes lie.

        Raises
        ------
        LogbookError
            If they are not there.
        """
        held = self.find(sha256)
        if held is None:
            raise LogbookError(
                f"the still {sha256[:12]} is not in the logbook; run 'borelog doctor' to see what is missing"
            )
        return held

    def read(self, sha256: str) -> bytes:
        """The bytes themselves."""
        with plainly(self.folder):
            return self.path(sha256).read_bytes()

    def thumb(self, sha256: str, make: Callable[[Path], bytes] | None = None) -> Path | None:
        """The thumbnail's file; made from the still by ``make`` (path -> JPEG bytes) where it is missing.

        A thumbnail is a cache: where it cannot be written the answer is None and nothing else is harmed.
        """
        target = self.thumbs / sha256[:2] / f"{sha256}.jpg"
        if target.is_file() and target.stat().st_size:
            return target
        held = self.find(sha256)
        if make is None or held is None:
            return None
        return self.set_thumb(sha256, make(held))

    def set_thumb(self, sha256: str, data: bytes) -> Path | None:
        """Put a thumbnail in place of whatever was there; None where it cannot be written."""
        target = self.thumbs / sha256[:2] / f"{sha256}.jpg"
        part = target.with_name(f".{sha256}.{os.getpid()}.part")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(data)
            os.replace(part, target)
        except OSError:
            return None
        return target

    def all(self) -> Iterator[tuple[str, Path]]:
        """Every still on disk as (digest by name, path), in order of digest."""
        if not self.stills.is_dir():
            return
        for folder in sorted(self.stills.iterdir()):
            if folder.is_dir():
                for path in sorted(folder.iterdir()):
                    if DIGEST.fullmatch(path.name.partition(".")[0]):
                        yield path.name.partition(".")[0], path

    def files(self) -> Iterator[Path]:
        """Every file under ``stills/``, rightly named or not."""
        if self.stills.is_dir():
            yield from sorted(p for p in self.stills.rglob("*") if not p.is_dir() or p.is_symlink())

    def thumb_files(self) -> Iterator[Path]:
        """Every thumbnail on disk."""
        if self.thumbs.is_dir():
            yield from sorted(p for p in self.thumbs.rglob("*.jpg") if not p.name.startswith("."))

    def remove(self, sha256: str) -> bool:
        """Remove the bytes of a still and its thumbnail for good; True if there was something to remove."""
        held = self.find(sha256)
        with plainly(self.folder):
            (self.thumbs / sha256[:2] / f"{sha256}.jpg").unlink(missing_ok=True)
            if held is None:
                return False
            held.unlink()
            durable.sync_folder(held.parent)
        return True

    def _target(self, sha256: str, suffix: str) -> Path:
        return self.stills / sha256[:2] / (sha256 + suffix_of(suffix))
