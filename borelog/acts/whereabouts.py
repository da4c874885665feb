"""Where the person is at: the cylinder and place to which the next pictures go. A scratch note, not an entry."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.acts.bench import Bench
from borelog.acts.filing import FilingError, check_cylinder
from borelog.marks.places import Place


@dataclass(frozen=True, slots=True)
class Spot:
    """An inspection, a cylinder (None: the engine) and a place (None: not said)."""

    inspection: str
    cylinder: int | None = None
    place: Place | None = None


def be_at(bench: Bench, spot: Spot) -> None:
    """Note where the person is at.

    Raises
    ------
    FilingError
        If the engine has no such cylinder, or the logbook's folder cannot be written.
    """
    check_cylinder(bench.inspection(spot.inspection), spot.cylinder)
    place = spot.place or Place("")
    noted = bench.journal.set_whereabouts(
        {
            "inspection": spot.inspection,
            "cylinder": spot.cylinder,
            "view": place.view,
            "side": place.side,
            "height": place.height,
        }
    )
    if not noted:
        raise FilingError(
            "where you are could not be noted: the logbook's folder cannot be written; name the cylinder with each picture"
        )


def is_at(bench: Bench) -> Spot | None:
    """Where the person was noted last; None if nowhere."""
    w = bench.journal.whereabouts()
    inspection, cylinder, view = w.get("inspection"), w.get("cylinder"), w.get("view")
    if not isinstance(inspection, str):
        return None
    place = Place(str(view), str(w.get("side") or ""), str(w.get("height") or "")) if view else None
    return Spot(inspection, cylinder if isinstance(cylinder, int) else None, place)
