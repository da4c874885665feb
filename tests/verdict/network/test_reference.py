"""Posteriors against pyAgrum (LazyPropagation) on the identical network, to 1e-9.

The reference cannot hold the whole network of a big engine (a clique would join the fault sets of a cylinder with the
patterns of eight channels twice over). So it is compared on:

- ``cut``: six faults, four engine states, four channels and about half of the items, on in-line, V and flat engines of
  3 to 12 cylinders (four channels up to four cylinders, three up to seven, then one): every mechanism;
- ``no channels``: all 23 faults (277 sets) and all engine states on cylinder items, in-line three;
- ``two channels``: all faults and engine states with the engine-wide signs of coolant and debris, in-line three.

What the reference does not reach - eight channels together with all faults - is compared between the two sums, whose
code differs (``test_two_sums.py``).
"""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.types import Evidence, NetShape, Seen, Spoil
from tests.verdict.network.altered import restricted
from tests.verdict.network.conftest import engine, random_evidence
from tests.verdict.network.reference import Reference

gum = pytest.importorskip(
    "pyagrum", reason="pyagrum is the reference for the fault network; install the 'check' extra"
)

FEW_FAULTS = {
    "worn_rings_bore",
    "exh_valve_leak",
    "gasket_coolant",
    "fuel_washed",
    "scored_bore",
    "ignition_fuel_only",
}
FEW = {
    *FEW_FAULTS,
    "gasket_neighbour",
    "overheated",
    "worn_all",
    "timing_off",
    "coolant_crossing",
    "oil_burnt",
    "uneven_beat",
    "debris",
}
FEW_ITEMS = {
    *(
        "comp_rel",
        "comp_build",
        "comp_repeat",
        "wet_gain",
        "leak_pct",
        "air_exhaust",
        "air_crankcase",
        "air_neighbour",
    ),
    *(
        "leak_wet_change",
        "leak_mid_stroke",
        "plug_deposit",
        "crown_deposit",
        "bore_surface",
        "liquid_in_cyl",
        "swap_coil",
    ),
    *(
        "exhaust_smoke",
        "crank_rhythm",
        "oil_state",
        "filter_debris",
        "coolant_state",
        "comp_level",
        "coolant_gas_test",
    ),
    *("oil_use", "timing_marks", "heat_signs", "air_to_neighbour", "history_event"),
}
LAYOUTS = [(3, 1), (4, 1), (5, 1), (6, 1), (4, 2), (6, 2), (8, 2), (10, 2), (12, 2), (8, 1)]


def cut(tables: FaultTables, cylinders: int) -> FaultTables:
    """The cut network; fewer channels on longer engines, or the reference's cliques outgrow the memory."""
    left = {
        name for name, least in (("uneven_beat", 5), ("oil_burnt", 8), ("debris", 8)) if cylinders >= least
    }
    return restricted(tables, lambda f: f.id in FEW - left, lambda i: i.id in FEW_ITEMS)


def compare(shape: NetShape, evidence: Evidence, tables: FaultTables, way: str = "") -> float:
    """The largest difference over fault sets, faults, engine, breaches, channels, misread and spoiled variables."""
    ref: Any = Reference(gum, shape, evidence, tables)
    found = posteriors(shape, evidence, tables, way)
    worst = 0.0

    def see(mine: Any, other: Any) -> None:
        nonlocal worst
        worst = max(worst, float(np.max(np.abs(np.asarray(mine) - np.asarray(other)))))

    for c in shape.cylinders:
        by_set = ref.posterior(f"F{c}")
        see(found.by_set[c].sum(0), by_set)
        for fault in tables.of_scope("cylinder"):
            see(
                found.cylinders[c][fault],
                sum(p for p, some in zip(by_set, ref.sets, strict=True) if fault in some),
            )
        see(found.cylinders[c]["gasket_neighbour"], ref.posterior(f"B{c}")[1])
        if any(s.cylinder == c and tables.items[s.item].test == "leak_down" for s in evidence.seen):
            see(found.spoiled["leak_down", c], ref.posterior(f"leak{c}")[1])
    see([found.engine[e] for e in ref.states], ref.posterior("E"))
    for (a, b), p in found.breaches.items():
        see(p, ref.posterior(f"G{a}_{b}")[1])
    for channel, p in found.channels.items():
        see(p, ref.posterior(ref.last[channel])[1])
    for (place, group), p in found.misread.items():
        where = "_".join(map(str, place)) if isinstance(place, tuple) else "" if place is None else place
        see(p, 1.0 - ref.posterior(f"R:{group}:{where}")[0])
    for (test, place), p in found.spoiled.items():
        if place is None:
            see(p, ref.posterior(test)[1])
    see(found.log_evidence, np.log(ref.engine.evidenceProbability()))
    return worst


