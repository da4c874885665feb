"""Pictures into the record: taken in whole, kept byte for byte, filed to a cylinder and place, doubles set aside."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.overview import cylinders_of
from borelog.logbook.entries import Probe, StillFiled, StillPlaced
from borelog.logbook.inspection import Inspection, Recorded
from borelog.marks.places import Place, views
from borelog.text import BorelogError, one_line

if TYPE_CHECKING:
    from borelog.stills.doubles import Judged
    from borelog.stills.guard import Guard
    from borelog.stills.intake import PictureFacts

Progress = Callable[[int, int], None]
TWICE = "the same file twice"


class FilingError(BorelogError):
    """A picture that cannot be filed as asked."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Filed:
    """One picture that went in. ``aside`` is why it was set aside, ``again`` that its bytes were there already."""

    name: str
    still: str
    cylinder: int | None
    place: Place | None
    aside: str = ""
    again: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Refused:
    """One file that is no usable picture, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Added:
    """What adding pictures did; the rest of a card goes in even where one file is refused."""

    filed: tuple[Filed, ...]
    refused: tuple[Refused, ...]


@dataclass(frozen=True, slots=True)
class Looked:
    """One picture looked at before filing: its bytes, facts, quality and fingerprints.

    ``path`` is where it lay ('' for a frame of a film). A card is held without its bytes: they are read again when it
    is accepted, so that a full card does not fill the memory.
    """

    name: str
    data: bytes
    filed: StillFiled
    sharpness: float
    hash: int
    useless: str
    remarks: tuple[str, ...]
    modified: float
    path: str = ""
    small: Any = field(default=None, compare=False, repr=False)


_NOT_KEPT = (".gif", ".jp2", ".j2k", ".svg", ".psd", ".dng", ".raw", ".cr2", ".cr3", ".nef", ".arw", ".jxl")
"""Endings of pictures that no decoder here is trusted with; a person is told instead of left to wonder."""


def found_under(names: Iterable[str]) -> tuple[list[Path], tuple[Refused, ...]]:
    """Pictures under these names (files, folders, patterns), each once, and why a name gives none.

    A folder's pictures come by name, number by number: 9 before 10. A film is not a picture: it is told how to go on.

    Raises
    ------
    FilingError
        If nothing at all is there.
    """
    from borelog.stills import StillError
    from borelog.stills.gather import gather

    try:
        found = gather(list(names))
    except StillError as error:
        raise FilingError(str(error)) from error
    refused = []
    for words in found.refused:
        name, _, why = words.partition(": ")
        refused.append(Refused(one_line(name, 200), why or words))
    for film in found.films:
        refused.append(
            Refused(one_line(film.name, 200), "is a film; 'borelog film' picks its sharp, different frames")
        )
    for other in found.others:
        if other.suffix.lower() in _NOT_KEPT:
            refused.append(
                Refused(
                    one_line(other.name, 200), "is a kind of picture that is not kept; save it as JPEG or PNG"
                )
            )
    if not found.pictures and not refused:
        raise FilingError(
            "no picture is there under these names; name files, a folder, or a pattern in quotes"
        )
    return list(found.pictures), tuple(refused)


def look_at(
    paths: Sequence[Path], progress: Progress = lambda done, total: None
) -> Iterator[Looked | Refused]:
    """Read and check each picture; a picture that would take the program down is tried in a child process first."""
    from borelog.stills import StillError
    from borelog.stills.doubles import glimpse, phash
    from borelog.stills.guard import Guard
    from borelog.stills.intake import decode, shown
    from borelog.stills.quality import judge

    with Guard() as guard, ThreadPoolExecutor(1) as ahead:
        # While one picture is judged here, the next is read and tried in the child: two cores, one picture ahead.
        waiting = iter(paths)
        coming = [ahead.submit(_tried, guard, p) for p in islice(waiting, 2)]
        for number, path in enumerate(paths, 1):
            name = one_line(path.name, 200)
            tried = coming.pop(0)
            coming += [ahead.submit(_tried, guard, p) for p in islice(waiting, 1)]
            try:
                data, facts = tried.result()
                pixels, _ = decode(data, name, longest=1280)
                quality = judge(pixels)
            except StillError as error:
                yield Refused(name, str(error).removeprefix(f"{shown(name)}: "))
                progress(number, len(paths))
                continue
            filed = StillFiled(
                sha256=hashlib.sha256(data).hexdigest(),
                name=name,
                size=len(data),
                format=facts.format,
                width=facts.width,
                height=facts.height,
                orientation=facts.orientation,
                taken=one_line(facts.taken, 40),
                camera=one_line(facts.camera, 80),
            )
            remarks = tuple(str(r) for r in quality.remarks) + facts.remarks
            yield Looked(
                name,
                data,
                filed,
                quality.gate.focus,
                phash(pixels),
                quality.gate.useless,
                remarks,
                _modified(path),
                os.fspath(path),
                glimpse(pixels),
            )
            progress(number, len(paths))


def _tried(guard: Guard, path: Path) -> tuple[bytes, PictureFacts]:
    from borelog.stills.intake import read_file

    data = read_file(path)
    return data, guard.check(data, one_line(path.name, 200))


def _modified(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def probe_of(inspection: Inspection, name: str) -> Probe | None:
    """The probe noted under this name, with its mirror and roll."""
    for r in inspection.of(Probe):
        if r.body.name == name:
            return r.body
    return None


def check_cylinder(inspection: Inspection, cylinder: int | None) -> None:
    """Refuse a cylinder that the engine does not have."""
    known = cylinders_of(inspection)
    if cylinder is not None and known and cylinder not in known:
        raise FilingError(f"this engine has no cylinder {cylinder}; it has {', '.join(map(str, known))}")


def check_place(cylinder: int | None, place: Place | None) -> None:
    """Refuse a place of a cylinder without its cylinder."""
    if place and cylinder is None and views()[place.view].scope == "cylinder":
        raise FilingError(f"{views()[place.view].label}: of which cylinder? Add -c and its number")


def add_pictures(
    bench: Bench,
    inspection_id: str,
    names: Iterable[str],
    *,
    cylinder: int | None = None,
    place: Place | None = None,
    probe: str = "",
    mirror: bool = False,
    reading: str = "",
    sort_doubles: bool = True,
    progress: Progress = lambda done, total: None,
) -> Added:
    """File pictures; each is on disk, and its entry after it, before the next is looked at.

    Doubles, black and hopelessly blurred frames are set aside, never left out. A picture whose bytes are there already
    is not filed a second time.
    """
    inspection = bench.inspection(inspection_id)
    check_cylinder(inspection, cylinder)
    check_place(cylinder, place)
    known = probe_of(inspection, probe)
    there = {r.body.sha256 for r in inspection.of(StillFiled)}
    paths, missing = found_under(names)
    filed: list[Filed] = []
    refused: list[Refused] = list(missing)
    judged: list[Judged] = []
    for looked in look_at(paths, progress):
        if isinstance(looked, Refused):
            refused.append(looked)
            continue
        sha = looked.filed.sha256
        if any(j.digest == sha for j in judged):
            filed.append(Filed(looked.name, sha, cylinder, place, TWICE, True))
            continue
        judged.append(judged_of(looked))
        placed = StillPlaced(
            still=sha,
            cylinder=cylinder,
            place=place,
            mirror=mirror or bool(known and known.mirror),
            roll=known.roll if known else 0.0,
            probe=probe,
            reading=reading,
            aside=looked.useless,
        )
        file_one(bench, inspection_id, looked, placed, again=sha in there)
        filed.append(Filed(looked.name, sha, cylinder, place, looked.useless, sha in there, looked.remarks))
    if sort_doubles:
        filed = _doubles_aside(bench, inspection_id, filed, judged)
    return Added(tuple(filed), tuple(refused))


def _doubles_aside(bench: Bench, id_: str, filed: list[Filed], judged: list[Judged]) -> list[Filed]:
    """Set near doubles of a run aside once all of it is in: of each few the sharpest stays, wherever it came."""
    from borelog.stills.doubles import sort_out

    why = {judged[x.index].digest: x.reason for x in sort_out(judged)}
    now = {r.body.still: r.body for r in bench.inspection(id_).of(StillPlaced)}
    late = [f.still for f in filed if f.still in why and not f.aside]
    if late:
        bench.append(id_, [(msgspec.structs.replace(now[s], aside=why[s]), "") for s in late])
    return [replace(f, aside=why[f.still]) if f.still in late else f for f in filed]


def file_one(
    bench: Bench, inspection_id: str, looked: Looked, placed: StillPlaced, *, again: bool = False
) -> None:
    """One looked-at picture: bytes first, then its entries in one transaction."""
    bench.journal.pictures.put(looked.data, suffix_for(looked))
    bodies = [] if again else [(looked.filed, "")]
    bench.append(inspection_id, [*bodies, (placed, "")])


def suffix_for(looked: Looked) -> str:
    """The ending under which the store keeps it: that of its name where the name says what it is."""
    from borelog.stills.kinds import kind_by_name

    fits = kind_by_name(looked.name) == looked.filed.format
    return Path(looked.name).suffix.lower() if fits else f".{looked.filed.format.lower()}"


def judged_of(looked: Looked) -> Judged:
    """What sorting out doubles needs of a picture; not its bytes."""
    from borelog.stills.doubles import Judged

    return Judged(looked.filed.sha256, looked.hash, looked.sharpness, looked.useless, looked.small)


def still_named(inspection: Inspection, text: str) -> Recorded[StillFiled]:
    """The still whose digest or name begins with ``text``.

    Raises
    ------
    FilingError
        If none or several do.
    """
    wanted = text.strip().lower()
    hits = [
        r
        for r in inspection.of(StillFiled)
        if r.body.sha256.startswith(wanted) or r.body.name.lower().startswith(wanted)
    ]
    if len(hits) == 1:
        return hits[0]
    raise FilingError(
        f"{'several stills begin' if hits else 'no still begins'} with {one_line(text, 40)!r}; 'borelog show' lists them"
    )


def placed_of(inspection: Inspection, still: str) -> StillPlaced:
    """Where a still is filed; an empty placing where it is filed nowhere."""
    return next(
        (r.body for r in inspection.of(StillPlaced) if r.body.still == still), StillPlaced(still=still)
    )


def pixels_of(bench: Bench, still: str) -> Any:
    """The upright original, (H, W, 3) uint8 in the order blue, green, red."""
    from borelog.stills.intake import decode_file

    return decode_file(bench.journal.pictures.path(still))[0]


def stills_named(inspection: Inspection, names: Sequence[str]) -> list[str]:
    """The digests of stills by name or beginning of their digest; 'A..B' is the run from A to B as they were filed.

    Raises
    ------
    FilingError
        As `still_named`.
    """
    order = [r.body.sha256 for r in inspection.of(StillFiled)]
    found: list[str] = []
    for name in names:
        first, dots, last = name.partition("..")
        if dots and first and last:
            a, b = (order.index(still_named(inspection, x).body.sha256) for x in (first, last))
            found += order[min(a, b) : max(a, b) + 1]
        else:
            found.append(still_named(inspection, name).body.sha256)
    return list(dict.fromkeys(found))


def place_still(bench: Bench, inspection_id: str, still: str, **changes: object) -> StillPlaced:
    """File a still elsewhere, or set it aside: what is not named stays as it is."""
    inspection = bench.inspection(inspection_id)
    body = msgspec.structs.replace(placed_of(inspection, still), **changes)
    check_cylinder(inspection, body.cylinder)
    check_place(body.cylinder, body.place)
    bench.append(inspection_id, [(body, "")])
    return body


def shift_run(bench: Bench, inspection_id: str, stills: Sequence[str], by: int) -> int:
    """Move a run of stills by so many cylinders in the engine's order, in one transaction; returns how many moved."""
    inspection = bench.inspection(inspection_id)
    order = cylinders_of(inspection)
    now = {r.body.still: r.body for r in inspection.of(StillPlaced)}
    bodies = []
    for still in stills:
        body = now.get(still)
        if body and body.cylinder in order:
            at = order.index(body.cylinder) + by
            if not 0 <= at < len(order):
                raise FilingError(
                    f"the run would go past cylinder {order[-1] if by > 0 else order[0]}; shift a shorter run"
                )
            bodies.append((msgspec.structs.replace(body, cylinder=order[at]), ""))
    if bodies:
        bench.append(inspection_id, bodies)
    return len(bodies)


