"""What must make no difference, and what must only ever help."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from borelog.knowledge.faults import FaultTables, Row, shipped
from borelog.verdict.network.groups import as_group
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.tables import Kept, Net, compiled
from borelog.verdict.network.types import Evidence, NetShape, Posterior, Seen, Spoil
from tests.verdict.network.altered import with_rows
from tests.verdict.network.conftest import engine, random_evidence

LAYOUTS = st.sampled_from([(3, 1), (4, 1), (6, 1), (4, 2), (6, 2), (8, 2)])
QUICK = settings(max_examples=25, deadline=None)


def same(one: Posterior, other: Posterior, renamed: dict[int, int] | None = None) -> None:
    """All marginals agree to 1e-12 under a renaming of cylinders."""
    name = renamed or {c: c for c in one.shape.cylinders}
    for c, by in one.cylinders.items():
        assert by == pytest.approx(other.cylinders[name[c]], abs=1e-12)
    assert one.engine == pytest.approx(other.engine, abs=1e-12)
    assert one.log_evidence == pytest.approx(other.log_evidence, abs=1e-9)
    pairs = {frozenset(p): v for p, v in other.breaches.items()}
    for (a, b), p in one.breaches.items():
        assert p == pytest.approx(pairs[frozenset((name[a], name[b]))], abs=1e-12)

    def place(c: int | tuple[int, int] | None) -> object:
        if isinstance(c, tuple):
            return frozenset(name[k] for k in c)
        return None if c is None else name[c]

    doubts = {(frozenset(c) if isinstance(c, tuple) else c, g): v for (c, g), v in other.misread.items()}
    for (c, group), p in one.misread.items():
        assert p == pytest.approx(doubts[place(c), group], abs=1e-12)
    for (test, c), p in one.spoiled.items():
        assert p == pytest.approx(other.spoiled[test, None if c is None else name[c]], abs=1e-12)


def renamed(evidence: Evidence, name: dict[int, int]) -> Evidence:
    seen = tuple(
        replace(
            s,
            cylinder=None if s.cylinder is None else name[s.cylinder],
            neighbour=None if s.neighbour is None else name[s.neighbour],
        )
        for s in evidence.seen
    )
    return Evidence(
        seen,
        tuple(replace(s, cylinder=None if s.cylinder is None else name[s.cylinder]) for s in evidence.spoils),
    )


@QUICK
@given(LAYOUTS, st.integers(0, 10**6))
def test_order_of_entry_makes_no_difference(layout: tuple[int, int], seed: int) -> None:
    rnd, shape, tables = random.Random(seed), engine(*layout), shipped()
    evidence = random_evidence(rnd, shape, tables, rnd.randint(0, 12), rnd.randint(0, 12))
    shuffled = Evidence(
        tuple(rnd.sample(evidence.seen, len(evidence.seen))),
        tuple(rnd.sample(evidence.spoils, len(evidence.spoils))),
    )
    same(posteriors(shape, evidence, tables), posteriors(shape, shuffled, tables))


@QUICK
@given(LAYOUTS, st.integers(0, 10**6))
def test_renumbering_makes_no_difference(layout: tuple[int, int], seed: int) -> None:
    rnd, shape, tables = random.Random(seed), engine(*layout), shipped()
    evidence = random_evidence(rnd, shape, tables, rnd.randint(0, 12), rnd.randint(0, 12))
    name = dict(zip(shape.cylinders, rnd.sample(range(1, 40), len(shape.cylinders)), strict=True))
    other = NetShape(
        tuple(name[c] for c in shape.cylinders),
        tuple(tuple(name[c] for c in chain) for chain in shape.chains),
    )
    same(posteriors(shape, evidence, tables), posteriors(other, renamed(evidence, name), tables), name)


@QUICK
@given(LAYOUTS, st.integers(0, 10**6), st.booleans())
def test_mirrored_and_swapped_banks_make_no_difference(
    layout: tuple[int, int], seed: int, swap: bool
) -> None:
    rnd, shape, tables = random.Random(seed), engine(*layout), shipped()
    evidence = random_evidence(rnd, shape, tables, rnd.randint(0, 12), rnd.randint(0, 12))
    chains = tuple(chain[::-1] for chain in shape.chains)
    mirrored = NetShape(shape.cylinders, chains[::-1] if swap else chains)
    same(posteriors(shape, evidence, tables), posteriors(mirrored, evidence, tables))


@QUICK
@given(st.integers(0, 10**6), st.sampled_from(["oil", "heat", "lash", "crown_hit"]))
def test_an_item_alike_under_every_cause_changes_nothing(seed: int, group: str) -> None:
    """Its row the same for every cause, alone in its group."""
    rnd, shape, tables = random.Random(seed), engine(4), shipped()
    item = next(i for i in tables.items.values() if i.group == group)
    flat = Row(tables.rows["sound", item.id].probabilities, None, "", "")
    alike = with_rows(tables, {key: flat for key in tables.rows if key[1] == item.id})
    evidence = random_evidence(rnd, shape, alike, rnd.randint(0, 6), rnd.randint(0, 6))
    evidence = replace(evidence, seen=tuple(s for s in evidence.seen if tables.items[s.item].group != group))
    more = Seen(item.id, 2 if item.scope == "cylinder" else None, rnd.choice(item.states), "part")
    one, other = (
        posteriors(shape, evidence, alike),
        posteriors(shape, Evidence((*evidence.seen, more), evidence.spoils), alike),
    )
    for c in shape.cylinders:
        assert one.cylinders[c] == pytest.approx(other.cylinders[c], abs=1e-12)
    assert one.engine == pytest.approx(other.engine, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_trusting_a_group_more_never_hurts_what_fits_it_best(data: st.DataObject) -> None:
    """When a group's eps falls, the log-odds of the fault set that fits it best never fall against any other."""
    tables = shipped()
    net = compiled(tables)
    items = tables.items_of("cylinder")
    name = data.draw(st.sampled_from(sorted({i.group for i in items})))
    seen = [Seen(i.id, 1, data.draw(st.sampled_from(i.states)), "seen") for i in items if i.group == name]
    chances = sorted(data.draw(st.lists(st.floats(1e-4, 0.6), min_size=2, max_size=2, unique=True)))
    small, large = (as_group(trusting_by(net, k), name, 1, seen).like.valid for k in chances)
    best = small.argmax()
    for other in range(small.size):
        trusting = math.log(small.flat[best]) - math.log(small.flat[other])
        doubting = math.log(large.flat[best]) - math.log(large.flat[other])
        assert trusting >= doubting - 1e-12


