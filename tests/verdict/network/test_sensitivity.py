"""How much of the verdict hangs on single numbers: each probability of the tables moved one class up or down.

Classes are those the tables were judged in: very unlikely 0.02, unlikely 0.10, possible 0.30, likely 0.70, near certain
0.95. A state's probability goes to the next class above or below; the other states share what is left in proportion.
Only rows of items that a case records can change that case.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from borelog.knowledge.faults import BACKGROUND, FaultTables, Row
from borelog.verdict.network.posterior import Solved, described, solve
from borelog.verdict.network.problem import problem
from borelog.verdict.network.tables import compiled
from borelog.verdict.network.types import Evidence, NetShape
from tests.verdict.network.altered import revised, with_rows
from tests.verdict.network.coded import evidence_of, shape_of
from tests.verdict.network.test_cases import CASES

CLASSES = (0.02, 0.10, 0.30, 0.70, 0.95)


def stepped(p: float, up: bool) -> float | None:
    """The class above or below the one nearest to p; None beyond the ladder."""
    nearest = min(range(len(CLASSES)), key=lambda k: abs(CLASSES[k] - p))
    k = nearest + (1 if up else -1)
    return CLASSES[k] if 0 <= k < len(CLASSES) else None


def moved(row: Row, state: int, up: bool) -> Row | None:
    """The row with one state moved a class, or None where it cannot move."""
    p = stepped(row.probabilities[state], up)
    rest = 1.0 - row.probabilities[state]
    if p is None or rest <= 0.0:
        return None
    others = [q * (1.0 - p) / rest for q in row.probabilities]
    others[state] = p
    return replace(row, probabilities=tuple(others))


def moves(tables: FaultTables, item: str, state: int) -> Iterator[tuple[tuple[str, str], Row]]:
    """Every move of that state's probability, over all causes with a row for the item."""
    for key, row in tables.rows.items():
        if key[1] != item:
            continue
        for up in (True, False):
            other = moved(row, state, up)
            if other is None or (key[0] == BACKGROUND and other.probabilities[0] < max(other.probabilities)):
                continue
            yield key, other


def leaders(done: Solved, wanted: list[int]) -> tuple[str, ...]:
    posterior = described(done)
    return (*(posterior.ranked(c)[0][0] for c in wanted), posterior.ranked_engine()[0][0])


def count_case(
    shape: NetShape, evidence: Evidence, tables: FaultTables, wanted: list[int]
) -> tuple[int, int]:
    """(moves, moves that change a judged leader) of one case."""
    net = compiled(tables)
    before = leaders(solve(problem(shape, evidence, tables)), wanted)
    tried = changed = 0
    for item, state in sorted({(s.item, tables.items[s.item].states.index(s.state)) for s in evidence.seen}):
        if item == "history_event":
            continue
        for key, row in moves(tables, item, state):
            other = with_rows(tables, {key: row})
            done = solve(problem(shape, evidence, other, revised(net, other, [item])))
            tried += 1
            changed += leaders(done, wanted) != before
    return tried, changed


@pytest.mark.long
def test_single_numbers_hardly_ever_decide_a_case(
    tables: FaultTables, capsys: pytest.CaptureFixture[str]
) -> None:
    tried = changed = 0
    shaken = []
    for name, case in CASES.items():
        wanted = [int(c) for c in case["expected"]["cylinders"]]
        some, other = count_case(shape_of(case), evidence_of(case, tables), tables, wanted)
        tried, changed = tried + some, changed + other
        if other:
            shaken.append(f"{name} ({other})")
    with capsys.disabled():
        print(
            f"\nsensitivity: {changed} of {tried} single moves change a leader, in {len(shaken)} of {len(CASES)} cases: {', '.join(shaken)}"
        )
    assert tried > 3000
    assert changed < 0.02 * tried
    assert len(shaken) < len(CASES) // 2
