"""Tests that give numbers, in the order in which they should be done, with minutes and cautions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables


@dataclass(frozen=True, slots=True)
class Procedure:
    """One row: ``unit`` is what a bare number means, ``slip`` the row of usual ranges that catches unit slips."""

    id: str
    label: str
    scope: str
    unit: str
    slip: str
    minutes: float
    cautions: tuple[str, ...]
    why: str


@lru_cache(maxsize=1)
def procedures() -> dict[str, Procedure]:
    """All tests by id, in test order: dry before wet, camera before oil."""
    columns = ("id", "label", "scope", "unit", "slip", "minutes", "cautions", "why")
    return {
        r["id"]: Procedure(
            r["id"],
            r["label"],
            r["scope"],
            r["unit"],
            r["slip"],
            float(r["minutes"]),
            tuple(r["cautions"].split()),
            r["why"],
        )
        for r in tables.rows("tests.csv", *columns)
    }


@lru_cache(maxsize=1)
def cautions() -> dict[str, str]:
    """The wording of every caution by id."""
    return {r["id"]: r["text"] for r in tables.rows("cautions.csv", "id", "text", "source")}


def cautions_of(test: str) -> tuple[str, ...]:
    """The cautions to show before the first field of a test; empty for an unknown test."""
    procedure = procedures().get(test)
    return tuple(cautions()[c] for c in procedure.cautions) if procedure else ()
