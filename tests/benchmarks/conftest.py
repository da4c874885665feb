"""How a benchmark reaches ``docs/benchmarks.md``: one fixture, one table.

``speeds.csv`` holds every promised speed with its target. A benchmark that measures one of them takes the fixture
``speed`` and calls ``speed("gate", floor=seconds)`` at its end, where ``floor`` is what a bare minimum or a reference took in
the same run. One benchmark may serve several rows. A measurement without a promise calls ``speed(what="...", ...)``.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

Row = dict[str, Any]
Note = Callable[..., None]


@cache
def promised() -> dict[str, Row]:
    """The rows of speeds.csv by id."""
    with (Path(__file__).parent / "speeds.csv").open(encoding="utf-8", newline="") as file:
        return {row["id"]: {**row, "target": float(row["target"])} for row in csv.DictReader(file)}


@pytest.fixture
def speed(benchmark: Any) -> Note:
    """Note a measured row: ``speed(id, value=None, floor=None, per=1)`` or ``speed(what=..., target=..., room=...)``.

    ``value`` is in the row's unit; without it the benchmark's shortest round counts, divided by ``per`` (frames, stills).
    ``floor`` is in seconds (also divided by ``per``), ``floor_is`` says what it was. ``better`` is 'less' or 'more'.
    """

    def note(
        id_: str = "",
        *,
        value: float | None = None,
        floor: float | None = None,
        per: float = 1,
        floor_is: str = "",
        **own: Any,
    ) -> None:
        row: Row = (
            dict(promised()[id_]) if id_ else {"unit": "ms", "better": "less", "room": "", "target": None}
        )
        row |= own
        if floor_is:
            row["floor"] = floor_is
        if value is None:
            value = 1e3 * benchmark.stats.stats.min / per
        row["value"] = float(value)
        if floor is not None:
            row["floor_ms"] = 1e3 * floor / per
            if row["unit"] == "ms":
                row["ratio"] = row["value"] / row["floor_ms"]
        benchmark.extra_info.setdefault("rows", []).append(row)

    return note
