"""A call, a truth or prices as they were written: who, when, in which words, and what was frozen with it."""

from __future__ import annotations

from typing import Any

from borelog.acts.words import body_words
from borelog.logbook.entries import CallTaken
from borelog.logbook.inspection import Recorded
from borelog.text import one_line
from borelog.tui.views.words import Line, Span, wrapped


def entry_lines(thing: Recorded[Any], room: int) -> list[Line]:
    """The entry in words, then the verdict that a call froze."""
    v = thing.version
    lines: list[Line] = [(Span(text, "ink", "bold"),) for text in wrapped(body_words(thing.body, 400), room)]
    lines.append((Span(f"{v.at[:16].replace('T', ' ')}  {one_line(v.who, 40)}", "quiet"),))
    if isinstance(thing.body, CallTaken):
        frozen = thing.body.verdict
        lines += [(), (Span("The verdict frozen with it:", "quiet"),)]
        lines += [(Span(text, "ink"),) for text in wrapped(one_line(str(frozen.get("call", ""))), room)]
        for one in frozen.get("cylinders", ()):
            words = f"cylinder {one.get('cylinder')}: {one_line(str(one.get('words', '')))}"
            lines += [(Span(text, "ink"),) for text in wrapped(words, room, "  ")]
        lines += [(), (Span(f"tables {one_line(thing.body.tables, 20)[:12]}", "quiet"),)]
    return lines
