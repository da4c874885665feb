"""The cylinder plan: every cylinder where it stands in the engine, its figures as glyph and word, blanks as loud as faults."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from borelog.engine.engine import Engine
from borelog.engine.plan import plan_grid
from borelog.logbook.inspection import Inspection
from borelog.text import one_line
from borelog.tui.views.digits import large as large_digits
from borelog.tui.views.saying import sayings
from borelog.tui.views.standing import Figure, Standing, standing_of
from borelog.tui.views.words import STATUS, Line, Span, cells, cut, fitted, padded, shorter, width, wrapped

_EIGHTHS = " ▏▎▍▌▋▊▉"
_LABELS = {
    "squeeze": "compression", "wet": "with oil", "leak": "leak-down", "plug": "plug", "found": "found",
    "looked": "looked at", "verdict": "verdict",
}  # fmt: skip


def figure_span(figure: Figure, label: str = "") -> Span:
    """A figure as glyph + words; bad figures and blanks reversed, so that both shout."""
    glyph, role = STATUS[figure.status]
    head = f"{label} " if label else ""
    loud = "loud" if figure.status in ("bad", "missing") else ""
    text = f" {glyph} {head}{figure.text} " if loud else f"{glyph} {head}{figure.text}"
    return Span(text, role, loud)


def bar(figure: Figure, top: float, room: int) -> Line:
    """A compression bar with its limit as ┆ and its error as a lighter end; a blank is a hatched strip."""
    if figure.value is None:
        return (Span("▒" * room, "blank"),)
    _, role = STATUS[figure.status]
    at = figure.value / top * room if top else 0.0
    whole = min(room, int(at))
    part = _EIGHTHS[int((at - whole) * 8)] if whole < room else ""
    text = list(padded("█" * whole + part.strip(" "), room))
    error = round((figure.error or 0.0) / top * room) if top else 0
    for k in range(max(0, whole - error), min(room, whole + error)):
        if error:
            text[k] = "▒"
    mark = round(figure.limit / top * room) if figure.limit and top else None
    out: list[Span] = []
    for k, char in enumerate(text):
        span = Span("┆", "ink", "bold") if k == mark else Span(char, role if char.strip() else "edge")
        if out and out[-1].role == span.role and out[-1].weight == span.weight:
            out[-1] = out[-1]._replace(text=out[-1].text + span.text)
        else:
            out.append(span)
    return tuple(out)


def top_of(standings: list[Standing]) -> float:
    """The right end of all compression bars, kPa: a little over the highest figure and limit."""
    values = [f.value or 0.0 for s in standings for f in (s.compression, s.wet)]
    limits = [s.compression.limit or 0.0 for s in standings]
    return max([*values, *limits, 1.0]) * 1.05


def plan_lines(
    inspection: Inspection,
    engine: Engine,
    verdict: Any,
    picked: int | None,
    room: int,
    height: int,
    big: bool = False,
) -> tuple[list[Line], int]:
    """The drawn plan and the line at which the cylinder in hand begins."""
    grid = plan_grid(engine)
    standings = {c.cylinder: standing_of(inspection, c.cylinder, verdict) for c in grid.cells}
    top = top_of(list(standings.values()))
    gap = 3 if grid.columns > 1 else 0
    card = (room - 2 - gap * (grid.columns - 1)) // grid.columns
    chrome = 2 + (1 if grid.columns > 1 else 0)
    high = max(2, min(8 if big else 6, (height - chrome) // grid.rows))
    if big:
        high = max(4, high)
    lines: list[Line] = [_end_line("▲", grid.top, grid.intake, room)]
    if grid.columns > 1:
        lines.append(
            (
                Span(" "),
                *(
                    Span(padded(h, card + (gap if k + 1 < grid.columns else 0)), "quiet")
                    for k, h in enumerate(grid.heads)
                ),
            )
        )
    begins = 0
    for row in range(grid.rows):
        blocks: list[list[Line]] = []
        for column in range(grid.columns):
            cylinder = grid.at(row, column)
            if cylinder is None:
                blocks.append([(Span(" " * card),)] * high)
                continue
            if cylinder == picked:
                begins = len(lines)
            draw = _big_card if big else _card
            blocks.append(
                draw(standings[cylinder], engine.label(cylinder), cylinder == picked, card, high, top)
            )
        for k in range(high):
            line: list[Span] = [Span(" ")]
            for column, block in enumerate(blocks):
                if column:
                    line.append(Span(" │ " if gap else "", "edge"))
                line.extend(block[k])
            lines.append(tuple(line))
    lines.append(_end_line("▼", grid.bottom, "", room))
    spare = height - len(lines)
    if spare >= 3:
        says = [r.words for r in sayings(inspection) if r.level != "note"] if spare >= 12 else []
        lines += engine_lines(verdict, grid.note, room, spare, says)
    return lines, begins


def engine_lines(verdict: Any, note: str, room: int, spare: int, says: Sequence[str] = ()) -> list[Line]:
    """Under the drawing, where there is room: the call, what disagrees, the next test, what the readings say, the numbering."""
    parts: list[tuple[str, str, str]] = []
    if verdict is not None:
        parts.append(("call", one_line(verdict.call), "ink"))
        parts += [("disagree", one_line(c.words), "watch") for c in verdict.contradictions[:1]]
        parts += [("next", one_line(t.line), "ink") for t in verdict.next_tests[:2]]
        parts += [("unknown", one_line(u), "blank") for u in verdict.unknown[:2]]
    parts += [("readings", one_line(words), "ink") for words in says]
    parts.append(("numbers", note, "quiet"))
    out: list[Line] = [()]
    for head, text, role in parts:
        texts = wrapped(text, room - 12)
        limit = 2 * (room - 12)
        while len(texts) > 2 and limit > 8:
            limit -= 4
            texts = wrapped(shorter(text, limit), room - 12)
        for k, part in enumerate(texts):
            out.append((Span(padded(f" {head}" if k == 0 else "", 11), "quiet"), Span(part, role)))
    return out[:spare]


def _end_line(glyph: str, end: str, more: str, room: int) -> Line:
    head = f" {glyph} {end} "
    tail = cut(f" {more} " if more else "", max(0, room - cells(head) - 2))
    return (
        Span(head, "ink", "bold"),
        Span("─" * max(0, room - cells(head) - cells(tail)), "rule"),
        Span(tail, "quiet"),
    )


def _card(s: Standing, label: str, picked: bool, room: int, high: int, top: float) -> list[Line]:
    """One cylinder in ``high`` lines: number, bar and figure first, then the rest in columns that line up downwards."""
    glyph, role = STATUS[s.worst]
    number = Span(padded(f" {label} {glyph} ", 6), "ink" if picked else role, "pick" if picked else "bold")
    edge = Span(padded("  ┃" if picked else "  │", 6), "ink" if picked else "rule", "bold" if picked else "")
    body = room - 6
    lines = [fitted((number, *_squeeze(s.compression, body, top)), room)]
    rest: list[Line]
    if high == 2:
        shown = ((s.leak, "leak"), (s.finding, "finding"), (s.leader, ""))
        rest = [
            _columns(
                body,
                *(
                    shown
                    if body >= 54
                    else (shown[0], shown[1] if s.finding.status != "missing" else shown[2])
                ),
            )
        ]
    elif high == 3:
        rest = [
            _columns(body, (s.leak, "leak"), (s.plug, "plug")),
            _columns(body, (s.finding, "finding"), (s.leader, "")),
        ]
    else:
        rest = [
            _columns(body, (s.leak, "leak"), (s.wet, "wet")),
            _columns(body, (s.plug, "plug"), (s.finding, "finding")),
        ]
        if high == 4:
            rest.append(_columns(body, (s.leader, ""), (s.coverage, "looked at")))
        else:
            rest += [_columns(body, (s.leader, "")), _columns(body, (s.coverage, "looked at"))]
    lines += [fitted((edge, *line), room) for line in rest]
    while len(lines) < high:
        lines.append((Span(" " * room),))
    return lines[:high]


def _squeeze(figure: Figure, body: int, top: float) -> Line:
    """Bar, figure and share of the highest; a blank takes the whole width."""
    if figure.value is None:
        return (chip(figure, "compression", body - 1),)
    words = figure_span(figure)
    wide = min(40, max(4, body - cells(words.text) - min(cells(figure.word) + 1, 16) - 2))
    left = body - wide - 1 - cells(words.text)
    share = shorter(figure.word, left - 1) if left > 5 else ""
    return (*bar(figure, top, wide), Span(" "), words, Span(f" {share}" if "…" not in share else "", "quiet"))


_SHORT = {"finding": "found", "looked at": "looked"}


def chip(figure: Figure, label: str, room: int) -> Span:
    """A figure in exactly ``room`` cells, in whole words; a blank and a bad figure fill them in their own colour."""
    loud = figure.status in ("bad", "missing")
    glyph, role = STATUS[figure.status]
    free = room - 1 - loud - cells(glyph) - 1
    words = f"{label} {figure.text}".strip()
    if cells(words) > free:
        words = _chip_words(figure, label, free)
    text = f" {glyph} {words}"
    return Span(
        padded(f"{text} " if loud and cells(text) < room else text, room), role, "loud" if loud else ""
    )


def _chip_words(figure: Figure, label: str, free: int) -> str:
    """The longest way of saying a figure that fits: without its name, in short, without both; else whole words of it."""
    name = _SHORT.get(label, label)
    if figure.status == "missing":
        words = f"{name} blank" if name else "no verdict"
        return words if cells(words) <= free else f"{name or 'verdict'} ?"
    bare = [figure.text] if label in ("plug", "finding") else []
    short = figure.short or figure.text
    for words in (f"{name} {figure.text}".strip(), *bare, f"{name} {short}".strip(), short):
        if cells(words) <= free:
            return words
    return shorter(short, free)


def _columns(body: int, *parts: tuple[Figure, str]) -> Line:
    """Chips in columns of equal width with a blank between."""
    wide = body // len(parts)
    out: list[Span] = []
    for figure, label in parts:
        out += [chip(figure, label, wide - 1), Span(" ")]
    return tuple(out)


def _big_card(s: Standing, label: str, picked: bool, room: int, high: int, top: float) -> list[Line]:
    """Number, compression and leak-down in large digits, what was found and the verdict in words under them."""
    scale = 2 if high >= 6 and room >= 52 else 1
    rows = large_digits(label, scale)
    shown = [(s.compression, "compression", s.compression.text.partition(" ")[2])]
    if room >= 60:
        shown.append((s.leak, "leak", "% leak"))
    edge = Span(" ┃ " if picked else "   ", "ink", "bold")
    lines: list[Line] = []
    wide = max(cells(row) for row in rows)
    for k, row in enumerate(rows):
        line: list[Span] = [edge, Span(padded(row, wide), "ink" if picked else "quiet", "bold")]
        at = width(line)
        for figure, name, unit in shown:
            line += [
                Span(" " * max(3, at + 3 - width(line))),
                *_big_figure(figure, name, unit, scale, k, len(rows)),
            ]
            at += 3 + (34 if scale == 1 else 40)
        lines.append(fitted(line, room))
    telling = [
        (f, name) for f, name in ((s.finding, ""), (s.leader, "")) if f.status in ("bad", "watch", "doubt")
    ]
    telling = telling or [(s.leader, "")]
    words: list[Span] = [edge]
    for figure, name in telling[:2]:
        words += [
            chip(figure, name, min((room - 4) // len(telling[:2]), cells(figure_span(figure).text) + 2)),
            Span(" "),
        ]
    lines.append(fitted(words, room))
    while len(lines) < high:
        lines.append((Span(" " * room),))
    return lines[:high]


def _big_figure(figure: Figure, name: str, unit: str, scale: int, row: int, rows: int) -> Line:
    """One row of a figure in large digits with its unit beside the last; a blank says so in its middle row."""
    if figure.value is None:
        middle = row == rows // 2
        return (Span(f" {STATUS['missing'][0]} {name} {figure.text} ", "blank", "loud"),) if middle else ()
    text = f"{figure.value:.0f}" if name == "leak" else figure.text.split(" ")[0]
    digits = large_digits(text, scale)[row]
    role = STATUS[figure.status][1]
    return (
        Span(digits, role, "bold"),
        Span(f" {STATUS[figure.status][0]} {unit}" if row == rows - 1 else "", role),
    )


def list_lines(
    inspection: Inspection, cylinders: tuple[int, ...], verdict: Any, picked: int | None, room: int
) -> tuple[list[Line], int]:
    """The same on a narrow screen: in test order, a line for each cylinder; and the line of the one in hand."""
    standings = [standing_of(inspection, c, verdict) for c in cylinders]
    top = top_of(standings)
    lines: list[Line] = []
    begins = 0
    for k, (name, _) in enumerate(standings[0].rows if standings else ()):
        lines.append((Span(f" {_LABELS[name]}", "ink", "bold"),))
        for s in standings:
            figure = s.rows[k][1]
            here = s.cylinder == picked
            number = Span(f" {s.cylinder:>2} ", "ink", "pick" if here else "")
            if here and k == 0:
                begins = len(lines)
            words = figure_span(figure)
            line: Line = (number, Span(" "), words)
            if name == "squeeze" and figure.value is not None:
                line = (
                    number,
                    Span(" "),
                    *bar(figure, top, max(4, room - cells(words.text) - 8)),
                    Span(" "),
                    words,
                )
            lines.append(line)
    return lines, begins
