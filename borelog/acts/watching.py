"""Watching a folder: each new picture goes to where the person is at, half-written ones are waited for."""

from __future__ import annotations

import hashlib
import shlex
import threading
import time
from collections import deque
from collections.abc import Iterator
from pathlib import Path

from borelog.acts.bench import Bench
from borelog.acts.filing import Filed, FilingError, Refused, file_one, look_at, probe_of
from borelog.acts.whereabouts import Spot, is_at
from borelog.logbook.entries import StillFiled, StillPlaced
from borelog.text import one_line

_REMEMBERED = 200
"""Places the person was at that are kept; a picture takes seconds to be written, not hours."""


def watch(
    bench: Bench,
    inspection_id: str,
    folder: Path,
    stop: threading.Event,
    *,
    spot: Spot | None = None,
    probe: str = "",
) -> Iterator[Filed | Refused | None]:
    """File new pictures of a folder until ``stop`` is set; yields each, and None after every look.

    A new film is not filed: it is told once, with the command that does.

    Parameters
    ----------
    spot
        Where everything goes; None: to where the person was when the picture first appeared, which may change while
        this runs.
    probe
        Name of the probe the pictures come from; its mirror and roll go with them.
    """
    from borelog.stills.arrivals import arrivals

    if not folder.is_dir():
        raise FilingError(f"{folder.name} is no folder; name the one the camera saves into")
    been: deque[tuple[float, Spot | None]] = deque([(time.monotonic(), is_at(bench))], _REMEMBERED)
    looked = time.monotonic()
    for arrival in arrivals(folder, stop):
        if arrival is None:
            # A move since the last look counts from that look on: a picture seen with it belongs to the new place.
            if (now := is_at(bench)) != been[-1][1]:
                been.append((looked, now))
            looked = time.monotonic()
            yield None
        elif arrival.film:
            yield Refused(one_line(arrival.path.name, 200), _film_words(bench, inspection_id, arrival.path))
        elif arrival.why:
            yield Refused(arrival.path.name, arrival.why)
        else:
            at = spot or next((s for t, s in reversed(been) if t <= arrival.seen), been[0][1])
            yield _file(bench, inspection_id, arrival.path, at, probe)


def _film_words(bench: Bench, inspection_id: str, path: Path) -> str:
    number = next((s.number for s in bench.journal.summaries() if s.id == inspection_id), None)
    named = shlex.quote(one_line(str(path), 400))
    return f"is a film; file its sharp, different frames with: borelog film {number or inspection_id} {named}"


def _file(bench: Bench, inspection_id: str, path: Path, spot: Spot | None, probe: str) -> Filed | Refused:
    looked = next(iter(look_at([path])))
    if isinstance(looked, Refused):
        return looked
    at = spot or Spot(inspection_id)
    if at.inspection != inspection_id:
        at = Spot(inspection_id)
    inspection = bench.inspection(inspection_id)
    noted = probe_of(inspection, probe)
    known = {r.body.sha256 for r in inspection.of(StillFiled)}
    again = hashlib.sha256(looked.data).hexdigest() in known
    placed = StillPlaced(
        still=looked.filed.sha256,
        cylinder=at.cylinder,
        place=at.place,
        mirror=bool(noted and noted.mirror),
        roll=noted.roll if noted else 0.0,
        probe=probe,
        aside=looked.useless,
    )
    if not again:
        file_one(bench, inspection_id, looked, placed)
    return Filed(
        looked.name, looked.filed.sha256, at.cylinder, at.place, looked.useless, again, looked.remarks
    )
