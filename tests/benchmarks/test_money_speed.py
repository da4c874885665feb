"""What the courses in money cost, beside drawing the same random numbers."""

from __future__ import annotations

import time
from collections.abc import Callable
from itertools import count
from typing import Any

import numpy as np
import pytest

from borelog.knowledge.faults import shipped as fault_tables
from borelog.verdict.money.model import evaluate
from borelog.verdict.money.settings import settings_for
from borelog.verdict.money.states import states_of
from borelog.verdict.network.drawing import draws
from borelog.verdict.network.types import Evidence, NetShape, Seen

pytestmark = pytest.mark.bench
Speed = Callable[..., None]
V8 = NetShape(tuple(range(1, 9)), ((1, 2, 3, 4), (5, 6, 7, 8)))
BURNT = Evidence(
    (
        Seen("exh_valve_face", 3, "notch_or_burnt"),
        Seen("air_exhaust", 3, "strong"),
        Seen("leak_pct", 3, "p40_70"),
    )
)
PRICES = {"value_running": "4200", "own_hour": "18", "paid_hour": "65", "used_engine": "900"}


@pytest.mark.parametrize(("n", "id_"), [(10_000, "money_10k"), (100_000, "money_100k")])
def test_courses_of_a_v8(benchmark: Any, n: int, id_: str, speed: Speed) -> None:
    """The draws of the true state are there; floor: as many random numbers as there are lines."""
    tables, settings = fault_tables(), settings_for(PRICES)
    bills = {f.id: f.bill for f in tables.faults.values()}
    states = states_of(draws(V8, BURNT, tables, 7, n), V8.chains, bills)
    assert len(settings.courses) >= 9
    began = time.perf_counter()
    np.random.default_rng(1).random((n, len(settings.lines)))
    floor = time.perf_counter() - began
    seeds = count(7)  # random numbers of a seed are kept: a new seed each time draws them too
    result = benchmark(lambda: evaluate(settings, states, next(seeds)))
    assert result.net.shape == (n, len(result.courses))
    speed(id_, floor=floor, floor_is="as many random numbers")


def test_one_price_changed(benchmark: Any, speed: Speed) -> None:
    """What if: the random numbers of the seed are there already."""
    tables, settings = fault_tables(), settings_for(PRICES)
    bills = {f.id: f.bill for f in tables.faults.values()}
    states = states_of(draws(V8, BURNT, tables, 7, 10_000), V8.chains, bills)
    evaluate(settings, states, 7)
    other = settings.with_price("used_engine", (700.0, 800.0, 1000.0))
    benchmark(lambda: evaluate(other, states, 7))
    speed(what="the same with one price changed, 10 000", room="money")


def test_drawing_and_pricing_for_a_v8(benchmark: Any, speed: Speed) -> None:
    """From the evidence to the result, draws of the true state included."""
    tables, settings = fault_tables(), settings_for(PRICES)
    bills = {f.id: f.bill for f in tables.faults.values()}
    seeds = count(7)
    benchmark(
        lambda: evaluate(
            settings, states_of(draws(V8, BURNT, tables, 7, 10_000), V8.chains, bills), next(seeds)
        )
    )
    speed(what="the same with the draws of the true state, 10 000", room="money")
