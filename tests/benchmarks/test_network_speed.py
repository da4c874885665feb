"""How long the verdict takes on a full record, as a ratio to the bare matrix products it cannot do without.

The floor is, for each cylinder, the two products between fault sets and patterns of channels (V x E x 2 rows by S sets by
2**8 patterns, there and back), by the same strips. 'fresh' is a record never seen before, 'one changed' a full record of
which one reading changed, as when a person enters the next one. Targets in milliseconds are noted, never asserted.
"""

from __future__ import annotations

import importlib.util
import random
import time
import tracemalloc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from borelog.knowledge.faults import shipped
from borelog.verdict.network.algebra import Silent
from borelog.verdict.network.drawing import draws
from borelog.verdict.network.next_test import next_tests
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.reasons import reasons
from borelog.verdict.network.tables import compiled
from borelog.verdict.network.types import Evidence, NetShape, Seen

pytestmark = pytest.mark.bench

ENGINES = {"in-line four": (4, 1, "posterior_4"), "V8": (8, 2, ""), "V12": (12, 2, "posterior_12")}
PRODUCTS = "its bare matrix products"
Speed = Callable[..., None]


def engine(count: int, banks: int) -> NetShape:
    per = count // banks
    rows = tuple(tuple(range(1 + b * per, 1 + (b + 1) * per)) for b in range(banks))
    return NetShape(tuple(range(1, count + 1)), rows)


def full_record(rnd: random.Random, shape: NetShape, sick: float = 0.2) -> Evidence:
    """Every item of every cylinder and of the engine recorded."""
    seen = []
    for item in shipped().items.values():
        if item.id != "history_event" and item.scope != "pair":
            for place in shape.cylinders if item.scope == "cylinder" else (None,):
                state = rnd.choice(item.states) if rnd.random() < sick else item.states[0]
                seen.append(Seen(item.id, place, state, "seen"))
    return Evidence(tuple(seen))


def changing(rnd: random.Random, evidence: Evidence) -> Iterator[Evidence]:
    """The same record over and over, each time with one more reading changed."""
    seen = list(evidence.seen)
    while True:
        k = rnd.randrange(len(seen))
        seen[k] = Seen(
            seen[k].item, seen[k].cylinder, rnd.choice(shipped().items[seen[k].item].states), "seen"
        )
        yield Evidence(tuple(seen))


def floor(cylinders: int) -> float:
    """Seconds for the bare matrix products, best of thirty."""
    net = compiled(shipped())
    way = Silent(net.silent_set, net.silent_state, net.silent_breach, range(len(net.channels)))
    rows = (4, len(net.states), 2)
    there, back = (
        np.random.default_rng(1).random((*rows, len(net.sets))),
        np.random.default_rng(2).random((*rows, 256)),
    )
    signs = np.ones((4, len(net.states), 256))
    best = 1e9
    for _ in range(30):
        start = time.perf_counter()
        for _ in range(cylinders):
            way.local(there)
            way.weigh(back, signs)
        best = min(best, time.perf_counter() - start)
    return best


def each_time(
    benchmark: Any, make: Callable[[], Evidence], work: Callable[[Evidence], object], rounds: int = 20
) -> None:
    work(make())
    benchmark.pedantic(work, setup=lambda: ((make(),), {}), rounds=rounds)


@pytest.mark.parametrize("name", ENGINES)
def test_posteriors_one_reading_changed(benchmark: Any, name: str, speed: Speed) -> None:
    count, banks, _ = ENGINES[name]
    shape, rnd = engine(count, banks), random.Random(1)
    records = changing(rnd, full_record(rnd, shape))
    each_time(benchmark, lambda: next(records), lambda e: posteriors(shape, e, shipped()))
    what = f"causes of a {name} after one more reading"
    speed(what=what, room="verdict", floor=floor(count), floor_is=PRODUCTS)


@pytest.mark.parametrize("name", ENGINES)
def test_posteriors_fresh_record(benchmark: Any, name: str, speed: Speed) -> None:
    count, banks, id_ = ENGINES[name]
    shape, rnd = engine(count, banks), random.Random(2)
    each_time(benchmark, lambda: full_record(rnd, shape), lambda e: posteriors(shape, e, shipped()))
    words = {} if id_ else {"what": f"causes of a {name}, everything recorded", "room": "verdict"}
    speed(id_, floor=floor(count), floor_is=PRODUCTS, **words)


def test_posteriors_by_the_positive_sum(benchmark: Any, speed: Speed) -> None:
    shape, rnd = engine(12, 2), random.Random(3)
    each_time(
        benchmark, lambda: full_record(rnd, shape), lambda e: posteriors(shape, e, shipped(), "chain"), 3
    )
    what = "causes of a V12 by the sum that only adds (the check of the fast way)"
    speed(what=what, room="verdict", floor=floor(12), floor_is=PRODUCTS)


def test_reasons_of_one_cylinder(benchmark: Any, speed: Speed) -> None:
    shape, rnd = engine(12, 2), random.Random(4)
    records = changing(rnd, full_record(rnd, shape))
    each_time(benchmark, lambda: next(records), lambda e: reasons(shape, e, shipped(), 5))
    speed("reasons", floor=floor(12))


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0], ids=["nothing", "a third", "everything"])
def test_next_tests_of_a_v12(
    benchmark: Any, share: float, speed: Speed, request: pytest.FixtureRequest
) -> None:
    shape, rnd = engine(12, 2), random.Random(5)

    def some() -> Evidence:
        return Evidence(tuple(s for s in full_record(rnd, shape, 0.05).seen if rnd.random() < share))

    each_time(benchmark, some, lambda e: next_tests(shape, e, shipped()), 5)
    recorded = request.node.callspec.id
    speed("next_tests", floor=floor(12), what=f"next tests of a V12 ranked, {recorded} recorded")


def test_ten_thousand_draws_of_a_v12(benchmark: Any, speed: Speed) -> None:
    shape, rnd = engine(12, 2), random.Random(6)
    each_time(
        benchmark, lambda: full_record(rnd, shape, 0.05), lambda e: draws(shape, e, shipped(), 1, 10_000), 5
    )
    speed(what="10 000 draws of the true state of a V12", room="verdict", floor=floor(12), floor_is=PRODUCTS)


def test_memory_of_a_verdict(benchmark: Any, speed: Speed) -> None:
    """Peak of everything the verdict on a V12 holds, tables included, in megabytes."""
    shape, rnd = engine(12, 2), random.Random(7)
    record = full_record(rnd, shape)
    tracemalloc.start()
    posteriors(shape, record, shipped())
    reasons(shape, record, shipped(), 3)
    next_tests(shape, record, shipped())
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    benchmark(lambda: None)
    speed("memory", value=peak)


def test_against_the_general_library_on_a_cut_network(benchmark: Any, speed: Speed) -> None:
    """The same answer from a general-purpose library, on the cut network of an in-line four, as a ratio."""
    gum = pytest.importorskip("pyagrum", reason="pyagrum is the reference for the fault network")
    path = Path(__file__).parents[1] / "verdict" / "network" / "test_reference.py"
    spec = importlib.util.spec_from_file_location("reference_tests", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    shape, small = engine(4, 1), module.cut(shipped(), 4)
    evidence = module.random_evidence(random.Random(8), shape, small, 6, 5)
    start = time.perf_counter()
    module.Reference(gum, shape, evidence, small).posterior("F1")
    theirs = time.perf_counter() - start
    benchmark(lambda: posteriors(shape, evidence, small))
    speed(what="causes on a cut network", room="verdict", floor=theirs, floor_is="a general-purpose library")
