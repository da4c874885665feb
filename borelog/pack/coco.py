"""Marks in the COCO form for picture tools: boxes, outlines and areas; reasons, units and doubts are lost."""

from __future__ import annotations

import json
from itertools import count
from typing import Any

from borelog.marks.shapes import area, bounds, is_closed, outline
from borelog.pack.coding import six
from borelog.pack.document import Document


def coco_json(document: Document) -> bytes:
    """`coco.json`: every mark with an area on a still of the pack, by finding term."""
    stills = {s.id: (i, s) for i, s in enumerate((x for x in document.stills if x.file), 1)}
    names = list(dict.fromkeys([*sorted({f.words for f in document.findings}), "mark"]))
    category = {name: i for i, name in enumerate(names, 1)}
    marks = [(m, f.words) for f in document.findings for m in f.marks]
    marks += [(m, "mark") for s in document.stills for m in s.marks]
    out: list[dict[str, Any]] = []
    ids = count(1)
    for mark, words in marks:
        if mark.still not in stills or not is_closed(mark.shape) or area(mark.shape) <= 0:
            continue
        box = bounds(mark.shape)
        out.append(
            {
                "id": next(ids),
                "image_id": stills[mark.still][0],
                "category_id": category[words],
                "bbox": [six(v) for v in (box.x, box.y, box.width, box.height)],
                "segmentation": [[six(v) for point in outline(mark.shape) for v in point]],
                "area": six(area(mark.shape)),
                "iscrowd": 0,
            }
        )
    body = {
        "info": {
            "description": document.about.name,
            "version": str(document.about.number),
            "date_created": document.about.made,
        },
        "images": [
            {
                "id": i,
                "file_name": (s.view or s.file).removeprefix("data/"),
                "width": s.width,
                "height": s.height,
            }
            for i, s in stills.values()
        ],
        "categories": [{"id": i, "name": name, "supercategory": "finding"} for name, i in category.items()],
        "annotations": out,
    }
    return json.dumps(body, ensure_ascii=False, sort_keys=True).encode() + b"\n"
