"""How past calls held: hits, Brier score, and how sure against how often right, as bars with figures."""

from __future__ import annotations

from borelog.acts.learning import Score, score_lines
from borelog.charts.bars import text_bar
from borelog.text import counted
from borelog.tui.views.words import Line, Span, padded, wrapped


def score_page(scored: Score, room: int) -> list[Line]:
    """The whole page; without a call and its truth it says how one comes about."""
    head, *more = score_lines(scored)
    if not scored.cylinders:
        words = (
            "Nothing to score yet. Take a call (d on the verdict), open the engine, then write what it really was (t on the "
            "verdict): from then on this page says how often the calls of this logbook were right."
        )
        return [(Span(text, "ink"),) for text in wrapped(words, room)]
    lines: list[Line] = [(Span(text, "ink", "bold"),) for text in wrapped(head, room)]
    wide = max(8, min(30, room - 34))
    for b in scored.bins:
        said = f"said {100 * b.low:.0f} to {100 * b.high:.0f} %: {counted(b.count, 'cylinder')}"
        lines += [(), (Span(said, "ink"),)]
        for name, share, role in (("sure", b.believed, "ink"), ("right", b.right, "good")):
            bar = padded(text_bar(share, 1.0, wide), wide)
            lines.append(
                (Span(f"  {name:<6}", "quiet"), Span(bar, role), Span(f" {100 * share:3.0f} %", role))
            )
    for text in more[len(scored.bins) :]:
        lines += [(), *((Span(part, "watch"),) for part in wrapped(text, room))]
    closing = "Sure and right alike is what to hope for; right below sure means the calls are too bold. This logbook alone."
    return [*lines, (), *((Span(text, "quiet"),) for text in wrapped(closing, room))]
