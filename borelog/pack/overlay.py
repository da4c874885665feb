"""Marks over a still as SVG, drawn from the record by the one description of marks; a stranger's SVG is never used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from borelog.marks.shapes import Shape


@dataclass(frozen=True, slots=True)
class ShownMark:
    """A mark as it is shown: number, shape in upright original pixels, words and measure beside it, its finding's look."""

    number: int
    shape: Shape
    words: str
    measure: str
    severity: int = 1
    certainty: str = "seen clearly"
    shown_with: str = ""


def overlay(marks: Iterable[ShownMark], width: int, height: int) -> str:
    """All marks of one still, numbered, readable on any picture; the words stand in the caption.

    Parameters
    ----------
    marks
        Marks of this still.
    width, height
        Size of the still in upright original pixels; becomes the view box.
    """
    from borelog.stills.draw import Marked, describe, to_svg

    drawn = describe([Marked(m.number, (m.shape,), m.severity, m.certainty) for m in marks], width, height)
    # The caption names every mark, so that the drawing itself is silent to a screen reader.
    silent = to_svg(drawn).replace('role="img"', 'class="marks" aria-hidden="true" focusable="false"', 1)
    return silent.replace('font-family="sans-serif"', 'font-family="DejaVu Sans Mono, sans-serif"')
