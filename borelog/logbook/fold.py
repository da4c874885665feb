"""From entries to an inspection. Pure: the same entries in any order of arrival give the same inspection.

Two copies of a logbook are written apart and joined later, so an entry may come after another in the common order
without having known of it. ``seen`` in the envelopes tells the two cases apart: what a writer had seen is replaced,
what it had not seen stands beside it as a rival.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from operator import attrgetter
from typing import Any, TypeAlias, cast

from borelog.logbook.entries import (
    Conditions,
    Content,
    Correct,
    Facts,
    Forgotten,
    Opened,
    Prices,
    Redo,
    StillFiled,
    Stored,
    Undo,
    Unknown,
    Withdraw,
)
from borelog.logbook.inspection import Inspection, Recorded, Version

Seen: TypeAlias = Callable[[str, str], bool]
"""(entry, earlier entry) -> the writer of the first had the second before it when it was written."""


def in_order(stored: Iterable[Stored]) -> list[Stored]:
    """Entries by Lamport clock, then writer, then number: the one order every copy agrees on."""
    return sorted(stored, key=attrgetter("entry.clock", "entry.writer", "entry.number"))


def undone(ordered: list[Stored]) -> set[str]:
    """Ids of the entries that are taken back at the end; only a writer's own entry can be."""
    owner: dict[str, str] = {}
    dead: set[str] = set()
    for s in ordered:
        body = s.body
        if isinstance(body, Undo | Redo):
            owner = owner or {t.entry.id: t.entry.writer for t in ordered}
            if owner.get(body.target) == s.entry.writer:
                (dead.add if isinstance(body, Undo) else dead.discard)(body.target)
    return dead


def _always(_: str, __: str) -> bool:
    return True


def sight(ordered: list[Stored]) -> Seen:
    """What each entry's writer had before it, from the ``seen`` counts; for a single writer simply everything."""
    if all(s.entry.writer == ordered[0].entry.writer for s in ordered):
        return _always
    spot: dict[str, tuple[str, int]] = {}
    known: dict[str, dict[str, int]] = {}
    latest: dict[str, dict[str, int]] = {}
    for s in ordered:
        e = s.entry
        vector = latest.get(e.writer, {})
        if e.seen:
            vector = {**vector, **{w: max(n, vector.get(w, 0)) for w, n in e.seen.items()}}
            latest[e.writer] = vector
        spot[e.id], known[e.id] = (e.writer, e.number), vector

    def seen(entry: str, earlier: str) -> bool:
        writer, number = spot[earlier]
        own, count = spot[entry]
        return number < count if writer == own else known[entry].get(writer, 0) >= number

    return seen


class _Thing:
    """One recorded thing while the fold runs: its versions, and the tips that nothing has replaced yet."""

    __slots__ = ("id", "tips", "versions", "withdrawal", "withdrawn")

    def __init__(self, version: Version[Any]) -> None:
        self.id = version.entry
        self.versions = [version]
        self.tips = {version.entry: version}
        self.withdrawn: str | None = None
        self.withdrawal = ""

    def correct(self, target: str, version: Version[Any], seen: Seen) -> None:
        """A wording for ``target``. Said of a wording that stands, it also settles the rivals its writer had seen."""
        if target in self.tips:
            self._drop(version.entry, seen)
        if self.withdrawn is not None and not seen(version.entry, self.withdrawal):
            self._drop(self.withdrawal, seen)
            self.withdrawn = None
        self._add(version)

    def answer(self, version: Version[Any], seen: Seen) -> None:
        """A later answer to the same question."""
        if self.withdrawn is not None:
            self._drop(self.withdrawal, seen)
            self.withdrawn = None
        self._drop(version.entry, seen)
        self._add(version)

    def _add(self, version: Version[Any]) -> None:
        self.versions.append(version)
        self.tips[version.entry] = version

    def _drop(self, by: str, seen: Seen) -> None:
        self.tips = {k: v for k, v in self.tips.items() if not seen(by, k)}

    def withdraw(self, entry: str, why: str, seen: Seen) -> None:
        """Withdrawn, unless somebody's wording that the withdrawer had not seen still stands."""
        unseen = {k: v for k, v in self.tips.items() if not seen(entry, k)}
        if unseen:
            self.tips = unseen
        elif self.withdrawn is None:
            self.withdrawn, self.withdrawal = why or "withdrawn", entry

    def recorded(self) -> Recorded[Any]:
        if len(self.versions) == 1:
            return Recorded(self.id, self.versions[0], (), (), self.withdrawn)
        *rivals, last = self.tips.values()
        earlier = tuple(v for v in self.versions if v.entry not in self.tips)
        return Recorded(
            self.id, last, earlier, tuple(r for r in rivals if r.body != last.body), self.withdrawn
        )


