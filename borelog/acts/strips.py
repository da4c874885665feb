"""One place over its dates: the stills of it in this inspection and in earlier looks at the same engine, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from borelog.acts.bench import Bench
from borelog.acts.filing import FilingError, Progress, check_cylinder, check_place
from borelog.acts.outputs import write_made
from borelog.logbook.entries import Opened, StillFiled, StillPlaced
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Place, place_words
from borelog.text import BorelogError, one_line

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST = 12
_BACK = 24
"""Earlier looks followed at most; a ring of links must end."""


@dataclass(frozen=True, slots=True)
class Dated:
    """A still of the place: its digest, the date claimed for it, where the date is from, its file name, its turn."""

    still: str
    at: str
    clock: str
    name: str
    mirror: bool = False
    roll: float = 0.0


@dataclass(frozen=True, slots=True)
class Strip:
    """The strip as a picture, what it shows in a line, its stills, and what could not be laid on the latest."""

    image: NDArray[np.uint8]
    words: str
    stills: tuple[Dated, ...]
    remarks: tuple[str, ...]


def stills_at(bench: Bench, inspection_id: str, place: Place, cylinder: int | None) -> tuple[Dated, ...]:
    """Every still of a place, oldest first; by the camera's clock where it went, else by when it was filed."""
    found: list[Dated] = []
    seen: set[str] = set()
    id_ = inspection_id
    for _ in range(_BACK):
        try:
            inspection = bench.inspection(id_)
        except BorelogError:
            break
        found += [d for d in _of_one(inspection, place, cylinder) if d.still not in seen]
        seen |= {d.still for d in found}
        opened = inspection.of(Opened)
        earlier = opened[-1].body.earlier if opened else ""
        if not earlier or earlier == id_:
            break
        id_ = earlier
    return tuple(sorted(found, key=lambda d: d.at))


def _of_one(inspection: Inspection, place: Place, cylinder: int | None) -> list[Dated]:
    filed = {r.body.sha256: r for r in inspection.of(StillFiled)}
    out = []
    for r in inspection.of(StillPlaced):
        p, still = r.body, filed.get(r.body.still)
        same = p.cylinder == cylinder and p.place is not None and _within(p.place, place)
        if still is None or not same or p.aside or p.still in inspection.forgotten:
            continue
        taken = still.body.taken[:16].replace("T", " ")
        at = taken or still.version.at[:16].replace("T", " ")
        out.append(Dated(p.still, at, "camera" if taken else "filed", still.body.name, p.mirror, p.roll))
    return out


def _within(one: Place, asked: Place) -> bool:
    """Whether a place is the one asked for; what was not asked (side, height) may be any."""
    return one.view == asked.view and asked.side in ("", one.side) and asked.height in ("", one.height)


def strip_of(
    bench: Bench,
    inspection_id: str,
    place: Place,
    cylinder: int | None = None,
    *,
    height: int = 480,
    lay: bool = True,
    progress: Progress = lambda done, total: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Strip:
    """The strip of a place, the older ones laid on the latest where they can be.

    Raises
    ------
    FilingError
        With fewer than two stills of the place.
    """
    from borelog.stills import StillError
    from borelog.stills.align import align, warp
    from borelog.stills.compare import strip
    from borelog.stills.intake import decode_file

    check_cylinder(bench.inspection(inspection_id), cylinder)
    check_place(cylinder, place)
    dated = stills_at(bench, inspection_id, place, cylinder)
    where = place_words(place) + (f" of cylinder {cylinder}" if cylinder is not None else "")
    if len(dated) < 2:
        raise FilingError(
            f"a strip needs two stills of {where}; there is {'one' if dated else 'none'}. "
            "File them to the same place, or name the earlier look at this engine"
        )
    remarks = [f"the {MOST} latest of {len(dated)} are shown"] if len(dated) > MOST else []
    dated = dated[-MOST:]
    latest, _ = decode_file(bench.journal.pictures.path(dated[-1].still))
    pictures, names = [], []
    for number, d in enumerate(dated[:-1], 1):
        image, _ = decode_file(bench.journal.pictures.path(d.still))
        laid = False
        if lay:
            try:
                found = align(
                    image, latest, "fast",
                    mirror=d.mirror != dated[-1].mirror,
                    roll_deg=(d.roll - dated[-1].roll) or None,
                    cancelled=cancelled,
                )  # fmt: skip
                laid = found.accepted
                image = warp(image, found) if laid else image
            except StillError:
                if cancelled():
                    raise
        if lay and not laid:
            remarks.append(
                f"{one_line(d.name, 40)} ({d.at}) does not lie on the latest; it is shown as it came"
            )
        pictures.append(image)
        names.append(d.at if laid or not lay else f"{d.at} as it came")
        progress(number, len(dated))
    image = strip([*pictures, latest], [*names, dated[-1].at], height)
    progress(len(dated), len(dated))
    if any(d.clock == "filed" for d in dated):
        remarks.append("dates without a camera's clock are those of filing")
    words = f"{where}: {len(dated)} stills, {dated[0].at} to {dated[-1].at}"
    return Strip(image, words, dated, tuple(remarks))


def write_strip(strip: Strip, path: Path) -> Path:
    """Write a strip as PNG.

    Raises
    ------
    OutputError
        Where the file cannot be written, or one of the strip's own stills is there.
    """
    from borelog.stills.compare import png

    if path.is_dir():
        path = path / "strip.png"
    return write_made(path, png(strip.image), never=[d.still for d in strip.stills])
