"""What may be said about an engine and its car: one table serves the sheet, the commands and the screens."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables


@dataclass(frozen=True, slots=True)
class Fact:
    """One row: ``kind`` is layout, numbering, order, number, choice or text; ``unit`` is the default of a bare number.

    ``least`` and ``most`` bound a number in that unit where nothing else does (common practice); None where it is free.
    """

    id: str
    label: str
    kind: str
    unit: str
    choices: tuple[str, ...]
    group: str
    why: str
    least: float | None = None
    most: float | None = None


@lru_cache(maxsize=1)
def facts() -> dict[str, Fact]:
    """All facts by id, in the order of the sheet."""
    return {
        r["id"]: Fact(
            r["id"],
            r["label"],
            r["kind"],
            r["unit"],
            tuple(c for c in r["choices"].split("|") if c),
            r["group"],
            r["why"],
            float(r["least"]) if r["least"] else None,
            float(r["most"]) if r["most"] else None,
        )
        for r in tables.rows(
            "facts.csv", "id", "label", "kind", "unit", "choices", "group", "why", "least", "most"
        )
    }
