"""What the readings say together, as lines for the readings screen and as sentences that lead to their readings."""

from __future__ import annotations

from borelog.knowledge.procedures import procedures
from borelog.logbook.inspection import Inspection
from borelog.logbook.saying.all import remarks
from borelog.logbook.saying.value import Remark
from borelog.text import one_line
from borelog.tui.actions import SHIPPED, Keys, key_of
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


def said_of(
    inspection: Inspection, test: str, group: str, room: int, most: int, keys: Keys = SHIPPED
) -> list[Line]:
    """What tells among the things that the readings of one step say, in at most ``most`` lines; the last says where all is."""
    topic = _TOPICS.get(test) or _TOPICS.get(group) or test
    mine = [r for r in sayings(inspection) if r.topic == topic]
    telling = [r for r in mine if r.level != "note" or r.kind in ("pattern", "call", "set")]
    telling.sort(key=lambda r: (r.level == "note", r.kind not in ("pattern", "call")))
    lines: list[Line] = []
    for r in telling:
        texts = _lines(r, room)
        # A sentence is shown whole or not at all; the last line says how many there are.
        if len(lines) + len(texts) > most - 1:
            break
        lines += texts
    if not mine or (len(mine) == len(telling) == 1 and lines):
        return lines
    left = f"  {key_of(keys, 'readings', 'says')}: all {len(mine)} things said · what these readings come to together"
    return [*lines, (Span(pieces(left, room), "quiet"),)]


def _lines(r: Remark, room: int) -> list[Line]:
    glyph, role = _LOOKS[r.level]
    return [(Span(text, role),) for text in wrapped(f"{glyph} {one_line(r.words)}", room, "  ")]


def page_entries(inspection: Inspection, room: int) -> list[tuple[tuple[Line, ...], tuple[str, ...], str]]:
    """(lines, entries it rests on, who says so) of every remark, each topic under its heading."""
    out: list[tuple[tuple[Line, ...], tuple[str, ...], str]] = []
    last = ""
    for r in sayings(inspection):
        title = _TITLES.get(r.topic) or (
            procedures()[r.topic].label if r.topic in procedures() else one_line(r.topic, 40)
        )
        if title != last:
            head: Line = (Span(f" {title.upper()}", "quiet", "bold"),)
            out.append((((), head) if out else (head,), (), ""))
            last = title
        glyph, role = _LOOKS[r.level]
        lead = "  ▸" if r.entries else ""
        texts = wrapped(f"{glyph} {one_line(r.words)}{lead}", room - 3, "  ")
        out.append((tuple((Span(f"  {text}", role),) for text in texts), r.entries, one_line(r.source, 200)))
    nothing = " Nothing can be said yet: a second figure, a plug or a leak-down begins it."
    return out or [(((Span(nothing, "quiet"),),), (), "")]
