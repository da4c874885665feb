"""A program that writes a logbook until it is killed, and the check of what it left. Run by the crash tests.

Every acknowledgement is written only after the entry is committed. With ``--break RULE`` one rule of the protocol is
left out, to prove that the tests would notice.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import select
import signal
import sqlite3
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import platformdirs  # noqa: F401  # loaded before the fork, so that a killed child has had time to write

from borelog.logbook import chain, doctor, durable, schema
from borelog.logbook.entries import Note, StillFiled
from borelog.logbook.errors import LogbookError
from borelog.logbook.journal import Journal

RULES = ("file-sync", "folder-sync", "commit-sync", "row-first")
STEPS = {
    1: """ALTER TABLE summary ADD COLUMN colour TEXT NOT NULL DEFAULT 'grey';
    CREATE TABLE copy (row INTEGER PRIMARY KEY, raw BLOB NOT NULL) STRICT;
    INSERT INTO copy SELECT row, raw FROM entry;
    CREATE INDEX by_raw ON copy (raw);"""
}


def leave_out(rule: str, journal: Journal) -> None:
    """Break one rule of the protocol in this process."""
    real = durable.sync_handle
    if rule == "file-sync":
        durable.sync_handle = lambda h: real(h) if os.path.isdir(f"/proc/self/fd/{h}") else None
    elif rule == "folder-sync":
        durable.sync_folder = lambda folder: None
    elif rule == "commit-sync":
        journal._db.execute("PRAGMA synchronous=OFF")


def write(folder: Path, tell: Callable[[str], None], rule: str, seed: int) -> None:
    """File stills and notes as fast as it goes, telling each one after it is safe."""
    chance = random.Random(seed)
    with Journal.open(folder) as journal:
        leave_out(rule, journal)
        rows = journal.summaries()
        id_ = rows[0].id if rows else journal.create("crash", who="rig")
        while True:
            data = chance.randbytes(chance.randrange(2_000, 60_000))
            sha256 = hashlib.sha256(data).hexdigest()
            body = StillFiled(sha256, "x.bin", len(data), "BIN")
            if rule == "row-first":
                stored = journal.append(id_, body, who="rig")
                tell(f"{stored.entry.id} {stored.digest} {sha256}")
                journal.pictures.put(data)
                continue
            if chance.random() < 0.5:
                journal.pictures.put(data)
                tell(f"- - {sha256}")  # the store alone promises as much
            else:  # as a pack is taken in: several at once
                more = [data, *(chance.randbytes(9_000) for _ in range(3))]
                given = {hashlib.sha256(d).hexdigest(): d for d in more}
                journal.pictures.put_all((k, ".bin", lambda d=d: d) for k, d in given.items())
                for digest in given:
                    tell(f"- - {digest}")
            time.sleep(chance.uniform(0.0, 0.012))  # a plug is mostly pulled while nobody writes
            stored = journal.append(id_, body, who="rig")
            tell(f"{stored.entry.id} {stored.digest} {sha256}")
            stored = journal.append(id_, Note(str(chance.random())), who="rig")
            tell(f"{stored.entry.id} {stored.digest} -")


def losses(folder: Path, told: list[str]) -> list[str]:
    """What of the told entries and their stills is not there, and what else is wrong."""
    if not told and not (folder / "journal.sqlite").exists():
        return []
    try:
        with Journal.open(folder) as journal:
            have = {s.entry.id: s.digest for id_ in journal.ids() for s in journal.entries(id_)}
            out = [f for id_ in journal.ids() for f in chain.faults(journal.entries(id_))]
            for line in told:
                id_, digest, sha256 = line.split()
                if id_ != "-" and have.get(id_) != digest:
                    out.append(f"entry {id_[:8]} is lost")
                elif sha256 != "-":
                    held = journal.pictures.find(sha256)
                    if held is None or hashlib.sha256(held.read_bytes()).hexdigest() != sha256:
                        out.append(f"still {sha256[:8]} is lost or torn")
            said = journal._db.execute("PRAGMA integrity_check").fetchone()[0]
            if said != "ok":
                out.append(said)
    except LogbookError as error:
        return [str(error)]
    harmless = ("stray still", "left over")
    return out + [a.sentence for a in doctor.examine(folder, deep=False) if a.kind not in harmless]


def kills(folder: Path, count: int, rule: str, seed: int) -> dict[str, object]:
    """Kill a writing child ``count`` times at random moments and check now and then; stop at the first loss."""
    chance = random.Random(seed)
    told: list[str] = []
    for number in range(count):
        told.extend(_one_kill(folder, rule, seed + number, chance.uniform(0.002, 0.12), wait=number % 2 == 1))
        due = rule or number % 10 == 9 or number == count - 1
        if due and (lost := losses(folder, told)):
            return {"kills": number + 1, "told": len(told), "lost": lost[:3]}
    return {"kills": count, "told": len(told), "lost": []}


def _one_kill(folder: Path, rule: str, seed: int, after: float, *, wait: bool) -> list[str]:
    """Kill a child some time after its start, or (``wait``) after it has told of its first safe thing."""
    read, wrote = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)

        def tell(line: str) -> None:
            os.write(wrote, (line + "\n").encode())

        try:
            write(folder, tell, rule, seed)
        finally:
            os._exit(1)
    os.close(wrote)
    if wait:
        select.select([read], [], [], 30)
    time.sleep(after)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(read, "r") as pipe:
        return pipe.read().split("\n")[:-1]  # the last is empty or cut off in the middle


def prepare_old(folder: Path) -> None:
    """A logbook of version 1 with some weight, for the migration."""
    with Journal.open(folder) as journal:
        for n in range(6):
            id_ = journal.create(f"old {n}", who="rig")
            journal.append_many(id_, [(Note("x" * 300 + str(k)), "") for k in range(400)], who="rig")


def migrate(folder: Path) -> None:
    """Open with a program that knows version 2."""
    schema.STEPS, schema.VERSION = STEPS, 2
    Journal.open(folder).close()


def old_or_new(folder: Path) -> list[str]:
    """What is wrong after a migration was cut off: it must be wholly old or wholly new, and finish when tried again."""
    out: list[str] = []
    with closing(sqlite3.connect(f"file:{folder / 'journal.sqlite'}", uri=True)) as db, db:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        tables = {row[0] for row in db.execute("SELECT name FROM sqlite_schema")}
        if version not in (1, 2) or ("copy" in tables) != (version == 2):
            out.append(f"version {version} with tables {sorted(tables)}")
        if db.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            out.append("damaged")
    migrate(folder)
    with Journal.open(folder) as journal:
        entries = [journal.entries(id_) for id_ in journal.ids()]
        if [len(e) for e in entries] != [401] * 6 or any(chain.faults(e) for e in entries):
            out.append("entries were lost")
        if journal._db.execute("SELECT count(*) FROM copy").fetchone()[0] != 2406:
            out.append("the new table is not whole")
    kept = folder / "before-migration" / "journal-version-1.sqlite"
    with closing(sqlite3.connect(kept)) as db, db:
        if db.execute("SELECT count(*) FROM entry").fetchone()[0] != 2406:
            out.append("the copy from before is not whole")
    return out


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("job", choices=["write", "check", "kills", "prepare", "migrate", "old-or-new"])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--acks", type=Path)
    parser.add_argument("--break", dest="rule", default="", choices=["", *RULES])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    if args.job == "write":
        with open(args.acks, "a", buffering=1) as acks:
            write(args.folder, lambda line: acks.write(line + "\n") and None, args.rule, args.seed)
    elif args.job == "check":
        text = args.acks.read_text() if args.acks.exists() else ""
        print(json.dumps(losses(args.folder, text.split("\n")[:-1])))
    elif args.job == "kills":
        print(json.dumps(kills(args.folder, args.count, args.rule, args.seed)))
    elif args.job == "prepare":
        prepare_old(args.folder)
    elif args.job == "migrate":
        print("begun", flush=True)
        migrate(args.folder)
    else:
        print(json.dumps(old_or_new(args.folder)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
