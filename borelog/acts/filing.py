"""Pictures into the record: taken in whole, kept byte for byte, filed to a cylinder and place, doubles set aside."""

from __future__ import annotations

import glob
import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.overview import cylinders_of
from borelog.logbook.entries import Probe, StillFiled, StillPlaced
from borelog.logbook.inspection import Inspection, Recorded
from borelog.marks.places import Place, views
from borelog.text import BorelogError, one_line

Progress = Callable[[int, int], None]


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
    """One picture looked at before filing: its bytes, facts, quality and fingerprints."""

    name: str
    data: bytes
    filed: StillFiled
    sharpness: float
    hash: int
    useless: str
    remarks: tuple[str, ...]
    modified: float


SUFFIXES = (".jpg", ".jpeg", ".jpe", ".png", ".bmp", ".tif", ".tiff", ".webp", ".avif", ".heic", ".heif")


def expand(names: Iterable[str]) -> list[Path]:
    """Files, folders (their pictures, by name) and patterns as a list of files, each once, in the order given."""
    found: list[Path] = []
    for name in names:
        path = Path(name)
        if path.is_dir():
            found += sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES)
        elif any(c in name for c in "*?[") and not path.exists():
            found += sorted(Path(p) for p in glob.glob(name, recursive=True))
        else:
            found.append(path)
    return list(dict.fromkeys(found))


def look_at(
    paths: Sequence[Path], progress: Progress = lambda done, total: None
) -> Iterator[Looked | Refused]:
    """Read and check each picture; a picture that would take the program down is tried in a child process first."""
    from borelog.stills import StillError
    from borelog.stills.doubles import phash
    from borelog.stills.guard import Guard
    from borelog.stills.intake import decode, read_file
    from borelog.stills.quality import judge

    with Guard() as guard:
        for number, path in enumerate(paths, 1):
            name = one_line(path.name, 200)
            try:
                data = read_file(path)
                facts = guard.check(data, name)
                pixels, _ = decode(data, name, longest=1280)
                quality = judge(pixels)
            except StillError as error:
                yield Refused(name, str(error))
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
            )
            progress(number, len(paths))


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
    paths = expand(names)
    if not paths:
        raise FilingError(
            "no picture is there under these names; name files, a folder, or a pattern in quotes"
        )
    filed: list[Filed] = []
    refused: list[Refused] = []
    judged: list[Looked] = []
    for looked in look_at(paths, progress):
        if isinstance(looked, Refused):
            refused.append(looked)
            continue
        aside = _aside(judged, looked) if sort_doubles else looked.useless
        judged.append(looked)
        again = looked.filed.sha256 in there
        placed = StillPlaced(
            still=looked.filed.sha256,
            cylinder=cylinder,
            place=place,
            mirror=mirror or bool(known and known.mirror),
            roll=known.roll if known else 0.0,
            probe=probe,
            reading=reading,
            aside=aside,
        )
        file_one(bench, inspection_id, looked, placed, again=again)
        there.add(looked.filed.sha256)
        filed.append(Filed(looked.name, looked.filed.sha256, cylinder, place, aside, again, looked.remarks))
    return Added(tuple(filed), tuple(refused))


def file_one(
    bench: Bench, inspection_id: str, looked: Looked, placed: StillPlaced, *, again: bool = False
) -> None:
    """One looked-at picture: bytes first, then its entries in one transaction."""
    suffix = Path(looked.name).suffix.lower()
    bench.journal.pictures.put(
        looked.data, suffix if suffix in SUFFIXES else f".{looked.filed.format.lower()}"
    )
    bodies = [] if again else [(looked.filed, "")]
    bench.append(inspection_id, [*bodies, (placed, "")])


def _aside(before: list[Looked], looked: Looked) -> str:
    """Why the newest of a run is set aside: useless, or a double of one that is as sharp."""
    from borelog.stills.doubles import Judged, sort_out

    run = [Judged(x.filed.sha256, x.hash, x.sharpness, x.useless) for x in (*before, looked)]
    for entry in sort_out(run):
        if entry.index == len(run) - 1:
            return entry.reason
    return ""


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


def place_still(bench: Bench, inspection_id: str, still: str, **changes: object) -> StillPlaced:
    """File a still elsewhere, or set it aside: what is not named stays as it is."""
    inspection = bench.inspection(inspection_id)
    now = next(
        (r.body for r in inspection.of(StillPlaced) if r.body.still == still), StillPlaced(still=still)
    )
    body = msgspec.structs.replace(now, **changes)
    check_cylinder(inspection, body.cylinder)
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


def thumbnail_of(bench: Bench, still: str) -> Path | None:
    """The thumbnail's file, made where it is missing; None where the still is gone or cannot be shown."""
    from borelog.stills import StillError
    from borelog.stills.thumbs import thumbnail

    try:
        return bench.journal.pictures.thumb(still, lambda path: thumbnail(path.read_bytes(), name=path.name))
    except (StillError, BorelogError):
        return None
