"""A curve over time or angle: as SVG for page and paper, as braille dots for a terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from borelog.charts.svg import FAINT, INK, LEVELS, picture, short, text

_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_MOST_POINTS = 1200


@dataclass(frozen=True, slots=True)
class Flag:
    """A named place on the curve at ``x``; ``level`` as in the other charts, said by its sign."""

    x: float
    label: str
    level: str = "blank"


def _spans(xs: Sequence[float], ys: Sequence[float]) -> tuple[float, float, float, float]:
    if len(xs) != len(ys) or len(xs) < 2:
        raise ValueError("a curve needs two points or more, and as many heights as places")
    if not all(math.isfinite(v) for v in (*xs, *ys)):
        raise ValueError("a curve has finite points only")
    left, right, low, high = min(xs), max(xs), min(ys), max(ys)
    if right == left:
        right = left + 1.0
    if high == low:
        low, high = low - 1.0, high + 1.0
    return left, right, low, high


def thinned(xs: Sequence[float], ys: Sequence[float], columns: int) -> list[tuple[float, float, float]]:
    """The curve as (x, lowest, highest) for at most ``columns`` equal columns, so that no peak is lost in drawing."""
    left, right, *_ = _spans(xs, ys)
    found: dict[int, tuple[float, float]] = {}
    for x, y in zip(xs, ys, strict=True):
        column = min(columns - 1, int((x - left) / (right - left) * columns))
        low, high = found.get(column, (y, y))
        found[column] = (min(low, y), max(high, y))
    step = (right - left) / columns
    return [(left + (c + 0.5) * step, *found[c]) for c in sorted(found)]


def trace_svg(
    xs: Sequence[float],
    ys: Sequence[float],
    flags: Sequence[Flag] = (),
    *,
    title: str = "current over two turns of the crank",
    x_unit: str = "degrees",
    y_unit: str = "A",
    width: float = 640,
    height: float = 200,
) -> str:
    """A curve with its two spans written out and named flags above it.

    Parameters
    ----------
    xs, ys
        Places in ``x_unit`` and heights in ``y_unit``, finite, same length, two or more; longer curves are thinned so
        that every peak stays.
    flags
        Named places, drawn as lines with sign and label.
    title
        For people who cannot see the picture.
    width, height
        Size in user units.

    Raises
    ------
    ValueError
        For a curve that cannot be drawn.
    """
    left, right, low, high = _spans(xs, ys)
    x0, x1, y0, y1 = 8.0, width - 8.0, 30.0, height - 24.0

    def at(x: float, y: float) -> tuple[float, float]:
        return x0 + (x - left) / (right - left) * (x1 - x0), y1 - (y - low) / (high - low) * (y1 - y0)

    points: list[str] = []
    if len(xs) <= _MOST_POINTS:
        points = [f"{short(px)} {short(py)}" for px, py in (at(x, y) for x, y in zip(xs, ys, strict=True))]
    else:
        for x, bottom, top in thinned(xs, ys, _MOST_POINTS // 2):
            for y in (bottom, top):
                px, py = at(x, y)
                points.append(f"{short(px)} {short(py)}")
    parts: list[str] = []
    for flag in flags:
        px, _ = at(flag.x, low)
        parts.append(
            f'<line class="axis" x1="{short(px)}" y1="{short(y0 - 6)}" x2="{short(px)}" y2="{short(y1)}" stroke="{FAINT}"'
            ' stroke-width="1" stroke-dasharray="3 3"/>'
        )
        parts.append(
            text(px, y0 - 10, f"{flag.label} {LEVELS[flag.level][0]}", size=12, anchor="middle", bold=True)
        )
    parts.append(f'<path class="rim" d="M{"L".join(points)}" stroke="{INK}" stroke-width="1.5" fill="none"/>')
    words = f"{short(left)} to {short(right)} {x_unit}; {short(low)} to {short(high)} {y_unit}"
    parts.append(text(x0, height - 8, words, size=11, faint=True))
    return picture(width, height, title, parts)


def trace_text(
    xs: Sequence[float], ys: Sequence[float], flags: Sequence[Flag] = (), *, width: int = 72, rows: int = 8
) -> list[str]:
    """The curve in braille dots, two across and four down a cell; a line of flags above where there are any.

    Parameters
    ----------
    xs, ys
        As for `trace_svg`.
    width, rows
        Cells of the drawing, without the line of flags.
    """
    left, right, low, high = _spans(xs, ys)
    columns, levels = width * 2, rows * 4
    grid = [[0] * width for _ in range(rows)]
    before: int | None = None
    for x, bottom, top in thinned(xs, ys, columns):
        column = min(columns - 1, int((x - left) / (right - left) * columns))
        first = levels - 1 - round((top - low) / (high - low) * (levels - 1))
        last = levels - 1 - round((bottom - low) / (high - low) * (levels - 1))
        middle = (first + last) // 2
        if before is not None:
            first, last = min(first, before), max(last, before)
        before = middle
        for level in range(first, last + 1):
            grid[level // 4][column // 2] |= _DOTS[level % 4][column % 2]
    lines = ["".join(chr(0x2800 + cell) for cell in row) for row in grid]
    return [_flag_line(flags, left, right, width), *lines] if flags else lines


def _flag_line(flags: Sequence[Flag], left: float, right: float, width: int) -> str:
    line = [" "] * width
    for flag in sorted(flags, key=lambda f: f.x):
        words = f"{flag.label}{LEVELS[flag.level][0]}"
        start = round((flag.x - left) / (right - left) * (width - 1)) - len(words) // 2
        start = max(0, min(width - len(words), start))
        if all(line[i] == " " for i in range(max(0, start - 1), min(width, start + len(words) + 1))):
            line[start : start + len(words)] = words
    return "".join(line).rstrip()
