"""What the facts and codes leave to be said or asked before any figure is trusted."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.engine.engine import Engine
from borelog.engine.numbering import numberings
from borelog.engine.orders import presets
from borelog.engine.plan import where_is_one
from borelog.logbook.entries import Codes
from borelog.logbook.inspection import Inspection
from borelog.logbook.saying.value import Remark
from borelog.readings.codes import read_codes


def engine_remarks(engine: Engine) -> Iterator[Remark]:
    """Which numbering is in use and where cylinder 1 is; published firing orders while none is noted."""
    row = numberings()[engine.numbering]
    yield Remark("engine", "numbering", "note", where_is_one(engine), (1,), source=row.source)
    if engine.firing_order is None and engine.count > 2:
        known = presets(engine.layout, engine.count)
        if known:
            orders = "; ".join(f"{p.words} (name: {p.id})" for p in known)
            yield Remark(
                "engine", "order", "ask",
                f"firing order not noted: which is it? Published for {engine.name}: {orders}", source=known[0].source,
            )  # fmt: skip


def code_remarks(inspection: Inspection, engine: Engine | None) -> Iterator[Remark]:
    """Each trouble code explained, and what the list leaves to be asked of this engine."""
    for r in inspection.of(Codes):
        found = read_codes(r.body.text, engine)
        for c in found.codes:
            status = f" ({c.status})" if c.status else ""
            about = (c.cylinder,) if c.cylinder is not None else ()
            yield Remark(
                "codes",
                "code",
                "note",
                f"{c.words}{status}",
                about,
                (r.id,),
                source="SAE J2012 / ISO 15031-6",
            )
        for words in (*found.not_codes, *found.questions):
            yield Remark("codes", "question", "ask", words, (), (r.id,))
