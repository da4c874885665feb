"""Why it failed, what must be renewed with it, and where missing metal went."""

from __future__ import annotations

from borelog.knowledge import tables as knowledge
from borelog.knowledge.faults import FaultTables
from borelog.verdict.judged import Because, CylinderVerdict
from borelog.verdict.network.types import Posterior
from borelog.verdict.signs.value import Signs
from borelog.verdict.wording import where

WHERE_METAL_GOES = "sump, intake, the other cylinders, the turbocharger and the catalyst"


def failure_lines(
    said: Signs, posterior: Posterior, tables: FaultTables, cylinders: tuple[CylinderVerdict, ...]
) -> tuple[Because, ...]:
    """Lines for each leading fault that has enough evidence, then a question for each place where metal is missing."""
    rows = {r["fault"]: r for r in knowledge.rows("root_causes.csv", "fault", "why", "renew", "source")}
    lines: list[Because] = []
    state, p = posterior.ranked_engine()[0]
    found: list[tuple[str, int | None]] = [(state, None)] if p >= 0.5 else []
    found += [(c.leader.fault, c.cylinder) for c in cylinders if c.enough and c.leader]
    for fault in dict.fromkeys(f for f, _ in found):
        if fault in rows:
            on = [str(c) for f, c in found if f == fault and c is not None]
            name = tables.faults[fault].label + (f" ({', '.join(on)})" if on else "")
            lines.append(
                Because(
                    text=f"{name}. Why it fails: {rows[fault]['why']}. Renew with it: {rows[fault]['renew']}."
                )
            )
    missing = {
        (r["item"], r["state"]): r["what"]
        for r in knowledge.rows("missing_metal.csv", "item", "state", "what", "why")
    }
    for sign in said.signs:
        what = missing.get((sign.seen.item, sign.seen.state))
        if what:
            lines.append(
                Because(
                    text=f"Where did it go? {where(sign.seen.cylinder).capitalize()}: {what}. Look in {WHERE_METAL_GOES}.",
                    entries=sign.entries,
                )
            )
    return tuple(lines)
