"""Where a still or a finding is, and how far each place has been looked at.

Sides are named after the engine, not after the picture, because the camera's roll is unknown: intake, exhaust, front
(timing-drive end), rear (gearbox end). Heights are the top, middle and bottom band of the bore.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import msgspec

from borelog.knowledge import tables
from borelog.text import BorelogError, one_line

SIDES = ("intake", "exhaust", "front", "rear")
HEIGHTS = ("top", "middle", "bottom")


class PlaceError(BorelogError):
    """A place that does not exist."""

    exit_code = 4


class Looked(StrEnum):
    """How far a place, or a test, has come. A blank is never 'nothing found'."""

    NOT_LOOKED = "not looked"
    NOTHING = "looked, nothing"
    FOUND = "found"
    COULD_NOT_SEE = "could not see"
    NOT_POSSIBLE = "not possible"


class Place(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A view with, where it has them, a side and a height. Empty side or height means 'not said'."""

    view: str
    side: str = ""
    height: str = ""


@dataclass(frozen=True, slots=True)
class View:
    """One row of the table of views."""

    id: str
    label: str
    scope: str
    has_sides: bool
    has_heights: bool
    why: str


@lru_cache(maxsize=1)
def views() -> dict[str, View]:
    """All views by id, in the order in which they are usually taken."""
    return {
        r["view"]: View(
            r["view"], r["label"], r["scope"], r["sides"] == "yes", r["heights"] == "yes", r["why"]
        )
        for r in tables.rows("places.csv", "view", "label", "scope", "sides", "heights", "why")
    }


def parse_place(text: str) -> Place:
    """A place from words in any order: 'bore exhaust top', 'exhaust valve', 'plug tray', 'crown'.

    Raises
    ------
    PlaceError
        For a word that is no view, side or height; names the words that are.
    """
    words = text.replace("_", " ").replace("/", " ").replace(",", " ").lower().split()
    joined = " ".join(words)
    names = {v.id.replace("_", " "): v.id for v in views().values()} | {
        v.label: v.id for v in views().values()
    }
    for name in sorted(names, key=len, reverse=True):
        if f" {name} " in f" {joined} ":
            rest = f" {joined} ".replace(f" {name} ", " ", 1).split()
            view = views()[names[name]]
            side = next((w for w in rest if w in SIDES), "")
            height = next((w for w in rest if w in HEIGHTS), "")
            strange = [w for w in rest if w not in (side, height, "side", "band")]
            if strange or (side and not view.has_sides) or (height and not view.has_heights):
                break
            return Place(view.id, side, height)
    raise PlaceError(
        f"no place {one_line(text, 60)!r}; say one of {', '.join(v.label for v in views().values())}, "
        f"for the bore with a side ({', '.join(SIDES)}) and a height ({', '.join(HEIGHTS)})"
    )


def place_words(place: Place) -> str:
    """The place in words, e.g. 'bore wall, exhaust side, top band'."""
    view = views().get(place.view)
    parts = [view.label if view else place.view]
    if place.side:
        parts.append(f"{place.side} side" if place.side in ("intake", "exhaust") else place.side)
    if place.height:
        parts.append(f"{place.height} band" if place.height != "middle" else "middle")
    return ", ".join(parts)


def grid_places(scope: str = "cylinder") -> tuple[Place, ...]:
    """Every place of the coverage grid for one cylinder, or for the engine as a whole."""
    out: list[Place] = []
    for view in views().values():
        if view.scope != scope:
            continue
        sides = SIDES if view.has_sides else ("",)
        heights = HEIGHTS if view.has_heights else ("",)
        out.extend(Place(view.id, side, height) for side in sides for height in heights)
    return tuple(out)
