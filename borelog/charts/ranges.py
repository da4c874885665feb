"""Spans from worse to better as lines of terminal text, on one common scale with zero marked."""

from __future__ import annotations

from collections.abc import Sequence

from borelog.charts.bars import Range


def range_lines(ranges: Sequence[Range], *, width: int = 96, ascii_only: bool = False) -> list[str]:
    """One line a span: label, worse, the span drawn, better, with the middle marked.

    Parameters
    ----------
    ranges
        In the order to be shown.
    width
        Cells a line may take; labels and figures are kept whole, the drawing gets what is left.
    """
    if not ranges:
        return []
    low = min([r.worse for r in ranges] + [0.0])
    high = max([r.better for r in ranges] + [0.0])
    span = (high - low) or 1.0
    labels = max(len(r.label) for r in ranges)
    figures = max(len(figure(v)) for r in ranges for v in (r.worse, r.middle, r.better))
    room = max(10, width - labels - 3 * figures - 8)
    left, dash, dot, right, zero = ("<", "-", "o", ">", "|") if ascii_only else ("├", "─", "●", "┤", "│")

    def at(value: float) -> int:
        return min(room - 1, max(0, round((value - low) / span * (room - 1))))

    out = []
    for r in ranges:
        cells = [" "] * room
        cells[at(0.0)] = zero
        for k in range(at(r.worse), at(r.better) + 1):
            cells[k] = dash
        cells[at(r.worse)], cells[at(r.better)], cells[at(r.middle)] = left, right, dot
        numbers = (
            f"{figure(r.worse):>{figures}} / {figure(r.middle):>{figures}} / {figure(r.better):>{figures}}"
        )
        out.append(f"{r.label:<{labels}} {''.join(cells)} {numbers}")
    return out


def figure(value: float) -> str:
    """Money in whole units with thousands set apart; never a negative nought."""
    return f"{round(value):,d}"
