"""Sheets, traces and trouble codes with odd bytes in them: each is taken in part or refused in one plain line."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest

from borelog.acts.bench import Bench, open_bench
from borelog.acts.entering import open_inspection
from borelog.acts.judging import verdict_of
from borelog.acts.sheet.recording import record_text
from borelog.acts.tracing import read_trace
from borelog.text import BorelogError

ODD = (
    "\x00", "\x1b[2J", "\u202e", "\ud800", "\ufeff", "9" * 400, "1e999", "nan", "inf", "-", "=cmd|'/C calc'!A0", "[/]", "[", "]",
    ":", "::", "\r", "\n", "\t", ",", ";", "½", "１７８", "٣", "0x10", "1_000", "178/", "~", "<", "psi psi", "😀", "'", '"', "\\",
)  # fmt: skip


def mutants(text: str, count: int, seed: int) -> Iterator[str]:
    """The text with pieces cut, doubled, swapped or replaced by odd ones."""
    for number in range(count):
        chance = random.Random(f"{seed}-{number}")
        said = text
        for _ in range(chance.randint(1, 6)):
            at = chance.randrange(len(said) + 1)
            to = min(len(said), at + chance.choice((0, 1, 3, 20)))
            kind = chance.random()
            put = chance.choice(ODD) if kind < 0.6 else said[at:to] * 2 if kind < 0.8 else ""
            said = said[:at] + put + said[to:]
        yield said[: chance.randrange(len(said) + 1)] if chance.random() < 0.1 else said


def trace() -> str:
    """Starter current of an in-line four over six turns, one weak cylinder."""
    lines = ["time;current"]
    for i in range(600):
        t = i / 200
        hump = 60 * math.sin(2 * math.pi * 8 * t) * (0.4 if int(8 * t) % 4 == 2 else 1.0)
        lines.append(f"{t:.4f};{150 + hump:.1f}")
    return "\n".join(lines) + "\n"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    opened = open_bench(tmp_path / "logbook", who="T")
    yield opened
    opened.journal.close()


def plain(error: BorelogError) -> None:
    assert str(error).isprintable(), ascii(str(error))
    assert len(str(error)) < 600


def sheets(bench: Bench, count: int, seed: int) -> int:
    entered = 0
    for name in ("heron", "plover", "wren"):
        text = resources.files("borelog.demo").joinpath("sheets", f"{name}.sheet").read_text(encoding="utf-8")
        for number, said in enumerate(mutants(text, count, seed)):
            id_ = open_inspection(bench, f"{name} {number}")
            try:
                result = record_text(bench, id_, said)
            except BorelogError as error:
                plain(error)
                continue
            assert all(t.words.isprintable() for t in result.troubles)
            entered += len(bench.journal.entries(id_)) > 1
            if number % 10 == 0:
                verdict_of(bench, id_, depth=1)
    return entered


def traces(bench: Bench, folder: Path, count: int, seed: int) -> int:
    id_ = open_inspection(bench, "trace", facts={"layout": "inline 4", "firing_order": "1-3-4-2"})
    path, taken = folder / "trace.csv", 0
    for said in mutants(trace(), count, seed):
        path.write_bytes(said.encode("utf-8", "surrogatepass"))
        try:
            found = read_trace(bench, id_, str(path), {})
        except BorelogError as error:
            plain(error)
            continue
        assert all(math.isfinite(v) for v in found.amps)
        taken += 1
    return taken


def test_some_sheets_end_well(bench: Bench) -> None:
    assert sheets(bench, 12, 1) > 10


def test_some_traces_end_well(bench: Bench, tmp_path: Path) -> None:
    traces(bench, tmp_path, 30, 1)


@pytest.mark.long
def test_many_sheets_and_traces_end_well(bench: Bench, tmp_path: Path) -> None:
    print(
        "sheets entered in part:",
        sheets(bench, 120, 2),
        "of 360; traces taken:",
        traces(bench, tmp_path, 300, 2),
        "of 300",
    )
