"""What measured parts say: every figure against its limit, what it asks for, and the line for the courses."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.logbook.described import engine_of
from borelog.logbook.inspection import Inspection
from borelog.logbook.opened import OpenedPart, opened_parts, short_name, together
from borelog.logbook.saying.value import Remark
from borelog.readings.opened import rebore_words
from borelog.readings.parts import PartOutcome, figure_name, standing


def opened_remarks(inspection: Inspection) -> Iterator[Remark]:
    """Remarks on every part measured after opening, then the whole in one line."""
    parts = opened_parts(inspection)
    engine = engine_of(inspection)
    for part in parts:
        about = (part.cylinder,) if part.cylinder is not None else ()
        figures = tuple((f"{f.quantity.replace(' ', '_')}_mm", f.value_mm) for f in part.figures)
        clean = part.call.startswith("within limits")
        level = "ask" if part.call == "question" else "note" if clean or not part.outcomes else "watch"
        words = f"{part.name}: {part.words}" + ("" if part.call == "question" else f"; {part.call}")
        yield Remark("opened", "part", level, words, about, part.entries, figures)  # type: ignore[arg-type]
        for o in _telling(part):
            yield Remark(
                "opened", "limit", "watch", f"{part.name}: {_without(part, o)}", about, part.entries,
                (("probability", o.probability),), o.limit.source,
            )  # fmt: skip
        if part.test == "bore_diameter" and part.failed and engine and engine.bore_mm:
            largest = next(f.value_mm for f in part.figures if f.quantity == "diameter")
            yield Remark(
                "opened", "part", "note", f"{part.name}: {rebore_words(engine.bore_mm, largest)}", about, part.entries,
                source="oversizes of 0.25 and 0.50 mm: machine-shop page; the rest from memory",
            )  # fmt: skip
        if ("head", "height") in part.failed:
            yield Remark(
                "opened", "part", "watch", f"{part.name}: too low to be skimmed again, another head is needed", about,
                part.entries,
            )  # fmt: skip
    if parts:
        call = together(parts)
        assumed = "; ".join(dict.fromkeys(a for p in parts for a in p.assumed))
        first, *more = assumed.split("instrument not noted: ")
        assumed = first + ("instrument not noted: " + "".join(more) if more else "")
        words = f"measured parts together: {call}" + (f" ({assumed})" if assumed else "")
        entries = tuple(e for p in parts for e in p.entries)
        yield Remark("opened", "call", "note" if call.startswith("within") else "watch", words, (), entries)


def _without(part: OpenedPart, outcome: PartOutcome) -> str:
    """The outcome in words without the part's name in front of the figure's."""
    limit = outcome.limit
    return outcome.words.replace(
        figure_name(limit.part, limit.quantity), short_name(part.name, limit.part, limit.quantity), 1
    )


def _telling(part: OpenedPart) -> list[PartOutcome]:
    """The limits that decide against a figure, or cannot tell; the manual's alone where it is noted."""
    held = standing(part.outcomes)
    out = []
    for o in part.outcomes:
        key = (o.limit.part, o.limit.quantity)
        own = any(
            x.limit.status == "entered" for x in part.outcomes if (x.limit.part, x.limit.quantity) == key
        )
        if held.get(key) == "pass" or o.result == "pass" or o.limit.status == "contrast":
            continue
        if not own or o.limit.status == "entered":
            out.append(o)
    return out


def measured_words(inspection: Inspection, cylinder: int | None) -> str:
    """The measured parts of one cylinder (None: of the engine) beyond their limits, in one line; '' for none."""
    mine = [p for p in opened_parts(inspection) if p.cylinder == cylinder and p.failed]
    figures = {
        f"{figure_name(*key)} {next(o.value_mm for o in p.outcomes if (o.limit.part, o.limit.quantity) == key):.3f} mm"
        for p in mine
        for key in p.failed
    }
    return f"measured beyond the limits: {', '.join(sorted(figures))}" if figures else ""
