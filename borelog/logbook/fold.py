"""From entries to an inspection. Pure: the same entries in any order of arrival give the same inspection."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, cast

from borelog.logbook.entries import (
    Conditions,
    Content,
    Correct,
    Facts,
    Forgotten,
    Opened,
    Prices,
    Redo,
    Stored,
    Undo,
    Unknown,
    Withdraw,
)
from borelog.logbook.inspection import Inspection, Recorded, Version


def in_order(stored: Iterable[Stored]) -> list[Stored]:
    """Entries by Lamport clock, then writer, then number: the one order every copy agrees on."""
    return sorted(stored, key=lambda s: (s.entry.clock, s.entry.writer, s.entry.number))


def undone(ordered: list[Stored]) -> set[str]:
    """Ids of the entries that are taken back at the end; only a writer's own entry can be."""
    owner = {s.entry.id: s.entry.writer for s in ordered}
    dead: set[str] = set()
    for s in ordered:
        body = s.body
        if isinstance(body, Undo | Redo) and owner.get(body.target) == s.entry.writer:
            (dead.add if isinstance(body, Undo) else dead.discard)(body.target)
    return dead


class _Thing:
    """One recorded thing while the fold runs: its versions as a tree of corrections."""

    __slots__ = ("id", "tips", "versions", "withdrawn")

    def __init__(self, version: Version[Any]) -> None:
        self.id = version.entry
        self.versions = [version]
        self.tips = {version.entry: version}
        self.withdrawn: str | None = None

    def correct(self, target: str, version: Version[Any]) -> None:
        self.versions.append(version)
        self.tips.pop(target, None)
        self.tips[version.entry] = version

    def recorded(self) -> Recorded[Any]:
        if len(self.versions) == 1:
            return Recorded(self.id, self.versions[0], withdrawn=self.withdrawn)
        *rivals, last = self.tips.values()
        earlier = tuple(v for v in self.versions if v.entry not in self.tips)
        return Recorded(
            self.id, last, earlier, tuple(r for r in rivals if r.body != last.body), self.withdrawn
        )


def fold(stored: Iterable[Stored], inspection: str = "") -> Inspection:
    """The inspection that these entries tell.

    Parameters
    ----------
    stored
        Entries of one inspection, any order.
    inspection
        Its id, for the case of no entries.
    """
    ordered = in_order(stored)
    dead = undone(ordered)
    things: dict[str, _Thing] = {}
    by_key: dict[tuple[Any, ...], _Thing] = {}
    root: dict[str, _Thing] = {}
    forgotten: dict[str, str] = {}
    unknown: list[Unknown] = []
    heads: dict[str, tuple[int, str]] = {}
    clock, changed = 0, ""
    for s in ordered:
        e, body = s.entry, s.body
        clock = e.clock
        if e.number >= heads.get(e.writer, (0, ""))[0]:
            heads[e.writer] = (e.number, s.digest)
        changed = e.at if e.at > changed else changed
        if isinstance(body, Unknown):
            unknown.append(body)
        elif e.id in dead or isinstance(body, Undo | Redo):
            continue
        elif isinstance(body, Correct):
            if thing := root.get(body.target):
                thing.correct(body.target, Version(e.id, body.body, e.who, e.at, e.how, e.writer))
                root[e.id] = thing
        elif isinstance(body, Withdraw):
            if thing := root.get(body.target):
                thing.withdrawn = body.why or "withdrawn"
        elif isinstance(body, Forgotten):
            forgotten[body.still] = body.why
        else:
            version = Version(e.id, body, e.who, e.at, e.how, e.writer)
            key = None if body.latest is None else (type(body), *(getattr(body, f) for f in body.latest))
            if key is not None and (thing := by_key.get(key)):
                thing.correct(thing.versions[-1].entry, version)
                thing.withdrawn = None
            else:
                thing = things[e.id] = _Thing(version)
                if key is not None:
                    by_key[key] = thing
            root[e.id] = thing
    return _finished(ordered, things, forgotten, unknown, heads, clock, changed, inspection)


def _finished(
    ordered: list[Stored],
    things: dict[str, _Thing],
    forgotten: dict[str, str],
    unknown: list[Unknown],
    heads: dict[str, tuple[int, str]],
    clock: int,
    changed: str,
    inspection: str,
) -> Inspection:
    groups: dict[type[Any], list[Recorded[Any]]] = {}
    for thing in things.values():
        recorded = thing.recorded()
        groups.setdefault(type(recorded.body), []).append(recorded)
    frozen = {kind: tuple(group) for kind, group in groups.items()}
    opened = cast("list[Recorded[Opened]]", groups.get(Opened, []))
    facts, facts_from = merged(frozen.get(Facts, ()))
    prices, prices_from = merged(frozen.get(Prices, ()))
    sources = {("facts", k): v for k, v in facts_from.items()} | {
        ("prices", k): v for k, v in prices_from.items()
    }
    return Inspection(
        id=ordered[0].entry.inspection if ordered else inspection,
        name=opened[-1].body.name if opened else "",
        demo=bool(opened) and opened[-1].body.demo,
        things=frozen,
        facts=facts,
        prices=prices,
        sources=sources,
        forgotten=forgotten,
        unknown=tuple(unknown),
        heads=heads,
        clock=clock,
        opened_at=ordered[0].entry.at if ordered else "",
        changed_at=changed,
        entries=len(ordered),
    )


def merged(recorded: Iterable[Recorded[Any]]) -> tuple[dict[str, str], dict[str, str]]:
    """Later values over earlier ones, and for each id the entry it came from; an empty value removes."""
    values: dict[str, str] = {}
    source: dict[str, str] = {}
    for r in recorded:
        if r.withdrawn is not None:
            continue
        for key, value in r.body.values.items():
            if value == "":
                values.pop(key, None)
                source.pop(key, None)
            else:
                values[key], source[key] = value, r.version.entry
    return values, source


def conditions_of(
    inspection: Inspection, test: str, cylinder: int | None = None, series: str = ""
) -> dict[str, str]:
    """Conditions noted for one test: those of the whole test, with the cylinder's own laid over them."""
    rows = [r for r in inspection.of(Conditions) if r.body.test == test and r.body.series == series]
    whole, _ = merged(r for r in rows if r.body.cylinder is None)
    own, _ = merged(r for r in rows if cylinder is not None and r.body.cylinder == cylinder)
    return {**whole, **own}


__all__ = ["Content", "conditions_of", "fold", "in_order", "merged", "undone"]
