"""What the readings say together, as lines for the readings screen and as sentences that lead to their readings."""

from __future__ import annotations

from borelog.knowledge.procedures import procedures
from borelog.logbook.inspection import Inspection
from borelog.logbook.saying.all import remarks
from borelog.logbook.saying.value import Remark
from borelog.text import one_line
from borelog.tui.views.words import Line, Span, pieces, wrapped

_LOOKS = {"note": ("·", "ink"), "watch": ("!", "watch"), "ask": ("?", "watch")}
_TITLES = {"engine": "The engine", "codes": "Trouble codes", "plugs": "Plugs", "opened": "Measured parts"}
_TOPICS = {"plug_gap": "plugs", "plugs": "plugs", "parts": "opened", "codes": "codes"}
"""Test or group of the grid -> topic of the remarks, where the two differ."""

_kept: list[tuple[Inspection, tuple[Remark, ...]]] = []


def sayings(inspection: Inspection) -> tuple[Remark, ...]:
    """All remarks; worked out once for each state of the record."""
    if not (_kept and _kept[0][0] is inspection):
        _kept[:] = [(inspection, remarks(inspection))]
    return _kept[0][1]


def said_of(inspection: Inspection, test: str, group: str, room: int, most: int) -> list[Line]:
    """What the readings of one step say, what tells first, in at most ``most`` lines; the last says where the rest is."""
    topic = _TOPICS.get(test) or _TOPICS.get(group) or test
    mine = [r for r in sayings(inspection) if r.topic == topic]
    mine.sort(key=lambda r: r.level == "note")
    lines: list[Line] = []
    for k, r in enumerate(mine):
        texts = _lines(r, room)
        # A sentence is shown whole or not at all; the last line is kept for what is left over.
        if len(lines) + len(texts) > most - (k + 1 < len(mine)):
            break
        lines += texts
    else:
        return lines
    left = f"  ^S: all {len(mine)} things said · what these readings come to together"
    return [*lines, (Span(pieces(left, room), "quiet"),)]


def _lines(r: Remark, room: int) -> list[Line]:
    glyph, role = _LOOKS[r.level]
    return [(Span(text, role),) for text in wrapped(f"{glyph} {one_line(r.words)}", room, "  ")]


def page_entries(inspection: Inspection, room: int) -> list[tuple[tuple[Line, ...], tuple[str, ...]]]:
    """(lines, entries it rests on) of every remark, the first of each topic under its heading."""
    out: list[tuple[tuple[Line, ...], tuple[str, ...]]] = []
    last = ""
    for r in sayings(inspection):
        title = _TITLES.get(r.topic) or (
            procedures()[r.topic].label if r.topic in procedures() else one_line(r.topic, 40)
        )
        if title != last:
            head: Line = (Span(f" {title.upper()}", "quiet", "bold"),)
            out.append((((), head) if out else (head,), ()))
            last = title
        source = f" [{one_line(r.source, 60)}]" if r.source else ""
        glyph, role = _LOOKS[r.level]
        lead = "  ▸" if r.entries else ""
        texts = wrapped(f"{glyph} {one_line(r.words)}{source}{lead}", room - 3, "  ")
        out.append((tuple((Span(f"  {text}", role),) for text in texts), r.entries))
    return out or [
        (
            (
                (
                    Span(
                        " Nothing can be said yet: a second figure, a plug or a leak-down begins it.", "quiet"
                    ),
                ),
            ),
            (),
        )
    ]
