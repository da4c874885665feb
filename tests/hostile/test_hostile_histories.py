"""Forged and mangled entries and databases: refused or kept as unknown, never a crash, never a loss."""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
import tempfile
import uuid
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from borelog.logbook import chain, doctor
from borelog.logbook.entries import (
    Correct,
    Entry,
    EntryError,
    Finding,
    Forgotten,
    Known,
    Note,
    Reading,
    Seen,
    StillFiled,
    Stored,
    Undo,
    Withdraw,
    decode,
    encode,
)
from borelog.logbook.errors import Conflict
from borelog.logbook.fold import fold
from borelog.logbook.journal import Journal
from borelog.logbook.search import search
from borelog.text import BorelogError

BODIES: list[Known] = [
    Note("a note", 3),
    Reading("compression_dry", 3, "150 psi", (150.0,), "psi"),
    Seen("plug_colour", 1, "tan"),
    Finding("scuff", 2),
    StillFiled("a" * 64, "x.jpg", 3, "JPEG"),
    Correct("1" * 32, Note("b")),
    Withdraw("1" * 32, "why"),
]


def entry(body: Known, **changes: Any) -> Entry:
    given_ = {
        "id": uuid.uuid4().hex,
        "inspection": "0" * 32,
        "writer": "a" * 32,
        "number": 1,
        "prev": "",
        "clock": 1,
        "at": "2026-03-01T10:00:00+01:00",
        "who": "ab",
    }
    return Entry(**(given_ | changes), body=body)


def in_words(work: Callable[[], Any]) -> Any:
    """What the work gives, or what it says: any other error than ours is not caught."""
    said = ""
    try:
        return work()
    except BorelogError as error:
        said = str(error)
    assert said
    assert "\n" not in said
    return said


@settings(max_examples=600, deadline=None)
@given(
    body=st.sampled_from(BODIES),
    cuts=st.lists(st.tuples(st.integers(0, 400), st.binary(max_size=6), st.integers(0, 6)), max_size=4),
)
def test_mangled_bytes_are_an_entry_unknown_or_refused(
    body: Known, cuts: list[tuple[int, bytes, int]]
) -> None:
    raw = encode(entry(body))
    for at, put, drop in cuts:
        raw = raw[:at] + put + raw[at + drop :]
    said = in_words(lambda: decode(raw))
    if not isinstance(said, Stored):
        return
    stored = said
    assert stored.raw == raw
    fold([stored])
    chain.faults([stored])


junk = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=400, deadline=None)
@given(
    body=st.sampled_from(BODIES),
    where=st.sampled_from(["top", "body"]),
    key=st.sampled_from(
        ["kind", "id", "clock", "number", "seen", "at", "test", "values", "target", "text", "place", "x"]
    ),
    value=junk,
)
def test_a_field_of_any_other_kind_is_an_entry_unknown_or_refused(
    body: Known, where: str, key: str, value: Any
) -> None:
    loose = json.loads(encode(entry(body)))
    (loose if where == "top" else loose["body"])[key] = value
    raw = json.dumps(loose).encode()
    try:
        stored = decode(raw)
    except EntryError:
        return
    fold([stored])
    chain.faults([stored])


@settings(max_examples=200, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_any_forged_history_folds_to_something(seed: int) -> None:
    """Targets that point at themselves, at each other or nowhere, counts nobody saw, clocks in any order."""
    chance = random.Random(seed)
    ids = [f"{n:032x}" for n in range(8)]
    stored: list[Stored] = []
    for _ in range(chance.randrange(30)):
        target = chance.choice(ids)
        body = chance.choice(
            [
                Note("n"),
                Seen("x", 1, "s"),
                Correct(target, Seen("x", 1, "t")),
                Correct(target, Note("m")),
                Withdraw(target),
                Undo(target),
                Forgotten("a" * 64, "w"),
                StillFiled("a" * 64, "x", 1, "JPEG"),
            ]
        )
        forged = entry(
            body,
            id=chance.choice(ids),
            writer=chance.choice("abc"),
            number=chance.randrange(1, 6),
            clock=chance.randrange(1, 9),
            seen={chance.choice("abc"): chance.randrange(9)},
        )
        stored.append(decode(encode(forged)))
    fold(stored)
    chain.faults(stored)


def test_deep_nesting_does_not_take_the_program_down() -> None:
    nested = b"[" * 100_000 + b"]" * 100_000
    raw = encode(entry(Note("x"))).replace(b'"text":"x"', b'"text":' + nested)
    with pytest.raises((EntryError, RecursionError)) as caught:
        decode(raw)
    assert isinstance(caught.value, BorelogError)


def test_a_forged_clock_cannot_stop_the_next_entry(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "logbook") as journal:
        # Nor one at the end of the range, which would leave no room for a next one.
        for clock in (2, 2**53, 2**53 + 1, 2**63 - 1):
            with pytest.raises(Conflict, match="clock"):
                journal.merge([decode(encode(entry(Note("x"), clock=clock)))])
        journal.merge([decode(encode(entry(Note("x"), clock=1)))])
        journal.append("0" * 32, Note("goes on"), who="ab")
        assert journal.inspection("0" * 32).entries == 2


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("template") / "logbook"
    with Journal.open(folder) as journal:
        for n in range(3):
            id_ = journal.create(f"Number {n}", who="ab")
            journal.append_many(id_, [(body, "") for body in BODIES * 3], who="ab")
    return folder


def read_through(folder: Path) -> None:
    with Journal.open(folder) as journal:
        journal.summaries()
        search(journal, "note")
        for id_ in journal.ids():
            journal.inspection(id_)


def write_on(folder: Path) -> None:
    with Journal.open(folder) as journal:
        journal.summaries()
        journal.append(journal.ids()[0], Note("x"), who="ab")


def test_a_database_with_flipped_bytes_never_ends_in_a_traceback(template: Path) -> None:
    """150 copies, each with a few bytes overwritten; reading, listing, searching and the doctor end in words."""
    chance = random.Random(int(os.environ.get("BORELOG_FUZZ_SEED", "7")))
    said = 0
    raw = (template / "journal.sqlite").read_bytes()
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "logbook"
        for _ in range(150):
            folder.mkdir(exist_ok=True)
            data = bytearray(raw)
            for _ in range(chance.randrange(1, 6)):
                at = chance.choice([chance.randrange(100), chance.randrange(len(data))])
                data[at : at + 4] = chance.randbytes(4)
            (folder / "journal.sqlite").write_bytes(bytes(data[: len(raw)]))
            said += bool(doctor.examine(folder))
            in_words(partial(read_through, folder))
            shutil.rmtree(folder)
    assert said > 75


def test_a_database_full_of_other_things_is_refused(tmp_path: Path, template: Path) -> None:
    """Right marks, wrong tables: views in the place of tables, a missing table, text where bytes should be."""
    tricks = [
        "DROP TABLE summary; CREATE VIEW summary AS SELECT * FROM inspection",
        "DROP TABLE head",
        "DROP TRIGGER entry_never_changed; UPDATE entry SET raw=CAST('text' AS BLOB)",
        "DROP TABLE writer",
    ]
    for number, trick in enumerate(tricks):
        folder = tmp_path / str(number)
        shutil.copytree(template, folder)
        with closing(sqlite3.connect(folder / "journal.sqlite")) as db, db:
            db.execute("PRAGMA foreign_keys=OFF")
            for statement in trick.split(";"):
                db.execute(statement)
        assert doctor.examine(folder)
        in_words(partial(write_on, folder))
