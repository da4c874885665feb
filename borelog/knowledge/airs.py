"""Where air can be heard going in a leak-down: the words a person says, their letters, and what each is called."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.text import one_line

NEXT_HOLE = "neighbour"
"""The one place that names a cylinder: recorded as 'neighbour:4', told as 'next plug hole 4'."""


@dataclass(frozen=True, slots=True)
class Air:
    """One row of the air table: where air may be heard in a leak-down."""

    id: str
    letter: str
    words: tuple[str, ...]
    item: str
    wording: str


@lru_cache(maxsize=1)
def airs() -> dict[str, Air]:
    """Where air can go, by id."""
    columns = ("id", "letter", "words", "item", "wording", "why")
    return {
        r["id"]: Air(r["id"], r["letter"], tuple(r["words"].split("|")), r["item"], r["wording"])
        for r in tables.rows("air.csv", *columns)
    }


def air_words(air: str) -> str:
    """Where the air went, in words: 'exhaust', 'next plug hole 4'; an id that no table knows is kept as it is."""
    id_, _, hole = air.partition(":")
    known = airs().get(id_)
    return one_line(f"{known.wording if known else id_} {hole}".strip(), 40)


def air_named(words: str) -> str:
    """The inverse of `air_words`: 'next plug hole 4' is 'neighbour:4'."""
    ids = {a.wording: a.id for a in airs().values()}
    bare = words.rstrip("0123456789").strip()
    if words not in ids and ids.get(bare) == NEXT_HOLE:
        return f"{NEXT_HOLE}:{words[len(bare) :].strip()}"
    return ids.get(words, words)
