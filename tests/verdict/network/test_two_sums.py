"""Inclusion-exclusion against the chain of partial ORs: two codes, one answer, on the whole network."""

from __future__ import annotations

import random
from itertools import product

import numpy as np
import pytest

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.algebra import or_join, or_pull, pattern_chances, signed, subset_products
from borelog.verdict.network.posterior import MOST_CANCELLED, posteriors
from borelog.verdict.network.types import Evidence, Posterior, Seen, Spoil
from tests.verdict.network.conftest import engine, random_evidence


def apart(one: Posterior, other: Posterior) -> float:
    """The largest difference of any marginal."""
    gaps = [abs(one.cylinders[c][f] - p) for c, by in other.cylinders.items() for f, p in by.items()]
    for name in ("engine", "breaches", "channels", "misread", "doubted", "spoiled"):
        gaps += [abs(getattr(one, name)[k] - p) for k, p in getattr(other, name).items()]
    return max(gaps)


@pytest.mark.parametrize(("count", "banks"), [(3, 1), (4, 1), (6, 2), (8, 2)])
def test_both_sums_agree_with_all_eight_channels(count: int, banks: int, tables: FaultTables) -> None:
    rnd, shape = random.Random(count), engine(count, banks)
    evidence = random_evidence(rnd, shape, tables, 12, 40)
    one, other = (
        posteriors(shape, evidence, tables, "inclusion"),
        posteriors(shape, evidence, tables, "chain"),
    )
    assert len(one.channels) == 8
    assert apart(one, other) < 1e-9


@pytest.mark.long
@pytest.mark.parametrize("number", range(0, 30, 3))
def test_both_sums_agree_on_v12(number: int, tables: FaultTables) -> None:
    rnd, shape = random.Random(number), engine(12, 2)
    evidence = random_evidence(
        rnd, shape, tables, rnd.randint(0, 30), rnd.randint(8, 26), 0.1 + 0.03 * number
    )
    assert (
        apart(posteriors(shape, evidence, tables, "inclusion"), posteriors(shape, evidence, tables, "chain"))
        < 1e-9
    )


def very_sick(tables: FaultTables, count: int, banks: int) -> tuple[object, Evidence]:
    """Every engine-wide sign at its worst, seen twice over, on cylinders that are clean in every respect."""
    shape = engine(count, banks)
    seen = [
        Seen(i.id, None, i.states[-1], "repeated")
        for i in tables.items_of("engine")
        if i.id != "history_event"
    ]
    seen += [
        Seen(i.id, c, i.states[0], "repeated") for i in tables.items_of("cylinder") for c in shape.cylinders
    ]
    spoils = tuple(Spoil(v, None, 0.001) for v in ("compression_dry", "compression_wet"))
    return shape, Evidence(tuple(seen), (*spoils, *(Spoil("leak_down", c, 0.001) for c in shape.cylinders)))


@pytest.mark.parametrize(("count", "banks"), [(3, 1), (4, 1), (6, 2)])
def test_a_very_sick_engine_on_clean_cylinders_takes_the_positive_sum(
    count: int, banks: int, tables: FaultTables
) -> None:
    shape, evidence = very_sick(tables, count, banks)
    posterior = posteriors(shape, evidence, tables)  # type: ignore[arg-type]
    sure = posteriors(shape, evidence, tables, "chain")  # type: ignore[arg-type]
    assert apart(posterior, sure) < 1e-9
    assert posterior.way == ("chain" if posterior.cancellation > MOST_CANCELLED else "inclusion")


def test_the_guard_changes_over_where_the_signed_sum_has_lost_its_digits(tables: FaultTables) -> None:
    """Here the signed sum is wrong in the third place, so the guard is no ornament."""
    shape, evidence = very_sick(tables, 4, 1)
    fast = posteriors(shape, evidence, tables, "inclusion")  # type: ignore[arg-type]
    guarded = posteriors(shape, evidence, tables)  # type: ignore[arg-type]
    assert fast.cancellation > 1e12
    assert guarded.way == "chain"
    assert apart(guarded, fast) > 1e-4


def test_the_chain_matches_plain_counting() -> None:
    """OR of two patterns, and the mean over it, against enumeration."""
    rng = np.random.default_rng(5)
    x, y = rng.random((2, 3, 8))
    joined, pulled = np.zeros((3, 8)), np.zeros((3, 8))
    for a, b in product(range(8), repeat=2):
        joined[:, a | b] += x[:, a] * y[:, b]
        pulled[:, a] += x[:, b] * y[:, a | b]
    assert or_join(x, y) == pytest.approx(joined)
    assert or_pull(x, y) == pytest.approx(pulled)


def test_inclusion_exclusion_matches_plain_counting() -> None:
    rng = np.random.default_rng(6)
    silent, signs = rng.random(4), rng.random(16)
    plain = float(pattern_chances(silent, range(4)) @ signs)
    assert float(subset_products(silent, range(4)) @ signed(signs)) == pytest.approx(plain)
