"""Signs from parts measured after opening: a head that is flat or bowed."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.logbook.inspection import Inspection
from borelog.logbook.opened import opened_parts
from borelog.readings.parts import standing
from borelog.verdict.network import types as net
from borelog.verdict.signs.value import Sign

_STATE = {"pass": "flat", "fail": "bowed"}


def straight_edge(inspection: Inspection) -> Iterator[Sign]:
    """The worst head against its flatness limit; nothing where the figure is too close to call or the limits differ."""
    heads = [p for p in opened_parts(inspection) if p.test == "head_flatness"]
    said = {standing(p.outcomes).get(("head", "flatness")): p for p in heads}
    for result in ("fail", "pass"):
        if result in said and (result == "fail" or len(said) == 1):
            part = said[result]
            yield Sign(net.Seen("straight_edge", None, _STATE[result], "measured"), part.entries, part.words)
            return
