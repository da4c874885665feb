"""Worked cases entered from plain sheets, with real readings and conditions: who leads, what is doubted, what is next."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench, open_bench
from borelog.acts.money import priced
from borelog.acts.sheet.recording import record_text
from borelog.knowledge.faults import shipped
from borelog.logbook.inspection import Inspection
from borelog.verdict.judge import Judgement, judge

FOLDER = Path(__file__).parent / "cases"
EXPECTED: dict[str, dict[str, Any]] = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """One logbook for all cases."""
    opened = open_bench(tmp_path_factory.mktemp("cases") / "logbook", who="MB")
    yield opened
    opened.journal.close()


def recorded(bench: Bench, case: str) -> Inspection:
    """The case as an inspection."""
    id_ = entering.open_inspection(bench, case)
    result = record_text(bench, id_, (FOLDER / f"{case}.sheet").read_text(encoding="utf-8"), case)
    assert result.clean, result.troubles
    return replace(bench.inspection(id_), id=case)  # the draws hang on the id: the same in every run


@pytest.fixture(scope="module", params=sorted(EXPECTED))
def judged(bench: Bench, request: pytest.FixtureRequest) -> tuple[str, Judgement]:
    """Each case with its verdict, money from the placeholder tables."""
    inspection = recorded(bench, request.param)
    return request.param, judge(inspection, shipped(), priced(inspection, shipped(), {}))


def test_the_expected_cause_leads(judged: tuple[str, Judgement]) -> None:
    """Per cylinder and for the engine as a whole."""
    case, judgement = judged
    posterior = judgement.posterior
    assert posterior is not None
    for cylinder, allowed in EXPECTED[case]["cylinders"].items():
        leader, chance = posterior.ranked(int(cylinder))[0]
        assert leader in allowed, (case, cylinder, leader, chance, posterior.ranked(int(cylinder))[:3])
    for cylinder, second in EXPECTED[case].get("with", {}).items():
        said = next(c for c in judgement.verdict.cylinders if c.cylinder == int(cylinder))
        assert said.enough and said.with_it == second, (case, said)
    assert posterior.ranked_engine()[0][0] in EXPECTED[case]["engine"], posterior.ranked_engine()[:3]


def test_a_trap_is_named(judged: tuple[str, Judgement]) -> None:
    """As a contradiction, a doubtful test or 'not enough evidence'."""
    case, judgement = judged
    open_ = {c.cylinder for c in judgement.verdict.cylinders if not c.enough}
    if EXPECTED[case].get("doubt"):
        assert judgement.verdict.contradictions, case
    assert set(EXPECTED[case].get("open", ())) <= open_


def test_the_next_best_test_is_among_the_first_three(judged: tuple[str, Judgement]) -> None:
    """'None needed' is an answer where the case says so."""
    case, judgement = judged
    shown = judgement.verdict.next_tests
    first = {n.test for n in shown} or {"none"}
    assert first & set(EXPECTED[case]["next"]), (case, [(n.test, n.cylinder, n.worth) for n in shown])
