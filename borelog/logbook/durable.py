"""Files that are on the disk when we say so: write, sync the file, rename, sync the folder.

Protocol after the measurement of pulled plugs: without the folder's sync a file system with copy-on-write loses the
name of a file whose bytes are safe. After a failed sync the same file is never tried again: the system marks pages
clean although they never reached the disk (Rebello et al., USENIX ATC 2020).
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path


def sync_handle(handle: int) -> None:
    """Have the bytes of an open file on the medium (macOS needs its own call for that)."""
    if sys.platform == "darwin":  # pragma: no cover
        import fcntl

        try:
            fcntl.fcntl(handle, fcntl.F_FULLFSYNC)
        except OSError:
            pass
        else:
            return
    os.fsync(handle)


def sync_folder(folder: Path) -> None:
    """Have the names inside a folder on the medium. Windows has no such call and needs none."""
    if os.name == "nt":  # pragma: no cover
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        sync_handle(handle)
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """A folder, with its parents, whose name is on the medium."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    with contextlib.suppress(FileExistsError):
        folder.mkdir()
    sync_folder(folder.parent)


def _each(work: Callable[[Path], None], paths: Iterable[Path]) -> None:
    # Syncs asked for at the same time share one commit of the file system's journal.
    with ThreadPoolExecutor(8) as pool:
        for _ in pool.map(work, list(paths)):
            pass


def _sync_path(path: Path) -> None:
    handle = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        sync_handle(handle)
    finally:
        os.close(handle)


def write_files(files: Sequence[tuple[Path, Callable[[], bytes]]]) -> None:
    """Write many whole files, each as :func:`write_file` would, with their syncs side by side and one a folder.

    Nothing has its name before all bytes are on the medium; when this returns, every file is there with its name. If
    anything fails, none of the targets was touched by a part of a file, and the parts are gone.

    Parameters
    ----------
    files
        (target, what gives its bytes); bytes are asked for one file after another, so that they never lie in memory together.
    """
    folders = dict.fromkeys(target.parent for target, _ in files)
    fresh = [f for f in folders if not f.is_dir()]
    roots = [f for f in dict.fromkeys(f.parent for f in fresh) if not f.is_dir()]
    parts: dict[Path, Path] = {}
    try:
        for root in roots:
            make_folder(root)
        for folder in fresh:
            folder.mkdir(exist_ok=True)
        for above in dict.fromkeys(f.parent for f in fresh):
            sync_folder(above)
        for target, give in files:
            data = give()
            part = target.with_name(f".{target.name}.{os.getpid()}.part")
            parts[part] = target
            with open(part, "wb") as file:
                file.write(data)
        _each(_sync_path, parts)
        for part, target in parts.items():
            os.replace(part, target)
    except BaseException:
        for part in parts:
            part.unlink(missing_ok=True)
        for folder in (*fresh, *roots):
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise
    _each(sync_folder, folders)


def write_file(target: Path, data: bytes) -> None:
    """Write a whole file so that after a pulled plug it is there in full or not at all."""
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with open(part, "wb") as file:
            file.write(data)
            file.flush()
            sync_handle(file.fileno())
        os.replace(part, target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    sync_folder(target.parent)


def sync_tree(folder: Path) -> None:
    """Have every file and folder of a finished tree on the medium, their syncs side by side."""
    files = [Path(inside, name) for inside, _, names in os.walk(folder) for name in names]
    _each(_sync_path, files)
    _each(sync_folder, [Path(inside) for inside, _, _ in os.walk(folder)])
