"""A sign: one state of one evidence item, and where it comes from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from borelog.verdict.network.types import Evidence, Seen, Spoil


@dataclass(frozen=True, slots=True)
class Sign:
    """What one evidence item shows. ``entries`` are the readings, findings or answers it rests on; ``words`` say how."""

    seen: Seen
    entries: tuple[str, ...]
    words: str = ""

    @property
    def key(self) -> tuple[str, int | None, int | None]:
        """Item and where: there is one sign for each."""
        return (self.seen.item, self.seen.cylinder, self.seen.neighbour)


@dataclass(frozen=True, slots=True)
class Doubt:
    """A condition that may have spoiled a test, and the entries that say so."""

    spoil: Spoil
    entries: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Signs:
    """Everything the record says to the network, in a fixed order.

    ``aside`` says in sentences what is recorded but cannot be so on this engine, and is therefore not judged.
    """

    signs: tuple[Sign, ...]
    doubts: tuple[Doubt, ...]
    aside: tuple[str, ...] = ()

    @property
    def evidence(self) -> Evidence:
        """The same as the network takes it."""
        return Evidence(tuple(s.seen for s in self.signs), tuple(d.spoil for d in self.doubts))

    def entries_of(self, seen: Iterable[Seen]) -> tuple[str, ...]:
        """The journal entries behind these sights, each once, in order."""
        wanted = set(seen)
        return tuple(dict.fromkeys(e for s in self.signs if s.seen in wanted for e in s.entries))


# The table of ways (misread.csv) by the first word of how an entry was taken.
_WAYS = {
    "measured": "measured", "seen": "seen", "part": "part", "inferred": "inferred", "told": "told",
    "repeated": "repeated", "compared": "compared", "old": "old", "code": "code", "": "seen",
}  # fmt: skip


def way(how: str, usual: str = "seen") -> str:
    """The misread row for an entry's ``how``; ``usual`` where it says nothing."""
    return _WAYS.get(how.split(" ")[0].lower(), usual) if how else usual
