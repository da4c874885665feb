"""Closing the loop: rows that learn from opened engines, and how good the calls were.

A row is a Dirichlet with the shipped row as prior of stated strength; each opened cylinder adds its counts. Only cylinders
seen with their own eyes count, with at most one fault, so that a state belongs to one cause. Priors are not learned: what
comes to one bench says little about what comes to the next.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from borelog.knowledge.faults import BACKGROUND, FaultTables, Row
from borelog.verdict.network.types import SOUND, Seen

OPENED = "opened"
STRENGTH = 12.0
BINS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)


@dataclass(frozen=True, slots=True)
class Opened:
    """One cylinder whose truth is known: what had been seen on it, what it was, how that is known.

    ``truth`` are its faults, empty for sound; ``how`` is 'opened', 'ran' or 'told'. ``spoiled`` names tests
    (validity variables) that turned out not to have shown the engine: their items are not counted.
    """

    seen: tuple[Seen, ...]
    truth: tuple[str, ...]
    how: str
    spoiled: tuple[str, ...] = ()


def counts(tables: FaultTables, opened: Iterable[Opened]) -> dict[tuple[str, str], list[float]]:
    """Outcomes per (cause, item) in the order of states; a reading counts for as much as it can be trusted."""
    out: dict[tuple[str, str], list[float]] = {}
    for one in opened:
        if one.how != OPENED or len(one.truth) > 1:
            continue
        cause = one.truth[0] if one.truth else BACKGROUND
        for seen in one.seen:
            item = tables.items.get(seen.item)
            if (
                item is None
                or item.scope != "cylinder"
                or item.test in one.spoiled
                or (cause, item.id) not in tables.rows
            ):
                continue
            cell = out.setdefault((cause, item.id), [0.0] * len(item.states))
            cell[item.states.index(seen.state)] += 1.0 - tables.misread[seen.how][0]
    return out


def update_rows(
    tables: FaultTables, opened: Iterable[Opened], strength: float = STRENGTH
) -> dict[tuple[str, str], Row]:
    """Rows after what opened cylinders have shown.

    Parameters
    ----------
    tables : FaultTables
        The shipped tables: the prior of every row.
    opened : iterable of Opened
    strength : float
        How many opened cylinders the shipped row is worth.

    Returns
    -------
    dict
        Only rows that changed, for ``rows_text``. A sound row whose common state would no longer be the
        least telling one stays as shipped.
    """
    out = {}
    for key, seen in counts(tables, opened).items():
        row = tables.rows[key]
        total = strength + sum(seen)
        p = tuple((strength * prior + n) / total for prior, n in zip(row.probabilities, seen, strict=True))
        if key[0] == BACKGROUND and max(p) > p[0]:
            continue
        out[key] = Row(p, None, f"learned from {round(sum(seen))} opened cylinders", row.why, "own table")
    return out


def rows_text(tables: FaultTables, rows: Mapping[tuple[str, str], Row]) -> str:
    """Rows as an own table, ready to be laid over the shipped one."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("cause", "item", "state", "probability", "why"))
    for (cause, item), row in sorted(rows.items()):
        for state, p in zip(tables.items[item].states, row.probabilities, strict=True):
            writer.writerow((cause, item, state, f"{p:.6f}", f"{row.source}; {row.why}"))
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class Called:
    """The last call before the truth about one cylinder: what was believed, and what it was (empty: sound)."""

    believed: Mapping[str, float]
    truth: frozenset[str]

    @property
    def leader(self) -> tuple[str, float]:
        """What was named, with its probability."""
        name = min(self.believed, key=lambda f: (-self.believed[f], f))
        return name, self.believed[name]

    @property
    def hit(self) -> bool:
        """Whether what was named was there."""
        return self.leader[0] in (self.truth or {SOUND})


@dataclass(frozen=True, slots=True)
class Bin:
    """Calls whose leader stood between ``low`` and ``high``: how many, how sure on average, how often right."""

    low: float
    high: float
    count: int
    believed: float
    right: float


def hit_rate(calls: Iterable[Called]) -> float:
    """The share of cylinders whose leader was there; not a number without calls."""
    hits = [c.hit for c in calls]
    return sum(hits) / len(hits) if hits else float("nan")


def brier(calls: Iterable[Called]) -> float:
    """Brier score (1950) of the named fault: the mean square of (probability - 1 if it was there, else 0); 0 is best."""
    errors = [(c.leader[1] - c.hit) ** 2 for c in calls]
    return sum(errors) / len(errors) if errors else float("nan")


def reliability(calls: Iterable[Called], bins: tuple[float, ...] = BINS) -> tuple[Bin, ...]:
    """How often calls of each sureness were right; empty bins are left out."""
    sorted_in: dict[int, list[Called]] = defaultdict(list)
    for call in calls:
        p = call.leader[1]
        sorted_in[next(k for k in range(len(bins) - 1) if p < bins[k + 1] or k == len(bins) - 2)].append(call)
    return tuple(
        Bin(
            bins[k],
            bins[k + 1],
            len(some),
            sum(c.leader[1] for c in some) / len(some),
            sum(c.hit for c in some) / len(some),
        )
        for k, some in sorted(sorted_in.items())
    )
