"""The same network in a general-purpose Bayesian-network library, from the same tables, by other code.

Every variable of the model page is a node: engine state, validity of each test, a breach per bridge, the fault set of
each cylinder, channels as a chain of ORs, one misread variable per dependence group ('as it is', or 'looks like' one of
the group's causes), and the recorded items. Items nobody recorded are left out: a leaf without evidence changes nothing.
"""

from __future__ import annotations

import math
from itertools import combinations, product
from typing import Any

import numpy as np

from borelog.knowledge.faults import FaultTables, Item
from borelog.verdict.network.priors import priors
from borelog.verdict.network.tables import compiled
from borelog.verdict.network.types import BREACH, Evidence, NetShape
from borelog.verdict.network.validity import chance_spoiled

LEAK = "leak_down"


def cumulative(tables: FaultTables, item: Item, causes: list[str]) -> list[float]:
    """P(state <= s | causes), state by state, straight from the definition."""
    hidden = {c for c in causes if any((item.id, h, c) in tables.masks for h in causes)}
    base, sums = 0.0, []
    background = tables.rows["sound", item.id].probabilities
    own = {
        c: tables.rows[c, item.id].probabilities
        for c in causes
        if c not in hidden and (c, item.id) in tables.rows
    }
    floor = dict.fromkeys(own, 0.0)
    for s in range(len(item.states)):
        base = math.fsum(background[: s + 1]) if s < len(item.states) - 1 else 1.0
        value = base
        for cause, row in own.items():
            part = 1.0 if s == len(item.states) - 1 else min(1.0, max(0.0, math.fsum(row[: s + 1]) / base))
            floor[cause] = max(floor[cause], part)
            value *= floor[cause]
        sums.append(value)
    return sums


def distribution(tables: FaultTables, item: Item, causes: list[str]) -> np.ndarray:
    """P(state | causes)."""
    return np.diff([0.0, *cumulative(tables, item, causes)])


