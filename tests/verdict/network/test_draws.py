"""Draws come from the posterior: single faults, pairs of facts on different cylinders, seeds."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.drawing import draws
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.tables import compiled
from borelog.verdict.network.types import Evidence, Seen
from tests.verdict.network.conftest import engine, random_evidence

COUNT = 20000
WIDE = 5.5  # standard errors: over about a thousand figures a true sampler stays within


def close(share: float, probability: float) -> bool:
    return abs(share - probability) <= WIDE * math.sqrt(
        max(probability * (1 - probability), 1 / COUNT) / COUNT
    )


@pytest.mark.parametrize(("count", "banks", "whole"), [(3, 1, 0), (4, 1, 6), (6, 2, 26), (8, 2, 10)])
def test_draws_show_the_posteriors(count: int, banks: int, whole: int, tables: FaultTables) -> None:
    rnd, shape = random.Random(count), engine(count, banks)
    evidence = random_evidence(rnd, shape, tables, 6, whole)
    found, joint = posteriors(shape, evidence, tables), draws(shape, evidence, tables, 7, COUNT)
    for j, c in enumerate(shape.cylinders):
        share = joint.has[joint.sets[:, j]].mean(axis=0)
        assert [
            f for f, p in zip(joint.faults, share, strict=True) if not close(p, found.cylinders[c][f])
        ] == []
    assert all(close(float((joint.engine == k).mean()), found.engine[e]) for k, e in enumerate(joint.states))
    assert all(
        close(float(joint.breaches[:, k].mean()), found.breaches[p]) for k, p in enumerate(joint.pairs)
    )
    names = compiled(tables).channels
    assert all(close(float(joint.channels[:, names.index(k)].mean()), p) for k, p in found.channels.items())


def test_draws_are_joint_not_cylinder_by_cylinder(tables: FaultTables) -> None:
    """White, sweet smoke comes from some cylinder: coolant leaks exclude each other more than by chance.

    The joint chance of a leak in both cylinders 1 and 2 against exact inference: P(1) * P(2 | 1 sealed or not).
    """
    shape = engine(4)
    evidence = Evidence(
        (
            Seen("exhaust_smoke", None, "white_sweet", "repeated"),
            Seen("coolant_gas_test", None, "positive", "repeated"),
        )
    )
    joint = draws(shape, evidence, tables, 3, COUNT)
    leak = joint.has[:, joint.faults.index("gasket_coolant")][joint.sets]
    some = float(leak.any(axis=1).mean())
    apart = 1 - float(np.prod(1 - leak.mean(axis=0)))
    assert some > apart + 0.05


def test_draws_tie_low_neighbours_by_their_bridge(tables: FaultTables) -> None:
    seen = tuple(
        Seen(i, c, s, "measured")
        for c in (2, 3)
        for i, s in (("comp_rel", "low_35_69"), ("comp_build", "low_no_build"), ("wet_gain", "none_under_10"))
    )
    joint = draws(engine(4), Evidence(seen), tables, 3, COUNT)
    exhaust = joint.has[:, joint.faults.index("exh_valve_leak")]
    bridge = joint.breaches[:, joint.pairs.index((2, 3))]
    valve = exhaust[joint.sets[:, 1]]
    assert valve[~bridge].mean() > 2 * valve[bridge].mean()


def test_draws_repeat_with_their_seed(tables: FaultTables) -> None:
    shape = engine(6, 2)
    evidence = random_evidence(random.Random(1), shape, tables, 5, 5)
    one, again, other = (draws(shape, evidence, tables, seed, 500) for seed in (1, 1, 2))
    assert np.array_equal(one.sets, again.sets)
    assert np.array_equal(one.engine, again.engine)
    assert np.array_equal(one.breaches, again.breaches)
    assert not np.array_equal(one.sets, other.sets)


def test_channels_without_a_sign_are_drawn_from_what_feeds_them(tables: FaultTables) -> None:
    """Nothing engine-wide recorded: how often a channel speaks is the mean of 1 - (chance that all stay silent)."""
    shape, net = engine(4), compiled(tables)
    evidence = Evidence((Seen("exh_valve_face", 2, "notch_or_burnt", "seen"),))
    joint = draws(shape, evidence, tables, 5, COUNT)
    quiet = net.silent_state[joint.engine] * np.prod(net.silent_set[joint.sets], axis=1)
    quiet = quiet * np.where(joint.breaches[:, :, None], net.silent_breach, 1.0).prod(axis=1)
    expected = (1.0 - quiet).mean(axis=0)
    assert all(close(float(joint.channels[:, k].mean()), float(p)) for k, p in enumerate(expected))
