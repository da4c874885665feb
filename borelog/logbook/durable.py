"""Files that are on the disk when we say so: write, sync the file, rename, sync the folder.

Protocol after the measurement of pulled plugs: without the folder's sync a file system with copy-on-write loses the
name of a file whose bytes are safe. After a failed sync the same file is never tried again: the system marks pages
clean although they never reached the disk (Rebello et al., USENIX ATC 2020).
"""

from __future__ import annotations

import contextlib
import os
import sys
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