class Reference:
    """One engine with its evidence as a pyAgrum network; ask with `posterior`."""

    def __init__(self, gum: Any, shape: NetShape, evidence: Evidence, tables: FaultTables) -> None:
        self.gum, self.shape, self.tables, self.evidence = gum, shape, tables, evidence
        self.bn = gum.BayesNet("engine")
        self.hard: dict[str, int] = {}
        self.net = compiled(tables)
        self.priors = priors(self.net, shape, tuple(s for s in evidence.seen if s.item == "history_event"))
        self.faults = list(tables.of_scope("cylinder"))
        self.sets: list[tuple[str, ...]] = [(), *((f,) for f in self.faults), *combinations(self.faults, 2)]
        self.states = list(self.net.states)
        self._causes()
        self._channels()
        self._items()
        self.engine = gum.LazyPropagation(self.bn)
        self.engine.setEvidence(self.hard)
        self.engine.makeInference()

    def node(self, name: str, size: int, parents: list[str], table: np.ndarray) -> str:
        """A node with parents in this order; ``table`` is indexed by parents in order, then the node's own value."""
        self.bn.add(self.gum.LabelizedVariable(name, name, size))
        for parent in parents:
            self.bn.addArc(parent, name)
        order = list(range(len(parents)))[::-1]  # the library's arrays run from the last parent to the first
        self.bn.cpt(name)[:] = np.ascontiguousarray(np.transpose(table, [*order, len(parents)]))
        return name

    def _causes(self) -> None:
        self.node("E", len(self.states), [], self.priors.states)
        for test in ("compression_dry", "compression_wet"):
            p = chance_spoiled(self.tables, self.evidence, test, None)
            self.node(test, 2, [], np.array([1 - p, p]))
        breach = self.priors.breach
        for a, b in self.shape.pairs:
            self.node(f"G{a}_{b}", 2, ["E"], np.stack([1 - breach, breach], axis=1))
        for c in self.shape.cylinders:
            p = chance_spoiled(self.tables, self.evidence, LEAK, c)
            self.node(f"leak{c}", 2, [], np.array([1 - p, p]))
            self.node(f"F{c}", len(self.sets), ["E"], self.priors.sets)
            beside = [f"G{a}_{b}" for a, b in self.shape.pairs if c in (a, b)]
            table = np.zeros((*(2,) * len(beside), 2))
            for values in product(range(2), repeat=len(beside)):
                table[(*values, int(any(values)))] = 1.0
            self.node(f"B{c}", 2, beside, table)

    def _strength(self, channel: str, source: str) -> float:
        return self.tables.channels.get((channel, source), 0.0)

    def _channels(self) -> None:
        recorded = {s.item for s in self.evidence.seen}
        self.channels = [k for k in self.net.channels if any((k, i) in self.tables.rows for i in recorded)]
        self.last = {}
        for k in self.channels:
            fires = np.array([self._strength(k, e) for e in self.states])
            last = self.node(f"{k}0", 2, ["E"], np.stack([1 - fires, fires], axis=1))
            n = 0
            for c in self.shape.cylinders:
                n += 1
                quiet = np.array([math.prod(1 - self._strength(k, f) for f in some) for some in self.sets])
                last = self._or(f"{k}{n}", last, f"F{c}", quiet)
            for a, b in self.shape.pairs:
                n += 1
                last = self._or(f"{k}{n}", last, f"G{a}_{b}", np.array([1.0, 1 - self._strength(k, BREACH)]))
            self.last[k] = last

    def _or(self, name: str, before: str, source: str, quiet: np.ndarray) -> str:
        table = np.zeros((2, len(quiet), 2))
        table[0] = np.stack([quiet, 1 - quiet], axis=1)
        table[1, :, 1] = 1.0
        return self.node(name, 2, [before, source], table)

    def _items(self) -> None:
        by_group: dict[tuple[Any, str], list[Any]] = {}
        for seen in self.evidence.seen:
            item = self.tables.items[seen.item]
            if item.id != "history_event":
                place = (
                    tuple(sorted((seen.cylinder, seen.neighbour))) if item.scope == "pair" else seen.cylinder
                )
                by_group.setdefault((place, item.group), []).append(seen)
        for (place, group), entries in by_group.items():
            self._group(place, group, entries)

    def _group(self, place: Any, group: str, entries: list[Any]) -> None:
        tables = self.tables
        causes = ["sound"] + [
            f
            for f in tables.faults
            if f != "sound"
            and any((f, i.id) in tables.rows for i in tables.items.values() if i.group == group)
        ]
        weights = np.array([tables.faults[c].weight for c in causes])
        chances = [tables.misread[s.how][0] for s in entries]
        eps = min(chances)
        where = "" if place is None else "_".join(map(str, place)) if isinstance(place, tuple) else str(place)
        misread = self.node(
            f"R:{group}:{where}",
            1 + len(causes),
            [],
            np.concatenate([[1 - eps], eps * weights / weights.sum()]),
        )
        for n, (seen, chance) in enumerate(zip(entries, chances, strict=True)):
            item = tables.items[seen.item]
            blend = (chance - eps) / (1 - eps)
            own = self.node(f"r{n}:{item.id}:{where}", 2, [], np.array([1 - blend, blend]))
            looks = np.array([distribution(tables, item, [c] if c != "sound" else []) for c in causes])
            mean = weights / weights.sum() @ looks
            parents, configs = self._parents(item, place)
            table = np.empty((*[len(v) for v in configs], 1 + len(causes), 2, len(item.states)))
            for index in product(*[range(len(v)) for v in configs]):
                picked = [v[i] for v, i in zip(configs, index, strict=True)]
                if "spoiled" in picked:
                    plain = np.array(tables.rows["spoiled", item.id].probabilities)
                else:
                    plain = distribution(tables, item, [c for some in picked for c in some if c != "valid"])
                table[(*index, 0, 0)] = plain
                table[(*index, slice(1, None), 0)] = looks
                table[(*index, slice(None), 1)] = mean
            name = self.node(f"{n}:{item.id}:{where}", len(item.states), [*parents, misread, own], table)
            self.hard[name] = item.states.index(seen.state)

    def _parents(self, item: Item, place: Any) -> tuple[list[str], list[Any]]:
        """Parents of an item and, for each, what its values stand for."""
        engine = [() if e == "no_engine_fault" else (e,) for e in self.states]
        if item.scope == "pair":
            return [
                f"G{place[0]}_{place[1]}"
                if f"G{place[0]}_{place[1]}" in self.bn.names()
                else f"G{place[1]}_{place[0]}"
            ], [[(), (BREACH,)]]
        if item.scope == "cylinder":
            parents, configs = [f"F{place}", f"B{place}", "E"], [self.sets, [(), (BREACH,)], engine]
        else:
            linked = [k for k in self.channels if (k, item.id) in self.tables.rows]
            parents, configs = [*(self.last[k] for k in linked), "E"], [*([(), (k,)] for k in linked), engine]
        if item.test:
            parents.append(f"leak{place}" if item.test == LEAK else item.test)
            configs.append(["valid", "spoiled"])
        return parents, [[("valid",) if v == "valid" else v for v in config] for config in configs]

    def posterior(self, name: str) -> np.ndarray:
        """P(node | evidence)."""
        return np.asarray(self.engine.posterior(name).toarray())
