"""A pack as it lies on the disk, folder or zip, looked at without trusting it and without writing anything.

Both kinds answer the same questions: which files, how large, their bytes, their digest. Opening one refuses, before any
content is read: paths that leave the pack, links and devices, twins by case or normal form, reserved names, overlapping
or lying or over-compressed zip entries, and more than a pack can ever hold.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import stat
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Protocol

from borelog.pack.errors import Fault, PackError, Refused
from borelog.pack.zips import check_bones, check_ending
from borelog.text import one_line

MAX_FILE = 512 << 20
MAX_TOTAL = 8 << 30
MAX_FILES = 25_000
_PART = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_ALLOWED = re.compile(
    r"report\.html|report\.pdf|README\.txt|bagit\.txt|bag-info\.txt|manifest-sha256\.txt|tagmanifest-sha256\.txt(\.sig)?"
    r"|data/(inspection\.json|inspection\.schema\.json|datapackage\.json|journal\.jsonl|coco\.json)"
    r"|data/tables/[a-z]+\.csv|data/annotations/annotations\.jsonld"
    r"|data/(stills|views)/[a-z0-9][a-z0-9._-]{0,99}"
)
_FOLDERS = ("", "data/", "data/stills/", "data/views/", "data/tables/", "data/annotations/")
_TOP = re.compile(r"(?!\.{1,2}$)[^/\\<>:\"|?*]{1,100}(?<![. ])")
"""The folder a zip holds everything in: its name is a person's own, and is never written anywhere."""
_CHUNK = 1 << 20


class Source(Protocol):
    """A pack that can be read but not changed; ``in_threads``: by several threads at once."""

    name: str
    sizes: dict[str, int]
    in_threads: bool

    def read(self, name: str, limit: int = MAX_FILE) -> bytes:
        """The bytes of one file; refuses more than ``limit``."""
        ...

    def digest(self, name: str) -> str:
        """SHA-256 of one file in hex."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...


def _refuse(kind: str, where: str, words: str) -> Refused:
    return Refused(Fault(kind, one_line(where, 80), words))


def _check_inside(name: str) -> None:
    parts = name.split("/")
    if name.startswith(("/", "~")) or "\\" in name or ".." in parts or ":" in name or "\x00" in name:
        raise _refuse("path", name, "leads out of the pack")


def check_names(names: Iterable[str]) -> None:
    """Refuse names that are no part of a pack, or that are the same file on some disk.

    Raises
    ------
    Refused
        Naming the first.
    """
    seen: dict[str, str] = {}
    for name in names:
        _check_inside(name)
        parts = name.split("/")
        if not 1 <= len(parts) <= 4 or not all(_PART.fullmatch(p) for p in parts):
            raise _refuse("name", name, "is no name a pack may hold (letters, digits, dot, dash, underscore)")
        if any(_RESERVED.fullmatch(p) or p.endswith(".") for p in parts):
            raise _refuse("name", name, "is a name that some systems reserve")
        folded = unicodedata.normalize("NFC", name).casefold()
        if folded in seen:
            raise _refuse("twin", name, f"is the same file as {one_line(seen[folded], 80)} on many disks")
        seen[folded] = name
        if name == "fetch.txt":
            raise _refuse("fetch", name, "asks the reader to download something, which no pack of ours does")
        if not _ALLOWED.fullmatch(name):
            raise _refuse("unlisted", name, "is no part of a pack; somebody put it there")


def _check_folders(names: Iterable[str]) -> None:
    """Refuse folders that no pack has; ``names`` end in '/', '' is the pack itself."""
    for name in names:
        if name not in _FOLDERS:
            raise _refuse("name", name, "is no folder a pack has; somebody put it there")


def _check_amount(sizes: dict[str, int]) -> None:
    if len(sizes) > MAX_FILES:
        raise _refuse("too large", "", f"the pack holds more than {MAX_FILES} files")
    for name, size in sizes.items():
        if size > MAX_FILE:
            raise _refuse("too large", name, f"is larger than {MAX_FILE >> 20} MiB")
    if sum(sizes.values()) > MAX_TOTAL:
        raise _refuse("too large", "", f"the pack is larger than {MAX_TOTAL >> 30} GiB")


class FolderSource:
    """An unpacked pack."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.name = folder.resolve().name
        self.in_threads = True
        self._closed = False
        self.sizes = {}
        for relative, entry in self._walk():
            info = entry.stat(follow_symlinks=False)
            if not stat.S_ISREG(info.st_mode):
                raise _refuse("link", relative, "is a link or a device, not a file")
            self.sizes[relative] = info.st_size
            if len(self.sizes) > MAX_FILES:
                break
        check_names(self.sizes)
        _check_amount(self.sizes)

    def _walk(self) -> Iterator[tuple[str, os.DirEntry[str]]]:
        stack = [""]
        while stack:
            inside = stack.pop()
            _check_folders([inside])
            with os.scandir(self.folder / inside) as found:
                # One more than a pack may hold is enough to know that it is none.
                for entry in sorted(islice(found, MAX_FILES + 1), key=lambda e: e.name):
                    relative = f"{inside}{entry.name}"
                    if entry.is_dir(follow_symlinks=False):
                        stack.append(f"{relative}/")
                    else:
                        yield relative, entry

    @contextmanager
    def _open(self, name: str) -> Iterator[io.FileIO]:
        # A link or pipe put there since the look is not followed, and not waited for.
        wanted = ("O_NOFOLLOW", "O_BINARY", "O_NONBLOCK")
        flags = os.O_RDONLY | sum(getattr(os, flag, 0) for flag in wanted)
        handle = os.open(self.folder / name, flags)
        with io.FileIO(handle, "rb") as stream:
            if os.fstat(handle).st_size != self.sizes[name]:
                raise _refuse("changed", name, "changed while it was read")
            yield stream

    def read(self, name: str, limit: int = MAX_FILE) -> bytes:
        """The bytes of one file; refuses more than ``limit``."""
        if self.sizes[name] > limit:
            raise _refuse("too large", name, f"is larger than {limit >> 20} MiB")
        with self._open(name) as stream:
            return stream.read(self.sizes[name] + 1) or b""

    def digest(self, name: str) -> str:
        """SHA-256 of one file in hex ('' if the source was closed meanwhile)."""
        whole = hashlib.sha256()
        with self._open(name) as stream:
            while chunk := stream.read(_CHUNK):
                if self._closed:
                    return ""
                whole.update(chunk)
        return whole.hexdigest()

    def close(self) -> None:
        """Nothing is held open; whoever is still hashing in another thread stops."""
        self._closed = True


