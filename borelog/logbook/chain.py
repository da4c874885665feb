"""The chains of hashes: one per writer and inspection. Heads, checking, and the union of two histories."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from itertools import groupby

from borelog.logbook.entries import Stored, digest_of
from borelog.logbook.errors import Conflict

MAX_CLOCK = 2**53
"""No honest clock comes near; a forged one must not stop the next entry."""


def head_digest(heads: Mapping[str, tuple[int, str]]) -> str:
    """One digest for the state of an inspection: SHA-256 over each writer's (number, last digest), hex."""
    text = "\n".join(f"{writer} {number} {digest}" for writer, (number, digest) in sorted(heads.items()))
    return hashlib.sha256(text.encode()).hexdigest()


def faults(stored: Iterable[Stored]) -> list[str]:
    """What is wrong with the chains of one inspection's entries, in plain sentences; empty: all is as written.

    Checks bytes against digest, each writer's numbers from 1 without gap, each link, and clocks that only rise.
    """
    out: list[str] = []
    ordered = sorted(stored, key=lambda s: (s.entry.writer, s.entry.number))
    for writer, chain in groupby(ordered, key=lambda s: s.entry.writer):
        out.extend(_chain_faults(writer[:8], list(chain)))
    return out


def _chain_faults(writer: str, chain: list[Stored]) -> list[str]:
    out: list[str] = []
    number, link, clock = 0, "", 0
    for s in chain:
        e = s.entry
        here = f"entry {e.number} of writer {writer}"
        if digest_of(s.raw) != s.digest:
            out.append(f"{here} was changed: its bytes do not have the digest noted with them")
        if e.number == number:
            out.append(f"{here} is there twice with different content")
        elif e.number != number + 1:
            out.append(f"{here} follows {number}: what lies between is missing")
        elif e.prev != link:
            out.append(f"{here} does not follow the entry before it: one of the two was changed")
        if not clock < e.clock <= MAX_CLOCK:
            out.append(f"{here} has a clock that does not rise ({clock} to {e.clock})")
        number, link, clock = e.number, s.digest, e.clock
    return out


def union(*histories: Iterable[Stored]) -> tuple[Stored, ...]:
    """All entries of several copies of one inspection, each once, in the order every copy agrees on.

    Raises
    ------
    Conflict
        If a writer's number stands for two different entries, a link is broken, or entries are missing in between.
    """
    held: dict[tuple[str, int], Stored] = {}
    for history in histories:
        for s in history:
            other = held.setdefault((s.entry.writer, s.entry.number), s)
            if other.digest != s.digest:
                raise Conflict(fork_sentence(s))
    if wrong := faults(held.values()):
        raise Conflict(f"the histories do not fit together, so nothing was taken in: {wrong[0]}")
    ids: set[str] = set()
    for s in held.values():
        # A clock is one more than the highest its writer knew, and all that it knew is among these entries. One at its end
        # would leave no room for any next entry.
        if s.entry.clock > len(held):
            raise Conflict(
                f"entry {s.entry.number} of writer {s.entry.writer[:8]} has a clock ahead of all entries, so nothing was taken in"
            )
        if s.entry.id in ids:
            raise Conflict(f"two entries carry the same id {s.entry.id[:12]}, so nothing was taken in")
        ids.add(s.entry.id)
    return tuple(sorted(held.values(), key=lambda s: s.order))


def fork_sentence(s: Stored) -> str:
    """What to say when one writer's number stands for two different entries."""
    return (
        f"entry {s.entry.number} of writer {s.entry.writer[:8]} exists in two versions: a copy of this logbook was set "
        "back and written on, or changed. Nothing was taken in; keep both copies and compare them"
    )
