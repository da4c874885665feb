"""Signs from trouble codes, as pasted."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.logbook.described import engine_of
from borelog.logbook.entries import Codes
from borelog.logbook.inspection import Inspection
from borelog.readings import codes
from borelog.verdict.network import types as net
from borelog.verdict.signs.value import Sign, way

_NONE = ("none", "no codes", "nothing", "none stored", "no fault codes")


def code_signs(inspection: Inspection) -> Iterator[Sign]:
    """What the codes say, where codes were really read: an empty field says nothing, 'none' says that none is stored."""
    engine = engine_of(inspection)
    recorded = [r for r in inspection.of(Codes) if r.body.text.strip()]
    if engine is None or not recorded:
        return
    text = "\n".join(r.body.text for r in recorded)
    read = codes.read_codes(text, engine)
    if not read.codes and text.strip().lower() not in _NONE:
        return
    how = "told" if all(way(r.how) == "told" for r in recorded) else "code"
    entries = tuple(r.id for r in recorded)
    signs = codes.code_signs(read, engine)
    named = any(item == "code_misfire" and state == "this_cylinder" for (item, _), state in signs.items())
    for (item, cylinder), state in signs.items():
        if item == "code_misfire" and state == "other_or_random":
            # One code must not speak once for every cylinder: beside a named one it says nothing of the others, and
            # alone it is no more than a hint for each.
            if named:
                yield Sign(net.Seen(item, cylinder, "none", how), entries)
            else:
                yield Sign(net.Seen(item, cylinder, state, "inferred"), entries)
        else:
            yield Sign(net.Seen(item, cylinder, state, how), entries)
