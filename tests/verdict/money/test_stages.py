"""The three-stage opening of docs/money.md, solved there by hand, against the model; and returns as one failure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from borelog.verdict.money.model import evaluate
from borelog.verdict.money.outcome import sentence
from borelog.verdict.money.settings import CostLine, Course, Discovery, Settings, shipped
from borelog.verdict.money.states import States

DRAWS = 40_000


def flat(amount: float) -> tuple[float, float, float]:
    """A line without spread."""
    return amount, amount, amount


def opening() -> Settings:
    """Open 300, machine 700, assemble 500; the finished car brings 4000, or 1000 with the bottom end gone; a stop 1200."""
    quiet = {"first_time": 1.0, "second_share": 0.0, "selling": 0.0, "days": flat(0.0)}
    stages = ("open", "machine", "assemble")
    return replace(
        shipped(),
        courses=(
            Course("head_off", "Head off", "a head job", stages, **quiet),  # type: ignore[arg-type]
            Course("part_out", "Part out", "parting it out", (), **quiet),  # type: ignore[arg-type]
        ),
        lines=tuple(
            CostLine("head_off", name, name, "paid_hour", "once", "", flat(cost))
            for name, cost in (("open", 300.0), ("machine", 700.0), ("assemble", 500.0))
        ),
        cures={("head_off", "head"): 1.0},
        leftover={"head": (0.9, 0.0), "bottom": (0.75, 0.0)},
        discoveries=(Discovery("head_off", "good", "head cracked", "machine", 0.1, flat(0.0), True),),
        returns={},
        prices={
            "value_running": flat(4000.0), "value_as_parts": flat(1200.0), "paid_hour": flat(1.0),
            "own_hour": flat(1.0), "day_cost": flat(0.0), "margin": flat(0.0),
        },
        currency="",
        priced=True,
    )  # fmt: skip


def engines() -> States:
    """Seven in ten ask for head work only, three in ten have lost the bottom end too."""
    bottom = np.arange(DRAWS) % 10 < 3
    ones = np.ones(DRAWS)
    return States(
        DRAWS, 4, 1, {"head": ones, "bottom": bottom.astype(float)}, {"head": ones}, {"good": ~bottom}
    )


def test_the_opening_solved_by_hand_comes_out_of_the_model() -> None:
    """0.7 x (0.9 x 2500 + 0.1 x 200) + 0.3 x 900 = 1859; going on is worth up to 4000 - 1200 = 2800."""
    result = evaluate(opening(), engines(), 3)
    net = result.net[:, 0]
    assert net.mean() == pytest.approx(1859, abs=4 * net.std() / np.sqrt(DRAWS))
    assert set(np.unique(net.round())) == {200.0, 900.0, 2500.0}
    opened, machined = result.stages
    assert opened.stop_price == pytest.approx(2800)
    assert opened.stopped == pytest.approx(0.3)
    assert machined.stopped == pytest.approx(0.07, abs=0.01)
    assert sentence(opening(), result) == (
        "Head off: ahead of parting it out 6 times in 10, on average by about 660; "
        "stop if the rest would cost over 2800 once it is open."
    )


def test_several_causes_left_in_make_one_failure() -> None:
    """The dearest of what may come back counts once: nothing is lost twice."""
    settings = replace(
        opening(), leftover={}, discoveries=(), returns={"good": (1.0, 0.4), "other": (1.0, 0.3)}
    )
    both = States(DRAWS, 4, 1, {}, {}, {"good": np.ones(DRAWS, bool), "other": np.ones(DRAWS, bool)})
    net = evaluate(settings, both, 3).net[:, 0]
    assert net == pytest.approx(4000 * 0.6 - 1500)
