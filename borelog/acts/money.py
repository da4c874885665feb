"""Prices of an inspection with the logbook's own under them, and the money room's answer for the verdict."""

from __future__ import annotations

import hashlib

from borelog.acts.bench import Bench
from borelog.acts.prices import prices
from borelog.knowledge.faults import FaultTables
from borelog.logbook.described import engine_of
from borelog.logbook.entries import Prices
from borelog.logbook.fold import merged
from borelog.logbook.inspection import Inspection
from borelog.logbook.opened import measured_bills, opened_parts
from borelog.logbook.summaries import SHOP
from borelog.verdict.judge import Priced, shape_of
from borelog.verdict.signs.all import signs

DRAWS = 10_000
MATERIAL = 0.01
"""A gain over this share of the car's value stands before what belongs to the work that is called."""


def prices_for(bench: Bench, inspection: Inspection) -> dict[str, str]:
    """Prices of the logbook with those of the inspection laid over them."""
    shop = merged(bench.inspection(SHOP).of(Prices))[0] if SHOP in bench.journal.ids() else {}
    return {**shop, **inspection.prices}


def seed_of(inspection: Inspection) -> int:
    """The seed of an inspection's draws, from its id."""
    return int(hashlib.sha256(inspection.id.encode()).hexdigest()[:8], 16)


def priced_for(bench: Bench, inspection: Inspection, tables: FaultTables) -> Priced:
    """What the money room says for the verdict; nothing where the engine cannot be judged yet."""
    return priced(inspection, tables, prices_for(bench, inspection))


def priced(inspection: Inspection, tables: FaultTables, typed: dict[str, str]) -> Priced:
    """The same from prices as typed. Pure: the same record, tables and prices give the same answer."""
    from borelog.verdict.money.outcome import money
    from borelog.verdict.money.settings import settings_for
    from borelog.verdict.money.worth import Valuation
    from borelog.verdict.network.drawing import draws

    shape, engine = shape_of(inspection), engine_of(inspection)
    if shape is None or engine is None or inspection.facts.get("fuel", "").startswith("diesel"):
        return Priced()
    said = signs(inspection, tables)
    if not said.signs:
        return Priced()
    settings = settings_for(typed)
    bills = {f.id: f.bill for f in tables.faults.values()}
    seed = seed_of(inspection)
    value = Valuation(settings, engine.chains, bills, seed, measured_bills(opened_parts(inspection)))
    drawn = draws(shape, said.evidence, tables, seed, DRAWS)
    labels = {p.id: p.label for p in prices().values()}
    return Priced(
        value,
        settings.price("own_hour")[1] / 60,
        drawn,
        MATERIAL * settings.price("value_running")[1],
        money(settings, value.states(drawn), value.result(drawn), seed, labels),
    )
