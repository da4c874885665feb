"""What two compared stills say, in words: how they lie, what differs, the threshold as a slider."""

from __future__ import annotations

import math
from typing import Any

from borelog.text import counted
from borelog.tui.views.words import Line, Span, wrapped

CAUSES = "dirt, oil and light differ too"


def slider(value: float, lowest: float, highest: float, letters: bool, wide: int = 13) -> str:
    """'threshold 3 (2 ───●───────── 6) < >'."""
    at = round((value - lowest) / (highest - lowest) * (wide - 1))
    across, knob = ("-", "o") if letters else ("─", "●")
    bar = across * at + knob + across * (wide - 1 - at)
    return f"threshold {value:g} ({lowest:g} {bar} {highest:g}) < >"


def found_words(found: Any) -> str:
    """How many places differ, and what else does."""
    n, shown = found.change.found, len(found.regions)
    words = f"{counted(n, 'place')} different"
    words += f", the {shown} strongest shown" if n > shown else ""
    return f"{words}; {CAUSES}"


def lie_words(found: Any) -> str:
    """How well they lie on each other."""
    a = found.alignment
    residual = "" if math.isnan(a.residual_px) else f"residual {a.residual_px:.1f} px, "
    return f"{residual}{a.share:.0%} covered"


def summary(found: Any) -> str:
    """One line under the picture."""
    return f"{lie_words(found)}; {found_words(found)}"


def pair_lines(found: Any, name: str, way: str, room: int) -> list[Line]:
    """Beside the picture while two are compared: how they lie, the numbers, what the colours mean."""
    a, c = found.alignment, found.change
    lines: list[Line] = [(), (Span("compared", "ink", "bold"),)]
    lines += [(Span(t, "ink"),) for t in wrapped(f"with {name} (the earlier)", room)]
    lines += [
        (Span(t, "ink" if a.accepted else "watch"),)
        for t in wrapped(("" if a.accepted else "not aligned: ") + a.why, room)
    ]
    lines += [(Span(t, "quiet"),) for t in wrapped(f"{lie_words(found)} of the frame", room)]
    numbers = f"similarity {c.ssim:.2f} (1 is the same), mean change of light {c.mean_change:.1f} %"
    lines += [(Span(t, "quiet"),) for t in wrapped(numbers, room)]
    lines += [(Span(t, "quiet"),) for t in wrapped(found_words(found), room)]
    if way == "change map":
        lines.append((Span("■ became darker ", "bad"), Span("■ lighter", "good")))
    if way == "wipe":
        lines += [
            (Span(t, "quiet"),)
            for t in wrapped("left of the cross hair the earlier, right of it the later", room)
        ]
    if way == "side by side":
        lines += [(Span(t, "quiet"),) for t in wrapped("left the later, right the earlier, laid on it", room)]
    return lines
