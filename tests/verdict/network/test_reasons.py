"""Reasons by leaving groups out: against plain re-inference with the entries taken away."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.reasons import log_odds, reasons
from borelog.verdict.network.types import BREACH, Evidence, NetworkError, Seen, Spoil
from tests.verdict.network.conftest import engine, random_evidence
from tests.verdict.network.test_meaning import BURNT


def without(evidence: Evidence, seen: tuple[Seen, ...]) -> Evidence:
    left = list(evidence.seen)
    for one in seen:
        left.remove(one)
    return replace(evidence, seen=tuple(left))


@pytest.mark.parametrize("number", range(8))
def test_each_weight_is_what_the_group_changes(number: int, tables: FaultTables) -> None:
    rnd = random.Random(number)
    shape = engine(*[(4, 1), (6, 2)][number % 2])
    evidence = random_evidence(rnd, shape, tables, 7, 8)
    found = reasons(shape, evidence, tables, 2)
    whole = posteriors(shape, evidence, tables)
    for case in (found.leader, found.runner_up):
        assert case.probability == pytest.approx(whole.cylinders[2][case.fault], abs=1e-12)
        for weight in case.weights:
            less = posteriors(shape, without(evidence, weight.seen), tables).cylinders[2][case.fault]
            shift = log_odds(whole.cylinders[2][case.fault]) - log_odds(less)
            assert weight.shift == pytest.approx(shift, abs=1e-6)


@pytest.mark.parametrize("number", range(8))
def test_the_flip_flips(number: int, tables: FaultTables) -> None:
    rnd = random.Random(100 + number)
    shape = engine(4)
    evidence = random_evidence(rnd, shape, tables, 4, 3, 0.6)
    found = reasons(shape, evidence, tables, 2)
    if found.flip is None:
        assert found.leader.probability > 0.5
        return
    kept = [
        s for s in evidence.seen if not (found.flip.repeat and s.item == found.flip.item and s.cylinder == 2)
    ]
    how = "measured" if tables.items[found.flip.item].set in ("compression", "leakdown") else "seen"
    more = Evidence((*kept, Seen(found.flip.item, 2, found.flip.state, how)), evidence.spoils)
    after = posteriors(shape, more, tables)
    assert after.ranked(2)[0][0] == found.flip.leader != found.leader.fault


def test_a_burnt_valve_is_supported_by_what_speaks_for_it(tables: FaultTables) -> None:
    found = reasons(engine(4), Evidence(BURNT), tables, 3)
    assert found.leader.fault == "exh_valve_leak"
    assert found.support >= 3
    assert {w.group for w in found.leader.weights[:2]} == {"exh", "leak_path"}
    assert all(w.shift > 0 for w in found.leader.weights[:2])


def test_one_look_alone_is_not_two_independent_groups(tables: FaultTables) -> None:
    found = reasons(engine(4), Evidence((Seen("exh_valve_face", 3, "notch_or_burnt"),)), tables, 3)
    assert found.support < 2


def test_a_story_is_a_reason_too(tables: FaultTables) -> None:
    seen = (*BURNT[:2], Seen("history_event", None, "belt_chain_event", "told"))
    found = reasons(engine(4), Evidence(seen), tables, 3)
    bent = next(c for c in (found.leader, found.runner_up) if c.fault == "bent_valves")
    assert next(w for w in bent.weights if w.group == "history_event").shift > 0.3


def test_a_spoiled_leak_down_gives_no_reason(tables: FaultTables) -> None:
    seen = (Seen("leak_pct", 2, "over_70", "measured"), Seen("swap_coil", 2, "moves", "seen"))
    found = reasons(engine(4), Evidence(seen, (Spoil("leak_down", 2, 1.0),)), tables, 2)
    assert abs(next(w for w in found.leader.weights if w.group == "seal_static").shift) < 1e-9


def test_a_cylinder_that_is_not_there_is_named(tables: FaultTables) -> None:
    with pytest.raises(NetworkError, match="no cylinder 7"):
        reasons(engine(4), Evidence(), tables, 7)


def test_air_at_the_neighbours_hole_speaks_for_the_gasket_between(tables: FaultTables) -> None:
    """What is heard between two cylinders belongs to both, and is the strongest thing that speaks for the bridge."""
    seen = (
        Seen("comp_rel", 2, "low_35_69", "measured"),
        Seen("comp_rel", 3, "low_35_69", "measured"),
        Seen("air_to_neighbour", 2, "hiss", "measured", 3),
    )
    for cylinder in (2, 3):
        found = reasons(engine(4), Evidence(seen), tables, cylinder)
        assert found.leader.fault == BREACH
        assert found.leader.weights[0].group == "pair_path"
        assert found.leader.weights[0].shift > 2.0


def test_air_between_two_sound_cylinders_is_doubted(tables: FaultTables) -> None:
    """Full squeeze and no leak on either side: what was heard at the other hole is more likely wrong than right."""
    seen = [Seen("air_to_neighbour", 2, "hiss", "told", 3)]
    for c in (2, 3):
        seen += [
            Seen("comp_rel", c, "like_group", "repeated"),
            Seen("leak_pct", c, "under_10", "repeated"),
            Seen("air_neighbour", c, "none", "repeated"),
        ]
    found = posteriors(engine(4), Evidence(tuple(seen)), tables)
    assert found.misread[(2, 3), "pair_path"] > 0.5
