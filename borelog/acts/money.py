"""Prices of an inspection with the logbook's own under them, and the money room's answer."""

from __future__ import annotations

from borelog.acts.bench import Bench
from borelog.knowledge.faults import FaultTables
from borelog.logbook.entries import Prices
from borelog.logbook.fold import merged
from borelog.logbook.inspection import Inspection
from borelog.verdict.judge import Priced

SHOP = "0" * 32
"""The inspection that holds what counts for the whole logbook: its prices."""


def prices_for(bench: Bench, inspection: Inspection) -> dict[str, str]:
    """Prices of the logbook with those of the inspection laid over them."""
    shop = merged(bench.inspection(SHOP).of(Prices))[0] if SHOP in bench.journal.ids() else {}
    return {**shop, **inspection.prices}


def priced_for(bench: Bench, inspection: Inspection, tables: FaultTables) -> Priced:
    """What the money room says for the verdict."""
    return Priced()
