"""Engines and random evidence for the network's tests."""

from __future__ import annotations

import random

import pytest

from borelog.knowledge.faults import FaultTables, shipped
from borelog.verdict.network.types import Evidence, NetShape, Seen, Spoil


@pytest.fixture(scope="session")
def tables() -> FaultTables:
    return shipped()


def engine(count: int, banks: int = 1) -> NetShape:
    """Cylinders 1.. in one row, or split evenly over two heads."""
    per = count // banks
    rows = tuple(tuple(range(1 + b * per, 1 + (b + 1) * per)) for b in range(banks))
    return NetShape(tuple(range(1, count + 1)), rows)


def random_evidence(
    rnd: random.Random,
    shape: NetShape,
    tables: FaultTables,
    per_cylinder: int,
    engine_wide: int,
    sick: float = 0.4,
) -> Evidence:
    """Random states, taken in random ways, on random cylinders; with random validity."""
    hows = list(tables.misread)
    seen = []

    def put(item: str, cylinder: int | None, neighbour: int | None = None) -> None:
        states = tables.items[item].states
        state = rnd.choice(states) if rnd.random() < sick else states[0]
        seen.append(Seen(item, cylinder, state, rnd.choice(hows), neighbour))

    mine = [i.id for i in tables.items_of("cylinder")]
    for c in shape.cylinders:
        for item in rnd.sample(mine, min(per_cylinder, len(mine))):
            put(item, c)
    whole = [i.id for i in tables.items_of("engine")]
    for item in rnd.sample(whole, min(engine_wide, len(whole))):
        put(item, None)
    if shape.pairs and "air_to_neighbour" in tables.items and rnd.random() < 0.5:
        a, b = rnd.choice(shape.pairs)
        put("air_to_neighbour", b, a)
    spoils = [Spoil("compression_dry", None, rnd.random()), Spoil("compression_wet", None, rnd.random())]
    spoils += [Spoil("leak_down", c, rnd.random()) for c in shape.cylinders if rnd.random() < 0.5]
    rnd.shuffle(seen)
    return Evidence(tuple(seen), tuple(spoils))
