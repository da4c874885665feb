"""An inspection: everything recorded about one engine, as an immutable value."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

import msgspec

from borelog.logbook.entries import Content, Unknown

B = TypeVar("B", bound=Content)
T = TypeVar("T")


class Version(msgspec.Struct, Generic[B], frozen=True, gc=False):
    """One wording of a recorded thing, by the entry that said it."""

    entry: str
    body: B
    who: str
    at: str
    how: str
    writer: str
    clock: int = 0


class Recorded(msgspec.Struct, Generic[B], frozen=True, gc=False):
    """A recorded thing as it stands now.

    ``id`` is its first entry and never changes; ``version`` the wording that stands; ``earlier`` the ones it replaced,
    oldest first; ``rivals`` wordings that disagree because two people corrected the same version apart;
    ``withdrawn`` is why it no longer stands (None: it stands).
    """

    id: str
    version: Version[B]
    earlier: tuple[Version[B], ...] = ()
    rivals: tuple[Version[B], ...] = ()
    withdrawn: str | None = None

    @property
    def body(self) -> B:
        """What it says now."""
        return self.version.body

    @property
    def how(self) -> str:
        """The way it was taken."""
        return self.version.how


@dataclass(frozen=True, slots=True)
class Inspection:
    """The fold of an inspection's entries.

    ``things`` holds, by kind of body, everything recorded in order of first entry, withdrawn things included;
    ``heads`` maps each writer to (entries, digest of the last); ``clock`` is the highest Lamport clock seen.
    ``disputed`` names facts and prices, as ('facts' or 'prices', id), for which two people said different things apart;
    the value that stands is in ``facts`` or ``prices``, the others are the versions given here.
    """

    id: str
    name: str = ""
    demo: bool = False
    things: dict[type[Any], tuple[Recorded[Any], ...]] = field(default_factory=dict)
    facts: dict[str, str] = field(default_factory=dict)
    prices: dict[str, str] = field(default_factory=dict)
    sources: dict[tuple[str, str], str] = field(default_factory=dict)
    disputed: dict[tuple[str, str], tuple[Version[Any], ...]] = field(default_factory=dict)
    forgotten: dict[str, str] = field(default_factory=dict)
    unknown: tuple[Unknown, ...] = ()
    heads: dict[str, tuple[int, str]] = field(default_factory=dict)
    clock: int = 0
    opened_at: str = ""
    changed_at: str = ""
    entries: int = 0

    def all(self, kind: type[B]) -> tuple[Recorded[B], ...]:
        """Everything recorded of one kind, withdrawn things included."""
        return self.things.get(kind, ())

    def of(self, kind: type[B]) -> tuple[Recorded[B], ...]:
        """What stands of one kind."""
        return tuple(r for r in self.things.get(kind, ()) if r.withdrawn is None)

    def find(self, id_: str) -> Recorded[Any] | None:
        """The thing whose first entry, or any later version, has this id."""
        for group in self.things.values():
            for r in group:
                if r.id == id_ or r.version.entry == id_ or any(v.entry == id_ for v in r.earlier + r.rivals):
                    return r
        return None
