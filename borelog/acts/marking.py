"""Marks on a still from typed places, measured by the scale that is noted, alone or as what shows a finding."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.entering import ActError, correct, enter
from borelog.acts.scales import scale_of
from borelog.logbook.entries import Finding, Mark, Marked, MaskDrawn, StillFiled, Stored
from borelog.logbook.inspection import Inspection
from borelog.marks.shapes import (
    Arrow,
    Box,
    Ellipse,
    Freehand,
    Label,
    Line,
    Pair,
    Point,
    Polygon,
    Shape,
    bounds,
    is_closed,
)
from borelog.text import one_line


def _box(at: list[Pair], text: str) -> Shape:
    (x1, y1), (x2, y2) = at[:2]
    return Box(min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1))


def _ellipse(at: list[Pair], text: str) -> Shape:
    (x1, y1), (x2, y2) = at[:2]
    return Ellipse((x1 + x2) / 2, (y1 + y2) / 2, abs(x2 - x1) / 2, abs(y2 - y1) / 2)


SHAPES: dict[str, tuple[int, Callable[[list[Pair], str], Shape], str]] = {
    "box": (2, _box, "box=x,y x,y"),
    "ellipse": (2, _ellipse, "ellipse=x,y x,y (corners of its frame)"),
    "line": (2, lambda at, text: Line(*at[0], *at[1]), "line=x,y x,y"),
    "arrow": (2, lambda at, text: Arrow(*at[0], *at[1]), "arrow=x,y x,y (tail, tip)"),
    "point": (1, lambda at, text: Point(*at[0]), "point=x,y"),
    "outline": (3, lambda at, text: Polygon(tuple(at)), "outline=x,y x,y x,y ..."),
    "freehand": (2, lambda at, text: Freehand(tuple(at)), "freehand=x,y x,y ... (open path)"),
    "trace": (2, lambda at, text: Freehand(tuple(at), True), "trace=x,y x,y ... (closed, snapped to edges)"),
    "words": (1, lambda at, text: Label(*at[0], text), "words=x,y TEXT"),
}
"""Shape -> points it needs at least, how it is made of them, how it is typed."""


def shape_typed(kind: str, typed: str, image: Callable[[], Any]) -> Shape:
    """A shape from typed places in the original's pixels; ``image`` gives the picture where edges are followed.

    Raises
    ------
    ActError
        For an unknown shape.
    StillError
        For too few places, or where nothing can be traced.
    """
    from borelog.stills.typed import points, without_points

    if kind not in SHAPES:
        raise ActError(
            f"no shape is called {one_line(kind, 20)!r}; type {', '.join(u for _, _, u in SHAPES.values())}"
        )
    least, make, _ = SHAPES[kind]
    at = points(typed, kind, least)
    text = one_line(without_points(typed), 200)
    if kind == "words" and not text:
        raise ActError("words=x,y needs the words behind the place")
    if kind != "trace":
        return make(at, text)
    from borelog.stills.scissors import Scissors

    tool = Scissors(image(), at[0])
    for place in at[1:]:
        tool.fix(place)
    return tool.finish()


def check_inside(shape: Shape, filed: StillFiled) -> None:
    """Refuse a shape that lies beyond the picture it is drawn on.

    Raises
    ------
    ActError
        Names the size of the picture.
    """
    box = bounds(shape)
    slack = 1.0
    inside = (
        box.x >= -slack
        and box.y >= -slack
        and box.x + box.width <= filed.width + slack
        and box.y + box.height <= filed.height + slack
    )
    if filed.width and not inside:
        raise ActError(f"that lies beyond the picture, which is {filed.width} x {filed.height} pixels")


def measured(inspection: Inspection, mark: Mark, whole: Shape | None = None, as_angle: bool = False) -> Mark:
    """The mark with its length, area, angle or share, by the scale noted for its still; in pixels without one.

    Parameters
    ----------
    whole
        The outline (the crown's rim) that the mark is a part of: then its share of it is taken.
    as_angle
        Take the angle at the middle of three points instead of the length along them.

    Raises
    ------
    StillError
        For a spot or words, which have no size.
    """
    from borelog.stills.measure import angle, area, distance, share

    shape, scale = mark.shape, scale_of(inspection, mark.still)
    if whole is not None:
        found = share(shape, whole, scale)
    elif as_angle and isinstance(shape, Freehand) and len(shape.points) == 3:
        found = angle((shape.points[0], shape.points[1], shape.points[2]), scale)
    else:
        found = area(shape, scale) if is_closed(shape) else distance(shape, scale)
    words = f"{found.in_words}; rests on {'; '.join(found.rests_on)}"
    values: dict[str, Any] = {"kind": found.kind, "value": found.value, "unit": found.unit, "u": found.u}
    return msgspec.structs.replace(mark, measure=words, measured=values)


def mark_still(
    bench: Bench, inspection_id: str, mark: Mark, finding: Finding | None = None, to: str = ""
) -> Stored:
    """Enter a mark: alone, with a new finding, or as one more mark of the finding whose entry is ``to``.

    Raises
    ------
    ActError
        Where ``to`` is no finding.
    """
    inspection = bench.inspection(inspection_id)
    if to:
        thing = inspection.find(to)
        if thing is None or not isinstance(thing.body, Finding):
            raise ActError(f"no finding is recorded under {one_line(to, 12)}; 'borelog show' lists them")
        more = msgspec.structs.replace(thing.body, marks=(*thing.body.marks, mark))
        return correct(bench, inspection_id, to, more)
    if finding is not None:
        body = msgspec.structs.replace(finding, marks=(mark,))
        return enter(bench, inspection_id, body, finding.certainty)
    return enter(bench, inspection_id, Marked(mark))


def mask_still(bench: Bench, inspection_id: str, still: str, shape: Shape, what: str) -> Stored:
    """One more area of a still that is filled in every copy that leaves the house.

    Raises
    ------
    ActError
        For a shape that encloses nothing.
    """
    if not is_closed(shape):
        raise ActError("a mask needs an area: box=, ellipse=, outline= or trace=")
    before = [r.body.shapes for r in bench.inspection(inspection_id).of(MaskDrawn) if r.body.still == still]
    return enter(bench, inspection_id, MaskDrawn(still, (*(before[-1] if before else ()), shape), what))
