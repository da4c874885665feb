"""The words of the verdict: plain, never more certain than 19 in 20, no jargon of statistics."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from borelog.knowledge import tables
from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.types import Seen, Weight

_ODDS = (Fraction(1, 20), *sorted({Fraction(k, n) for n in (2, 3, 4, 5, 10) for k in range(1, n)}))
"""Odds that people say: '2 in 3', never '13 in 20'."""
MOST = 0.95
"""19 in 20: nothing a person reads is surer, for the tables are judgement; the record itself keeps the number."""


def likelihood(probability: float) -> str:
    """The word for a probability, from the published scale; at the top 'nearly certain'."""
    for r in tables.rows("likelihood_words.csv", "least", "word", "odds", "why"):
        if probability >= float(r["least"]):
            return r["word"]
    return "very unlikely"


def in_so_many(probability: float) -> str:
    """A probability as 'about 3 in 4', in odds that people say and never beyond 19 in 20."""
    p = min(max(probability, 0.0), 1.0)
    if p >= MOST:
        return "19 in 20 or more"
    if p <= 1 - MOST:
        return "1 in 20 or less"
    best = min(_ODDS, key=lambda f: (abs(float(f) - p), f.denominator))
    return f"about {best.numerator} in {best.denominator}"


def often(share: float, what: str) -> str:
    """'hardly ever a loss', 'the best in 7 of 10', 'nearly always the best'."""
    if share < 0.05:
        return f"hardly ever {what}"
    if share > 0.95:
        return f"nearly always {what}"
    return f"{what} in {min(9, max(1, round(10 * share)))} of 10"


def strength(shift: float) -> str:
    """How strongly a group of readings speaks, from the change in natural-log odds: 'strongly for', 'a little against'."""
    size = abs(shift)
    word = "barely" if size < 0.2 else "a little" if size < 0.7 else "clearly" if size < 2.0 else "strongly"
    return f"{word} {'for' if shift > 0 else 'against'}"


def where(cylinder: int | None) -> str:
    """'cylinder 3', or 'the engine'."""
    return "the engine" if cylinder is None else f"cylinder {cylinder}"


def sight(seen: Seen, faults: FaultTables) -> str:
    """One sight in words: the question's short name and the answer."""
    item = faults.items.get(seen.item)
    if item is None:
        return seen.item.replace("_", " ")
    state = item.wording.get(seen.state, seen.state.replace("_", " "))
    of = f" {seen.neighbour}" if seen.neighbour is not None else ""
    return f"{short_name(seen.item)}{of}: {state}"


def short_name(item: str) -> str:
    """The sheet's short name of a question."""
    for r in tables.rows("sheet_items.csv", "item", "section", "label", "also"):
        if r["item"] == item:
            return r["label"]
    return item.replace("_", " ")


def sights(weight: Weight, faults: FaultTables) -> str:
    """The sights of one group of readings, on one line."""
    return "; ".join(dict.fromkeys(sight(s, faults) for s in weight.seen))


def listed(words: Iterable[str], last: str = "and") -> str:
    """'a', 'a and b', 'a, b and c'."""
    parts = [w for w in words if w]
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


# The work that a bill means, for 'valve or seat: same head work'.
BILLS = {
    "nothing": "nothing to repair", "bottom": "pistons, rings and bores: the engine comes apart",
    "head": "head work", "block": "another engine or block", "intake_clean": "intake valves cleaned in place",
    "oil_use": "soak and watch the oil, rings if it stays", "dry_out": "dry out, oil and test again", "ignition": "plug, coil, injector or wiring",
    "valve_gear": "valve gear", "thread": "plug thread or seat", "intake_seal": "intake seal",
    "timing": "timing drive", "exhaust": "exhaust",
}  # fmt: skip