class _Fold:
    """The running state of the fold: things by first entry, by question, and by any of their versions."""

    def __init__(self, seen: Seen) -> None:
        self.seen = seen
        self.things: list[_Thing] = []
        self.by_key: dict[tuple[Any, ...], _Thing] = {}
        self.root: dict[str, _Thing] = {}
        self.stands_for: dict[str, str] = {}
        self.forgotten: dict[str, str] = {}
        self.forgetting: dict[str, str] = {}

    def pass_over(self, s: Stored) -> None:
        """An entry that was taken back. What later names it means the wording it had corrected."""
        if isinstance(s.body, Correct):
            self.stands_for[s.entry.id] = self._standing(s.body.target)

    def take(self, s: Stored) -> None:
        body = s.body
        special = _SPECIAL.get(type(body))
        if special is not None:
            special(self, s, body)
            return
        e = s.entry
        version: Version[Any] = Version(e.id, cast(Any, body), e.who, e.at, e.how, e.writer, e.clock)
        latest = version.body.latest
        key = None if latest is None else (type(body), *(getattr(body, f) for f in latest))
        thing = self.by_key.get(key) if key is not None else None
        if thing is not None:
            thing.answer(version, self.seen)
        else:
            thing = _Thing(version)
            self.things.append(thing)
            if key is not None:
                self.by_key[key] = thing
        self.root[e.id] = thing
        if isinstance(body, StillFiled) and body.sha256 in self.forgotten:
            self._file_again(e.id, body.sha256)

    def _file_again(self, entry: str, sha256: str) -> None:
        """Somebody who knew that a still was forgotten filed it anew."""
        if self.seen(entry, self.forgetting[sha256]):
            del self.forgotten[sha256], self.forgetting[sha256]

    def _correct(self, s: Stored, body: Correct) -> None:
        target = self._standing(body.target)
        if thing := self.root.get(target):
            e = s.entry
            thing.correct(
                target, Version[Any](e.id, body.body, e.who, e.at, e.how, e.writer, e.clock), self.seen
            )
            self.root[e.id] = thing

    def _withdraw(self, s: Stored, body: Withdraw) -> None:
        if thing := self.root.get(self._standing(body.target)):
            thing.withdraw(s.entry.id, body.why, self.seen)

    def _forget(self, s: Stored, body: Forgotten) -> None:
        self.forgotten[body.still], self.forgetting[body.still] = body.why, s.entry.id

    def _nothing(self, _: Stored, __: Undo | Redo) -> None:
        """Undo and redo have done their work before the fold runs."""

    def _standing(self, target: str) -> str:
        return self.stands_for.get(target, target)


_SPECIAL: dict[type[Any], Callable[[_Fold, Stored, Any], None]] = {
    Correct: _Fold._correct,
    Withdraw: _Fold._withdraw,
    Forgotten: _Fold._forget,
    Undo: _Fold._nothing,
    Redo: _Fold._nothing,
}


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
    running = _Fold(sight(ordered))
    unknown: list[Unknown] = []
    heads: dict[str, tuple[int, str]] = {}
    for s in ordered:
        heads[s.entry.writer] = (s.entry.number, s.digest)
        if isinstance(s.body, Unknown):
            unknown.append(s.body)
        elif s.entry.id in dead and not isinstance(s.body, Forgotten):
            running.pass_over(s)
        else:
            running.take(s)
    return _finished(ordered, running, tuple(unknown), heads, inspection)


