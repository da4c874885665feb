"""The cylinder plan as SVG: true arrangement from above, timing-drive end on top, cylinder 1 marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from borelog.charts.svg import FAINT, INK, LEVELS, PAPER, picture, short, text

_PITCH_X, _PITCH_Y, _RADIUS = 150.0, 74.0, 26.0


@dataclass(frozen=True, slots=True)
class PlanSpot:
    """One cylinder: its name, grid position, level (a key of ``svg.LEVELS``) and a short line beside it."""

    cylinder: int
    label: str
    row: int
    column: int
    level: str = "blank"
    line: str = ""
    first: bool = False


def _spot(spot: PlanSpot, x: float, y: float) -> str:
    sign, fill, words = LEVELS[spot.level]
    rings = [
        f'<circle class="fill-{spot.level}" cx="{short(x)}" cy="{short(y)}" r="{_RADIUS}" fill="{fill}"'
        f' stroke="{INK}" stroke-width="2"/>'
    ]
    if spot.first:
        rings.append(
            f'<circle class="rim" cx="{short(x)}" cy="{short(y)}" r="{_RADIUS + 5}" fill="none" stroke="{INK}"'
            ' stroke-width="2" stroke-dasharray="5 3"/>'
        )
    number = (
        f'<text class="on-fill" x="{short(x)}" y="{short(y + 2)}" font-size="20" font-weight="bold" fill="{INK}"'
        f' font-family="DejaVu Sans Mono, monospace" text-anchor="middle">{escape(spot.label)}</text>'
        f'<text class="on-fill" x="{short(x)}" y="{short(y + 19)}" font-size="14" fill="{INK}"'
        f' font-family="DejaVu Sans Mono, monospace" text-anchor="middle">{sign}</text>'
    )
    beside = [text(x + _RADIUS + 10, y - 2, spot.line or words, size=12)]
    if spot.first:
        beside.append(text(x + _RADIUS + 10, y + 14, "first cylinder", size=10, faint=True))
    drawn = "".join(rings) + number
    return drawn + "".join(beside)


def plan_svg(
    spots: Sequence[PlanSpot],
    *,
    top: str = "timing-drive end",
    bottom: str = "gearbox end",
    heads: Sequence[str] = ("",),
    bridges: Sequence[tuple[int, int]] = (),
    notes: Sequence[str] = (),
    title: str = "Cylinder plan",
) -> str:
    """The plan.

    Parameters
    ----------
    spots
        One for each cylinder; ``row`` 0 is nearest the timing drive, ``column`` 0 is left.
    top, bottom
        Names of the two ends.
    heads
        A name over each column, '' for none.
    bridges
        Pairs of cylinders that share a gasket bridge, drawn as a link.
    notes
        Lines under the drawing (numbering, firing order, intake side).
    """
    rows = 1 + max((s.row for s in spots), default=0)
    columns = 1 + max((s.column for s in spots), default=0)
    named = any(heads)
    offset = 46 + (18 if named else 0)
    width = max(300.0, 40 + columns * _PITCH_X + (20 if columns > 1 else 60))
    height = offset + rows * _PITCH_Y + 24 + 17 * len(notes)

    def place(spot: PlanSpot) -> tuple[float, float]:
        return 46 + spot.column * _PITCH_X, offset + spot.row * _PITCH_Y + _PITCH_Y / 2 - 4

    where = {s.cylinder: place(s) for s in spots}
    parts = [
        f'<rect class="block" x="6" y="{offset - 10}" width="{short(width - 12)}" height="{short(rows * _PITCH_Y + 6)}"'
        f' rx="10" fill="{PAPER}" stroke="{FAINT}" stroke-width="1.5"/>',
        text(width / 2, 20, f"▲ {top}", size=13, anchor="middle", bold=True),
    ]
    parts += [
        text(46 + i * _PITCH_X - _RADIUS, 46, name, size=11, faint=True)
        for i, name in enumerate(heads)
        if name
    ]
    for a, b in bridges:
        if a in where and b in where:
            (x1, y1), (x2, y2) = where[a], where[b]
            parts.append(
                f'<line class="bridge" x1="{short(x1)}" y1="{short(y1)}" x2="{short(x2)}" y2="{short(y2)}"'
                f' stroke="{FAINT}" stroke-width="6"/>'
            )
    parts += [_spot(s, *where[s.cylinder]) for s in spots]
    under = offset + rows * _PITCH_Y + 14
    parts.append(text(width / 2, under, f"▼ {bottom}", size=13, anchor="middle", bold=True))
    parts += [text(8, under + 18 + 16 * i, note, size=11, faint=True) for i, note in enumerate(notes)]
    return picture(width, height, title, parts)
