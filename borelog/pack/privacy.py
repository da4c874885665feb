"""Who gets what: one table, and the list of what was left out, which every pack prints."""

from __future__ import annotations

import csv
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import get_args

from borelog.pack.document import LeftOut
from borelog.pack.errors import PackError
from borelog.verdict.judged import Reader

READERS: tuple[str, ...] = get_args(Reader)


@dataclass(frozen=True, slots=True)
class Item:
    """One row of the table: something a pack can hold, who gets it, and why others do not."""

    id: str
    label: str
    readers: frozenset[str]
    why: str


@lru_cache(maxsize=1)
def items() -> dict[str, Item]:
    """All rows by id."""
    text = resources.files("borelog.pack").joinpath("readers.csv").read_text(encoding="utf-8")
    return {
        r["item"]: Item(r["item"], r["label"], frozenset(k for k in READERS if r[k] == "yes"), r["why"])
        for r in csv.DictReader(text.splitlines(), strict=True)
    }


@dataclass(frozen=True, slots=True)
class Share:
    """What one reader's copy holds."""

    reader: str
    held: frozenset[str]

    def __contains__(self, item: str) -> bool:
        return item in self.held

    def left_out(self, counts: dict[str, int]) -> tuple[LeftOut, ...]:
        """What this copy lacks, in the table's order; ``counts`` holds how many there were, absent items are skipped."""
        return tuple(
            LeftOut(what=i.label, why=i.why, count=max(0, counts[i.id]))
            for i in items().values()
            if i.id not in self.held and counts.get(i.id, 0)
        )


def share_of(reader: str, also: Collection[str] = ()) -> Share:
    """What a reader gets, with the items asked for in addition.

    Raises
    ------
    PackError
        For a reader or an item that the table does not know; names those it does.
    """
    if reader not in READERS:
        raise PackError(f"no reader is called {reader!r}; readers: {', '.join(READERS)}")
    strange = sorted(set(also) - set(items()))
    if strange:
        raise PackError(f"a pack cannot add {strange[0]!r}; it can add {', '.join(items())}")
    return Share(reader, frozenset(i.id for i in items().values() if reader in i.readers) | set(also))


def shortened(number: str) -> str:
    """A chassis number with only its last six characters, which is how the trade quotes one.

    >>> shortened("WXYZZZ1JZ3W386752")
    '…386752'
    """
    bare = number.strip()
    return bare if len(bare) <= 6 else "…" + bare[-6:]
