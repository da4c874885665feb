"""Take a pack into a logbook: everything is looked at first, then all of it goes in, or nothing does."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING

from borelog.logbook import chain
from borelog.logbook import entries as e
from borelog.logbook.errors import LogbookError, WrongBytes
from borelog.logbook.fold import fold
from borelog.logbook.journal import Journal
from borelog.pack import told
from borelog.pack.check import Read, read
from borelog.pack.document import Document, StillRow
from borelog.pack.errors import Fault, PackError, Refused
from borelog.pack.sources import Source, opened
from borelog.stills import StillError
from borelog.stills.kinds import FILMS, kind_of
from borelog.text import one_line

if TYPE_CHECKING:
    from borelog.stills.guard import Guard

_CHILDREN = 2
"""Processes that decode a stranger's pictures: each needs about a third of a second to start and 100 MB."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What came in.

    ``inspection`` is its id here; ``merged`` whether it was joined to one already here; ``read_only`` whether it counts
    as told and cannot be written on; ``entries`` and ``stills`` count what is new; ``words`` say it in sentences.
    """

    inspection: str
    name: str
    number: int
    reader: str
    merged: bool
    read_only: bool
    entries: int
    stills: int
    words: tuple[str, ...]


def take(
    journal: Journal,
    path: Path,
    *,
    who: str,
    at: str | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> Taken:
    """Take in the pack (folder or zip) at ``path``.

    An archive pack is merged with an inspection already here: entries by id, stills by digest. A pack without a journal
    comes in as a new inspection, read-only, each entry 'told by' those who recorded it. The stranger's page is never
    opened: a report is made anew from the record.

    Parameters
    ----------
    journal
        The logbook, open for writing.
    who
        The person taking it in.
    at
        Time of the entries; None: the machine's clock.
    progress
        Called with (done, all, words).

    Raises
    ------
    Refused
        If anything at all is wrong with the pack; nothing was written.
    PackError, LogbookError
        If there is no pack, or the logbook cannot be written.
    """
    if journal.read_only:
        raise PackError("the logbook is open for reading only; open it for writing to take in a pack")
    with opened(Path(path)) as source:
        found = read(source)
        if found.entries:
            _fits(journal, found)
        arrived = _look(source, found.document, progress)
        if found.entries:
            return _merged(journal, source, found, arrived)
        return _told(journal, source, found, arrived, who, at)


def _fits(journal: Journal, found: Read) -> None:
    """Refuse a history that does not fit to the one here, before any still is written."""
    id_ = found.document.about.inspection
    held = journal.entries(id_) if id_ in journal.ids() else []
    try:
        chain.union(held, found.entries)
    except LogbookError as error:
        raise Refused(Fault("journal", "data/journal.jsonl", one_line(str(error), 300))) from error


def _look(
    source: Source, document: Document, progress: Callable[[int, int, str], None] | None
) -> dict[str, told.Arrived]:
    """Decode every picture in guarded children; none is written before all are known to be pictures."""
    from borelog.stills.guard import Guard

    files = [s for s in document.stills if s.file]
    guards: SimpleQueue[Guard] = SimpleQueue()
    children = min(_CHILDREN if source.in_threads else 1, len(files)) or 1
    out: dict[str, told.Arrived] = {}
    with ExitStack() as stack:
        for _ in range(children):
            guards.put(stack.enter_context(Guard()))
        pool = stack.enter_context(ThreadPoolExecutor(children))

        def one(still: StillRow) -> told.Arrived:
            guard = guards.get()
            try:
                return _arrived(source, still, guard)
            finally:
                guards.put(guard)

        waiting = [pool.submit(one, still) for still in files]
        stack.callback(lambda: [f.cancel() for f in waiting])
        for i, (still, found) in enumerate(zip(files, waiting, strict=True)):
            if progress:
                progress(i, 2 * len(files), f"looking at {still.id}")
            out[still.id] = found.result()
    return out


def _arrived(source: Source, still: StillRow, guard: Guard) -> told.Arrived:
    data = source.read(still.file)
    kind = kind_of(data)
    if kind.name in FILMS or not kind.is_picture:
        return told.Arrived(still.sha256, still.size, still.format, 0, 0)
    try:
        facts = guard.check(data, still.id)
        if still.view:
            guard.check(source.read(still.view), still.id)
    except StillError as error:
        raise Refused(Fault("picture", still.file, one_line(str(error).partition(": ")[2], 160))) from error
    return told.Arrived(still.sha256, still.size, facts.format, facts.width, facts.height, facts.orientation)


def _stills(journal: Journal, source: Source, files: list[tuple[str, str]], then: Callable[[], None]) -> int:
    """Stills onto the disk, then the entries that name them; if anything fails, the new stills go again."""

    def given(name: str) -> Callable[[], bytes]:
        return lambda: source.read(name)

    wanted = [(digest, "." + name.rpartition(".")[2], given(name)) for name, digest in files]
    here = {digest for _, digest in files if journal.pictures.find(digest) is not None}
    try:
        new = journal.pictures.put_all(wanted)
        then()
    except BaseException as error:
        for digest in {digest for _, digest in files} - here:
            journal.pictures.remove(digest)
        if isinstance(error, WrongBytes):
            raise Refused(Fault("changed", "", "a picture changed while it was taken in")) from error
        raise
    return len(new)


def _files(document: Document, copies: set[str]) -> list[tuple[str, str]]:
    """Files to keep: what each still is here, and view copies that an entry names."""

    def of(s: StillRow) -> list[tuple[str, str]]:
        pairs = [(s.file, s.sha256)] if s.file else []
        return [*pairs, (s.view, s.view_sha256)] if s.view_sha256 in copies else pairs

    return [pair for s in document.stills for pair in of(s)]


def _merged(journal: Journal, source: Source, found: Read, arrived: dict[str, told.Arrived]) -> Taken:
    about = found.document.about
    known = about.inspection in journal.ids()
    copies = {
        s.body.view_copy for s in found.entries if isinstance(s.body, e.StillFiled) and s.body.view_copy
    }
    added = 0

    def merge() -> None:
        nonlocal added
        try:
            added = sum(journal.merge(found.entries).added.values())
        except LogbookError as error:
            raise Refused(Fault("journal", "data/journal.jsonl", one_line(str(error), 300))) from error

    held = journal.entries(about.inspection) if known else []
    gone = fold(chain.union(held, found.entries), about.inspection).forgotten
    files = [(name, digest) for name, digest in _files(found.document, copies) if digest not in gone]
    stills = _stills(journal, source, files, merge)
    name = one_line(about.name, 80)
    words = [
        f"{name}: {added} new of {len(found.entries)} entries, {stills} new of {len(arrived)} stills"
        + (", joined to the inspection already here" if known else ""),
        *(
            f"still {s.id} was not in the pack: {one_line(s.missing, 100)}"
            for s in found.document.stills
            if not s.file
        ),
    ]
    return Taken(
        about.inspection, name, about.number, about.reader, known, False, added, stills, tuple(words)
    )


def _told(
    journal: Journal,
    source: Source,
    found: Read,
    arrived: dict[str, told.Arrived],
    who: str,
    at: str | None,
) -> Taken:
    document, about = found.document, found.document.about
    digest = source.digest("tagmanifest-sha256.txt")
    name = one_line(about.name, 80)
    for id_ in journal.ids():
        if any(r.body.digest == digest for r in journal.inspection(id_).of(e.TakenIn)):
            words = f"{name}: this very pack is here already; nothing new"
            return Taken(id_, name, about.number, about.reader, True, True, 0, 0, (words,))
    bodies: list[tuple[e.Known, str]] = [
        (told.as_told(document, digest), ""),
        *told.bodies(document, arrived),
    ]
    new = ""

    def enter() -> None:
        nonlocal new
        new = journal.create(one_line(about.name, 200), who=who, demo=about.demo, at=at)
        journal.append_many(new, bodies, who=who, at=at)

    stills = _stills(journal, source, _files(document, set()), enter)
    words = (
        f"{name}: pack {about.number} for the {about.reader} came in read-only, {len(bodies)} entries, {stills} new stills; "
        f"all of it counts as told by {told.teller(document)}"
    )
    return Taken(new, name, about.number, about.reader, False, True, len(bodies) + 1, stills, (words,))
