"""The two lines on top of every screen: which engine this is, and how each cylinder stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from borelog.text import one_line
from borelog.tui.actions import SHIPPED, Keys, way_to_engine
from borelog.tui.views.words import STATUS, Line, Span, cut, pieces, width

if TYPE_CHECKING:
    from borelog.engine.engine import Engine
    from borelog.logbook.inspection import Inspection

ROOMS = {
    "logbook": "LOGBOOK", "plan": "CYLINDERS", "readings": "READINGS", "stills": "STILLS", "verdict": "VERDICT",
    "pack": "PACK", "facts": "ENGINE", "doctor": "DOCTOR",
}  # fmt: skip


def logbook_state(unsaved: int, warnings: int, read_only: bool, more: str, nameless: str = "") -> Line:
    """What is not as it should be with the logbook itself, loudest first, with the key that shows ``more``; empty where all is well.

    ``nameless`` is the key that names the person, where nobody is named and entries can be made.
    """
    out: list[Span] = []
    if unsaved:
        out += [Span(f" NOT SAVED: {unsaved} {more} ", "bad", "loud"), Span(" ")]
    if warnings:
        out += [
            Span(f" ! {warnings} warning{'s' if warnings > 1 else ''} {more} ", "watch", "loud"),
            Span(" "),
        ]
    if read_only:
        out += [Span("reading only ", "watch")]
    elif nameless:
        out += [Span(f"who? {nameless} ", "quiet")]
    return tuple(out)


def title_line(
    where: str,
    inspection: Inspection | None,
    engine: Engine | None,
    logbook: str,
    saved_at: str,
    busy: bool,
    room: int,
    state: Line = (),
) -> Line:
    """Where one is, which engine, which logbook; and when the last entry reached the disk."""
    head = Span(f" {ROOMS.get(where, where.upper())} ", "ink", "pick")
    name = one_line(inspection.name) if inspection else ""
    at = saved_at if room >= 60 else saved_at[:5]
    said = "writing ..." if busy and saved_at else f"on disk {at}" if saved_at else ""
    parts = [p for p in (name, engine.name if engine else "", logbook) if p]
    left = room - len(head.text) - (len(said) + 2 if said else 0) - width(state) - 1
    middle = pieces(" · ".join(parts), max(0, left)) if where != "logbook" else cut(logbook, max(0, left))
    line: Line = (head, Span(f" {middle}", "ink", "bold"))
    gap = room - width(line) - width(state) - len(said) - 1
    return (*line, Span(" " * max(0, gap)), *state, Span(said, "quiet"))


def rail_line(
    inspection: Inspection | None,
    cylinders: tuple[int, ...],
    picked: int | None,
    verdict: Any,
    room: int,
    keys: Keys = SHIPPED,
) -> Line:
    """Every cylinder with its worst glyph; the one in hand reversed."""
    if not inspection or not cylinders:
        return (
            (
                Span(
                    f" no layout noted yet: press {way_to_engine(keys)}, and type for example 'in-line 4' or 'V8'",
                    "watch",
                ),
            )
            if inspection
            else ()
        )
    # Judging figures loads half the program; the first screen must not wait for it.
    from borelog.tui.views.standing import standing_of

    out: list[Span] = [Span(" ")]
    tight = room < 6 * len(cylinders) + 2
    for cylinder in cylinders:
        status = standing_of(inspection, cylinder, verdict).worst
        glyph, role = STATUS[status]
        text = f"{cylinder}{glyph}" if tight else f" {cylinder} {glyph} "
        out.append(Span(text, role, "pick" if cylinder == picked else "bold" if status == "bad" else ""))
        out.append(Span(" "))
    return tuple(out)
