"""Why it failed, what must be renewed with it, and where missing metal went."""

from __future__ import annotations

from collections.abc import Sequence

from borelog.knowledge import tables as knowledge
from borelog.knowledge.faults import FaultTables
from borelog.logbook.inspection import Inspection
from borelog.logbook.opened import opened_parts, together
from borelog.verdict.judged import Because
from borelog.verdict.signs.value import Signs
from borelog.verdict.wording import where

WHERE_METAL_GOES = "sump, intake, the other cylinders, a turbocharger where there is one, and the catalyst"


def measured_lines(inspection: Inspection) -> tuple[Because, ...]:
    """What parts measured after opening ask for where they are beyond their limits: one line, or none."""
    parts = tuple(p for p in opened_parts(inspection) if p.failed)
    if not parts:
        return ()
    text = together(parts)
    entries = tuple(dict.fromkeys(e for p in parts for e in p.entries))
    return (Because(text=f"Measured {text}.", entries=entries),)


def failure_lines(
    said: Signs, called: Sequence[tuple[str, int | None]], tables: FaultTables
) -> tuple[Because, ...]:
    """Lines for each fault that is called, then a question for each place where metal is missing."""
    rows = {r["fault"]: r for r in knowledge.rows("root_causes.csv", "fault", "why", "renew", "source")}
    lines: list[Because] = []
    for fault in dict.fromkeys(f for f, _ in called):
        if fault in rows:
            on = [str(c) for f, c in called if f == fault and c is not None]
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
