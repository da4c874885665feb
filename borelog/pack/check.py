"""Check a pack as it lies: everything in it against everything said of it, in plain words; stricter than a bag must be.

The order is from cheap to dear, so that a hostile pack is refused early: names and sizes, sets of files, declared bag,
document, journal, pictures' first bytes, and at last every digest.
"""

from __future__ import annotations

import hashlib
import re
import struct
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from borelog.logbook import chain
from borelog.logbook import entries as e
from borelog.pack import coding
from borelog.pack.again import comparable, view_faults
from borelog.pack.bag import DECLARATION, MANIFEST, TAG_MANIFEST
from borelog.pack.document import SCHEMA_ID, Document, StillRow
from borelog.pack.errors import Fault, PackError, Refused
from borelog.pack.plausible import document_faults, journal_faults
from borelog.pack.sources import Source, opened
from borelog.text import BorelogError, one_line

_LINE = re.compile(r"([0-9a-f]{64})  (\S+)")
_SMALL = 8 << 20
MOST_TOLD = 50
MAX_ENTRY = 8 << 20
"""Bytes of one journal entry; the longest honest one holds a whole document that came in as told."""
_MUST = ("bagit.txt", "bag-info.txt", MANIFEST, TAG_MANIFEST, "report.html", "README.txt")
_MUST_DATA = ("data/inspection.json", "data/inspection.schema.json", "data/datapackage.json")
SIGNATURE = f"{TAG_MANIFEST}.sig"
PICTURED = ("data/stills/", "data/views/")


@dataclass(frozen=True, slots=True)
class Read:
    """What was read of a pack that held up to its digests: document, journal (empty: none) and digests by file."""

    document: Document
    entries: tuple[e.Stored, ...]
    digests: dict[str, str]


