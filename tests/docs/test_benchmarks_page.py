"""The page of measurements: every promised speed is measured by some benchmark, and a missed target says so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.benchmarks.conftest import promised
from tests.benchmarks.page import busy, met, number, rows_of, times

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("id_", promised())
def test_every_promised_speed_is_measured(id_: str) -> None:
    """Each id of speeds.csv is noted by a benchmark: by name, or by the parameter that holds it."""
    sources = " ".join(
        p.read_text(encoding="utf-8") for p in (ROOT / "tests" / "benchmarks").glob("test_*.py")
    )
    by_mode = {"align_fast": 'f"align_{mode}"', "align_thorough": 'f"align_{mode}"'}
    assert f'"{id_}"' in sources or by_mode.get(id_, "none") in sources


def test_a_missed_target_is_shown_as_missed() -> None:
    assert met({"value": 5.1, "target": 5.0, "better": "less"}) == "**no**"
    assert met({"value": 5.1, "target": 5.0, "better": "more"}) == "yes"
    assert met({"value": None, "target": 5.0, "better": "more"}) == "-"


def test_of_two_measurements_of_one_promise_the_slower_counts() -> None:
    fast, slow = ({"id": "judge", "value": v, "better": "less", "target": 2.0} for v in (1.0, 3.0))
    run = {"benchmarks": [{"extra_info": {"rows": [row]}} for row in (slow, fast)]}
    named, _ = rows_of(run)
    assert next(r for r in named if r["id"] == "judge")["value"] == 3.0


def test_figures_have_three_digits_and_their_unit() -> None:
    assert [number(v, "ms") for v in (1234.5, 12.34, 1.234, 0.0123)] == [
        "1 234 ms",
        "12.3 ms",
        "1.23 ms",
        "0.012 ms",
    ]


def test_the_page_shows_every_promise() -> None:
    text = (ROOT / "docs" / "benchmarks.md").read_text(encoding="utf-8")
    for row in promised().values():
        assert re.search(rf"^\| {re.escape(row['room'])} \| .+ \|$", text, re.M), row["room"]


def test_a_reference_that_is_much_slower_is_said_as_a_part() -> None:
    assert (times(3.21), times(0.0001)) == ("3.21x", "1/10 000")


def test_a_busy_machine_is_said() -> None:
    assert busy(()) == []
    assert "upper bound" in busy((1000.0,))[0] and "upper bound" not in busy((0.1,))[0]
