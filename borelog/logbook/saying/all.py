"""Everything the readings of an inspection say together, in the order of work."""

from __future__ import annotations

from borelog.logbook.described import engine_of
from borelog.logbook.inspection import Inspection
from borelog.logbook.saying.compression import compression_remarks, current_remarks
from borelog.logbook.saying.engine import code_remarks, engine_remarks
from borelog.logbook.saying.leakdown import leak_remarks
from borelog.logbook.saying.opened import opened_remarks
from borelog.logbook.saying.plugs import plug_remarks
from borelog.logbook.saying.value import Remark


def remarks(inspection: Inspection, topic: str = "") -> tuple[Remark, ...]:
    """What the readings say together.

    Pure: worked out from the record alone, no verdict and no money in it. Screens, ``show`` and packs show the same.

    Parameters
    ----------
    inspection
        The record.
    topic
        Only remarks of this topic; '' for all.

    Returns
    -------
    tuple of Remark
        In the order of work: engine, codes, plugs, starter current, compression, leak-down, opened.
    """
    engine = engine_of(inspection)
    found = [
        *(engine_remarks(engine) if engine else ()),
        *code_remarks(inspection, engine),
        *plug_remarks(inspection),
        *current_remarks(inspection),
        *compression_remarks(inspection, engine),
        *leak_remarks(inspection, engine),
        *opened_remarks(inspection),
    ]
    return tuple(r for r in found if topic in ("", r.topic))