def thumbnails_of(bench: Bench, stills: Iterable[str]) -> Iterator[tuple[str, Path | None]]:
    """Each still with its thumbnail's file, those missing made on two threads; None where a still cannot be shown."""
    from borelog.stills.thumbs import thumbnails

    pictures = bench.journal.pictures
    wanted = list(stills)
    missing = [s for s in wanted if pictures.thumb(s) is None]
    yield from ((s, pictures.thumb(s)) for s in wanted if s not in missing)
    made = thumbnails((s, lambda s=s: _bytes_of(bench, s)) for s in missing)  # type: ignore[misc]
    for still, data in made:
        yield still, pictures.set_thumb(still, data) if isinstance(data, bytes) else None


def _bytes_of(bench: Bench, still: str) -> bytes:
    from borelog.stills import StillError

    try:
        return bench.journal.pictures.read(still)
    except BorelogError as error:
        raise StillError(str(error)) from error


def thumbnail_of(bench: Bench, still: str) -> Path | None:
    """The thumbnail's file, made where it is missing; None where the still is gone or cannot be shown."""
    from borelog.stills import StillError
    from borelog.stills.thumbs import thumbnail

    try:
        return bench.journal.pictures.thumb(still, lambda path: thumbnail(path.read_bytes(), name=path.name))
    except (StillError, BorelogError):
        return None
