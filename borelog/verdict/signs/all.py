"""All signs of an inspection, in a fixed order that does not depend on the order of entry."""

from __future__ import annotations

from collections.abc import Sequence

from borelog.engine.engine import Engine
from borelog.knowledge.faults import FaultTables
from borelog.logbook.described import engine_of
from borelog.logbook.inspection import Inspection
from borelog.verdict.network.types import NetShape
from borelog.verdict.signs import figures, leaks, looked, opened, spoils, swaps
from borelog.verdict.signs.told import code_signs
from borelog.verdict.signs.value import Doubt, Sign, Signs


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
        (s for s in (*swaps.taken_together(worked_out).values(), *several) if s.seen.item in faults.items),
        key=lambda s: (s.seen.item, s.seen.cylinder or 0, s.seen.neighbour or 0, s.seen.state),
    )
    doubts = sorted(
        spoils.doubts(inspection, faults), key=lambda d: (d.spoil.variable, d.spoil.cylinder or 0)
    )
    engine = engine_of(inspection)
    return _on_this(engine, everything, doubts) if engine else Signs(tuple(everything), tuple(doubts))


def _on_this(engine: Engine, found: Sequence[Sign], doubts: Sequence[Doubt]) -> Signs:
    """What can be so on this engine; what cannot is set aside and said, for the layout may be what is wrong."""
    shape = NetShape(engine.cylinders, engine.chains)
    pairs = {frozenset(p) for p in shape.pairs}
    known = {None, *shape.cylinders}
    strange = {s.seen.cylinder for s in found} - known
    apart = {
        (s.seen.cylinder, s.seen.neighbour)
        for s in found
        if s.seen.neighbour is not None
        and s.seen.cylinder in known
        and frozenset((s.seen.cylinder, s.seen.neighbour)) not in pairs
    }
    aside = [
        f"What is recorded of cylinder {c} is not judged: this {engine.name} has none. Mend the number, or the layout."
        for c in sorted(c for c in strange if c is not None)
    ]
    aside += [
        f"Air from cylinder {a} at the plug hole of {b} is not judged: the two share no gasket bridge. Look whether it "
        "was that hole."
        for a, b in sorted((a or 0, b or 0) for a, b in apart)
    ]
    return Signs(
        tuple(
            s for s in found if s.seen.cylinder in known and (s.seen.cylinder, s.seen.neighbour) not in apart
        ),
        tuple(d for d in doubts if d.spoil.cylinder in known),
        tuple(aside),
    )
