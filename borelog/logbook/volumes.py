"""Where a logbook must not live: on network drives; and where it had better not: in folders that a service syncs."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from borelog.logbook.errors import LogbookError
from borelog.text import one_line

NETWORK = frozenset(
    [
        *(
            "nfs",
            "nfs4",
            "cifs",
            "smb2",
            "smb3",
            "smbfs",
            "ncpfs",
            "afs",
            "afpfs",
            "ceph",
            "coda",
            "davfs",
            "webdav",
        ),
        *("9p", "virtiofs", "lustre", "beegfs", "gpfs", "orangefs", "glusterfs"),
        *(
            "fuse.sshfs",
            "fuse.glusterfs",
            "fuse.ceph",
            "fuse.rclone",
            "fuse.s3fs",
            "fuse.davfs",
            "fuse.davfs2",
        ),
        *("fuse.smbnetfs", "fuse.curlftpfs", "fuse.gvfsd-fuse"),
    ]
)
"""File systems over which locks and syncs cannot be relied on (SQLite: 'How to corrupt', section on locking)."""

_SYNCED_NAMES = re.compile(
    r"dropbox|onedrive|google ?drive|icloud|mobile documents|com~apple~clouddocs|nextcloud|owncloud|pcloud|seafile|"
    r"mega ?sync|box sync|syncthing",
    re.IGNORECASE,
)
_SYNC_MARKERS = (
    ".stfolder",
    ".dropbox",
    ".dropbox.cache",
    ".owncloudsync.log",
    ".nextcloudsync.log",
    ".csync_journal.db",
)
_ESCAPED = re.compile(r"\\([0-7]{3})")


def kind_in(mountinfo: str, path: str) -> str:
    """The type of the file system that holds an absolute path, from the text of Linux' ``mountinfo``; '' unknown."""
    best, kind = -1, ""
    for line in mountinfo.splitlines():
        left, dash, right = line.partition(" - ")
        fields = left.split()
        if not dash or len(fields) < 5:
            continue
        point = _ESCAPED.sub(lambda m: chr(int(m[1], 8)), fields[4])
        inside = path == point or path.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= best:
            best, kind = len(point), right.split()[0] if right.split() else ""
    return kind


def kind_of(path: Path) -> str:
    """The type of the file system under a path that may not exist yet; '' where the system does not say."""
    real = os.path.realpath(path)
    if sys.platform == "linux":
        try:
            text = Path("/proc/self/mountinfo").read_text("utf-8", "replace")
        except OSError:
            return ""
        return kind_in(text, real)
    if sys.platform == "win32":  # pragma: no cover
        import ctypes

        drive = os.path.splitdrive(real)[0] + "\\"
        remote = drive.startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(drive) == 4
        return "smb3" if remote else ""
    if sys.platform == "darwin":  # pragma: no cover
        told = subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=10, check=False).stdout
        found = [
            (m[1], m[2])
            for m in re.finditer(r" on (.+) \((\w+)", told)
            if real.startswith(m[1].rstrip("/") + "/")
        ]
        return max(found, key=lambda f: len(f[0]), default=("", ""))[1]
    return ""


def refuse_network(folder: Path) -> None:
    """Raise for a folder on a network drive.

    Raises
    ------
    LogbookError
        Names the kind of drive and the way out.
    """
    kind = kind_of(folder)
    if kind in NETWORK:
        raise LogbookError(
            f"{one_line(str(folder), 200)} is on a network drive ({kind}), where a logbook can be damaged; keep it on a "
            "disk of this computer and carry packs over the network"
        )


def synced(folder: Path) -> str:
    """A warning for a folder that a sync service seems to copy; '' where none shows."""
    real = Path(os.path.realpath(folder))
    for place in (real, *real.parents):
        if _SYNCED_NAMES.match(place.name) or any((place / m).exists() for m in _SYNC_MARKERS):
            return (
                f"the logbook lies in {one_line(str(place), 120)}, which looks like a folder that a service copies while "
                "it is being written; that can damage it. Move it to another folder and let the service copy packs"
            )
    return ""
