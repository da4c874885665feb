"""Marks as W3C Web Annotations (Recommendation of 2017): a view of the document for other people's tools."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from borelog.charts.svg import short
from borelog.marks.shapes import Box, Label, Point, Polygon, Shape, is_closed, outline
from borelog.pack.coding import plain_json
from borelog.pack.document import Document, MarkRow, StillRow

_MEDIA_FRAGMENTS = "http://www.w3.org/TR/media-frags/"
_SVG = "http://www.w3.org/2000/svg"


def selector(shape: Shape) -> dict[str, str]:
    """A box as a media fragment in whole pixels, anything else as SVG; an ellipse becomes a polygon that others read."""
    if isinstance(shape, Box):
        x, y = math.floor(shape.x), math.floor(shape.y)
        w, h = math.ceil(shape.x + shape.width) - x, math.ceil(shape.y + shape.height) - y
        return {
            "type": "FragmentSelector",
            "conformsTo": _MEDIA_FRAGMENTS,
            "value": f"xywh=pixel:{max(0, x)},{max(0, y)},{max(1, w)},{max(1, h)}",
        }
    if isinstance(shape, Point | Label):
        drawn = f'<circle cx="{short(shape.x)}" cy="{short(shape.y)}" r="1"/>'
    else:
        kind = "polygon" if is_closed(shape) or isinstance(shape, Polygon) else "polyline"
        points = " ".join(["%.6g,%.6g" % p for p in outline(shape)])  # noqa: UP031 - an outline has many points
        drawn = f'<{kind} points="{points}"/>'
    return {"type": "SvgSelector", "value": f'<svg xmlns="{_SVG}">{drawn}</svg>'}


def _annotation(
    id_: str, still: StillRow, mark: MarkRow, texts: list[tuple[str, str]], who: str, at: str
) -> dict[str, Any]:
    made: dict[str, Any] = {
        "id": id_,
        "type": "Annotation",
        "motivation": "describing",
        "body": [
            {
                "type": "TextualBody",
                "value": value,
                "purpose": purpose,
                "format": "text/plain",
                "language": "en",
            }
            for purpose, value in texts
            if value
        ],
        "target": {
            "source": f"../{(still.view or still.file).removeprefix('data/')}",
            "selector": selector(mark.shape),
        },
    }
    if who:
        made["creator"] = {"type": "Person", "name": who}
    if at:
        made["created"] = at
    return made


def _items(document: Document) -> Iterator[dict[str, Any]]:
    stills = {s.id: s for s in document.stills if s.file or s.view}
    for finding in document.findings:
        for mark in finding.marks:
            if still := stills.get(mark.still):
                texts = [("tagging", finding.words), ("describing", mark.words), ("describing", finding.note)]
                id_ = f"urn:borelog:mark:{finding.by.entry}:{still.id}:{mark.number}"
                yield _annotation(id_, still, mark, texts, finding.by.who, finding.by.at)
    for still in stills.values():
        for mark in still.marks:
            texts = [("describing", mark.words or "mark"), ("describing", mark.measure)]
            id_ = f"urn:borelog:mark:{still.id}:{mark.number}"
            yield _annotation(id_, still, mark, texts, still.by.who, still.by.at)


def web_annotations(document: Document) -> bytes:
    """`annotations.jsonld`: one annotation page with every mark whose still is in the pack."""
    page = {
        "@context": "http://www.w3.org/ns/anno.jsonld",
        "id": f"urn:borelog:marks:{document.about.inspection}",
        "type": "AnnotationPage",
        "items": list(_items(document)),
    }
    return plain_json(page)
