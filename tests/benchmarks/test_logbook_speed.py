"""How long the record takes, beside a floor measured in the same run; targets are noted, never asserted."""

from __future__ import annotations

import hashlib
import json
import os
import random
import sqlite3
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from borelog.logbook import chain, doctor
from borelog.logbook.entries import (
    Entry,
    Finding,
    Known,
    Note,
    Reading,
    Seen,
    StillFiled,
    Stored,
    decode,
    digest_of,
    encode,
)
from borelog.logbook.fold import fold
from borelog.logbook.journal import Journal
from borelog.logbook.search import search

pytestmark = pytest.mark.bench
Speed = Callable[..., None]


def best_of(work: Callable[[], Any], times: int = 5) -> float:
    """The shortest of several runs, seconds."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


def body(n: int) -> Known:
    cylinder = n % 6 + 1
    return [
        Note("a note of some length about things", cylinder),
        Reading("compression_dry", cylinder, "160 158", (160.0, 158.0), "psi", series=str(n)),
        Seen("plug_colour", cylinder, "tan", series=str(n)),
        Finding("scuff", cylinder),
    ][n % 4]


@pytest.fixture(scope="module")
def ten_thousand() -> list[Stored]:
    stored: list[Stored] = []
    prev = ""
    for n in range(1, 10_001):
        entry = Entry(
            id=uuid.uuid4().hex,
            inspection="0" * 32,
            writer="a" * 32,
            number=n,
            prev=prev,
            clock=n,
            at="2026-03-01T10:00:00+01:00",
            who="ab",
            how="measured",
            body=body(n),
        )
        stored.append(decode(encode(entry)))
        prev = stored[-1].digest
    return stored


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """1 000 inspections with 100 entries each."""
    folder = tmp_path_factory.mktemp("large") / "logbook"
    with Journal.open(folder) as journal:
        for n in range(1000):
            id_ = journal.create(f"engine {n}", who="ab")
            journal.append_many(id_, [(body(k), "measured") for k in range(99)], who="ab")
    return folder


def test_decode_and_fold_ten_thousand_entries(
    benchmark: Any, ten_thousand: list[Stored], speed: Speed
) -> None:
    """Floor: the same bytes read as plain JSON by the standard library."""
    pairs = [(s.raw, s.digest) for s in ten_thousand]
    benchmark(lambda: fold([decode(raw, digest) for raw, digest in pairs]))
    floor = best_of(lambda: [json.loads(raw) for raw, _ in pairs])
    speed(
        what="decoding and folding 10 000 entries",
        room="logbook",
        target=60,
        floor=floor,
        floor_is="plain JSON",
    )


def test_fold_ten_thousand_entries(benchmark: Any, ten_thousand: list[Stored], speed: Speed) -> None:
    """Floor: the same bytes read as plain JSON by the standard library."""
    benchmark(lambda: fold(ten_thousand))
    speed("fold", floor=best_of(lambda: [json.loads(s.raw) for s in ten_thousand]))


def test_verify_ten_thousand_entries(benchmark: Any, ten_thousand: list[Stored], speed: Speed) -> None:
    """Floor: SHA-256 of the same bytes."""
    assert benchmark(lambda: chain.faults(ten_thousand)) == []
    speed("verify", floor=best_of(lambda: [hashlib.sha256(s.raw).hexdigest() for s in ten_thousand]))


def test_open_and_list_a_thousand_inspections_with_a_hundred_thousand_entries(
    benchmark: Any, large: Path, speed: Speed
) -> None:
    """Floor: a bare SQLite connection that reads the rows of the list."""

    def work() -> None:
        with Journal.open(large) as journal:
            assert len(journal.summaries()) == 1000

    def bare() -> None:
        db = sqlite3.connect(large / "journal.sqlite")
        db.execute("SELECT * FROM summary ORDER BY last DESC").fetchall()
        db.close()

    benchmark(work)
    speed("list", floor=best_of(bare))


def test_search_a_hundred_thousand_entries(benchmark: Any, large: Path, speed: Speed) -> None:
    """The worst case, a word that is nowhere. Floor: reading every row."""
    with Journal.open(large) as journal:
        benchmark(lambda: search(journal, "nowhere"))
        db = journal._db
        floor = best_of(lambda: db.execute("SELECT raw, digest FROM entry").fetchall())
    speed(
        what="a word that is nowhere in 100 000 entries",
        room="logbook",
        target=500,
        floor=floor,
        floor_is="reading every row",
    )


def test_doctor_over_a_hundred_thousand_entries(benchmark: Any, large: Path, speed: Speed) -> None:
    """Floor: SQLite's own check of the file."""
    assert benchmark.pedantic(lambda: doctor.examine(large), rounds=2) == ()
    db = sqlite3.connect(large / "journal.sqlite")
    floor = best_of(lambda: db.execute("PRAGMA integrity_check").fetchall(), 2)
    db.close()
    speed(
        what="looking over a logbook of 100 000 entries",
        room="logbook",
        target=5000,
        floor=floor,
        floor_is="SQLite's own check",
    )


