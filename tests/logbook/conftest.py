"""Copies of an inspection written apart, without a disk: the same rules as the journal's, in a few lines."""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest

from borelog.logbook import chain
from borelog.logbook.entries import Entry, Known, Stored, decode, digest_of, encode
from borelog.logbook.journal import Journal

INSPECTION = "1" * 32


class Copy:
    """One laptop's copy of one inspection."""

    def __init__(self, writer: str, stored: tuple[Stored, ...] = ()) -> None:
        self.writer = writer
        self.stored = tuple(stored)
        self._random = random.Random(writer)

    def add(self, body: Known, how: str = "", who: str = "") -> Stored:
        heads: dict[str, tuple[int, str]] = {}
        news: dict[str, int] = {}
        for s in self.stored:  # in order of arrival
            heads[s.entry.writer] = max(heads.get(s.entry.writer, (0, "")), (s.entry.number, s.digest))
            if s.entry.writer == self.writer:
                news = {}
            else:
                news[s.entry.writer] = heads[s.entry.writer][0]
        number, prev = heads.get(self.writer, (0, ""))
        raw = encode(
            Entry(
                id=uuid.UUID(int=self._random.getrandbits(128)).hex,
                inspection=INSPECTION,
                writer=self.writer,
                number=number + 1,
                prev=prev,
                clock=max((s.entry.clock for s in self.stored), default=0) + 1,
                at="2026-03-01T10:00:00+01:00",
                who=who or self.writer[:2],
                how=how,
                seen=news,
                body=body,
            )
        )
        stored = decode(raw)
        assert stored.digest == digest_of(raw)
        self.stored += (stored,)
        return stored

    def take(self, *others: Copy) -> None:
        have = {s.digest for s in self.stored}
        whole = chain.union(self.stored, *(o.stored for o in others))
        self.stored += tuple(s for s in whole if s.digest not in have)

    def branch(self, writer: str) -> Copy:
        return Copy(writer, self.stored)


@pytest.fixture
def copies() -> type[Copy]:
    return Copy


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "logbook"


@pytest.fixture
def journal(folder: Path) -> Iterator[Journal]:
    with Journal.open(folder) as opened:
        yield opened
