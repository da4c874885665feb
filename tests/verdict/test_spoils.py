"""Conditions of a test and what they do to its trust: every named condition is in the table that carries it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench, open_bench
from borelog.acts.sheet.recording import record_text
from borelog.knowledge import tables
from borelog.knowledge.faults import shipped
from borelog.verdict.signs.all import signs


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A logbook of its own."""
    opened = open_bench(tmp_path / "logbook", who="MB")
    yield opened
    opened.journal.close()


def chance(bench: Bench, sheet: str, variable: str) -> float:
    """The chance of a spoiled test that the record leads to."""
    id_ = entering.open_inspection(bench, "one")
    result = record_text(bench, id_, f"[engine]\nlayout: inline 4\n{sheet}", "one")
    assert result.clean, result.troubles
    doubts = signs(bench.inspection(id_), shipped()).doubts
    return next(d.spoil.chance for d in doubts if d.spoil.variable == variable)


def test_every_condition_that_spoils_has_its_chance() -> None:
    """A condition that no table carries would be dropped without a word."""
    rows = tables.rows("condition_spoils.csv", "variable", "tests", "condition", "answers", "spoil", "why")
    assert {(r["variable"], r["spoil"]) for r in rows} <= set(shipped().validity)


def test_oil_before_the_dry_tests_is_doubted(bench: Bench) -> None:
    """Wet-test oil left in the cylinder makes it no dry test; service-manual order, common practice."""
    figures = "1: 150 psi\n2: 150\n3: 150\n4: 150\n"
    dry = "[compression dry]\nthrottle: open\nplugs out: all\n"
    assert chance(bench, dry + figures, "compression_dry") < 0.05
    assert chance(bench, dry + "oil in before: yes\n" + figures, "compression_dry") >= 0.5


def test_the_valve_core_left_in_the_hose_is_nearly_no_test(bench: Bench) -> None:
    """Before a shut valve the tester reads a perfect seal; common practice."""
    leak = "[leak-down dry]\ntop dead centre: proven\ncrank held: yes\nvalve core out: {}\n3: 1 none\n"
    assert chance(bench, leak.format("yes"), "leak_down") < 0.05
    assert chance(bench, leak.format("no"), "leak_down") > 0.9
