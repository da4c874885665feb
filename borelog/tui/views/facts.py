"""The facts about engine and car as a grid of one column, and what they make of the engine."""

from __future__ import annotations

from borelog.knowledge.facts import facts
from borelog.logbook.inspection import Inspection
from borelog.text import one_line
from borelog.tui.views.readings import letters_for
from borelog.tui.views.rows import ENGINE, Cell, Grid, Row

_TITLES = {
    "engine": "Engine",
    "identity": "Which engine and car",
    "place": "Where it stands",
    "story": "What is known",
    "limits": "Service manual: limits",
}


def build(inspection: Inspection) -> Grid:
    """All facts in the order of the sheet; blanks are shown as blanks and none is asked for."""
    rows: list[Row] = []
    group = ""
    for f in facts().values():
        if f.group != group:
            group = f.group
            rows.append(Row((group,), "head", _TITLES.get(group, group), group))
        value = inspection.facts.get(f.id, "")
        letters = letters_for(f.choices)
        answers = tuple(zip(letters, f.choices, f.choices, strict=True))
        more = (
            "  " + " · ".join(f"{k} {w}" for k, w in zip(letters, f.choices, strict=True))
            if f.choices
            else ""
        )
        cell = Cell(
            one_line(value),
            "good" if value and value != "not known" else "missing",
            value,
            inspection.sources.get(("facts", f.id), ""),
        )
        rows.append(
            Row(
                (f.id,),
                "fact",
                f.label,
                group,
                f.unit,
                True,
                f.id,
                "",
                "",
                {ENGINE: cell},
                answers,
                f.choices,
                f"{f.why}{more}",
            )
        )
    return Grid((), tuple(rows))
