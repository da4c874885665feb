"""The views of a document made anew, to see whether a pack's tables, annotations and page say what the document says.

Whoever changes a page can list it anew with its right digest; but the page is a view of `inspection.json`, and the same
version of the program makes the same view, byte for byte.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator

import borelog
from borelog.pack import page
from borelog.pack.annotations import web_annotations
from borelog.pack.document import Document
from borelog.pack.errors import Fault
from borelog.pack.sources import Source
from borelog.pack.tables import tables

_INSIDE = re.compile(rb'src="data:[a-z/]+;base64,[A-Za-z0-9+/=]*"')
_HERE = b'src=""'


def comparable(document: Document) -> bool:
    """Whether the pack was made by this very version, which alone makes the same views."""
    return document.about.agent == f"borelog {borelog.__version__}"


def view_faults(source: Source, document: Document) -> Iterator[Fault]:
    """Views that say something else than the document.

    Pictures in the page are compared where they stand in it whole; smaller copies are not made anew.
    """
    words = "does not say what inspection.json says: somebody changed it and listed it anew"
    wanted = tables(document) | {"data/annotations/annotations.jsonld": web_annotations(document)}
    for name, data in wanted.items():
        if name not in source.sizes or source.read(name) != data:
            yield Fault("view", name, words)
    found = source.read("report.html")
    files = {s.id: s.view or s.file for s in document.stills if s.view or s.file}
    linked = b'data-full="' in found
    shown = re.findall(rb'<figure id="([a-z0-9]+)">\s*<span class="frame"', found)
    ids = [m.decode() for m in shown if m.decode() in files]
    pictures = {i: page.PagePicture(b"", "image/jpeg", files[i] if linked else "") for i in ids}
    again = page.page(document, pictures)
    if _INSIDE.sub(_HERE, again) != _INSIDE.sub(_HERE, found):
        yield Fault("view", "report.html", words)
    elif not linked:
        inside = re.findall(rb'src="data:[a-z/]+;base64,([A-Za-z0-9+/=]*)"', found)
        for i, data in zip(ids, inside, strict=False):
            if not _same(source, document, i, files[i], base64.b64decode(data)):
                yield Fault("view", "report.html", f"shows another picture in the place of {i}")


def _same(source: Source, document: Document, id_: str, name: str, shown: bytes) -> bool:
    """Whether the page's picture is the pack's, or that one without its metadata."""
    from borelog.pack.views import view_of

    data = source.read(name)
    row = next(s for s in document.stills if s.id == id_)
    return shown == data or shown == view_of(data, row.format, orientation=row.orientation, name=id_).data
