"""What the plugs say together, and their gaps against specification and distance."""

from __future__ import annotations

import re
from collections.abc import Iterator

from borelog.logbook.entries import Reading, Seen
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import number
from borelog.logbook.saying.value import Remark, cylinders_named
from borelog.quantity import Quantity, QuantityError, parse, plain_number
from borelog.readings.errors import ReadingError
from borelog.readings.plugs import GapJudgement, PlugState, judge_gap, judge_plugs, plug_words
from borelog.readings.repeats import counted

# Under this a gap is closed whatever the specification; common practice.
CLOSED_MM = 0.3

_FIELD = {"plug_deposit": "deposit", "plug_specks": "specks", "plug_ceramic": "ceramic"}
_SOURCE = "FAA AC 43.13-1B para 8-16; US Army TM 10-3930-653-14&P"


def plug_remarks(inspection: Inspection) -> Iterator[Remark]:
    """Remarks on the set of plugs: metal spray in one or in all, the odd one out, gaps."""
    looks: dict[int, dict[str, str]] = {}
    entries: dict[int, list[str]] = {}
    for r in inspection.of(Seen):
        b = r.body
        if b.cylinder is not None and b.item in _FIELD and (b.item, b.state) in plug_words():
            looks.setdefault(b.cylinder, {})[_FIELD[b.item]] = b.state
            entries.setdefault(b.cylinder, []).append(r.id)
    gaps: dict[int, GapJudgement] = {}
    sizes: dict[int, float] = {}
    for cylinder, size, entry in _gaps(inspection):
        sizes[cylinder] = size
        entries.setdefault(cylinder, []).append(entry)
        if (judged := _judged(inspection, cylinder, size)) is not None:
            gaps[cylinder] = judged
    alike: dict[tuple[str, str], list[int]] = {}
    for cylinder, judged in gaps.items():
        alike.setdefault((judged.state, judged.words), []).append(cylinder)
    for (state, words), cylinders in alike.items():
        yield Remark(
            "plugs", "gap", "note" if state == "in_spec" else "watch", f"{cylinders_named(cylinders)}: gap {words}",
            tuple(cylinders), tuple(e for c in cylinders for e in entries[c]),
            tuple((f"cylinder_{c}_grown_mm", gaps[c].grown_mm) for c in cylinders),
            "small-engine maker page (worn at 0.25 mm over); plug maker training text (wear)",
        )  # fmt: skip
    plugs = [PlugState(c, gap_mm=sizes.get(c), **looks.get(c, {})) for c in sorted({*looks, *sizes})]
    if not plugs:
        return
    try:
        found = judge_plugs(plugs, gaps)
    except ReadingError as error:
        yield Remark("plugs", "question", "ask", str(error))
        return
    for words in found.remarks:
        about = tuple(
            p.cylinder
            for p in plugs
            if f"cylinder {p.cylinder}:" in words or f"cylinder {p.cylinder} " in words
        )
        about = about or (found.metal if words.startswith("metal") else ())
        rests = tuple(e for c in about or tuple(looks) for e in entries.get(c, ()))
        yield Remark("plugs", "set", "watch", words, about, rests, source=_SOURCE)


def _gaps(inspection: Inspection) -> Iterator[tuple[int, float, str]]:
    for r in inspection.of(Reading):
        b = r.body
        if b.test != "plug_gap" or b.cylinder is None or not b.values or b.doubt:
            continue
        try:
            yield b.cylinder, Quantity(counted(b.values), b.unit).to("mm"), r.id
        except QuantityError:
            continue


def _judged(inspection: Inspection, cylinder: int, size: float) -> GapJudgement | None:
    """The gap against the manual's; with the distance where it is noted."""
    spec = number(inspection.facts.get("spec_gap", ""), "mm")
    if not spec or spec <= 0:
        if size >= CLOSED_MM:
            return None
        return GapJudgement(
            "closed_hammered", 0.0, None, f"{plain_number(size, 3)} mm: closed or hammered on any plug"
        )
    noted = conditions_of(inspection, "plug_gap", cylinder)
    distance: float | None
    try:
        distance = parse(re.sub(r"(?<=\d) (?=\d{3}(?:\D|$))", "", noted["plug_distance"]), "km").to("km")
    except (KeyError, QuantityError):
        distance = None
    try:
        return judge_gap(size, spec, distance, noted.get("plug_metal") or "not known")
    except ReadingError:
        return None
