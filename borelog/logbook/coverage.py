"""What was looked at: the state of every place, worked out once for every table, screen, command and pack."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache

from borelog.knowledge import tables
from borelog.logbook.entries import Finding, Looked, Seen, StillPlaced
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.marks.places import Place, grid_places, views
from borelog.marks.vocabulary import terms

STILL_ONLY = "still, not judged"
"""A still of the place is filed while nobody has said what it shows."""

ANSWERED = "answered, place not said"
"""A question about the whole view covers the place, and the answer was not the ordinary one."""

CAMERA = "camera"
"""The test that looks at every place; 'looked, nothing' of it is said of all of them at once."""

UNSEEN = (str(State.NOT_LOOKED), STILL_ONLY)
"""What counts as not looked at."""

At = tuple[str, str, str]
"""State, why (where it could not be seen) and the entry it rests on."""


def states(
    inspection: Inspection, of: Collection[int | None] | None = None
) -> dict[tuple[int | None, Place], At]:
    """The state of every place of which something is recorded; ``of`` limits it to some cylinders, None the engine.

    A finding stands before a look, a look before an answer, an answer before a still of which nobody said anything.
    """
    found: dict[tuple[int | None, Place], At] = {}
    for placed in inspection.of(StillPlaced):
        if placed.body.place and not placed.body.aside:
            found[placed.body.cylinder, placed.body.place] = (STILL_ONLY, "", placed.version.entry)
    for whole in inspection.of(Looked):
        if whole.body.test == CAMERA and whole.body.state == State.NOTHING:
            nothing = (str(State.NOTHING), whole.body.why, whole.version.entry)
            found |= {(whole.body.cylinder, p): nothing for p in places_of(inspection)}
    found |= _answered(inspection, of)
    for looked in inspection.of(Looked):
        if looked.body.place:
            at = (looked.body.state, looked.body.why, looked.version.entry)
            found[looked.body.cylinder, looked.body.place] = at
    for seen in inspection.of(Finding):
        if seen.body.place and (terms().get(seen.body.term) is None or seen.body.severity > 0):
            found[seen.body.cylinder, seen.body.place] = (str(State.FOUND), "", seen.version.entry)
    return found if of is None else {key: at for key, at in found.items() if key[0] in of}


def places_of(inspection: Inspection) -> tuple[Place, ...]:
    """The places of a cylinder that this engine has: an injector looks into the cylinder only where it injects there."""
    direct = "direct" in inspection.facts.get("injection", "")
    return tuple(p for p in grid_places() if p.view != "injector" or direct)


def unseen(inspection: Inspection, cylinder: int) -> tuple[Place, ...]:
    """The places of a cylinder at which nobody has looked, or said so."""
    here = states(inspection, (cylinder,))
    return tuple(p for p in places_of(inspection) if here.get((cylinder, p), UNSEEN)[0] in UNSEEN)


def coverage_of(inspection: Inspection, cylinder: int) -> tuple[int, int]:
    """Places of a cylinder that were looked at, and all its places."""
    total = len(places_of(inspection))
    return total - len(unseen(inspection, cylinder)), total


@cache
def _questions() -> tuple[dict[str, str], dict[str, str]]:
    """View that a question looks at, and each question's ordinary answer (its first)."""
    ordinary: dict[str, str] = {}
    for r in tables.rows("item_states.csv", "item", "state", "wording"):
        ordinary.setdefault(r["item"], r["state"])
    return {r["item"]: r["view"] for r in tables.rows("answered_views.csv", "item", "view")}, ordinary


def _answered(
    inspection: Inspection, of: Collection[int | None] | None
) -> dict[tuple[int | None, Place], At]:
    """Places that answered questions cover: an ordinary answer says 'nothing' of the whole view."""
    views_of, ordinary = _questions()
    out: dict[tuple[int | None, Place], At] = {}
    for r in inspection.of(Seen):
        view = views_of.get(r.body.item)
        if view is None or r.body.cylinder is None or (of is not None and r.body.cylinder not in of):
            continue
        plain = r.body.state == ordinary.get(r.body.item)
        state = str(State.NOTHING) if plain else ANSWERED if views()[view].has_sides else str(State.FOUND)
        for place in (p for p in grid_places() if p.view == view):
            key = (r.body.cylinder, place)
            if not plain or key not in out:
                out[key] = (state, "", r.version.entry)
    return out
