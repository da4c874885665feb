"""A cranking trace as a page: the swing over one cycle, each cylinder's share of the good ones, speed, battery, questions."""

from __future__ import annotations

from typing import Any

from borelog.acts.tracing import Traced
from borelog.charts.bars import text_bar
from borelog.charts.trace import trace_text
from borelog.readings.crank_trace import crank_state
from borelog.text import one_line
from borelog.tui.views.words import STATUS, Line, Span, padded, wrapped

_STATES = {
    "above_group": ("watch", "above the others"), "within_85": ("good", "sound"), "soft_70_84": ("watch", "soft"),
    "low_35_69": ("bad", "low"), "dead_under_35": ("bad", "almost none"),
}  # fmt: skip


def trace_lines(traced: Traced, letters: bool, room: int) -> list[Line]:
    """All of it for a width in cells; with ``letters`` the bars alone, because the curve is made of dots."""
    v = traced.values
    lines: list[Line] = []
    if not letters and traced.degrees:
        drawn = trace_text(traced.degrees, traced.amps, traced.flags, width=min(room, 110), rows=8)
        lines += [(Span(text, "ink" if k else "quiet"),) for k, text in enumerate(drawn)]
        words = "two turns of the crank from left to right, amperes upwards"
        lines += [*((Span(text, "quiet"),) for text in wrapped(words, room)), ()]
    lines += [_hump_line(h, room) for h in v["humps"]]
    change = f", {100 * v['rpm_change']:+.0f} % from start to end" if v["rpm_change"] is not None else ""
    volts = f"; battery down to {v['volts_low']:.1f} V" if v["volts_low"] is not None else ""
    words = f"cranking speed {v['rpm']:.0f} rpm{change}; starter {v['amps']:.0f} A on average{volts}"
    lines += [(), *((Span(text, "ink"),) for text in wrapped(words, room))]
    for words, role in [*((q, "watch") for q in v["questions"]), *((n, "quiet") for n in v["notes"])]:
        glyph = "? " if role == "watch" else ""
        lines += [(Span(text, role),) for text in wrapped(f"{glyph}{one_line(words)}", room, "  ")]
    return lines


def _hump_line(h: dict[str, Any], room: int) -> Line:
    status, words = _STATES[crank_state(h["relative"])]
    glyph, role = STATUS[status]
    tight = room < 76
    named = h["cylinder"] is not None
    who = (f"{h['cylinder']}" if tight else f"cylinder {h['cylinder']}") if named else f"hump {h['position']}"
    wide = 4 if room < 40 else 6 if tight else 24
    bar = padded(text_bar(max(0.0, h["relative"]), 1.2, wide), wide)
    about = "~" if h["about"] else " "
    span = f" {100 * h['low']:.0f} to {100 * h['high']:.0f}"
    # on a narrow screen the span takes the place of the word where the figure alone would say too much
    said = span if tight and h["about"] else words
    more = "" if tight else f"  {'about, ' if h['about'] else ''}span{span}, scatter {100 * h['scatter']:.0f}"
    return (
        Span(f"{who:<7}" if tight else f"{who:<12}", "ink", "bold"), Span(f"{about}{100 * h['relative']:3.0f} % ", role), Span(bar, role),
        Span(f" {glyph} {said.strip()}", role), Span(more, "quiet"),
    )  # fmt: skip


def can_enter(traced: Traced) -> bool:
    """Whether at least one hump has its cylinder, so that it can be a reading."""
    return any(h["cylinder"] is not None for h in traced.values["humps"])
