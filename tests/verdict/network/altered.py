"""Fault tables changed on purpose: some rows replaced, or a smaller network cut out of them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from borelog.knowledge.faults import BACKGROUND, SPOILED, Fault, FaultTables, Item, Row
from borelog.verdict.network.tables import Kept, Net, _group_causes, _parts, _sight


def with_rows(base: FaultTables, rows: Mapping[tuple[str, str], Row]) -> FaultTables:
    """The same tables with some rows replaced (learned rows, sensitivity); the digest follows the content."""
    merged = {**base.rows, **rows}
    mark = repr(sorted((k, r.probabilities) for k, r in rows.items()))
    digest = hashlib.sha256((base.digest + mark).encode()).hexdigest()[:16] if rows else base.digest
    return replace(base, rows=merged, digest=digest)


def restricted(
    base: FaultTables,
    faults: Callable[[Fault], bool] = lambda _: True,
    items: Callable[[Item], bool] = lambda _: True,
) -> FaultTables:
    """A smaller network cut out of the tables: some causes, some items, everything else as it is.

    'sound' and 'no_engine_fault' always stay. For comparing with a reference that cannot hold the whole.
    """
    kept = {k: f for k, f in base.faults.items() if faults(f) or k in (BACKGROUND, "no_engine_fault")}
    its = {k: i for k, i in base.items.items() if items(i)}
    causes = {*kept, SPOILED}
    mark = repr((sorted(kept), sorted(its)))
    return replace(
        base,
        faults=kept,
        items=its,
        rows={k: r for k, r in base.rows.items() if k[0] in causes and k[1] in its},
        channels={k: v for k, v in base.channels.items() if k[0] in kept and k[1] in kept},
        moves=tuple(
            m for m in base.moves if m.target in kept and (m.when in kept or m.when not in base.faults)
        ),
        pairs={k: v for k, v in base.pairs.items() if k[0] in kept and k[1] in kept},
        masks=frozenset(m for m in base.masks if m[0] in its and m[1] in kept and m[2] in kept),
        tests={k: t for k, t in base.tests.items() if all(i in its for i in t.items)},
        digest=hashlib.sha256((base.digest + mark).encode()).hexdigest()[:16],
    )


def revised(net: Net, tables: FaultTables, items: Iterable[str]) -> Net:
    """A net for tables that differ from the net's own only in rows of ``items``: the rest is taken over."""
    groups = _group_causes(tables)
    sights = dict(net.sights)
    parts = _parts(tables, names := tuple(items))
    for name in names:
        item = tables.items[name]
        sights[name] = _sight(
            net.faults, net.states, net.channels, net.sets, tables, item, parts[name], groups[item.group]
        )
    return replace(net, tables=tables, sights=sights, memo=Kept(2000), parts=Kept(64))
