"""Rules applied to a recorded test, cylinder by cylinder, as the pack tells them."""

from __future__ import annotations

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench
from borelog.acts.ruled import rule_rows
from borelog.acts.sheet.recording import record_text
from borelog.readings.compression import CompressionReading, make_test
from borelog.readings.rules import judge

SHEET = """
layout: inline 4
[compression dry]
1: 180
2: 178
3: 60
4: 182
[compression dry 2]
3: 175
4: 182
[compression wet]
3: 150
"""


def test_each_rule_names_the_cylinders_that_fail_and_keep_it(bench: Bench) -> None:
    id_ = entering.open_inspection(bench, "x")
    record_text(bench, id_, SHEET)
    rows = rule_rows(bench.inspection(id_))
    assert {(r.test, r.series) for r in rows} == {("compression_dry", ""), ("compression_dry", "2")}
    first = {r.rule: r for r in rows if r.series == ""}
    share = first["lowest at least 75 % of highest"]
    assert (share.failing, share.passing, share.level) == ((3,), (1, 2, 4), "bad")
    contrast = first["highest to lowest at most 25 psi"]
    assert (contrast.failing, contrast.passing) == ((), ())
    again = {r.rule: r for r in rows if r.series == "2"}["lowest at least 75 % of highest"]
    assert (again.failing, again.passing) == ((), (3, 4))


@pytest.mark.parametrize(
    "psi", [(180, 178, 60, 182), (100, 95, 90, 99), (150, 150, 150), (0, 0), (170, 20, 165)]
)
def test_a_rule_holds_exactly_where_no_cylinder_falls_short(psi: tuple[float, ...]) -> None:
    readings = [CompressionReading(c, (6.894757293168361 * v,)) for c, v in enumerate(psi, 1)]
    for outcome in judge(make_test("dry", readings)).outcomes:
        if outcome.holds is None:
            assert outcome.short == outcome.kept == ()
        else:
            assert outcome.holds == (not outcome.short)
            assert sorted(outcome.short + outcome.kept) == [r.cylinder for r in readings]
