"""A still's copy with its marks on it, as a picture or as a drawing; the original is never touched."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from borelog.acts.bench import Bench
from borelog.acts.filing import FilingError, pixels_of
from borelog.acts.outputs import write_made
from borelog.logbook.entries import Finding, Marked, MaskDrawn, StillFiled
from borelog.logbook.inspection import Inspection
from borelog.marks.shapes import Box, Ellipse, Freehand, Polygon
from borelog.marks.vocabulary import terms
from borelog.text import one_line

if TYPE_CHECKING:
    from borelog.stills import draw


@dataclass(frozen=True, slots=True)
class Copied:
    """The file written, how many marks are on it, how many areas are filled, and what each number stands for."""

    file: Path
    marks: int
    masks: int
    legend: tuple[str, ...]


def marks_to_draw(inspection: Inspection, still: str, words: bool = True) -> tuple[draw.Marked, ...]:
    """What is drawn on a still: marks of findings first, then loose ones, numbered from 1 as on the screens."""
    from borelog.stills import draw

    out: list[draw.Marked] = []
    for r in inspection.of(Finding):
        name = terms()[r.body.term].term if r.body.term in terms() else one_line(r.body.own, 60)
        for mark in r.body.marks:
            if mark.still == still:
                said = name + (f": {one_line(mark.label, 40)}" if mark.label else "")
                out.append(
                    draw.Marked(
                        len(out) + 1, (mark.shape,), r.body.severity, r.body.certainty, said if words else ""
                    )
                )
    for m in inspection.of(Marked):
        if m.body.mark.still == still:
            said = one_line(m.body.mark.label, 60) if words else ""
            out.append(draw.Marked(len(out) + 1, (m.body.mark.shape,), 1, "seen clearly", said))
    return tuple(out)


def write_copy(
    bench: Bench, inspection_id: str, still: str, path: Path, *, words: bool = True, masked: bool = True
) -> Copied:
    """Write a copy of a still with its marks: PNG or JPEG with the marks burned in, or SVG with the still inside.

    Parameters
    ----------
    words
        Write what each mark shows beside it; else its number alone.
    masked
        Fill the areas that no copy may show.

    Raises
    ------
    FilingError
        For another ending.
    OutputError
        Where the file cannot be written, or an original of the inspection is there.
    """
    from borelog.stills import draw
    from borelog.stills.intake import encode
    from borelog.stills.metadata import burn_masks

    inspection = bench.inspection(inspection_id)
    kind = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG", ".svg": "SVG"}.get(path.suffix.lower())
    if kind is None:
        raise FilingError(f"{one_line(path.name, 60)}: a copy is written as .png, .jpg or .svg")
    image = pixels_of(bench, still)
    masks = [r.body.shapes for r in inspection.of(MaskDrawn) if r.body.still == still]
    shapes = masks[-1] if masks and masked else ()
    if shapes:
        image = burn_masks(image, [s for s in shapes if isinstance(s, Box | Ellipse | Polygon | Freehand)])
    marks = marks_to_draw(inspection, still, words)
    height, width = image.shape[:2]
    drawing = draw.describe(marks, width, height)
    if kind == "SVG":
        inside = base64.b64encode(encode(image, "JPEG")).decode()
        data = draw.to_svg(drawing, f"data:image/jpeg;base64,{inside}", "a still with its marks").encode()
    else:
        data = encode(draw.burn(image, drawing), kind)
    write_made(path, data, never=[r.body.sha256 for r in inspection.of(StillFiled)])
    named = marks_to_draw(inspection, still)
    legend = tuple(f"{m.number}  {m.words or 'mark'}" for m in named)
    return Copied(path, len(marks), len(shapes), legend)
