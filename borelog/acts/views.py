"""Which view a still may show, proposed from what a person has filed on this engine before; filed only when accepted."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from borelog.acts.bench import Bench
from borelog.acts.filing import thumbnail_of
from borelog.logbook.entries import StillFiled, StillPlaced
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Place, views

if TYPE_CHECKING:
    from borelog.stills.seen import Seen


def known_views(bench: Bench, inspection: Inspection) -> list[tuple[Seen, str]]:
    """What each still looks like that a person has filed to a view, with that view."""
    out = []
    for r in inspection.of(StillPlaced):
        place = r.body.place
        if place is None or r.body.aside or place.view not in views():
            continue
        seen = _seen(bench, r.body.still)
        if seen is not None:
            out.append((seen, place.view))
    return out


def proposed_views(
    bench: Bench,
    inspection_id: str,
    stills: Iterable[str] = (),
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> dict[str, tuple[str, float]]:
    """For stills without a place (all of them where none is named) the view each may show, and how sure (0 to 1).

    A still unlike everything filed so far is left out; so is everything while nothing has been filed to a view.
    """
    from borelog.stills.seen import propose_views

    inspection = bench.inspection(inspection_id)
    placed = {r.body.still: r.body for r in inspection.of(StillPlaced)}
    asked = list(stills) or [r.body.sha256 for r in inspection.of(StillFiled)]
    open_ = [s for s in asked if (p := placed.get(s)) is None or (p.place is None and not p.aside)]
    known = known_views(bench, inspection)
    if not known:
        return {}
    seen: list[tuple[str, Seen]] = []
    for number, still in enumerate(open_, 1):
        if (one := _seen(bench, still)) is not None:
            seen.append((still, one))
        progress(number, len(open_))
    found = propose_views([one for _, one in seen], known)
    return {still: (view, sure) for (still, _), (view, sure) in zip(seen, found, strict=True) if view}


def spot_of(view: str, cylinder: int | None) -> tuple[int | None, Place]:
    """Cylinder and place for a view: a view of the engine as a whole (gauge, plug tray) has no cylinder."""
    return (cylinder if views()[view].scope == "cylinder" else None), Place(view)


def _seen(bench: Bench, still: str) -> Seen | None:
    from borelog.stills import StillError
    from borelog.stills.intake import decode
    from borelog.stills.seen import see

    thumb: Path | None = thumbnail_of(bench, still)
    if thumb is None:
        return None
    try:
        return see(decode(thumb.read_bytes(), thumb.name)[0])
    except (StillError, OSError):
        return None
