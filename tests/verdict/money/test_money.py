"""Courses in money: spreads against closed forms, the sum of likely values, stages by hand, and what never moves the choice."""

from __future__ import annotations

import dataclasses

import msgspec
import numpy as np
import pytest

from borelog.acts.prices import PriceError, checked_price
from borelog.knowledge.faults import shipped as fault_tables
from borelog.verdict.judged import Money
from borelog.verdict.money.model import Result, evaluate
from borelog.verdict.money.outcome import compared, money, order_of, rounded
from borelog.verdict.money.settings import MoneyError, Settings, money_range, settings_for, shipped
from borelog.verdict.money.spread import (
    Shape,
    mean_of,
    normal_probability,
    pert_moments,
    pert_quantile,
    pert_shapes,
    ranks,
    triangular_moments,
    triangular_quantile,
    values_at,
)
from borelog.verdict.money.states import States, states_of
from borelog.verdict.money.worth import Valuation
from borelog.verdict.network.drawing import draws
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.types import Evidence, NetShape, Seen

TABLES = fault_tables()
BILLS = {f.id: f.bill for f in TABLES.faults.values()}
SHAPE = NetShape((1, 2, 3, 4), ((1, 2, 3, 4),))
BURNT = Evidence(
    (
        Seen("exh_valve_face", 3, "notch_or_burnt"),
        Seen("air_exhaust", 3, "strong"),
        Seen("leak_pct", 3, "p40_70"),
    )
)
PRICES = {"value_running": "4200", "own_hour": "18", "paid_hour": "65", "used_engine": "900"}


def drawn(n: int = 4000, evidence: Evidence = BURNT, seed: int = 7) -> States:
    """States of a four with a burnt valve on 3."""
    return states_of(draws(SHAPE, evidence, TABLES, seed, n), SHAPE.chains, BILLS)


def said_of(settings: Settings, states: States, seed: int = 7) -> tuple[Money, Result]:
    """What the money room says, and the nets behind it."""
    result = evaluate(settings, states, seed)
    return money(settings, states, result, seed, {"value_running": "Value of the car"}), result


def test_triangular_and_pert_moments_are_those_of_the_closed_form() -> None:
    """Triangular: standard result. Beta-PERT mean (a + 4m + b) / 6: project-management texts."""
    assert triangular_moments(2, 3, 7) == pytest.approx((4.0, 7 / 6))
    mean, variance = pert_moments(2, 3, 7)
    assert mean == pytest.approx((2 + 12 + 7) / 6)
    a, b = pert_shapes(2, 3, 7)
    assert variance == pytest.approx(25 * a * b / ((a + b) ** 2 * (a + b + 1)))


def test_quantiles_agree_with_a_reference_library() -> None:
    """SciPy's triangular, beta and normal distributions."""
    stats = pytest.importorskip("scipy.stats")
    u = np.linspace(0.001, 0.999, 97)
    assert triangular_quantile(u, 2, 3, 7) == pytest.approx(stats.triang.ppf(u, 0.2, 2, 5), abs=1e-9)
    a, b = pert_shapes(2, 3, 7)
    assert pert_quantile(u, 2, 3, 7) == pytest.approx(stats.beta.ppf(u, a, b, 2, 5), abs=2e-3)
    z = np.linspace(-5, 5, 101)
    assert normal_probability(z) == pytest.approx(stats.norm.cdf(z), abs=1.5e-7)


@pytest.mark.parametrize("shape", ["triangular", "pert"])
def test_values_on_the_grid_follow_the_distribution(shape: Shape) -> None:
    """Mean and standard deviation of the closed form, and every tenth of the distribution, in the width of the line."""
    line = (2.0, 3.0, 7.0)
    values = values_at(ranks(1, 60_000, (1,), 0.0)[0], line, shape)
    mean, variance = (triangular_moments if shape == "triangular" else pert_moments)(*line)
    assert mean_of(line, shape) == mean
    assert values.mean() == pytest.approx(mean, abs=0.02)
    assert values.std() == pytest.approx(np.sqrt(variance), abs=0.02)
    tenths = np.linspace(0.1, 0.9, 9)
    exact = (triangular_quantile if shape == "triangular" else pert_quantile)(tenths, *line)
    assert np.quantile(values, tenths) == pytest.approx(exact, abs=0.05)


def test_the_sum_of_likely_values_is_not_the_likely_sum() -> None:
    """GAO cost estimating guide (2020): skewed lines add up to more than their most likely values."""
    line = (4.0, 6.0, 14.0)
    total = sum(values_at(row, line, "triangular") for row in ranks(1, 20_000, (12,)))
    assert float((total <= 12 * 6.0).mean()) < 0.2
    assert float(np.mean(total)) == pytest.approx(12 * triangular_moments(*line)[0], rel=0.01)