class ZipSource:
    """A zipped pack; the one top folder is taken off the names."""

    def __init__(self, path: Path) -> None:
        self.name = path.stem
        self.in_threads = False
        with open(path, "rb") as stream:
            check_ending(stream, MAX_FILES)
        try:
            self._zip = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError) as error:
            raise _refuse("zip", path.name, f"is no whole zip file ({one_line(str(error), 80)})") from error
        try:
            self._entries = self._inspect()
        except BaseException:
            self._zip.close()
            raise

    def _inspect(self) -> dict[str, zipfile.ZipInfo]:
        infos = self._zip.infolist()
        for info in infos:
            _check_inside(info.orig_filename)
        assert self._zip.fp is not None
        check_bones(self._zip.fp, infos, self._zip.start_dir)
        files = [i for i in infos if not i.orig_filename.endswith("/")]
        names = [i.orig_filename for i in files]
        tops = {n.split("/", 1)[0] for n in names}
        inside = len(tops) == 1 and all("/" in n for n in names) and "bagit.txt" not in names
        if inside:
            top = tops.pop()
            if not _TOP.fullmatch(top) or not top.isprintable():
                raise _refuse("path", names[0], "leads out of the pack")
            self.name = top
        folders = [i.orig_filename for i in infos if i.orig_filename.endswith("/")]
        _check_folders(f.split("/", 1)[1] if inside else f for f in folders)
        found: dict[str, zipfile.ZipInfo] = {}
        for info, whole in zip(files, names, strict=True):
            name = whole.split("/", 1)[1] if inside else whole
            if name in found:
                raise _refuse("twin", name, "stands twice in the zip")
            found[name] = info
        check_names(found)
        self.sizes = {n: i.file_size for n, i in found.items()}
        _check_amount(self.sizes)
        return found

    def _chunks(self, name: str, limit: int) -> Iterator[bytes]:
        info, count = self._entries[name], 0
        try:
            with self._zip.open(info) as stream:
                while chunk := stream.read(_CHUNK):
                    count += len(chunk)
                    if count > min(limit, info.file_size):
                        raise _refuse("bomb", name, "unpacks to more than it says")
                    yield chunk
        except Refused:
            raise
        except (
            zipfile.BadZipFile,
            OSError,
            ValueError,
            EOFError,
            NotImplementedError,
            RuntimeError,
        ) as error:
            raise _refuse("zip", name, f"cannot be unpacked ({one_line(str(error), 80)})") from error
        except Exception as error:
            raise _refuse("zip", name, f"cannot be unpacked ({one_line(str(error), 80)})") from error
        if count != info.file_size:
            raise _refuse("zip", name, "unpacks to less than it says")

    def read(self, name: str, limit: int = MAX_FILE) -> bytes:
        """The bytes of one file; refuses more than ``limit``."""
        if self.sizes[name] > limit:
            raise _refuse("too large", name, f"is larger than {limit >> 20} MiB")
        return b"".join(self._chunks(name, limit))

    def digest(self, name: str) -> str:
        """SHA-256 of one file in hex."""
        whole = hashlib.sha256()
        for chunk in self._chunks(name, MAX_FILE):
            whole.update(chunk)
        return whole.hexdigest()

    def close(self) -> None:
        """Close the zip."""
        self._zip.close()


@contextmanager
def opened(path: Path) -> Iterator[Source]:
    """A pack, folder or zip, ready to be read.

    Raises
    ------
    PackError
        If there is nothing, or nothing readable.
    Refused
        For anything in its list of files that no pack has.
    """
    path = Path(path)
    if not path.exists():
        raise PackError(f"there is no pack at {one_line(path.name, 80)}; give the folder or the zip")
    source: Source
    try:
        source = FolderSource(path) if path.is_dir() else ZipSource(path)
    except OSError as error:
        raise PackError(f"the pack {one_line(path.name, 80)} cannot be read ({error.strerror})") from error
    try:
        yield source
    finally:
        source.close()