def _finished(
    ordered: list[Stored],
    running: _Fold,
    unknown: tuple[Unknown, ...],
    heads: dict[str, tuple[int, str]],
    inspection: str,
) -> Inspection:
    groups: dict[type[Any], list[Recorded[Any]]] = {}
    for thing in running.things:
        recorded = thing.recorded()
        groups.setdefault(type(recorded.version.body), []).append(recorded)
    frozen = {kind: tuple(group) for kind, group in groups.items()}
    opened = cast("list[Recorded[Opened]]", groups.get(Opened, []))
    registers = {
        label: _register(frozen.get(kind, ()), running.seen)
        for label, kind in (("facts", Facts), ("prices", Prices))
    }
    sources: dict[tuple[str, str], str] = {}
    disputed: dict[tuple[str, str], tuple[Version[Any], ...]] = {}
    values: dict[str, dict[str, str]] = {}
    for label, register in registers.items():
        values[label] = {
            k: said[-1].body.values[k] for k, said in register.items() if said[-1].body.values[k]
        }
        sources |= {(label, k): register[k][-1].entry for k in values[label]}
        for k, (*others, last) in register.items():
            if apart := tuple(v for v in others if v.body.values[k] != last.body.values[k]):
                disputed[label, k] = apart
    return Inspection(
        id=ordered[0].entry.inspection if ordered else inspection,
        name=opened[-1].body.name if opened else "",
        demo=bool(opened) and opened[-1].body.demo,
        things=frozen,
        facts=values["facts"],
        prices=values["prices"],
        sources=sources,
        disputed=disputed,
        forgotten=running.forgotten,
        unknown=unknown,
        heads=heads,
        clock=ordered[-1].entry.clock if ordered else 0,
        opened_at=ordered[0].entry.at if ordered else "",
        changed_at=ordered[-1].entry.at if ordered else "",
        entries=len(ordered),
    )


def _register(recorded: Iterable[Recorded[Any]], seen: Seen) -> dict[str, list[Version[Any]]]:
    """For each id the versions that say something of it and were not replaced; the one that stands is last."""
    out: dict[str, list[Version[Any]]] = {}
    versions = [v for r in recorded if r.withdrawn is None for v in (*r.rivals, r.version)]
    for version in sorted(versions, key=lambda v: (v.clock, v.writer)):
        for key in version.body.values:
            out[key] = [v for v in out.get(key, ()) if not seen(version.entry, v.entry)] + [version]
    return out


def merged(recorded: Iterable[Recorded[Any]]) -> tuple[dict[str, str], dict[str, str]]:
    """Later values over earlier ones, and for each id the entry it came from; an empty value removes."""
    said = _register(recorded, _always)
    standing = {k: v[-1] for k, v in said.items() if v[-1].body.values[k]}
    return (
        {k: v.body.values[k] for k, v in standing.items()},
        {k: v.entry for k, v in standing.items()},
    )


def conditions_of(
    inspection: Inspection, test: str, cylinder: int | None = None, series: str = ""
) -> dict[str, str]:
    """Conditions noted for one test: those of the whole test, with the cylinder's own laid over them."""
    rows = [r for r in inspection.of(Conditions) if r.body.test == test and r.body.series == series]
    whole, _ = merged(r for r in rows if r.body.cylinder is None)
    own, _ = merged(r for r in rows if cylinder is not None and r.body.cylinder == cylinder)
    return {**whole, **own}


__all__ = ["Content", "conditions_of", "fold", "in_order", "merged", "sight", "undone"]