def _manifest(source: Source, name: str) -> dict[str, str]:
    out: dict[str, str] = {}
    try:
        text = source.read(name, _SMALL).decode("ascii")
    except UnicodeDecodeError as error:
        raise Refused(Fault("manifest", name, "holds letters no file name of a pack has")) from error
    for i, line in enumerate(text.split("\n")[:-1] if text.endswith("\n") else text.split("\n"), 1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise Refused(Fault("manifest", name, f"line {i} is no digest with a file name"))
        if match[2] in out:
            raise Refused(Fault("manifest", name, f"line {i} names {match[2][:80]} a second time"))
        out[match[2]] = match[1]
    return out


def _sets(source: Source, payload: dict[str, str], tags: dict[str, str]) -> Iterator[Fault]:
    """Files present and files listed must be the same, apart from the tag manifest and its signature."""
    present = set(source.sizes) - {TAG_MANIFEST, SIGNATURE}
    inside = {n for n in present if n.startswith("data/")}
    for listed, there, where in ((payload, inside, MANIFEST), (tags, present - inside, TAG_MANIFEST)):
        for name in sorted(set(listed) - there):
            yield Fault("missing", one_line(name, 80), f"is listed in {where} but not here")
        for name in sorted(there - set(listed)):
            yield Fault("unlisted", name, f"is here but {where} does not list it; somebody added it")


def _bag(source: Source) -> Iterator[Fault]:
    if source.read("bagit.txt", _SMALL) != DECLARATION:
        yield Fault("bag", "bagit.txt", "does not declare a BagIt 1.0 bag in UTF-8")
    try:
        text = source.read("bag-info.txt", _SMALL).decode("utf-8")
    except UnicodeDecodeError:
        yield Fault("bag", "bag-info.txt", "is not UTF-8")
        return
    inside = [s for n, s in source.sizes.items() if n.startswith("data/")]
    wanted = f"Payload-Oxum: {sum(inside)}.{len(inside)}"
    if [x for x in text.split("\n") if x.startswith("Payload-Oxum")] != [wanted]:
        yield Fault(
            "bag",
            "bag-info.txt",
            f"its Payload-Oxum is not {wanted.partition(': ')[2]}: files were added, lost or cut",
        )


def _document(source: Source, payload: dict[str, str]) -> tuple[Document, list[Fault]]:
    document = coding.decode(source.read("data/inspection.json", coding.MAX_JSON))
    faults: list[Fault] = []
    named: set[str] = set()
    ids: set[str] = set()
    for still in document.stills:
        if still.id in ids:
            faults.append(Fault("still", still.id, "stands twice in inspection.json"))
        ids.add(still.id)
        for path, digest in ((still.file, still.sha256), (still.view, still.view_sha256)):
            if not path:
                continue
            named.add(path)
            if payload.get(path) != digest:
                faults.append(
                    Fault("still", path, "has another digest in inspection.json than in the manifest")
                )
        if still.file and source.sizes.get(still.file) != still.size:
            faults.append(Fault("still", still.file, "has another size than inspection.json says"))
    pictures = {n for n in payload if n.startswith(PICTURED)}
    faults += [
        Fault("unlisted", n, "is a picture that inspection.json does not name")
        for n in sorted(pictures - named)
    ]
    return document, [*faults, *document_faults(document)]


def _journal(source: Source, document: Document) -> tuple[tuple[e.Stored, ...], list[Fault]]:
    """The entries, their chains checked against each other, the document and the stills."""
    name = "data/journal.jsonl"
    held = name in source.sizes
    if held != (document.about.reader == "archive"):
        words = "is missing from an archive pack" if not held else "is in a pack that must not hold one"
        return (), [Fault("journal", name, words)]
    if not held:
        return (), []
    raw = source.read(name, coding.MAX_JSON * 4)
    if not raw.endswith(b"\n"):
        return (), [Fault("journal", name, "breaks off in the middle of a line")]
    stored: list[e.Stored] = []
    faults: list[Fault] = []
    for i, line in enumerate(raw[:-1].split(b"\n"), 1):
        where = f"{name} line {i}"
        if len(line) > MAX_ENTRY:
            return (), [Fault("too large", where, f"holds more than {MAX_ENTRY >> 20} MiB")]
        try:
            one = e.decode(line)
            known = isinstance(one.entry, e.Entry) and coding.own_bytes(line, e.encode(one.entry))
        except BorelogError:
            one, known = None, False
        if not known:
            coding.strict_json(line, where, bidi=True)
        if one is None:
            return (), [Fault("journal", name, f"line {i} is no entry")]
        stored.append(one)
        if stored[-1].entry.inspection != document.about.inspection:
            faults.append(Fault("journal", name, f"line {i} belongs to another inspection"))
    faults += [Fault("journal", name, words) for words in chain.faults(stored)]
    faults += journal_faults(stored)
    if len({s.entry.id for s in stored}) != len(stored):
        faults.append(Fault("journal", name, "holds an entry twice"))
    heads: dict[str, tuple[int, str]] = {}
    for s in sorted(stored, key=lambda s: s.entry.number):
        heads[s.entry.writer] = (s.entry.number, s.digest)
    if heads != {h.writer: (h.entries, h.digest) for h in document.journal}:
        faults.append(Fault("journal", name, "does not end where inspection.json says"))
    filed = {s.body.sha256 for s in stored if isinstance(s.body, e.StillFiled)}
    for still in document.stills:
        if still.original not in filed:
            faults.append(Fault("still", still.id, "is filed by no entry of the journal"))
        if still.file and still.sha256 != still.original:
            faults.append(Fault("still", still.file, "is not the original that the journal filed"))
    return tuple(stored), faults


def _picture(still: StillRow, name: str, data: bytes) -> Fault | None:
    """Whether first bytes, pixels and ending belong to a picture that a pack may hold."""
    from borelog.pack.views import SHOWN
    from borelog.stills import StillError
    from borelog.stills.intake import opened as picture
    from borelog.stills.kinds import FILMS, PICTURES, SUFFIXES, kind_of

    kind = kind_of(data)
    original = name == still.file and still.sha256 == still.original
    if original and kind.words == "plain text" and name.endswith((".csv", ".txt")):
        return None
    if kind.name not in (PICTURES + FILMS if original else SHOWN):
        return Fault("picture", name, f"holds {kind.words}, which a pack does not carry there")
    if not name.endswith(SUFFIXES[kind.name]):
        return Fault("picture", name, f"is named unlike what it is: {kind.words}")
    if original and kind.name != still.format:
        return Fault("picture", name, f"is {kind.words}, filed as {one_line(still.format, 20)}")
    if kind.name in FILMS:
        return None
    try:
        with picture(data, name.rpartition("/")[2]) as (image, _):
            size = image.size
    except StillError as error:
        return Fault("picture", name, one_line(str(error).partition(": ")[2] or str(error), 160))
    if {*size} != {still.width, still.height} and kind.name not in ("HEIC", "AVIF", "TIFF"):
        return Fault("picture", name, f"is {size[0]} x {size[1]} pixels, not {still.width} x {still.height}")
    if not original and not _bare(kind.name, data, still):
        return Fault(
            "picture", name, "breaks off, or holds more than a picture: no copy made for a reader does"
        )
    return None


def _bare(kind: str, data: bytes, still: StillRow) -> bool:
    """Whether a copy is whole and nothing but a picture: stripping it again leaves it as it is.

    Originals may be cut short and carry anything, as the camera left them.
    """
    from borelog.stills import StillError, metadata

    if kind == "PNG" and not _filled(data):
        return False
    strip = {"JPEG": metadata.strip_jpeg, "PNG": metadata.strip_png, "WebP": metadata.strip_webp}[kind]
    try:
        return any(strip(data, turn, still.id)[0] == data for turn in dict.fromkeys((1, still.orientation)))
    except StillError:
        return False


class _Hashing:
    """Digests of a pack's files, two at a time where the source allows it: hashing lets go of the interpreter.

    Files that are no pictures are begun at once, while document and journal are still being read; the largest first.
    """

    def __init__(self, source: Source, names: Iterable[str]) -> None:
        self._source = source
        self._pool = ThreadPoolExecutor(2) if source.in_threads else None
        self._begun: dict[str, Future[str]] = {}
        if self._pool is not None:
            for name in sorted(names, key=lambda n: -source.sizes[n]):
                self._begun[name] = self._pool.submit(source.digest, name)

    def __enter__(self) -> _Hashing:
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            if not all(f.done() for f in self._begun.values()):
                self._source.close()
            self._pool.shutdown(cancel_futures=True)

    def digest(self, name: str) -> str:
        """Of one file, in hex."""
        begun = self._begun.get(name)
        return begun.result() if begun is not None else self._source.digest(name)

    def each(self, make: Callable[[str], Fault | None], names: Iterable[str]) -> Iterator[Fault]:
        """``make`` of every name, in their order."""
        yield from filter(None, self._pool.map(make, names) if self._pool is not None else map(make, names))


def _filled(data: bytes) -> bool:
    """Whether a PNG's packed pixels could be as many as its head says: deflate packs 1032 to 1 at the very most.

    So a hollow one is told without a decoder (PNG specification 3rd edition, 11.2.1; RFC 1951).
    """
    wide, high, depth, colour = struct.unpack_from(">LLBB", data, 16)
    row = 1 + (wide * depth * {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}.get(colour, 1) + 7) // 8
    return bool(1032 * len(data) >= high * row)


def _contents(
    source: Source, hashing: _Hashing, listed: dict[str, str], document: Document
) -> Iterator[Fault]:
    """Every file's digest, and of pictures what they are: each file is read once."""
    stills = {name: s for s in document.stills for name in (s.file, s.view) if name}

    def picture(name: str) -> Fault | None:
        data = source.read(name)
        wrong = _changed(name, hashlib.sha256(data).hexdigest(), listed[name])
        return wrong or _picture(stills[name], name, data)

    here = sorted(n for n in listed if n in source.sizes)
    yield from hashing.each(picture, [n for n in here if n in stills])
    for name in here:
        if name not in stills and (wrong := _changed(name, hashing.digest(name), listed[name])):
            yield wrong


def _changed(name: str, digest: str, wanted: str) -> Fault | None:
    if digest == wanted:
        return None
    return Fault(
        "changed", name, "is not the file that the manifest was made of: at least one byte was changed"
    )


def _schema(source: Source) -> Iterator[Fault]:
    name = "data/inspection.schema.json"
    found = coding.strict_json(source.read(name, _SMALL), name)
    if not isinstance(found, dict) or found.get("$id") != SCHEMA_ID:
        yield Fault("schema", name, f"is not the schema {SCHEMA_ID}")


def faults_of(source: Source) -> Iterator[Fault | Read]:
    """Everything wrong with a pack, in order; at the end, if nothing was, what was read of it.

    Raises
    ------
    Refused
        For what cannot be looked past.
    """
    missing = [n for n in _MUST + _MUST_DATA if n not in source.sizes]
    if missing:
        yield from (Fault("missing", n, "belongs to every pack and is not here") for n in missing)
        return
    clean = True
    payload, tags = _manifest(source, MANIFEST), _manifest(source, TAG_MANIFEST)
    for name in payload:
        if not name.startswith("data/"):
            raise Refused(
                Fault("path", one_line(name, 80), f"is no payload and must not stand in {MANIFEST}")
            )
    for fault in (*_sets(source, payload, tags), *_bag(source)):
        clean = False
        yield fault
    plain = [n for n in (payload | tags) if n in source.sizes and not n.startswith(PICTURED)]
    with _Hashing(source, plain) as hashing:
        document, found = _document(source, payload)
        entries, more = _journal(source, document)
        for fault in (*found, *more):
            clean = False
            yield fault
        for fault in (*_contents(source, hashing, payload | tags, document), *_schema(source)):
            clean = False
            yield fault
    if clean:
        yield Read(document, entries, payload)


_VIEWS = {
    True: "tables, annotations and page say what inspection.json says",
    False: "tables, annotations and page were not compared: another version made this pack",
}


@dataclass(frozen=True, slots=True)
class Checked:
    """The answer: whether all is whole, what is wrong, and both in lines for a person."""

    good: bool
    faults: tuple[Fault, ...]
    lines: tuple[str, ...]


def check(path: Path, *, signers: Path | None = None, who: str = "", views: bool = False) -> Checked:
    """Everything wrong with the pack (folder or zip) at ``path``, in plain words.

    Parameters
    ----------
    path
        The pack.
    signers, who
        A file of allowed signers and whose signature is wanted; without it a signature is only named.
    views
        Also make tables, annotations and page anew and compare them, where this version made the pack.

    Raises
    ------
    PackError
        If there is no pack to read at all, or signatures cannot be checked here.
    """
    faults: list[Fault] = []
    lines: list[str] = []
    try:
        with opened(path) as source:
            for item in faults_of(source):
                if isinstance(item, Fault):
                    faults.append(item)
                else:
                    lines.append(_words(source, item))
                    if views:
                        compared = comparable(item.document)
                        faults += view_faults(source, item.document) if compared else ()
                        lines.append(_VIEWS[compared])
            signed = SIGNATURE in source.sizes
            if signers is not None:
                faults += _signature(source, signed, signers, who)
            lines.append(_signed_words(signed, signers is not None and not faults, who))
    except Refused as refused:
        faults.append(refused.fault)
    wrong = [str(f) for f in faults[:MOST_TOLD]]
    if len(faults) > MOST_TOLD:
        wrong.append(f"and {len(faults) - MOST_TOLD} more")
    if wrong:
        lines = [f"not whole: {len(faults)} {'thing is' if len(faults) == 1 else 'things are'} wrong", *wrong]
    return Checked(not faults, tuple(faults), tuple(lines))


def _words(source: Source, found: Read) -> str:
    about = found.document.about
    journal = (
        f", journal of {len(found.entries)} entries with whole chains" if found.entries else ", no journal"
    )
    return (
        f"whole: {len(source.sizes)} files as listed, every digest right{journal}; pack {about.number} for the "
        f"{about.reader} of {one_line(about.name, 80)}, made {one_line(about.made[:16])}"
    )


def _signature(source: Source, signed: bool, signers: Path, who: str) -> Iterator[Fault]:
    from borelog.pack.signing import verify

    if not signed:
        yield Fault("signature", SIGNATURE, "is not here: the pack is not signed")
    elif not verify(source.read(TAG_MANIFEST, _SMALL), source.read(SIGNATURE, _SMALL), signers, who):
        yield Fault("signature", SIGNATURE, f"is not the signature of {one_line(who, 60)} over this pack")


def _signed_words(signed: bool, proven: bool, who: str) -> str:
    if proven:
        return f"signed by {one_line(who, 60)}, and the signature holds"
    return "signed; give a file of allowed signers to check by whom" if signed else "not signed"


def read(source: Source) -> Read:
    """What a pack says, if nothing is wrong with it.

    Raises
    ------
    Refused
        With the first thing that is wrong.
    """
    for item in faults_of(source):
        if isinstance(item, Read):
            return item
        raise Refused(item)
    raise PackError("the pack could not be read")
