"""The published rules for compression, side by side: what each says of these figures, and how likely that is
true.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.quantity import Quantity, plain_number
from borelog.readings.chance import Joint
from borelog.readings.compression import CompressionReading, CompressionTest, budget_of
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import Budget, accuracy

_PSI = 6.894757293168361


@dataclass(frozen=True, slots=True)
class Rule:
    """A row of the rules table.

    ``kind`` is 'ratio' (lowest over highest, ``value`` per cent), 'mean' (lowest over the mean, per cent),
    'drop' (highest less lowest, ``value`` psi) or 'floor' (lowest, ``floor_kpa``); ``floor_kpa`` may
    accompany a ratio.
    """

    id: str
    kind: str
    value: float
    floor_kpa: float
    label: str
    denominator: str
    source: str
    status: str
    note: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one rule says.

    Attributes
    ----------
    rule : Rule
    figure : float or None
        What the rule compares: per cent for 'ratio' and 'mean', kPa for 'drop' and 'floor'; None without a
        spread.
    holds : bool or None
        Of the figures as read, boundary included.
    probability : float or None
        Chance that it truly holds, 0 to 1, over all cylinders jointly.
    result : str
        'pass', 'fail', 'cannot tell' or 'does not apply'.
    words : str
        One line for a person.
    short, kept : tuple of int
        Cylinders under the least the rule asks for, as read, and the others; empty where it does not apply.
    least_kpa : float or None
        That least with the figures as read; None where it does not apply.
    """

    rule: Rule
    figure: float | None
    holds: bool | None
    probability: float | None
    result: str
    words: str
    short: tuple[int, ...] = ()
    kept: tuple[int, ...] = ()
    least_kpa: float | None = None

    @property
    def sourced(self) -> str:
        """``words`` with what the rule counts from, who says so and what kind of engine it was printed for."""
        rule = self.rule
        base = f"against {rule.denominator}; " if rule.kind in ("ratio", "mean") else ""
        note = f"; {rule.note}" if rule.note else ""
        return f"{self.words} [{base}{rule.source}{note}]"


@dataclass(frozen=True, slots=True)
class Judgement:
    """A compression test under all rules: ``line`` is the main line, ``assumed`` what was not noted."""

    outcomes: tuple[Outcome, ...]
    line: str
    left_out: tuple[int, ...]
    assumed: tuple[str, ...]
    budget: Budget | None

    def outcome(self, rule_id: str) -> Outcome:
        """The outcome of one rule by id; `ReadingError` for an unknown one."""
        for outcome in self.outcomes:
            if outcome.rule.id == rule_id:
                return outcome
        raise ReadingError(
            f"no rule {rule_id!r} was applied: there are {', '.join(o.rule.id for o in self.outcomes)}"
        )


@lru_cache(maxsize=1)
def published_rules() -> tuple[Rule, ...]:
    """All rules of the table, in its order."""
    columns = ("id", "kind", "value", "floor_psi", "label", "denominator", "source", "status", "note")
    return tuple(
        Rule(
            r["id"],
            r["kind"],
            float(r["value"]),
            float(r["floor_psi"] or 0) * _PSI,
            *(r[c] for c in ("label", "denominator", "source", "status", "note")),
        )
        for r in tables.rows("compression_rules.csv", *columns)
    )


def manual_rules(
    min_kpa: float | None = None, ratio_percent: float | None = None, drop_kpa: float | None = None
) -> tuple[Rule, ...]:
    """Rules from the figures of this engine's service manual, as the person entered them."""
    source = "service manual, as entered"
    rules: list[Rule] = []
    if min_kpa is not None:
        shown = plain_number(min_kpa)
        rules.append(
            Rule(
                "manual_min",
                "floor",
                0,
                min_kpa,
                f"manual: none under {shown} kPa",
                "service manual",
                source,
                "entered",
                "",
            )
        )
    if ratio_percent is not None:
        label = f"manual: lowest at least {ratio_percent:g} % of highest"
        rules.append(
            Rule("manual_ratio", "ratio", ratio_percent, 0, label, "highest cylinder", source, "entered", "")
        )
    if drop_kpa is not None:
        label = f"manual: highest to lowest at most {plain_number(drop_kpa)} kPa"
        rules.append(Rule("manual_drop", "drop", drop_kpa / _PSI, 0, label, "kPa", source, "entered", ""))
    for rule in rules:
        number = rule.floor_kpa if rule.kind == "floor" else rule.value
        if not math.isfinite(number) or number <= 0 or (rule.kind == "ratio" and number > 100):
            raise ReadingError(
                f"service manual figure {number:g} makes no rule: type a pressure above 0, or 1 to 100 per cent"
            )
    return tuple(rules)


def called(probability: float) -> str:
    """'pass', 'fail' or 'cannot tell' for a chance that a rule holds."""
    sure = float(accuracy()["calling"]["sure"])
    return "pass" if probability >= sure else "fail" if probability <= 1 - sure else "cannot tell"


