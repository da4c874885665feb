"""Signs from trouble codes, as pasted."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.logbook.entries import Codes
from borelog.logbook.inspection import Inspection
from borelog.verdict.signs.value import Sign


def code_signs(inspection: Inspection) -> Iterator[Sign]:
    """Nothing yet."""
    del inspection
    yield from ()
    _ = Codes
