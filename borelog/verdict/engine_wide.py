"""What is said of the engine as a whole: its state, with how many kinds of sign support it, and the gasket bridges."""

from __future__ import annotations

from borelog.knowledge.faults import BACKGROUND, HISTORY, FaultTables
from borelog.verdict.cylinders import ENOUGH_GROUPS, ENOUGH_ODDS, LIKELY, bare_hypothesis, squeezed
from borelog.verdict.judged import Because, EngineVerdict
from borelog.verdict.network.types import NO_ENGINE_FAULT, Posterior, Seen
from borelog.verdict.signs.value import Signs
from borelog.verdict.wording import in_so_many, likelihood

TELLS = 2.0
"""A sign supports a state where it is at least this many times as likely under it, or what it brings, as on a sound engine."""


def _brought(tables: FaultTables, state: str) -> set[str]:
    """The state with the channels that carry it and the faults that it makes much likelier."""
    channels = {c for (c, source), strength in tables.channels.items() if source == state and strength >= 0.3}
    faults = {m.target for m in tables.moves if m.when == state and m.factor >= TELLS}
    return {state} | channels | faults


def _tells(tables: FaultTables, seen: Seen, causes: set[str], state: str) -> bool:
    if seen.item == HISTORY:
        return any(m.when == seen.state and m.target == state and m.factor >= TELLS for m in tables.moves)
    k = tables.items[seen.item].states.index(seen.state)
    sound = tables.rows[BACKGROUND, seen.item].probabilities[k]
    rows = (tables.rows.get((c, seen.item)) for c in causes)
    return any(r.probabilities[k] >= TELLS * sound for r in rows if r is not None)


def engine_support(tables: FaultTables, said: Signs, state: str) -> int:
    """How many dependence groups by themselves speak for an engine state; the same group on several cylinders counts once."""
    causes = _brought(tables, state)
    return len({tables.items[s.seen.item].group for s in said.signs if _tells(tables, s.seen, causes, state)})


def engine_call(posterior: Posterior, tables: FaultTables, said: Signs) -> str:
    """The engine-wide state that is called, '' where there is none or not enough evidence for one."""
    (state, p), (_, q) = posterior.ranked_engine()[:2]
    if state == NO_ENGINE_FAULT or p < max(LIKELY, ENOUGH_ODDS * q):
        return ""
    return state if engine_support(tables, said, state) >= ENOUGH_GROUPS else ""


def engine_verdict(posterior: Posterior, tables: FaultTables, said: Signs) -> EngineVerdict:
    """What is said of the engine as a whole."""
    ranked = posterior.ranked_engine()
    first, p = ranked[0]
    label = tables.faults[first].label
    words = f"{label}, {likelihood(p)} ({in_so_many(p)})"
    if not posterior.groups.get(None):
        words = "nothing recorded of the engine as a whole; " + words[0].lower() + words[1:]
    elif first != NO_ENGINE_FAULT and not engine_call(posterior, tables, said):
        words = f"not enough evidence; {label[0].lower()}{label[1:]} leads, {in_so_many(p)}"
    elif first == NO_ENGINE_FAULT and not any(squeezed(posterior, c) for c in posterior.cylinders):
        words = "not enough evidence: nothing engine-wide shows so far, but no test of the squeeze counts"
    gaskets = tuple(
        Because(text=f"gasket between {a} and {b} breached: {likelihood(v)}, {in_so_many(v)}", weight=None)
        for (a, b), v in sorted(posterior.breaches.items())
        if v >= 0.2
    )
    return EngineVerdict(
        words=words,
        hypotheses=tuple(bare_hypothesis(f, v, tables) for f, v in ranked[:3]),
        gaskets=gaskets,
    )
