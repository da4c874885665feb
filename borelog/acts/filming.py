"""A film of the probe into the record: kept whole, its sharp and different frames filed as stills beside it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from borelog.acts.bench import Bench
from borelog.acts.filing import (
    Added,
    Filed,
    Looked,
    check_cylinder,
    check_place,
    file_one,
    probe_of,
)
from borelog.logbook.entries import StillFiled, StillPlaced
from borelog.marks.places import Place
from borelog.text import one_line


def add_film(
    bench: Bench,
    inspection_id: str,
    path: Path,
    *,
    cylinder: int | None = None,
    place: Place | None = None,
    probe: str = "",
    most: int = 24,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Added:
    """Keep a film and file its sharp, different frames, each exactly as the frame was.

    The film is read by a child process of bounded memory, so that no film can take the program down; its bytes go to
    the store in pieces, whatever its length.

    Raises
    ------
    StillError
        When it is no film, or breaks the reader; nothing is filed then.
    """
    from borelog.stills.doubles import phash
    from borelog.stills.filmguard import pick_apart
    from borelog.stills.intake import encode

    inspection = bench.inspection(inspection_id)
    check_cylinder(inspection, cylinder)
    check_place(cylinder, place)
    noted = probe_of(inspection, probe)
    mirror, roll = bool(noted and noted.mirror), noted.roll if noted else 0.0
    name = one_line(path.name, 160)
    known = {r.body.sha256 for r in inspection.of(StillFiled)}
    picks = list(pick_apart(path, most, lambda done, total: progress(done, total or done + 1)))
    size = path.stat().st_size
    film = bench.journal.pictures.put_file(path, path.suffix.lower())
    if film not in known:
        form = path.suffix.lstrip(".").upper() or "AVI"
        body = StillFiled(sha256=film, name=name, size=size, format=form)
        aside = StillPlaced(
            still=film, cylinder=cylinder, place=place, aside="film: its frames are filed beside it"
        )
        bench.append(inspection_id, [(body, ""), (aside, "")])
    filed: list[Filed] = []
    for p in picks:
        png = encode(p.image, "PNG")
        height, width = p.image.shape[:2]
        still = StillFiled(
            sha256=hashlib.sha256(png).hexdigest(),
            name=f"{Path(name).stem}-{p.frame:05d}.png",
            size=len(png),
            format="PNG",
            width=width,
            height=height,
            source=f"frame {p.frame} of {name} ({film[:12]}), {p.seconds:.2f} s by its own clock",
        )
        looked = Looked(still.name, png, still, p.score, phash(p.image), "", (), 0.0)
        again = still.sha256 in known
        placed = StillPlaced(
            still=still.sha256, cylinder=cylinder, place=place, mirror=mirror, roll=roll, probe=probe
        )
        file_one(bench, inspection_id, looked, placed, again=again)
        filed.append(Filed(still.name, still.sha256, cylinder, place, "", again))
    return Added(tuple(filed), ())