def test_lines_move_together_by_the_stated_correlation() -> None:
    """A common factor worth 0.25 between the normal scores, within a group and not across groups."""
    found = ranks(2, 60_000, (2, 2)).astype(float)
    assert np.corrcoef(found[0], found[1])[0, 1] == pytest.approx(0.25, abs=0.02)
    assert np.corrcoef(found[0], found[2])[0, 1] == pytest.approx(0.0, abs=0.02)


def test_a_person_may_have_estimates_read_as_beta_pert() -> None:
    """It pulls to the middle: the same engines, less spread; anything else is refused."""
    states = drawn()
    wide, narrow = (
        evaluate(settings_for({**PRICES, "spread": s}), states, 7).net[:, 2].std()
        for s in ("triangular", "pert")
    )
    assert narrow < wide
    assert checked_price("spread", "PERT") == ("spread", "pert")
    with pytest.raises(PriceError, match="triangular or pert"):
        checked_price("spread", "normal")


def test_the_same_seed_gives_the_same_answer() -> None:
    """Seeded, common random numbers over courses."""
    states = drawn()
    a, b = (evaluate(settings_for(PRICES), states, 3).net for _ in range(2))
    assert np.array_equal(a, b)


def test_a_burnt_valve_is_head_work() -> None:
    """With usual prices the head job leads; a course that cures nothing does not."""
    said, result = said_of(settings_for(PRICES), drawn())
    assert said.courses[0].course == "head_off"
    assert said.sentence.startswith("Head off")
    assert result.net.shape == (4000, 9)


def test_the_purchase_price_moves_only_the_profit_line() -> None:
    """Raiffa & Schlaifer: what is spent is spent."""
    states = drawn()
    cheap, _ = said_of(settings_for({**PRICES, "purchase_price": "300"}), states)
    dear, _ = said_of(settings_for({**PRICES, "purchase_price": "2900"}), states)
    assert cheap.profit is not None and dear.profit is not None
    assert cheap.profit - dear.profit == pytest.approx(2600)
    for c in (cheap, dear):
        assert [x.loss_chance is not None for x in c.courses] == [True] * 9

    def plain(m: object) -> object:
        bare = msgspec.structs.replace(m, profit=None)  # type: ignore[type-var]
        return msgspec.structs.replace(
            bare, courses=tuple(msgspec.structs.replace(c, loss_chance=None) for c in bare.courses)
        )  # type: ignore[attr-defined]

    assert plain(cheap) == plain(dear)


def test_a_course_that_dominates_always_wins() -> None:
    """A used engine for nothing, fitted at no price of one's own hour, beats every other engine work."""
    said, _ = said_of(settings_for({**PRICES, "used_engine": "0", "own_hour": "0"}), drawn(evidence=_holed()))
    assert said.courses[0].course == "used_engine"


def _holed() -> Evidence:
    return Evidence(
        (Seen("crown_melt", 2, "hole"), Seen("leak_pct", 2, "over_70"), Seen("air_crankcase", 2, "strong"))
    )


def test_a_thousand_and_ten_thousand_draws_agree_within_their_error() -> None:
    """The stated error is that of the mean of paired draws."""
    few, many = (evaluate(settings_for(PRICES), drawn(n), 5).net for n in (1000, 10_000))
    for k in range(few.shape[1]):
        error = np.hypot(few[:, k].std() / np.sqrt(1000), many[:, k].std() / np.sqrt(10_000))
        assert abs(few[:, k].mean() - many[:, k].mean()) < 4.5 * error


def test_joint_draws_keep_the_networks_marginals() -> None:
    """Not fault by fault: each cylinder's share is the network's own."""
    joint = draws(SHAPE, BURNT, TABLES, 11, 20_000)
    exact = posteriors(SHAPE, BURNT, TABLES)
    k = joint.faults.index("exh_valve_leak")
    for j, c in enumerate(joint.cylinders):
        share = joint.has[:, k][joint.sets[:, j]].mean()
        assert share == pytest.approx(exact.cylinders[c]["exh_valve_leak"], abs=0.015)


def test_without_prices_it_speaks_in_per_cent_and_names_the_price_that_decides() -> None:
    """Nothing is invented in somebody's currency."""
    said, _ = said_of(settings_for({}), drawn())
    assert said.currency == "% of the car's value"
    assert said.decides.startswith("No prices are set")
    assert "hours" in said.decides
    assert all(" hour" in c.words for c in said.courses)
    assert len(said.placeholders) == len(shipped().prices)