def chance_words(probability: float) -> str:
    """'42 %', 'over 99 %', 'under 1 %': rounded toward doubt, never nought or certainty."""
    if not 0.01 <= probability <= 0.99:
        return "over 99 %" if probability > 0.5 else "under 1 %"
    toward = math.floor if probability > 0.5 else math.ceil
    return f"{toward(100 * probability + (1e-9 if probability > 0.5 else -1e-9))} %"


def judge(
    test: CompressionTest, manual: Sequence[Rule] = (), rules: Sequence[Rule] | None = None
) -> Judgement:
    """Hold a compression test against the published rules and the manual's own.

    Doubtful readings (a likely unit slip) are left out and named. A single cylinder, or all at zero, has no
    spread.

    Returns
    -------
    Judgement
        Manual rules first, then the table.
    """
    used = [r for r in test.readings if not r.doubt]
    left_out = tuple(r.cylinder for r in test.readings if r.doubt)
    every = (*manual, *(published_rules() if rules is None else rules))
    if not used:
        return Judgement((), "no compression reading to judge yet", left_out, (), None)
    sums = budget_of(test)
    means = [r.mean_kpa for r in used]
    joint = Joint(means, sums.repeat, sums.fixed, sums.dof, sums.gain)
    outcomes = tuple(_outcome(rule, means, joint, used, test.unit) for rule in every)
    return Judgement(outcomes, _main_line(outcomes, means, left_out), left_out, sums.assumed, sums)


def _outcome(
    rule: Rule, means: list[float], joint: Joint, used: list[CompressionReading], unit: str
) -> Outcome:
    low, high = min(means), max(means)
    worst = used[means.index(low)].cylinder
    if rule.kind != "floor" and (len(means) < 2 or high <= 0):
        why = "all read zero: no spread" if high <= 0 else "needs two cylinders"
        return Outcome(rule, None, None, None, "does not apply", f"{rule.label}: {why}")
    slack = 1e-9 * high
    if rule.kind == "ratio":
        figure = 100 * low / high
        holds = low >= rule.value / 100 * high - slack and low >= rule.floor_kpa - slack
        chance = joint.within(rule.value / 100, 0.0, rule.floor_kpa)
        shown = f"{figure:.1f} % (cylinder {worst})"
    elif rule.kind == "mean":
        mean = math.fsum(means) / len(means)
        figure = 100 * low / mean
        holds = low >= rule.value / 100 * mean - slack
        chance = joint.near_mean(rule.value / 100)
        shown = f"{figure:.1f} % of the mean (cylinder {worst})"
    elif rule.kind == "drop":
        figure = high - low
        holds = figure <= rule.value * _PSI + slack
        chance = joint.within(1.0, rule.value * _PSI)
        shown = f"{Quantity(figure, 'kPa').in_unit(unit)} apart"
    else:
        figure = low
        holds = low >= rule.floor_kpa - slack
        chance = joint.at_least(rule.floor_kpa)
        shown = f"lowest {Quantity(low, 'kPa').in_unit(unit)} (cylinder {worst})"
    result = called(chance)
    words = f"{rule.label}: {shown}; {result}, holds with {chance_words(chance)} as far as the gauge goes"
    least = _least(rule, means)
    short = tuple(r.cylinder for r in used if r.mean_kpa < least - slack)
    kept = tuple(r.cylinder for r in used if r.mean_kpa >= least - slack)
    return Outcome(rule, figure, holds, chance, result, words, short, kept, least)


def _least(rule: Rule, means: Sequence[float]) -> float:
    """The least, kPa, that a cylinder may read under a rule with the others as they are."""
    high = max(means)
    return {
        "ratio": max(rule.value / 100 * high, rule.floor_kpa),
        "mean": rule.value / 100 * math.fsum(means) / len(means),
        "drop": high - rule.value * _PSI,
        "floor": rule.floor_kpa,
    }[rule.kind]


def _main_line(outcomes: Sequence[Outcome], means: list[float], left_out: tuple[int, ...]) -> str:
    """One sentence: the manual's figure first where there is one, then whether the published rules agree."""
    applied = [o for o in outcomes if o.result != "does not apply"]
    parts: list[str] = []
    own = [o for o in applied if o.rule.status == "entered"]
    if own:
        parts.append("service manual: " + ", ".join(dict.fromkeys(o.result for o in own)))
    common = [o for o in applied if o.rule.status not in ("entered", "contrast")]
    if max(means) <= 0:
        parts.append("every cylinder reads zero: no spread, check the test and the valve drive")
    elif not common:
        parts.append("one cylinder: no spread to judge")
    else:
        counts = {r: sum(o.result == r for o in common) for r in ("pass", "fail", "cannot tell")}
        if len([r for r, n in counts.items() if n]) == 1:
            verdict = next(r for r, n in counts.items() if n)
            parts.append(f"all {len(common)} published rules: {verdict}")
        else:
            disagree = (
                "the published rules disagree"
                if counts["pass"] and counts["fail"]
                else "not all rules can tell"
            )
            parts.append(f"{disagree}: " + ", ".join(f"{n} {r}" for r, n in counts.items() if n))
    if left_out:
        parts.append(f"cylinder {', '.join(map(str, left_out))} left out until its question is answered")
    return "; ".join(parts) + " (as far as the gauge goes)"
