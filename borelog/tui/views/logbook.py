"""The list of inspections: engine, date, worst finding, call, what is open; or what search found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from borelog.tui.views.words import Line, Span, cells, padded, shorter, wrapped

if TYPE_CHECKING:
    from borelog.acts.keeping import Hit, Row


SAME_AGAIN = ("engine", "place", "limits")
"""Groups of facts that another engine of the same kind has too: the service manual's limits are the engine's."""
ORDERS = ("last change", "name", "worst finding")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of the list: the id of its inspection, the entry it leads to ('' the inspection), its lines."""

    inspection: str
    entry: str
    lines: tuple[Line, ...]


EMPTY: tuple[tuple[str, str, str], ...] = (
    ("new", "Begin an inspection", "A name is enough; layout and all else may come later."),
    ("demo", "Look at the demo engine", "An invented engine with a fault, in a logbook of its own."),
    ("take_in", "Take in a findings pack", "One that somebody else made; it is checked first."),
)
"""What an empty logbook offers: action, words, more words."""


def ordered(rows: list[Row], order: str) -> list[Row]:
    """Rows in one of ORDERS."""
    if order == "name":
        return sorted(rows, key=lambda r: r.name.casefold())
    if order == "worst finding":
        return sorted(rows, key=lambda r: (not r.worst, r.worst.casefold()))
    return sorted(rows, key=lambda r: r.changed_at, reverse=True)


def day(at: str) -> str:
    """'2026-03-01 14:05' from an ISO time."""
    return f"{at[:10]} {at[11:16]}".strip()


def entries(rows: list[Row], room: int) -> list[Entry]:
    """Two lines an inspection where there is room, three on a narrow screen."""
    return [Entry(r.id, "", _lines(r, room)) for r in rows]


def _lines(row: Row, room: int) -> tuple[Line, ...]:
    number = f"{row.number:>3}  "
    demo = " (demo)" if row.demo else ""
    date = day(row.changed_at)
    if row.open < 0:  # nothing was said of it yet: it is being read
        worst, call, left, engine = Span("... being read", "quiet"), Span(""), Span(""), ""
    else:
        nothing = "· no finding told of" if row.taken_in else "· nothing found yet"
        worst = Span(f"✗ {row.worst}", "bad") if row.worst else Span(nothing, "blank")
        if (
            row.taken_in
        ):  # another's word and read-only: no call can be taken here, and it must not look like an own look
            call = Span(row.taken_in, "watch")
        else:
            call = Span(f"call: {row.call}", "ink") if row.call else Span("no call taken", "quiet")
        left = _left(row)
        engine = row.engine or "layout not noted"
    if room < 64:
        return (
            (Span(number, "quiet"), Span(f"{row.name}{demo}", "ink", "bold")),
            (Span("     "), Span(engine, "quiet"), Span("  "), left),
            (Span("     "), worst),
            (Span("     "), call),
            (),
        )
    head = (
        Span(number, "quiet"),
        Span(padded(f"{row.name}{demo}", max(10, room - 5 - 34)), "ink", "bold"),
        Span(padded(engine, 16), "quiet"),
        Span(padded(date, 17, right=True), "quiet"),
    )
    second = (
        Span("     "),
        worst._replace(text=padded(worst.text, max(10, room - 5 - 44))),
        Span(padded(shorter(call.text, 29), 30), call.role),
        left._replace(text=padded(left.text, 14, right=True)),
    )
    return head, second, ()


def _left(row: Row) -> Span:
    if row.open:
        return Span(f"{row.open} cyl open", "watch")
    # No cylinder is known where no layout is: none of them is settled then.
    return Span("all settled" if row.engine else "none judged", "quiet")


def hits(found: list[Hit], room: int) -> list[Entry]:
    """What search found, each with the inspection it is in."""
    out = []
    for hit in found:
        lines: list[Line] = [(Span(f"{hit.number:>3}  ", "quiet"), Span(hit.name, "ink", "bold"))]
        lines += [(Span(f"     {text}"),) for text in wrapped(hit.words, room - 6)[:3]]
        out.append(Entry(hit.inspection, hit.entry, (*lines, ())))
    return out


def empty_entries(room: int, keys: dict[str, str]) -> list[Entry]:
    """The three offers of an empty logbook; ``keys`` names the key of each action."""
    out = []
    for action, words, more in EMPTY:
        key = f"  {keys[action]}  "
        head = (Span(key, "ink", "bold"), Span(words, "ink", "bold"))
        rest = tuple(
            (Span(" " * cells(key) + text, "quiet"),) for text in wrapped(more, room - cells(key) - 1)
        )
        out.append(Entry("", action, (head, *rest, ())))
    return out
