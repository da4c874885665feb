"""Network drives and folders that a service copies."""

from __future__ import annotations

from pathlib import Path

import pytest

from borelog.logbook import volumes
from borelog.logbook.errors import LogbookError
from borelog.logbook.journal import Journal

# The form of /proc/<pid>/mountinfo: proc(5), Linux man-pages.
MOUNTS = """\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
31 22 0:45 / /mnt/shop\\040drive rw,relatime shared:2 - cifs //server/shop rw
32 22 0:46 / /mnt/shop rw - nfs4 server:/shop rw
33 32 8:17 / /mnt/shop/stick rw master:3 - exfat /dev/sdb1 rw
34 22 0:47 / /home/ab/far rw - fuse.sshfs ab@far: rw
garbage line
35 22 0:48 / /odd -
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/ab/logbook", "ext4"),
        ("/mnt/shop drive/logbook", "cifs"),
        ("/mnt/shop", "nfs4"),
        ("/mnt/shop/a/b", "nfs4"),
        ("/mnt/shopping", "ext4"),
        ("/mnt/shop/stick/logbook", "exfat"),
        ("/home/ab/far/logbook", "fuse.sshfs"),
    ],
)
def test_the_file_system_under_a_path(path: str, kind: str) -> None:
    assert volumes.kind_in(MOUNTS, path) == kind


def test_a_logbook_on_a_network_drive_is_not_opened_and_not_made(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(volumes, "kind_of", lambda _: "nfs4")
    with pytest.raises(LogbookError, match=r"network drive \(nfs4\).*carry packs"):
        Journal.open(folder)
    assert not folder.exists()


def test_the_kind_of_this_disk_is_known(tmp_path: Path) -> None:
    if not Path("/proc/self/mountinfo").exists():
        pytest.skip("only Linux says so in a file")
    assert volumes.kind_of(tmp_path / "not" / "yet")
    assert volumes.kind_of(Path("/proc")) == "proc"


@pytest.mark.parametrize("name", ["Dropbox", "OneDrive - Shop", "Nextcloud", "Google Drive"])
def test_folders_of_services_by_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name / "logbook").mkdir(parents=True)
    assert name.partition(" ")[0] in volumes.synced(tmp_path / name / "logbook")
    assert volumes.synced(tmp_path) == ""


def test_folders_of_services_by_mark(tmp_path: Path) -> None:
    (tmp_path / "a" / ".stfolder").mkdir(parents=True)
    assert volumes.synced(tmp_path / "a" / "logbook")
    assert volumes.synced(tmp_path / "b") == ""
