"""What must come first, and what must not be done now: rules of order with their reasons."""

from __future__ import annotations

from collections.abc import Collection

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.types import Before, Evidence

HEAD_ON = "the head is on"

Place = int | None
Done = Collection[tuple[str, Place]]


class Course:
    """What has been seen and done, and what follows for the order of tests.

    ``done`` names (test, cylinder or None) that were done or cannot be done on this engine.
    """

    def __init__(self, tables: FaultTables, evidence: Evidence, done: Done, head_off: bool) -> None:
        self._tables, self._done, self._head_off = tables, set(done), head_off
        self._sights = {f"{s.item}={s.state}" for s in evidence.seen}
        self._recorded = {(s.item, s.cylinder) for s in evidence.seen}

    @property
    def named(self) -> Done:
        """Tests said to be done, or not possible."""
        return self._done

    def is_done(self, test: str, place: Place) -> bool:
        """Said to be done, or every item of it recorded at that place (for an engine's test: anywhere)."""
        if (test, place) in self._done or (test, None) in self._done:
            return True
        items = self._tables.tests[test].items
        return all((i, place) in self._recorded for i in items)

    def touched(self, test: str, place: Place) -> bool:
        """Done, or one of its items recorded at that place."""
        return self.is_done(test, place) or any(
            (i, place) in self._recorded for i in self._tables.tests[test].items
        )

    def recorded(self, item: str, place: Place) -> bool:
        """Whether the item is recorded at that place."""
        return (item, place) in self._recorded

    def _measured(self, test: str, place: Place, anywhere: bool) -> bool:
        items = self._tables.tests[test].items
        return any(i in items and (anywhere or where == place) for i, where in self._recorded)

    def _moot(self, first: str, place: Place) -> bool:
        """Whether the rule's harm is past: something it should have come before has been measured here already.

        What a story tells (smoke when it last ran) is no sign that anyone has cranked it since; a test that was not
        possible is none either.
        """
        tests = self._tables.tests
        later = [o.then for o in self._tables.order if o.kind == "before" and o.first == first]
        measured = [t for t in later if tests[t].how == "measured"]
        anywhere = tests[first].scope == "engine"
        return any(self._measured(t, place, anywhere) for t in measured)

    def before(self, test: str, place: Place) -> tuple[Before, ...]:
        """What must come first at this place, first things first; nothing that is done or whose harm is past."""
        out: dict[str, Before] = {}
        for rule in self._tables.order:
            if rule.kind != "before" or rule.then != test:
                continue
            where = place if self._tables.tests[rule.first].scope == "cylinder" else None
            if self.touched(rule.first, where) or self._moot(rule.first, where):
                continue
            for earlier in self.before(rule.first, where):
                out.setdefault(earlier.test, earlier)
            out.setdefault(rule.first, Before(rule.first, rule.reason))
        return tuple(out.values())

    def held(self, test: str, place: Place = None) -> Before | None:
        """Why this test must not be done now, or None; what waits for a held test is held with it."""
        for name in (test, *(b.test for b in self.before(test, place))):
            reason = self._held(name)
            if reason:
                return Before(test, reason)
        return None

    def _held(self, test: str) -> str:
        for need in self._tables.tests[test].needs:
            if need == "head_off":
                if not self._head_off:
                    return HEAD_ON
                continue
            if any(
                o.kind == "clears" and o.then == need and o.first in self._sights for o in self._tables.order
            ):
                continue
            for rule in self._tables.order:
                if rule.kind == "held_on" and rule.then == need and rule.first in self._sights:
                    return rule.reason
        return ""
