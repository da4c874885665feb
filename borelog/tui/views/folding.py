"""Short pieces of text side by side on as many lines as they need; none is cut that fits on a line by itself."""

from __future__ import annotations

from collections.abc import Sequence

from borelog.tui.views.words import Line, Span, cut


def folded(parts: Sequence[str], room: int, most: int = 4) -> list[Line]:
    """The pieces with ' · ' between, on at most ``most`` lines of ``room`` columns; the last one takes what is over."""
    lines: list[str] = []
    for part in (p for p in parts if p):
        if lines and (len(lines[-1]) + 3 + len(part) <= room - 1 or len(lines) == most):
            lines[-1] += f" · {part}"
        else:
            lines.append(part)
    return [(Span(cut(f" {text}", room), "quiet"),) for text in lines] or [()]
