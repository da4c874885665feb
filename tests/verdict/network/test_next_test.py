"""The next test: the textbook problem, what ranks and what does not, and the order that keeps engines and people whole."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from borelog.knowledge.faults import FaultTables
from borelog.verdict.money.worth import placeholder_value
from borelog.verdict.network.drawing import draws
from borelog.verdict.network.next_test import next_tests
from borelog.verdict.network.ordering import Course
from borelog.verdict.network.outcomes import at_cylinder, at_engine, outcomes
from borelog.verdict.network.tables import compiled
from borelog.verdict.network.types import Draws, Evidence, Seen, Spoil
from borelog.verdict.network.worth import gain
from tests.verdict.network.conftest import engine
from tests.verdict.network.test_meaning import BURNT


class Drilling:
    """The oil wildcatter (Raiffa 1968, Decision Analysis): drill or not on a hole that is dry, wet or soaking."""

    PAYOFF = np.array([[-70.0, 0.0], [50.0, 0.0], [200.0, 0.0]])

    def nets(self, drawn: Draws) -> NDArray[np.float64]:
        return self.PAYOFF

    def __call__(
        self, drawn: Draws, weights: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
        expected = weights @ self.PAYOFF
        course = expected.argmax(1)
        return expected[np.arange(len(expected)), course], course


HOLES = np.array([0.5, 0.3, 0.2])
SEISMIC = np.array(
    [[0.6, 0.3, 0.1], [0.3, 0.4, 0.4], [0.1, 0.3, 0.5]]
)  # no, open, closed structure by dry, wet, soaking


EACH = np.arange(3)


def no_draws() -> Draws:
    nothing = np.zeros((3, 0), dtype=np.int64)
    flags = np.zeros((3, 0), dtype=bool)
    return Draws(
        (),
        (),
        (),
        ((),),
        ("a",),
        nothing,
        np.zeros(3, dtype=np.int64),
        flags,
        flags,
        np.zeros((1, 0), dtype=bool),
    )


def test_oil_drilling_is_worth_20_now() -> None:
    value, course = Drilling()(no_draws(), HOLES[None])
    assert value[0] == pytest.approx(20.0)
    assert course[0] == 0


def test_oil_drilling_perfect_information_is_worth_35() -> None:
    assert gain(Drilling(), no_draws(), np.eye(3), HOLES, EACH).worth == pytest.approx(35.0)


def test_oil_drilling_the_sounding_is_worth_12_and_a_half() -> None:
    """Before its own cost of 10; no structure (0.41) is the outcome that changes the decision."""
    found = gain(Drilling(), no_draws(), SEISMIC, HOLES, EACH)
    assert found.worth == pytest.approx(12.5)
    assert found.chances == pytest.approx([0.41, 0.35, 0.24])
    assert found.changes == pytest.approx(0.41)


def test_a_test_that_tells_nothing_is_worth_nothing() -> None:
    flat = np.full((4, 3), 0.25)
    assert gain(Drilling(), no_draws(), flat, HOLES, EACH).worth == pytest.approx(0.0, abs=1e-12)


def test_outcomes_of_every_test_add_up(tables: FaultTables) -> None:
    net, shape = compiled(tables), engine(4)
    drawn = draws(shape, Evidence(BURNT), tables, 1, 400)
    for test in (t for t in tables.tests.values() if t.items):
        at = at_engine(drawn) if test.scope == "engine" else at_cylinder(drawn, 3)
        assert outcomes(net, test, at).sum(0) == pytest.approx(1.0)


def named(evidence: Evidence, tables: FaultTables, **more: object) -> list[tuple[str, int | None]]:
    return [(n.test, n.cylinder) for n in next_tests(engine(4), evidence, tables, **more).tests]  # type: ignore[arg-type]


LOW = (
    Seen("comp_rel", 3, "low_35_69", "measured"),
    *(Seen("comp_rel", c, "like_group", "measured") for c in (1, 2, 4)),
)


def test_a_low_cylinder_asks_for_a_look_at_that_cylinder(tables: FaultTables) -> None:
    listed = named(Evidence(LOW), tables)
    assert {c for _, c in listed[:3]} <= {3, None}
    assert any(c == 3 for _, c in listed[:3])


def healthy_otherwise(tables: FaultTables) -> tuple[Seen, ...]:
    """Oil, coolant, noise and smoke looked at, nothing found."""
    asked = ("oil_state", "coolant_state", "noise_type", "exhaust_smoke", "turns_by_hand", "filter_debris")
    return tuple(Seen(i, None, tables.items[i].states[0], "seen") for i in asked)


def test_a_low_cylinder_is_split_between_head_work_and_rebuild(tables: FaultTables) -> None:
    """With nothing else wrong in sight the leak-down on the low cylinder comes first: where the air goes names the bill."""
    found = next_tests(engine(4), Evidence((*LOW, *healthy_otherwise(tables))), tables)
    best = found.tests[0]
    assert (best.test, best.cylinder) == ("leak_down", 3)
    assert best.worth > 2.0  # per cent of the car's value
    assert len(best.splits) >= 2
    assert 0 < best.changes < 1


def test_minutes_cost_and_at_a_high_rate_none_is_needed(tables: FaultTables) -> None:
    cheap = next_tests(engine(4), Evidence(LOW), tables, rate_per_minute=0.0)
    dear = next_tests(engine(4), Evidence(LOW), tables, rate_per_minute=5.0)
    assert not cheap.none_needed
    assert dear.none_needed
    assert dear.tests == ()


def test_worth_is_never_negative_and_never_above_knowing_everything(tables: FaultTables) -> None:
    shape, evidence = engine(4), Evidence(LOW)
    drawn = draws(shape, evidence, tables, 0, 1500)
    payoff = placeholder_value(shape, tables).nets(drawn)
    perfect = payoff.max(1).mean() - payoff.mean(0).max()
    for n in next_tests(shape, evidence, tables, draws=drawn).tests:
        assert -1e-9 <= n.worth <= perfect + 1e-9


def test_what_is_done_is_not_proposed_again(tables: FaultTables) -> None:
    evidence = Evidence((*LOW, *healthy_otherwise(tables)))
    before = named(evidence, tables)
    assert ("leak_down", 3) in before
    assert ("leak_down", 3) not in named(evidence, tables, done=[("leak_down", 3)])
    assert ("leak_down", 3) not in named(evidence, tables, done=[("leak_down", None)])
    assert ("compression_dry", 3) not in named(Evidence(LOW), tables)


def test_a_spoiled_test_is_proposed_again_and_first(tables: FaultTables) -> None:
    evidence = Evidence((*LOW, Seen("leak_pct", 3, "over_70", "measured")), (Spoil("leak_down", 3, 0.95),))
    first = next_tests(engine(4), evidence, tables).tests[0]
    assert (first.test, first.cylinder, first.again) == ("leak_down", 3, True)
    assert first.reason


# order


def test_turning_by_hand_stands_before_any_cranking(tables: FaultTables) -> None:
    for seen in ((), (Seen("exhaust_smoke", None, "blue"),), (Seen("code_misfire", 2, "this_cylinder"),)):
        advice = next_tests(engine(4), Evidence(seen), tables, most=40)
        names = [n.test for n in advice.tests]
        for crank in ("compression_dry", "compression_level", "crank_current", "cranking_beat"):
            if crank in names:
                assert names.index("by_hand") < names.index(crank)
        by_hand = next(n for n in advice.tests if n.test == "by_hand")
        assert "before" in by_hand.reason or "first" in by_hand.reason


def test_codes_before_the_battery_is_disturbed_and_camera_before_oil(tables: FaultTables) -> None:
    names = [
        (n.test, n.cylinder)
        for n in next_tests(
            engine(4), Evidence((Seen("plug_deposit", 2, "wet_oil"),)), tables, most=200
        ).tests
    ]
    kinds = [t for t, _ in names]
    assert kinds.index("codes") < min(
        kinds.index(t) for t in ("compression_dry", "compression_level") if t in kinds
    )
    for c in (1, 2, 3, 4):
        if ("compression_wet", c) in names:
            wet = names.index(("compression_wet", c))
            for dry in ("camera_bore", "camera_crown", "leak_down", "compression_dry"):
                assert names.index((dry, c)) < wet


@pytest.mark.parametrize(
    "sight",
    [
        Seen("liquid_in_cyl", 2, "coolant_or_water"),
        Seen("turns_by_hand", None, "locked"),
        Seen("history_event", None, "liquid_ingested", "told"),
    ],
)
def test_no_cranking_with_a_suspected_liquid_lock(sight: Seen, tables: FaultTables) -> None:
    advice = next_tests(
        engine(4), Evidence((sight, Seen("code_misfire", 2, "this_cylinder"))), tables, most=200
    )
    cranks = {t.id for t in tables.tests.values() if "cranking" in t.needs}
    assert cranks.isdisjoint(n.test for n in advice.tests)
    assert cranks & {h.test for h in advice.held}
    assert all(h.reason for h in advice.held)


def test_turned_by_hand_without_a_stop_clears_the_cranking(tables: FaultTables) -> None:
    seen = (
        Seen("history_event", None, "liquid_ingested", "told"),
        Seen("turns_by_hand", None, "smooth"),
        Seen("code_misfire", 2, "this_cylinder"),
    )
    advice = next_tests(engine(4), Evidence(seen), tables, most=200)
    assert "compression_dry" not in {h.test for h in advice.held}


def test_what_is_past_is_not_asked_for(tables: FaultTables) -> None:
    """It has been cranked for the compression already: turning by hand first is no longer asked for."""
    for n in next_tests(engine(4), Evidence(LOW), tables, most=200).tests:
        assert "by_hand" not in {b.test for b in n.before}


def test_the_bare_head_is_tested_when_it_is_off_and_flatness_first(tables: FaultTables) -> None:
    on, off = (Course(tables, Evidence(), (), head_off) for head_off in (False, True))
    for test in ("straight_edge", "bare_head"):
        held = on.held(test)
        assert held is not None
        assert held.reason == "the head is on"
        assert off.held(test) is None
    assert [b.test for b in off.before("bare_head", None)] == ["straight_edge"]
    evidence = Evidence(
        (Seen("coolant_gas_test", None, "positive", "repeated"), Seen("heat_signs", None, "present"))
    )
    listed = {n.test for n in next_tests(engine(4), evidence, tables, most=200).tests}
    assert listed.isdisjoint({"straight_edge", "bare_head"})


def test_two_faults_with_one_bill_are_named_as_the_same_work(tables: FaultTables) -> None:
    """A valve that leaks or is bent: the head comes off either way."""
    seen = (
        *(
            Seen(i, 3, s, "repeated")
            for i, s in (
                ("comp_rel", "low_35_69"),
                ("comp_build", "low_no_build"),
                ("wet_gain", "none_under_10"),
                ("leak_pct", "p40_70"),
                ("air_exhaust", "strong"),
                ("bore_surface", "hatch_clear"),
                ("crown_deposit", "thin_normal"),
                ("air_crankcase", "slight"),
            )
        ),
    )
    advice = next_tests(engine(4), Evidence(seen), tables, most=200)
    assert advice.idle
    for n in advice.idle:
        assert tables.bill(n.splits[0]) == tables.bill(n.splits[1])
        assert n.reason == "the same work either way"


def test_the_same_seed_gives_the_same_advice(tables: FaultTables) -> None:
    assert next_tests(engine(4), Evidence(LOW), tables, seed=5) == next_tests(
        engine(4), Evidence(LOW), tables, seed=5
    )
