"""Bars and ranges: as SVG for page and paper, as text for a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from borelog.charts.svg import FAINT, INK, LEVELS, PAPER, picture, short, text

_EIGHTHS = " ▏▎▍▌▋▊▉"
_ROW, _LEFT = 26.0, 44.0


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar. ``words`` stands at its end; ``low`` and ``high`` span the repeats where there are several."""

    label: str
    value: float
    words: str = ""
    level: str = "blank"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Limit:
    """A line across the bars with its name."""

    value: float
    words: str


@dataclass(frozen=True, slots=True)
class Range:
    """A span with its middle: 1 in 10 below ``worse``, 1 in 10 above ``better``."""

    label: str
    worse: float
    middle: float
    better: float
    words: str = ""


def nice_ceiling(value: float) -> float:
    """The smallest of 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10 times a power of ten that is not below ``value``."""
    if not value > 0 or not math.isfinite(value):
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    steps = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)
    return next((s * power for s in steps if s * power >= value * (1 - 1e-12)), 10 * power)


def bars_svg(
    bars: Sequence[Bar], *, unit: str, title: str, limits: Sequence[Limit] = (), width: float = 340
) -> str:
    """Horizontal bars from zero, one a row, in the order given.

    Parameters
    ----------
    bars
        Values in ``unit``; negative ones count as zero length.
    unit, title
        Named on the axis and to people who cannot see the picture.
    limits
        Lines across, named underneath.
    width
        Width of the drawing in user units.
    """
    most = max(
        [b.value for b in bars] + [b.high or 0.0 for b in bars] + [m.value for m in limits], default=1.0
    )
    top = nice_ceiling(most)
    room = width - _LEFT - 78
    scale = room / top
    height = 8 + len(bars) * _ROW + 20 + 15 * len(limits)
    parts: list[str] = []
    for i, bar in enumerate(bars):
        y = 6 + i * _ROW
        sign, fill, _ = LEVELS[bar.level]
        length = max(0.0, bar.value) * scale
        parts.append(text(4, y + 15, f"{bar.label:>2} {sign}", size=12, bold=True))
        parts.append(
            f'<rect class="fill-{bar.level}" x="{_LEFT}" y="{short(y + 3)}" width="{short(length)}" height="16"'
            f' fill="{fill}" stroke="{INK}" stroke-width="1"/>'
        )
        if bar.low is not None and bar.high is not None and bar.high > bar.low:
            a, b = _LEFT + bar.low * scale, _LEFT + bar.high * scale
            parts.append(
                f'<path class="rim" d="M{short(a)} {short(y + 11)}H{short(b)}M{short(a)} {short(y + 7)}v8'
                f'M{short(b)} {short(y + 7)}v8" stroke="{INK}" stroke-width="1.5" fill="none"/>'
            )
        parts.append(text(width - 6, y + 15, bar.words or short(bar.value), size=12, anchor="end"))
    foot = 8 + len(bars) * _ROW
    for i, limit in enumerate(limits):
        x = _LEFT + limit.value * scale
        parts.append(
            f'<line class="rim" x1="{short(x)}" y1="2" x2="{short(x)}" y2="{short(foot + 2)}" stroke="{INK}"'
            ' stroke-width="1.5" stroke-dasharray="4 3"/>'
        )
        parts.append(text(4, foot + 32 + 15 * i, f"┆ {limit.words}", size=11, faint=True))
    parts.append(
        f'<line class="axis" x1="{_LEFT}" y1="{short(foot)}" x2="{short(_LEFT + room)}" y2="{short(foot)}"'
        f' stroke="{FAINT}" stroke-width="1"/>'
    )
    parts.append(text(_LEFT, foot + 14, f"0 to {short(top)} {unit}", size=11, faint=True))
    return picture(width, height, title, parts)


def ranges_svg(ranges: Sequence[Range], *, unit: str, title: str, width: float = 340) -> str:
    """Spans from worse to better with a mark at the middle and a line at zero, one a row under its label."""
    low = min([r.worse for r in ranges] + [0.0])
    high = max([r.better for r in ranges] + [0.0])
    span = (high - low) or 1.0
    room = width - 16

    def at(value: float) -> float:
        return 8 + (value - low) / span * room

    height = 10 + len(ranges) * 42 + 20
    zero = at(0.0)
    parts: list[str] = []
    for i, r in enumerate(ranges):
        y = 8 + i * 42
        a, m, b = at(r.worse), at(r.middle), at(r.better)
        parts.append(text(8, y + 11, r.label, size=12, bold=True))
        parts.append(text(width - 8, y + 11, r.words, size=11, anchor="end", faint=True))
        parts.append(
            f'<line class="axis" x1="{short(zero)}" y1="{short(y + 14)}" x2="{short(zero)}" y2="{short(y + 36)}"'
            f' stroke="{FAINT}" stroke-width="1.5" stroke-dasharray="3 2"/>'
        )
        parts.append(
            f'<rect class="fill-sound" x="{short(a)}" y="{short(y + 17)}" width="{short(max(1.0, b - a))}" height="12"'
            f' fill="{LEVELS["sound"][1]}" stroke="{INK}" stroke-width="1"/>'
            f'<rect class="rim-fill" x="{short(m - 2)}" y="{short(y + 14)}" width="4" height="18" fill="{INK}"'
            f' stroke="{PAPER}" stroke-width="1"/>'
        )
    words = f"{low:,.0f} to {high:,.0f} {unit}; dashed: nothing won or lost"
    parts.append(text(8, height - 5, words, size=11, faint=True))
    return picture(width, height, title, parts)


def text_bar(value: float, top: float, width: int) -> str:
    """A bar of block characters, an eighth of a cell fine; as wide as its value needs, at most ``width`` cells."""
    if not value > 0 or not top > 0 or width < 1:
        return ""
    eighths = min(width * 8, max(1, round(value / top * width * 8)))
    whole, rest = divmod(eighths, 8)
    return "█" * whole + (_EIGHTHS[rest] if rest else "")


def text_bars(bars: Sequence[Bar], *, unit: str, width: int = 60) -> list[str]:
    """Bars as lines of text no wider than ``width`` cells: label, sign, bar, words."""
    top = nice_ceiling(max((b.value for b in bars), default=1.0))
    labels = max((len(b.label) for b in bars), default=0)
    words = [b.words or f"{short(b.value)} {unit}".strip() for b in bars]
    room = max(4, width - labels - 4 - max((len(w) for w in words), default=0) - 1)
    return [
        f"{b.label:>{labels}} {LEVELS[b.level][0]} {text_bar(b.value, top, room):<{room}} {w}"[
            :width
        ].rstrip()
        for b, w in zip(bars, words, strict=True)
    ]
