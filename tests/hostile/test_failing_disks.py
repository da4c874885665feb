"""Disk full, read-only and failing: one plain sentence, nothing told as saved is lost, and work goes on where it can."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from borelog.logbook import chain, doctor
from borelog.logbook.entries import Note, StillFiled
from borelog.logbook.errors import LogbookError
from borelog.logbook.journal import Journal


def one_plain_sentence(error: BaseException) -> str:
    said = str(error)
    assert "\n" not in said
    assert "Traceback" not in said
    assert "Errno" not in said
    return said


def test_a_full_disk_refuses_in_words_and_goes_on_when_there_is_room(small_disk: Path) -> None:
    told = []
    filler = small_disk / "holiday.bin"
    filler.write_bytes(b"x" * 1_500_000)
    with Journal.open(small_disk / "logbook") as journal:
        id_ = journal.create("One", who="ab")

        def fill() -> None:
            for n in range(1000):
                data = os.urandom(30_000)
                sha256 = journal.pictures.put(data, ".jpg")
                told.append(journal.append(id_, StillFiled(sha256, "a.jpg", len(data), "JPEG"), who="ab"))
                told.append(journal.append(id_, Note("x" * 20_000 + str(n)), who="ab"))

        def fill_with_notes() -> None:
            for _ in range(1000):
                told.append(journal.append(id_, Note("y" * 60_000), who="ab"))

        for fills in (fill, fill_with_notes):
            with pytest.raises(LogbookError) as caught:
                fills()
            assert "disk is full" in one_plain_sentence(caught.value)
            assert "Make room" in str(caught.value)
        assert [body.text[0] for _, body, _, _ in journal.unsaved[-1:]] == ["y"]
        assert {s.digest for s in told} <= {s.digest for s in journal.entries(id_)}
        filler.unlink()
        told.append(journal.append(id_, Note("there is room again"), who="ab"))
    with Journal.open(small_disk / "logbook") as journal:
        assert {s.digest for s in told} <= {s.digest for s in journal.entries(id_)}
        assert chain.faults(journal.entries(id_)) == []
    assert [a for a in doctor.examine(small_disk / "logbook") if a.kind != "stray still"] == []


def test_a_disk_without_room_for_a_new_logbook_says_so(small_disk: Path) -> None:
    with open(small_disk / "holiday.bin", "wb", buffering=0) as file:
        while shutil.disk_usage(small_disk).free:
            file.write(b"x" * 4096)
    with pytest.raises(LogbookError) as caught:
        Journal.open(small_disk / "logbook")
    assert "disk is full" in one_plain_sentence(caught.value)
    (small_disk / "holiday.bin").unlink()
    with Journal.open(small_disk / "logbook") as journal:
        journal.create("One", who="ab")


def test_a_read_only_disk_can_be_read_and_says_that_it_cannot_be_written(small_disk: Path) -> None:
    folder = small_disk / "logbook"
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with Journal.open(folder) as journal:
        assert journal.inspection(id_).name == "One"
        assert journal.summaries()[0].name == "One"
        journal.set_whereabouts({"cylinder": 1})
        assert journal.pictures.thumb("0" * 64, lambda _: b"") is None
        for act in (
            lambda: journal.append(id_, Note("a"), who="ab"),
            lambda: journal.pictures.put(b"x", ".jpg"),
            lambda: journal.create("Two", who="ab"),
        ):
            with pytest.raises(LogbookError) as caught:
                act()
            assert "read-only" in one_plain_sentence(caught.value)
    with Journal.open(folder, read_only=True) as journal:
        assert journal.inspection(id_).name == "One"
    assert doctor.examine(folder) == ()
    with pytest.raises(LogbookError) as caught:
        Journal.open(small_disk / "new")
    assert "read-only" in one_plain_sentence(caught.value)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_without_write_permission_is_said_to_be_read_only(tmp_path: Path) -> None:
    folder = tmp_path / "logbook"
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
    for path in (*folder.rglob("*"), folder):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        with Journal.open(folder) as journal:
            assert journal.inspection(id_).name == "One"
            with pytest.raises(LogbookError, match=r"read-only|cannot be opened"):
                journal.append(id_, Note("a"), who="ab")
    finally:
        folder.chmod(0o755)


def test_a_write_cut_off_before_is_taken_back_also_when_only_reading_is_wanted(tmp_path: Path) -> None:
    folder = tmp_path / "logbook"
    with Journal.open(folder) as journal:
        id_ = journal.create("One", who="ab")
    script = f"""
