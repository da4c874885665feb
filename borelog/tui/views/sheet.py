"""The sheet of one cylinder: everything recorded about it, with who said it and how it was taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from borelog.engine.engine import Engine
from borelog.knowledge.airs import air_words
from borelog.knowledge.procedures import procedures
from borelog.logbook.entries import Finding, Looked, Note, Reading, Seen, StillPlaced
from borelog.logbook.inspection import Inspection, Recorded
from borelog.marks.places import place_words
from borelog.quantity import plain_number
from borelog.text import one_line
from borelog.tui.views.plan import figure_span
from borelog.tui.views.standing import question_words, severity_status, standing_of, state_words, term_words
from borelog.tui.views.words import STATUS, Line, Span, wrapped


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line of the sheet and the entry it shows ('' for headings)."""

    line: Line
    entry: str = ""


def sheet_lines(
    inspection: Inspection, engine: Engine | None, verdict: Any, cylinder: int, room: int
) -> list[SheetLine]:
    """The sheet in the order of the job."""
    s = standing_of(inspection, cylinder, verdict)
    label = engine.label(cylinder) if engine else str(cylinder)
    bank = f", bank {engine.bank_of(cylinder)}" if engine and len(engine.banks) > 1 else ""
    out = [SheetLine((Span(f"CYLINDER {label}{bank}", "ink", "bold"),))]
    out += _wrapped_figure("verdict", s.leader, room)
    out += _readings(inspection, cylinder, room)
    for name, figure in (("compression", s.compression), ("leak-down", s.leak)):
        if figure.value is None:
            out.append(SheetLine((Span(f"{name} ", "quiet"), figure_span(figure)), figure.entry))
    out += _seen(inspection, cylinder, room)
    out += _findings(inspection, cylinder, room)
    noted = figure_span(s.coverage)
    out.append(SheetLine((Span("looked at ", "quiet"), noted)))
    stills = [r for r in inspection.of(StillPlaced) if r.body.cylinder == cylinder and not r.body.aside]
    out.append(
        SheetLine(
            (
                Span("stills ", "quiet"),
                Span(str(len(stills)) if stills else "· none", "ink" if stills else "blank"),
            )
        )
    )
    out += _notes(inspection, cylinder, room)
    return out


def _wrapped_figure(name: str, figure: Any, room: int) -> list[SheetLine]:
    glyph, role = STATUS[figure.status]
    return [
        SheetLine((Span(text, role),), figure.entry) for text in wrapped(f"{glyph} {figure.text}", room, "  ")
    ]


def _taken(r: Recorded[Any]) -> str:
    who = f", {one_line(r.version.who, 12)}" if r.version.who else ""
    return f"{one_line(r.how, 24)}{who}" if r.how else one_line(r.version.who, 12)


def reading_words(b: Reading) -> str:
    """'150 148 psi' as converted, with puffs, supply, air and doubt."""
    numbers = " ".join(plain_number(v) for v in b.values)
    text = f"{b.about}{numbers}{f'/{plain_number(b.supply)}' if b.supply else ''} {b.unit}"
    if b.puffs:
        text += f" (needle {' '.join(plain_number(v) for v in b.puffs)})"
    return text + (f" air: {one_line(', '.join(air_words(a) for a in b.air), 60)}" if b.air else "")


def _test_words(test: str) -> str:
    known = procedures().get(test)
    return known.label.lower() if known else one_line(test.replace("_", " "), 40)


def _readings(inspection: Inspection, cylinder: int, room: int) -> list[SheetLine]:
    out: list[SheetLine] = []
    order = list(procedures())
    rows = [r for r in inspection.of(Reading) if r.body.cylinder == cylinder]
    rows.sort(key=lambda r: order.index(r.body.test) if r.body.test in order else 99)
    for r in rows:
        b = r.body
        name = _test_words(b.test)
        again = f" (session {one_line(b.series, 8)})" if b.series else ""
        out.append(SheetLine((Span(f"{name}{again} {one_line(b.part, 20)}".rstrip(), "quiet"),), r.id))
        doubt = "? " if b.doubt else ""
        out += [
            SheetLine((Span(f"  {text}", "watch" if b.doubt else "ink"),), r.id)
            for text in wrapped(f"{doubt}{reading_words(b)}", room - 2, "  ")
        ]
        if b.doubt:
            out += [
                SheetLine((Span(f"  {text}", "watch"),), r.id)
                for text in wrapped(one_line(b.doubt), room - 2, "  ")
            ]
        if one_line(b.typed) and not all(w in reading_words(b) for w in one_line(b.typed).split()):
            out.append(SheetLine((Span(f"  typed: {one_line(b.typed, room - 10)}", "quiet"),), r.id))
        if taken := _taken(r):
            out.append(SheetLine((Span(f"  {taken}", "quiet"),), r.id))
    return out


def _seen(inspection: Inspection, cylinder: int, room: int) -> list[SheetLine]:
    out = []
    for r in inspection.of(Seen):
        if r.body.cylinder == cylinder:
            words = f"{question_words(r.body.item)}: {one_line(state_words(r.body.item, r.body.state))}"
            words += f" - {one_line(r.body.note)}" if r.body.note else ""
            out += [SheetLine((Span(text, "ink"),), r.id) for text in wrapped(words, room, "  ")]
    for r2 in inspection.of(Looked):
        if r2.body.cylinder == cylinder and r2.body.test:
            words = f"{_test_words(r2.body.test)}: {r2.body.state}" + (
                f" ({one_line(r2.body.why, 40)})" if r2.body.why else ""
            )
            out.append(SheetLine((Span(words, "blank"),), r2.id))
    return out


def _findings(inspection: Inspection, cylinder: int, room: int) -> list[SheetLine]:
    out = []
    for r in inspection.of(Finding):
        b = r.body
        if b.cylinder != cylinder:
            continue
        glyph, role = STATUS[severity_status(b.severity)]
        head = f"{glyph} {term_words(b)}" + (f", {place_words(b.place)}" if b.place else "")
        out += [SheetLine((Span(text, role),), r.id) for text in wrapped(head, room, "  ")]
        more = ", ".join(
            x
            for x in (
                one_line(b.certainty, 20),
                one_line(b.age, 12) if b.age != "not said" else "",
                one_line(b.note),
            )
            if x
        )
        out += [
            SheetLine((Span(f"  {text}", "quiet"),), r.id) for text in wrapped(more, room - 2, "  ") if more
        ]
    return out


def _notes(inspection: Inspection, cylinder: int, room: int) -> list[SheetLine]:
    out = []
    for r in inspection.of(Note):
        if r.body.cylinder == cylinder:
            out += [
                SheetLine((Span(text, "ink"),), r.id)
                for text in wrapped(f"“{one_line(r.body.text)}”", room, " ")
            ]
    return out
