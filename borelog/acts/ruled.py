"""The published rules and the manual's own, applied to every session of a compression test."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import book_rules, compression_test, series_of
from borelog.pack.document import RuleRow
from borelog.readings.rules import Judgement, Outcome, judge
from borelog.verdict.judged import Level

_LEVEL: dict[str, Level] = {"pass": "sound", "fail": "bad", "cannot tell": "open", "does not apply": "blank"}


def judgements(inspection: Inspection) -> Iterator[tuple[str, str, Judgement]]:
    """(test, series, judgement) for every session of a compression test with readings."""
    for test in ("compression_dry", "compression_wet", "compression_warm"):
        for series in series_of(inspection, test):
            session = compression_test(inspection, test, series)
            if session is not None:
                yield test, series, judge(session, book_rules(inspection))


def rule_rows(inspection: Inspection) -> tuple[RuleRow, ...]:
    """One row a rule for the pack; wet figures are not held against the rules, which speak of dry ones."""
    return tuple(
        _row(test, series, outcome)
        for test, series, judged in judgements(inspection)
        if test != "compression_wet"
        for outcome in judged.outcomes
    )


def _row(test: str, series: str, outcome: Outcome) -> RuleRow:
    """A rule shown only for contrast, and one that cannot tell, speak of no single cylinder."""
    speaks = outcome.result in ("pass", "fail") and outcome.rule.status != "contrast"
    return RuleRow(
        test=test, series=series, rule=outcome.rule.label, words=outcome.words, source=outcome.rule.source,
        failing=outcome.short if speaks else (), passing=outcome.kept if speaks else (),
        least_kpa=outcome.least_kpa if outcome.rule.status != "contrast" else None, level=_LEVEL[outcome.result],
    )  # fmt: skip
