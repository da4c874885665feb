"""All signs of an inspection, in a fixed order that does not depend on the order of entry."""

from __future__ import annotations

from borelog.knowledge.faults import FaultTables
from borelog.logbook.inspection import Inspection
from borelog.verdict.signs import figures, leaks, looked, opened, spoils
from borelog.verdict.signs.told import code_signs
from borelog.verdict.signs.value import Sign, Signs


def signs(inspection: Inspection, faults: FaultTables) -> Signs:
    """Evidence from everything recorded: one sign an item and place.

    What a person answered himself stands over what was worked out from figures, except where the figures are there:
    then the figures stand and the answer is not counted a second time.
    """
    worked_out: dict[tuple[object, ...], Sign] = {}
    for source in (figures.relative, figures.wet, figures.warm, figures.current, figures.gap, figures.height,
                   leaks.leak_signs, opened.straight_edge, code_signs):  # fmt: skip
        for sign in source(inspection):
            worked_out.setdefault((*sign.key, ""), sign)
    several: list[Sign] = []
    for sign in looked.looks(inspection):
        if sign.seen.item == "history_event":
            several.append(sign)
        else:
            worked_out.setdefault((*sign.key, ""), sign)
    everything = sorted(
        (s for s in (*worked_out.values(), *several) if s.seen.item in faults.items),
        key=lambda s: (s.seen.item, s.seen.cylinder or 0, s.seen.neighbour or 0, s.seen.state),
    )
    doubts = sorted(
        spoils.doubts(inspection, faults), key=lambda d: (d.spoil.variable, d.spoil.cylinder or 0)
    )
    return Signs(tuple(everything), tuple(doubts))