def trusting_by(net: Net, chance: float) -> Net:
    """The same network with another chance of misreading what is seen clearly."""
    tables = replace(net.tables, misread={**net.tables.misread, "seen": (chance, "")})
    return replace(net, tables=tables, memo=Kept(10))


@pytest.mark.parametrize("number", range(6))
def test_posteriors_of_one_engine_add_up(number: int, tables: FaultTables) -> None:
    rnd = random.Random(number)
    shape = engine(6, 2)
    posterior = posteriors(shape, random_evidence(rnd, shape, tables, 20, 15), tables)
    assert sum(posterior.engine.values()) == pytest.approx(1.0)
    for c in shape.cylinders:
        by = posterior.cylinders[c]
        assert all(-1e-12 <= p <= 1 + 1e-12 for p in by.values())
        assert by["sound"] <= 1 - max(p for f, p in by.items() if f != "sound") + 1e-12
        assert sum(s.probability for s in posterior.sets[c]) <= 1 + 1e-12
    for p in (*posterior.misread.values(), *posterior.spoiled.values(), *posterior.channels.values()):
        assert -1e-12 <= p <= 1 + 1e-12


def test_silence_leaves_the_priors(tables: FaultTables) -> None:
    """Conditions without readings move nothing: not looked is not nothing found."""
    shape = engine(4)
    spoils = (Spoil("compression_dry", None, 0.9), Spoil("leak_down", 2, 0.9))
    same(
        posteriors(shape, Evidence(), tables),
        replace(
            posteriors(shape, Evidence((), spoils), tables),
            spoiled=posteriors(shape, Evidence(), tables).spoiled,
        ),
    )
