"""What well-formed words of a stranger may say: ids, times, clocks and coordinates within what a record can hold.

Schema and hashes hold for any content, since whoever forges a pack makes its hashes too. Here stands what would harm later:
a clock at its end, which no next entry could follow; a mark a million pixels wide; a name that is a paragraph.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from borelog.logbook import entries as e
from borelog.logbook.summaries import SHOP
from borelog.marks.shapes import Shape, outline
from borelog.pack.document import Document
from borelog.pack.errors import Fault

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
_LONGEST_NAME, _LONGEST_HOW = 400, 20_000
MOST_CYLINDER = 999
FARTHEST = 1e6
"""Pixels: a mark may reach out of its picture, but not to another continent."""
MOST_POINTS = 20_000
_JOURNAL = "data/journal.jsonl"


def journal_faults(stored: Sequence[e.Stored]) -> Iterator[Fault]:
    """What no honest journal holds."""
    opened = {s.entry.writer for s in stored if s.entry.number == 1 and isinstance(s.body, e.Opened)}
    for i, s in enumerate(stored, 1):
        said = s.entry
        where = f"{_JOURNAL} line {i}"
        if not (_ID.fullmatch(said.id) and _ID.fullmatch(said.writer) and _ID.fullmatch(said.inspection)):
            yield Fault("journal", where, "names entry, writer or inspection as no logbook does")
        if said.inspection == SHOP:
            yield Fault("journal", where, "would set the prices of your own logbook")
        # Each entry's clock is one more than the highest its writer knew, and all it knew is here.
        if not 0 < said.clock <= len(stored):
            yield Fault("journal", where, f"has a clock of {said.clock} among {len(stored)} entries")
        if not _time(said.at):
            yield Fault("journal", where, "has a time that is none")
        if len(said.who) > _LONGEST_NAME or len(said.how) > _LONGEST_HOW:
            yield Fault("journal", where, "names somebody in more words than a name has")
        if len(said.seen) > len(stored) or not all(0 <= n <= len(stored) for n in said.seen.values()):
            yield Fault("journal", where, "has seen more entries than there are")
        body = s.body.body if isinstance(s.body, e.Correct) else s.body
        if isinstance(body, e.TakenIn) and (
            isinstance(s.body, e.Correct) or said.number != 2 or said.writer not in opened
        ):
            # Only whoever opened an inspection made it one that was taken in; else a pack could lock yours.
            yield Fault("journal", where, "would make an inspection read-only that was not taken in")
        if not _cylinder(getattr(body, "cylinder", None)):
            yield Fault("journal", where, "names a cylinder that no engine here has")
        if not all(_near(shape) for shape in _shapes(body)):
            yield Fault("journal", where, "draws a mark far out of any picture")
        if isinstance(body, e.StillFiled) and not (
            0 <= body.width <= 1 << 20 and 0 <= body.height <= 1 << 20 and 1 <= body.orientation <= 8 and body.size >= 0
        ):  # fmt: skip
            yield Fault("journal", where, "files a picture of a size that none has")


def document_faults(document: Document) -> Iterator[Fault]:
    """What no honest document holds."""
    where = "data/inspection.json"
    ids = {s.id for s in document.stills}
    marks = [m for f in document.findings for m in f.marks] + [m for s in document.stills for m in s.marks]
    if any(m.still not in ids for m in marks) or any(
        m.still != s.id for s in document.stills for m in s.marks
    ):
        yield Fault("still", where, "draws a mark on a still that it does not name")
    if not all(_near(m.shape) for m in marks):
        yield Fault("still", where, "draws a mark far out of any picture")
    rows: Iterable[Any] = (
        *document.readings, *document.findings, *document.stills, *document.seen, *document.coverage, *document.tests,
        *document.notes, *document.truth, *document.conditions, *document.lines,
    )  # fmt: skip
    numbers = [*document.engine.cylinders, *(c for bank in document.engine.banks for c in bank)]
    if not all(_cylinder(c) for c in numbers) or not all(_cylinder(row.cylinder) for row in rows):
        yield Fault("schema", where, "names a cylinder that no engine here has")
    if not all(_time(t) for t in (document.about.made, document.about.opened)):
        yield Fault("schema", where, "has a time that is none")


def _time(text: str) -> bool:
    try:
        return len(text) <= 40 and bool(datetime.fromisoformat(text))
    except ValueError:
        return False


def _cylinder(number: object) -> bool:
    return number is None or (isinstance(number, int) and 0 <= number <= MOST_CYLINDER)


def _near(shape: Shape) -> bool:
    points = getattr(shape, "points", ())
    if len(points) > MOST_POINTS:
        return False
    return all(-FARTHEST <= v <= FARTHEST for point in outline(shape, 4) for v in point)


def _shapes(body: object) -> Iterator[Shape]:
    if isinstance(body, e.Finding):
        yield from (m.shape for m in body.marks)
    elif isinstance(body, e.Marked):
        yield body.mark.shape
    elif isinstance(body, e.MaskDrawn):
        yield from body.shapes
