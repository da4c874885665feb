"""Tests that give numbers, in the order in which they should be done, with minutes and cautions."""

from __future__ import annotations

from collections.abc import Mapping
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


def cautions_of(test: str, facts: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """The cautions to show before the first field of a test; empty for an unknown test.

    Parameters
    ----------
    test
        Id of a row of the tests table.
    facts
        Facts of the engine: on a hybrid high voltage comes first.
    """
    procedure = procedures().get(test)
    return _worded(procedure.cautions, facts) if procedure else ()


def cautions_of_next(test: str, facts: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """The cautions to show with a proposed test of the fault tables; the manual's alone for a test of one's own."""
    rows = {r["test"]: r["cautions"] for r in tables.rows("next_cautions.csv", "test", "cautions", "source")}
    return _worded(tuple(rows.get(test, "manual").split()), facts)


def _worded(wanted: tuple[str, ...], facts: Mapping[str, str] | None) -> tuple[str, ...]:
    hybrid = wanted and (facts or {}).get("hybrid", "").startswith("yes")
    return tuple(cautions()[c] for c in (("hv", *wanted) if hybrid else wanted))
