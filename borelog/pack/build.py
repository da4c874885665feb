"""Build a pack: a bag for one reader, the same bytes from the same record, written beside its target and then moved."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import msgspec

from borelog.logbook import entries as e
from borelog.logbook.durable import sync_tree
from borelog.logbook.fold import in_order
from borelog.logbook.inspection import Inspection
from borelog.marks.shapes import Shape
from borelog.pack import bag, chat, page, telling
from borelog.pack.annotations import web_annotations
from borelog.pack.coco import coco_json
from borelog.pack.coding import encode, schema, travels
from borelog.pack.document import Document, LeftOut, RuleRow, StillRow, Verdict
from borelog.pack.errors import PackError
from borelog.pack.gather import gather, journal_state
from borelog.pack.privacy import Share, share_of
from borelog.pack.signing import sign
from borelog.pack.tables import tables
from borelog.text import BorelogError, one_line

if TYPE_CHECKING:
    from borelog.engine.engine import Engine
    from borelog.pack.views import View

INSIDE, PREVIEWED = 15 << 20, 75 << 20
"""Stills up to the first stand whole in the page; up to the second as previews; above as small copies."""


class Pictures(Protocol):
    """Where the originals lie, by digest."""

    def find(self, sha256: str) -> Path | None:
        """The file, or None."""
        ...


@dataclass(frozen=True, slots=True)
class Built:
    """A finished pack. ``handed_over`` is the entry to append; ``remarks`` what the person should be told."""

    folder: Path
    zip: Path | None
    cards: tuple[Path, ...]
    document: Document
    digest: str
    handed_over: e.HandedOver
    remarks: tuple[str, ...]


@dataclass(slots=True)
class _Shown:
    """Copies for page and paper while the stills are written."""

    views: dict[str, tuple[bytes, str]] = field(default_factory=dict)
    total: int = 0

    def add(self, id_: str, view: View) -> None:
        from borelog.stills.kinds import MIME

        self.views[id_] = (view.data, MIME[view.format])
        self.total += len(view.data)


def pack_name(inspection: Inspection, number: int, reader: str) -> str:
    """A folder name for a pack: letters, digits and dashes only.

    >>> pack_name(Inspection("x", name="Grey saloon, 4 cyl."), 2, "buyer")
    'grey-saloon-4-cyl-pack-2-buyer'
    """
    slug = re.sub(r"[^a-z0-9]+", "-", inspection.name.lower()).strip("-")[:60] or "inspection"
    return f"{slug}-pack-{number}-{reader}"


def build(
    inspection: Inspection,
    engine: Engine | None,
    verdict: Verdict,
    pictures: Pictures,
    target: Path,
    *,
    reader: str = "archive",
    entries: Sequence[e.Stored] = (),
    rules: Sequence[RuleRow] = (),
    also: Collection[str] = (),
    pdf: bool = True,
    paper: str = "a4",
    cards: bool = False,
    coco: bool = False,
    key: Path | None = None,
    zipped: bool = False,
    sync: bool = True,
    progress: bag.Progress | None = None,
) -> Built:
    """Write a pack to ``target``, which must not exist.

    Parameters
    ----------
    inspection, engine, verdict
        The record, its engine (None: layout not said) and the judgement.
    pictures
        The picture store of the logbook.
    target
        The pack's folder.
    reader
        'archive', 'customer', 'buyer', 'machinist' or 'insurer'.
    entries
        The journal's entries; an archive pack needs them all.
    rules
        Rules applied to the readings.
    also
        Items of the readers table to add ('plate', 'chassis_full', ...).
    pdf, paper
        Whether to print it too, on 'a4' or 'us-letter'; without the paper maker a remark says so.
    cards
        Also write a few pictures for a chat into ``target``-chat.
    coco
        Also write the marks in the COCO form for picture tools (lossy: no reasons, no units).
    key
        Sign with this ssh key.
    zipped
        Also write ``target``.zip.
    sync
        Bring everything onto the disk before the pack gets its name.
    progress
        Called with (done, all, words).

    Raises
    ------
    PackError
        If the target is taken, cannot be written, a reader is unknown, or a still's bytes are not what they were.
    """
    document = gather(inspection, engine, verdict, reader=reader, also=also, rules=rules, entries=entries)
    held = share_of(reader, also)
    if "journal" in held and len(entries) != inspection.entries:
        raise PackError("an archive pack needs the whole journal; hand over its entries")
    masks = _masks(inspection)
    copies = {r.body.sha256: r.body.view_copy for r in inspection.of(e.StillFiled) if r.body.view_copy}
    total = len(document.stills) + 3
    say = progress or (lambda done, of, words: None)
    remarks: list[str] = []
    with bag.building(target) as folder:
        writer, shown = bag.BagWriter(folder), _Shown()

        def one(row: StillRow) -> tuple[StillRow, View | None]:
            return _still(row, writer, pictures, masks.get(row.original, ()), held, copies)

        stills = []
        # Reading, hashing and decoding let go of the interpreter, so the second core helps; the order stays.
        with ThreadPoolExecutor(2) as pool:
            for i, (row, view) in enumerate(pool.map(one, document.stills)):
                say(i, total, f"still {row.id}")
                stills.append(row)
                if view is not None:
                    shown.add(row.id, view)
        document = _finished(document, tuple(stills))
        say(len(stills), total, "page")
        printed = _print(document, shown, paper, remarks, say) if pdf else None
        linked = _write(writer, document, shown, entries if "journal" in held else (), printed)
        if "journal" in held and (stuck := [s for s in entries if not travels(s.raw)]):
            remarks.append(
                f"{len(stuck)} entries hold control characters, the first made {stuck[0].entry.at[:16]}: "
                "another logbook will refuse this pack"
            )
        if coco:
            writer.put("data/coco.json", coco_json(document))
        if linked:
            remarks.append("pictures lie beside report.html: send the whole folder or the zip")
        digest = writer.close(_info(document, inspection, printed))
        if key is not None:
            sign(folder, key)
        if sync:
            sync_tree(folder)
    say(total - 1, total, "zip" if zipped else "done")
    packed = None
    if zipped:
        packed = bag.zip_bag(target, target.with_name(target.name + ".zip"), document.about.made)
    say(total, total, "done")
    remarks += [f"still {s.id}: {s.missing}" for s in document.stills if s.missing and not s.file]
    over = e.HandedOver(
        number=document.about.number, reader=reader, digest=digest, head=journal_state(inspection),
        left_out=tuple(x.what for x in document.about.left_out),
    )  # fmt: skip
    pictures_for_chat = (
        chat.cards(document, shown.views, target.with_name(target.name + "-chat")) if cards else ()
    )
    return Built(target, packed, pictures_for_chat, document, digest, over, tuple(remarks))


def _masks(inspection: Inspection) -> dict[str, tuple[Shape, ...]]:
    out: dict[str, tuple[Shape, ...]] = {}
    for r in inspection.of(e.MaskDrawn):
        out[r.body.still] = out.get(r.body.still, ()) + r.body.shapes
    return out


def _suffix(format_: str, name: str) -> str:
    from borelog.logbook.pictures import suffix_of
    from borelog.stills.kinds import SUFFIXES

    known = SUFFIXES.get(format_)
    return known[0] if known else suffix_of(name or "x.bin")


def _still(
    row: StillRow,
    writer: bag.BagWriter,
    pictures: Pictures,
    masks: tuple[Shape, ...],
    held: Share,
    copies: dict[str, str],
) -> tuple[StillRow, View | None]:
    """Write what this reader gets of one still; also the copy for page and paper, where there is one."""
    from borelog.pack.views import SHOWN, view_of
    from borelog.stills.kinds import PICTURES

    is_picture = row.format in PICTURES
    if row.missing or (not is_picture and "films" not in held):
        why = row.missing or "films and traces are left out of this copy"
        return msgspec.structs.replace(row, missing=why), None
    path = pictures.find(row.original)
    if path is None:
        return msgspec.structs.replace(row, missing="the file is not in the logbook"), None
    data = path.read_bytes()
    if hashlib.sha256(data).hexdigest() != row.original:
        raise PackError(
            f"still {row.id} is not the file that was filed: its digest has changed; run 'borelog doctor'"
        )
    changes: dict[str, object] = {}
    if "originals" in held:
        name = f"data/stills/{row.id}{_suffix(row.format, path.name)}"
        writer.put(name, data, row.original)
        changes = {"file": name, "sha256": row.original, "size": len(data)}
        if not is_picture:
            return msgspec.structs.replace(row, **changes), None
    try:
        view = _filed_copy(copies.get(row.original, ""), pictures) if not masks else None
        view = view or view_of(data, row.format, orientation=row.orientation, masks=masks, name=row.id)
    except BorelogError as error:
        missing = "" if changes else one_line(str(error), 200)
        return msgspec.structs.replace(row, **changes, missing=missing), None
    if "originals" not in held:
        name = f"data/stills/{row.id}{view.suffix}"
        digest = writer.put(name, view.data)
        changes = {"file": name, "sha256": digest, "size": len(view.data), "changed": view.changed}
    elif masks or row.format not in SHOWN:
        name = f"data/views/{row.id}{view.suffix}"
        changes |= {"view": name, "view_sha256": writer.put(name, view.data), "changed": view.changed}
    return msgspec.structs.replace(row, **changes), view


def _filed_copy(sha256: str, pictures: Pictures) -> View | None:
    """The view copy made when the still was filed, where there is one that a browser shows."""
    from borelog.pack.views import SHOWN, View
    from borelog.stills.kinds import kind_of

    path = pictures.find(sha256) if sha256 else None
    if path is None:
        return None
    data = path.read_bytes()
    kind = kind_of(data).name
    if kind not in SHOWN or hashlib.sha256(data).hexdigest() != sha256:
        return None
    return View(data, kind, "view copy made when it was filed; no metadata")


def _finished(document: Document, stills: tuple[StillRow, ...]) -> Document:
    gone = [s for s in stills if s.missing and not s.file]
    left_out = document.about.left_out
    if gone and not any(x.what.startswith("films") for x in left_out):
        left_out += (LeftOut(what="stills that are missing", why="see each still", count=len(gone)),)
    about = msgspec.structs.replace(document.about, left_out=left_out)
    return msgspec.structs.replace(document, about=about, stills=stills)


def _page_pictures(document: Document, shown: _Shown) -> dict[str, page.PagePicture]:
    """Whole stills in the page, or previews with the whole ones beside it: the split rule by size."""
    from borelog.pack.views import smaller

    files = {s.id: s.view or s.file for s in document.stills}
    if shown.total <= INSIDE:
        return {k: page.PagePicture(data, mime) for k, (data, mime) in shown.views.items()}
    longest = 960 if shown.total <= PREVIEWED else 320
    return {
        k: page.PagePicture(smaller(data, longest, k), "image/jpeg", files[k])
        for k, (data, mime) in shown.views.items()
    }


def _print(
    document: Document, shown: _Shown, paper: str, remarks: list[str], say: bag.Progress
) -> tuple[bytes, bool] | None:
    from borelog.pack import paper as press

    say(len(document.stills) + 1, len(document.stills) + 3, "paper")
    printed = press.printed(document, shown.views, paper=paper)
    remarks += printed.remarks
    return (printed.data, printed.archival) if printed.data else None


def _write(
    writer: bag.BagWriter,
    document: Document,
    shown: _Shown,
    entries: Sequence[e.Stored],
    printed: tuple[bytes, bool] | None,
) -> bool:
    pictures = _page_pictures(document, shown)
    linked = any(p.full for p in pictures.values())
    with ThreadPoolExecutor(1) as beside:
        # The page is by far the largest file: it is hashed and written while the small ones are made.
        pending = beside.submit(writer.put, "report.html", page.page(document, pictures))
        if entries:
            writer.put("data/journal.jsonl", b"".join(s.raw + b"\n" for s in in_order(entries)))
        writer.put("data/inspection.json", encode(document))
        writer.put("data/inspection.schema.json", schema())
        for name, data in tables(document).items():
            writer.put(name, data)
        writer.put("data/annotations/annotations.jsonld", web_annotations(document))
        if printed:
            writer.put("report.pdf", printed[0])
        writer.put("README.txt", _readme(document, printed, linked))
        pending.result()
    return linked


def _readme(document: Document, printed: tuple[bytes, bool] | None, linked: bool) -> bytes:
    template = page.environment(False).get_template("README.txt")
    archival = bool(printed and printed[1])
    text = template.render(
        d=document, which=telling.which(document), pdf=bool(printed), archival=archival, linked=linked
    )
    return text.encode()


def _info(document: Document, inspection: Inspection, printed: tuple[bytes, bool] | None) -> dict[str, str]:
    about = document.about
    return {
        "Bagging-Date": about.made[:10],
        "Bag-Software-Agent": about.agent,
        "External-Identifier": about.inspection,
        "External-Description": about.name,
        "Internal-Sender-Identifier": f"pack {about.number} for the {about.reader}",
        "Journal-State": journal_state(inspection) if document.journal else "",
        "Report-PDF": "none" if printed is None else "PDF/A-3a PDF/UA-1" if printed[1] else "plain",
    }