def one_cut(number: int, tables: FaultTables) -> float:
    rnd = random.Random(number)
    count, banks = LAYOUTS[number % len(LAYOUTS)]
    shape = engine(count, banks)
    small = cut(tables, count)
    evidence = random_evidence(rnd, shape, small, rnd.randint(0, 6), rnd.randint(0, 5))
    return compare(shape, evidence, small)


@pytest.mark.parametrize("number", range(10))
def test_cut_network_of_every_layout(number: int, tables: FaultTables) -> None:
    assert one_cut(number, tables) < 1e-9


@pytest.mark.long
@pytest.mark.parametrize("tens", range(1, 19))
def test_cut_network_180_more_random_sets(tens: int, tables: FaultTables) -> None:
    assert max(one_cut(number, tables) for number in range(10 * tens, 10 * tens + 10)) < 1e-9


def all_faults(number: int, tables: FaultTables, channels: set[str]) -> float:
    rnd = random.Random(1000 + number)
    keep_engine = (
        {"coolant_gas_test", "coolant_pressure_hold", "filter_debris", "history_event"}
        if channels
        else {"history_event"}
    )
    whole = restricted(
        tables,
        lambda f: f.scope != "channel" or f.id in channels,
        lambda i: i.scope != "engine" or i.id in keep_engine,
    )
    evidence = random_evidence(rnd, engine(3), whole, 3, 4)
    seen = tuple(
        s for s in evidence.seen if s.item != "plug_deposit"
    )  # its table alone would hold 60 million numbers
    return compare(engine(3), replace(evidence, seen=seen), whole)


def test_all_faults_without_channels(tables: FaultTables) -> None:
    assert all_faults(0, tables, set()) < 1e-9


@pytest.mark.long
@pytest.mark.parametrize("number", range(1, 6))
def test_all_faults_without_channels_more(number: int, tables: FaultTables) -> None:
    assert all_faults(number, tables, set()) < 1e-9


@pytest.mark.long
@pytest.mark.parametrize("number", range(4))
def test_all_faults_with_two_channels(number: int, tables: FaultTables) -> None:
    assert all_faults(number, tables, {"coolant_crossing", "debris"}) < 1e-9


def test_a_very_sick_engine_on_clean_cylinders(tables: FaultTables) -> None:
    """Every engine-wide sign abnormal on clean cylinders: the chain of partial ORs against the reference."""
    small = cut(tables, 4)
    shape = engine(3)
    whole = [
        Seen(i.id, None, i.states[-1], "repeated")
        for i in small.items_of("engine")
        if i.id != "history_event"
    ]
    clean = [
        Seen(i.id, c, i.states[0], "repeated") for i in small.items_of("cylinder") for c in shape.cylinders
    ]
    evidence = Evidence(
        tuple(whole + clean), (Spoil("compression_dry", None, 0.001), Spoil("compression_wet", None, 0.001))
    )
    assert posteriors(shape, evidence, small).cancellation > 1e4
    assert compare(shape, evidence, small, "chain") < 1e-9