import os, sqlite3
db = sqlite3.connect({str(folder / "journal.sqlite")!r}, isolation_level=None)
db.execute("PRAGMA cache_size=1"); db.execute("PRAGMA cache_spill=1")
db.execute("BEGIN IMMEDIATE")
db.execute("CREATE TABLE half AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i+1 FROM n WHERE i<3000) "
           "SELECT i, randomblob(300) b FROM n")
os._exit(1)
"""
    subprocess.run([sys.executable, "-c", script], check=False)
    assert (folder / "journal.sqlite-journal").exists()
    with Journal.open(folder, read_only=True) as journal:
        assert journal.inspection(id_).name == "One"
    assert doctor.examine(folder) == ()


SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdlib.h>
#include <unistd.h>
static int broken(void) { const char *flag = getenv("BROKEN_DISK"); return flag && access(flag, F_OK) == 0; }
int fsync(int fd) {
    if (broken()) { errno = EIO; return -1; }
    return ((int (*)(int)) dlsym(RTLD_NEXT, "fsync"))(fd);
}
int fdatasync(int fd) {
    if (broken()) { errno = EIO; return -1; }
    return ((int (*)(int)) dlsym(RTLD_NEXT, "fdatasync"))(fd);
}
"""

FAILING = """
import os, sys
from pathlib import Path
from borelog.logbook.entries import Note
from borelog.logbook.errors import LogbookError
from borelog.logbook.journal import Journal
folder, flag = Path(sys.argv[1]), Path(os.environ["BROKEN_DISK"])
def tried(act):
    try:
        act()
        print("saved", flush=True)
    except LogbookError as error:
        print("refused:", error, flush=True)
with Journal.open(folder) as journal:
    id_ = journal.create("One", who="ab")
    journal.append(id_, Note("before"), who="ab")
    journal.pictures.put(b"before")
    flag.touch()
    tried(lambda: journal.pictures.put(b"during"))
    tried(lambda: journal.append(id_, Note("during"), who="ab"))
    flag.unlink()
    tried(lambda: journal.append(id_, Note("after"), who="ab"))
    print([body.text for _, body, _, _ in journal.unsaved])
    print([r.body.text for r in journal.inspection(id_).of(Note)])
with Journal.open(folder) as journal:
    tried(lambda: journal.append(id_, Note("a new start"), who="ab"))
"""


def test_a_sync_that_fails_stops_writing_says_so_and_keeps_what_was_not_saved(tmp_path: Path) -> None:
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or sys.platform != "linux":
        pytest.skip("a failing disk is played by a small library that needs a C compiler and Linux")
    (tmp_path / "shim.c").write_text(SHIM)
    shim = tmp_path / "shim.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-o", shim, tmp_path / "shim.c", "-ldl"], check=True)
    surroundings = os.environ | {"LD_PRELOAD": str(shim), "BROKEN_DISK": str(tmp_path / "flag")}
    folder = tmp_path / "logbook"
    command = [sys.executable, "-c", FAILING, str(folder)]
    done = subprocess.run(command, env=surroundings, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    picture, during, after, unsaved, shown, again = done.stdout.splitlines()
    for line in (picture, during, after):
        assert line.startswith("refused: the disk reported a fault while saving")
        assert "another disk" in line
    assert unsaved == "['during', 'after']"
    assert shown == "['before']"
    assert again == "saved"
    with Journal.open(folder) as journal:
        texts = [r.body.text for r in journal.inspection(journal.find("last")).of(Note)]
        assert texts == ["before", "a new start"]
    assert [a.kind for a in doctor.examine(folder)] == ["stray still"]  # the picture that no entry names
