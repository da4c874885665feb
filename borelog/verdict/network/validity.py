"""How far a test can be trusted, from the conditions it was done under. Conditions move this and nothing else."""

from __future__ import annotations

from collections.abc import Iterable

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.types import Evidence, NetworkError

NOTHING_NOTED = "nothing_noted"


def spoil_chance(tables: FaultTables, variable: str, conditions: Iterable[str]) -> float:
    """The chance that a test was spoiled under ``conditions`` (ids of ``validity.csv``); none means nothing noted.

    Conditions act independently: 1 minus the product of what each leaves.

    Raises
    ------
    NetworkError
        An unknown condition.
    """
    left = 1.0
    for name in tuple(conditions) or (NOTHING_NOTED,):
        if (variable, name) not in tables.validity:
            raise NetworkError(f"{variable} has no condition {name!r}; see validity.csv for those it has")
        left *= 1.0 - tables.validity[variable, name][0]
    return 1.0 - left


def chance_spoiled(tables: FaultTables, evidence: Evidence, variable: str, cylinder: int | None) -> float:
    """What the evidence says of one validity variable; nothing said means conditions not noted."""
    left, said = 1.0, False
    for spoil in evidence.spoils:
        if spoil.variable == variable and spoil.cylinder in (cylinder, None):
            left, said = left * (1.0 - spoil.chance), True
    return 1.0 - left if said else spoil_chance(tables, variable, ())
