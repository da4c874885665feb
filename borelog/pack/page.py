"""`report.html`: one file, no network, no library, opens from the disk; everything in it comes from the document."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from borelog.charts.svg import LEVELS
from borelog.pack import handover, telling
from borelog.pack.document import Document
from borelog.pack.overlay import overlay
from borelog.quantity import plain_number

if TYPE_CHECKING:
    import jinja2

_MARK = "\x00"


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A still on the page: bytes shown in it, their media type, and the file to open for the full still ('' if inside)."""

    data: bytes
    mime: str
    full: str = ""


@dataclass(frozen=True, slots=True)
class _Slot:
    src: str
    full: str


def template_text(name: str) -> str:
    """A file of the templates folder."""
    return resources.files("borelog.pack").joinpath("templates", name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


@lru_cache(maxsize=2)
def environment(escape: bool = True) -> jinja2.Environment:
    """The templates, escaped by default; without escaping only to prove that the page's policy holds alone."""
    import jinja2

    made = jinja2.Environment(
        autoescape=escape, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        loader=jinja2.FunctionLoader(template_text), auto_reload=False,
    )  # fmt: skip
    made.filters |= {
        "moment": telling.moment,
        "plain": _plain,
        "brief": plain_number,
        "share": telling.share,
        "whole": telling.whole,
        "told": lambda by: (by.who, by.at[:16], by.how),
    }
    return made


def _plain(value: float) -> str:
    return plain_number(value, 6)


def policy(linked: bool) -> str:
    """The content security policy: nothing but this file's own style and script, and pictures in it (or beside it)."""
    own = "'self' " if linked else ""
    return (
        f"default-src 'none'; img-src {own}data:; style-src {_digest(template_text('page.css'))}; "
        f"script-src {_digest(template_text('viewer.js'))}; base-uri 'none'; form-action 'none'"
    )


def _context(document: Document, pictures: dict[str, PagePicture]) -> dict[str, Any]:
    parts, whole = telling.cylinder_parts(document)
    marks = telling.marks_on(document)
    placed = telling.placed_at(document)
    own = {s.id: entry for entry, stills in placed.items() for s in stills}

    contents = [
        ("plan", "Plan"), ("readings", "Readings"), ("coverage", "Looked at"), ("cylinders", "Cylinders"),
        ("verdict", "Verdict"), ("not-done", "Not done"), ("cards", "Hand-over"),
        ("cautions", "Cautions"), ("record", "Record"),
    ]  # fmt: skip
    return {
        "d": document,
        "csp": policy(any(p.full for p in pictures.values())),
        "css": template_text("page.css"),
        "script": template_text("viewer.js"),
        "signs": LEVELS,
        "glyphs": telling.GLYPHS,
        "label": lambda c: telling.label(document, c),
        "which": telling.which(document),
        "unknown": handover.unknown(document),
        "not_done": handover.not_done(document),
        "rule_words": handover.rule_words,
        "fault_words": telling.fault_words,
        "parts": contents,
        "plan": telling.plan(document),
        "reading_groups": telling.reading_groups(document),
        "answers": telling.answers(document),
        "grid": telling.grid(document),
        "cylinder_parts": parts,
        "whole": whole,
        "anchors": telling.anchors(document),
        "marks_on": marks,
        "placed_at": placed,
        "seen_on": lambda f: [m for m in f.marks if own.get(m.still) != f.by.entry],
        "overlays": {
            s.id: overlay(marks[s.id], s.width, s.height) if marks[s.id] else "" for s in document.stills
        },
        "pictures": {k: _Slot(f"{_MARK}{k}{_MARK}", p.full) for k, p in pictures.items()},
        "money_chart": telling.money_chart(document),
        "people": telling.people(document),
        "cards": handover.cards(document),
        "place": lambda s: telling.place(document, s),
        "alt": lambda s: telling.alt(document, s, marks[s.id]),
        "remarks": telling.remarks,
    }


def page(document: Document, pictures: dict[str, PagePicture], *, escape: bool = True) -> bytes:
    """The whole page.

    Parameters
    ----------
    document
        What to show; its texts are clean.
    pictures
        For each still id that has one: what the page shows of it. Stripped and masked already.
    escape
        False only in tests, which prove that the policy alone stops hostile text.
    """
    text = environment(escape).get_template("page.html").render(_context(document, pictures))
    # Pictures are spliced in as bytes: megabytes of base64 never pass through the template.
    pieces = text.encode().split(_MARK.encode())
    out: list[bytes] = []
    for i, piece in enumerate(pieces):
        if i % 2 == 0:
            out.append(piece)
            continue
        shown = pictures[piece.decode()]
        out += [b"data:", shown.mime.encode(), b";base64,", base64.b64encode(shown.data)]
    return b"".join(out)