def test_an_own_cost_line_takes_the_place_of_the_shipped_one() -> None:
    """A machine shop at ten times the hours makes the head job worse."""
    states = drawn()
    plain = evaluate(settings_for(PRICES), states, 7)
    dear = evaluate(settings_for({**PRICES, "line_head_off_machine": "40 50 60"}), states, 7)
    k = plain.courses.index("head_off")
    assert dear.net[:, k].mean() < plain.net[:, k].mean()
    assert np.array_equal(np.delete(dear.net, k, 1)[:, -1], np.delete(plain.net, k, 1)[:, -1])


@pytest.mark.parametrize("typed", ["-5", "cheap", "900 700 1200", "1 2 3 4", "12 crowns"])
def test_a_price_that_is_none_says_what_may_be_typed(typed: str) -> None:
    """Low over likely, below zero, words."""
    with pytest.raises(MoneyError):
        money_range(typed, "Used engine")


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("900", (900, 900, 900)),
        ("700-1400", (700, 1050, 1400)),
        ("1.250", (1250,) * 3),
        ("12,5", (12.5,) * 3),
    ],
)
def test_prices_as_people_write_them(typed: str, amount: tuple[float, float, float]) -> None:
    """One number, a span, thousands, a decimal comma."""
    assert money_range(typed, "x") == pytest.approx(amount)


def test_opening_is_left_where_the_best_stop_is_worth_more() -> None:
    """Where every piston is holed a head job ends once it is open: nobody pays for machining first."""
    states = drawn(evidence=_holed())
    result = evaluate(settings_for(PRICES), states, 7)
    opened = next(s for s in result.stages if s.course == "head_off" and s.name == "open")
    assert opened.stopped > 0.8


def test_the_value_of_draws_is_the_best_course_under_each_weighting() -> None:
    """What the ranking of tests asks: certain knowledge is worth at least as much as none."""
    joint = draws(SHAPE, Evidence(()), TABLES, 3, 2000)
    value = Valuation(settings_for(PRICES), SHAPE.chains, BILLS, 3)
    even = np.full((1, 2000), 1 / 2000)
    each = np.eye(2000)
    whole, _ = value(joint, even)
    known, _ = value(joint, each)
    assert known.mean() >= whole[0] - 1e-9


def test_equal_within_noise_is_said() -> None:
    """Two columns of the same nets have no difference and no winner."""
    net = evaluate(settings_for(PRICES), drawn(), 7)
    standing = compared(net.net[:, 0], net.net[:, 0])
    assert (standing.difference, standing.error, standing.ahead) == (0.0, 0.0, 0.0)
    assert len(order_of(net)) == 9


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.3, "0"), (47.2, "47"), (1234.0, "1200"), (3.1e6, "3100000"), (-1234567.0, "-1200000")],
)
def test_money_is_said_in_plain_digits_whatever_the_currency(value: float, said: str) -> None:
    assert rounded(value, settings_for({**PRICES, "currency": "HUF"})) == f"{said} HUF"


def test_a_car_worth_nothing_from_another_record_leaves_the_placeholders() -> None:
    settings = settings_for({"value_running": "0", "line_head_off_machine": "5"})
    assert not settings.priced
    assert settings.currency == shipped().currency


def test_the_error_of_a_difference_is_that_of_a_mean() -> None:
    """By hand: differences 1, 2, 3, 4 have s = 1.2910 and a standard error of s / 2 = 0.6455 (JCGM 100:2008 4.2.3)."""
    standing = compared(np.array([2.0, 4.0, 6.0, 8.0]), np.array([1.0, 2.0, 3.0, 4.0]))
    assert (standing.difference, standing.ahead) == (2.5, 1.0)
    assert standing.error == pytest.approx(0.6455, abs=1e-4)


def test_a_course_that_works_the_first_time_costs_no_second_try() -> None:
    """Never, at half the odds and always: what is left over falls by the second share of the cost, in proportion."""
    settings, states = settings_for(PRICES), drawn()

    def mean(first_time: float) -> float:
        courses = tuple(
            dataclasses.replace(c, first_time=first_time, second_share=0.5) if c.id == "repair_in_car" else c
            for c in settings.courses
        )
        result = evaluate(dataclasses.replace(settings, courses=courses), states, 7)
        return float(result.net[:, result.courses.index("repair_in_car")].mean())

    never, half, always = (mean(p) for p in (0.0, 0.5, 1.0))
    assert always > half > never
    assert (always - half) / (always - never) == pytest.approx(0.5, abs=0.06)
