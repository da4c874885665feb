"""What the find page can find: actions, inspections, cylinders, findings, stills, tests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from borelog.knowledge.procedures import procedures
from borelog.logbook.entries import Finding, StillFiled
from borelog.logbook.inspection import Inspection
from borelog.text import one_line
from borelog.tui.actions import ACTIONS, EVERYWHERE
from borelog.tui.views.helping import keys_words
from borelog.tui.views.standing import term_words


class Target(NamedTuple):
    """Where a hit leads: ``kind`` is action, inspection, cylinder, entry or test."""

    kind: str
    value: Any


def candidates(
    where: str,
    keys: Mapping[tuple[str, str], tuple[str, ...]],
    inspection: Inspection | None,
    cylinders: Sequence[int],
    rows: Sequence[Any],
) -> list[tuple[Target, str, str]]:
    """(target, words, more words) of everything that can be found, most likely first."""
    out: list[tuple[Target, str, str]] = []
    for group in (where, EVERYWHERE):
        for a in ACTIONS:
            if a.where == group:
                out.append(
                    (
                        Target("action", a.id),
                        a.label or a.sentence.rstrip("."),
                        f"{keys_words(a, keys)} · {a.sentence}" if a.label else keys_words(a, keys),
                    )
                )
    out += [(Target("cylinder", c), f"cylinder {c}", "take it in hand") for c in cylinders]
    if inspection:
        for r in inspection.of(Finding):
            on = f"cylinder {r.body.cylinder}" if r.body.cylinder is not None else "engine"
            out.append((Target("entry", r.id), term_words(r.body), f"finding, {on}"))
        out += [(Target("test", p.id), p.label, "readings") for p in procedures().values()]
        out += [
            (Target("entry", r.id), one_line(r.body.name, 40), "still") for r in inspection.of(StillFiled)
        ]
    out += [
        (Target("inspection", r.id), one_line(r.name, 60), f"inspection {r.number} {one_line(r.engine, 20)}")
        for r in rows
    ]
    return out