def test_a_durable_still_of_250_kB(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """Floor: the same bytes written to a bare file and synced."""
    base = bytearray(random.Random(3).randbytes(250_000))
    count = 0

    def fresh() -> bytes:
        nonlocal count
        count += 1
        base[:8] = count.to_bytes(8, "big")
        return bytes(base)

    def bare() -> None:
        with open(tmp_path / f"bare-{count}", "wb") as file:
            file.write(fresh())
            file.flush()
            os.fsync(file.fileno())

    with Journal.open(tmp_path / "logbook") as journal:
        id_ = journal.create("One", who="ab")

        def work() -> None:
            data = fresh()
            sha256 = journal.pictures.put(data, ".jpg")
            journal.append(id_, StillFiled(sha256, "a.jpg", len(data), "JPEG"), who="ab")

        benchmark.pedantic(work, rounds=200, warmup_rounds=20)
    what = "filing a still of 250 kB so that it survives"
    speed(
        what=what,
        room="logbook",
        target=2.5,
        floor=best_of(bare, 50),
        floor_is="a bare file written and synced",
    )


@pytest.mark.parametrize("before", [10, 10_000])
def test_append_to_a_short_and_a_long_inspection(
    benchmark: Any, tmp_path: Path, before: int, speed: Speed
) -> None:
    """Flat: what stands before does not matter. Floor: a bare row committed with the same settings."""
    with Journal.open(tmp_path / "logbook") as journal:
        id_ = journal.create("One", who="ab")
        journal.append_many(id_, [(body(n), "") for n in range(before)], who="ab")
        benchmark.pedantic(lambda: journal.append(id_, Note("x"), who="ab"), rounds=100, warmup_rounds=5)
    db = sqlite3.connect(tmp_path / "bare.sqlite", isolation_level=None)
    db.execute("PRAGMA synchronous=EXTRA")
    db.execute("CREATE TABLE t (x)")
    floor = best_of(lambda: db.execute("INSERT INTO t VALUES ('x')"), 50)
    db.close()
    what = f"one entry after {before} others, so that it survives"
    speed(
        what=what,
        room="logbook",
        target=5,
        floor=floor,
        floor_is="a bare row committed with the same settings",
    )


def test_encoding_is_canonical_at_speed(benchmark: Any, ten_thousand: list[Stored], speed: Speed) -> None:
    """Floor: SHA-256 of the same bytes."""
    entries = [s.entry for s in ten_thousand]
    benchmark(lambda: [digest_of(encode(e)) for e in entries])  # type: ignore[arg-type]
    floor = best_of(lambda: [hashlib.sha256(s.raw).hexdigest() for s in ten_thousand])
    speed(
        what="encoding 10 000 entries",
        room="logbook",
        target=60,
        floor=floor,
        floor_is="SHA-256 of the same bytes",
    )
