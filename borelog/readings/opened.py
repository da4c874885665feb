"""Where on a part a figure was taken once the engine is open, and what several figures of one part come to.

A place is what a person writes beside the cylinder: 'thrust', 'pin', 'top ring', 'piston', 'bank 2', 'main 3'.
Lengths in mm.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.quantity import plain_number
from borelog.readings.errors import ReadingError
from borelog.readings.parts import AXES, HEIGHTS, BoreMeasure, bore_result
from borelog.text import one_line


@dataclass(frozen=True, slots=True)
class Spot:
    """A row of the table of places: ``counts`` how many numbers may stand there (empty: any), ``order`` in which order."""

    test: str
    id: str
    words: tuple[str, ...]
    counts: tuple[int, ...]
    scope: str
    label: str
    order: str


@lru_cache(maxsize=1)
def spots() -> tuple[Spot, ...]:
    """All places, in the order of the table."""
    columns = ("test", "place", "words", "counts", "scope", "label", "order")
    return tuple(
        Spot(
            r["test"],
            r["place"],
            tuple(w for w in r["words"].split("|") if w),
            tuple(int(n) for n in r["counts"].split()),
            r["scope"],
            r["label"],
            r["order"],
        )
        for r in tables.rows("measured_places.csv", *columns)
    )


@lru_cache(maxsize=1)
def opened_tests() -> tuple[str, ...]:
    """The tests whose figures are taken on opened parts."""
    return tuple(dict.fromkeys(s.test for s in spots()))


_NUMBERED = re.compile(r"^(main(?: journal| bearing)?)\s*(\d{1,2})$")


def spot_named(test: str, text: str) -> str:
    """The place for what a person wrote: '' , 'thrust', 'pin top', 'bank 2', 'main 3'.

    Raises
    ------
    ReadingError
        For a place this part has not; the text lists those it has.
    """
    words = " ".join(re.sub(r"[_\-–]+", " ", text.lower()).split())
    mine = [s for s in spots() if s.test == test]
    if (numbered := _NUMBERED.match(words)) and any(s.id == "main" for s in mine):
        return f"main {int(numbered[2])}"
    height = next((h for h in HEIGHTS if h in words.split()), "") if test == "bore_diameter" else ""
    bare = " ".join(w for w in words.split() if w != height)
    for s in mine:
        if bare == s.id or bare in s.words:
            return f"{s.id} {height}".strip()
    there = ", ".join(s.id for s in mine if s.id) or "none"
    raise ReadingError(f"{one_line(text, 30)!r} is no place of this part: write {there}, or nothing")


def spot_of(test: str, place: str) -> Spot | None:
    """The row of a place as `spot_named` gives it; None for a height on its own or a test that knows no places."""
    base = (
        re.sub(rf"\s*({'|'.join(HEIGHTS)}|\d+)$", "", place) if place not in ("bank 1", "bank 2") else place
    )
    return next((s for s in spots() if (s.test, s.id) == (test, base)), None)


def count_question(test: str, place: str, count: int) -> str:
    """What to ask where another number of figures stands than the place takes; '' when it fits."""
    if place in HEIGHTS and count > 2:
        return f"{count} diameters at one height: write two, thrust axis and pin axis"
    spot = spot_of(test, place)
    if spot is None or not spot.counts or any(h in place for h in HEIGHTS):
        return ""
    if count in spot.counts:
        return ""
    if test == "bore_diameter":
        return (
            f"{count} diameters: write 'thrust' or 'pin' before them with top middle bottom, or all six in one line, "
            "thrust axis first"
        )
    told = f" ({spot.order})" if spot.order else ""
    return f"{count} figures: this place takes {', '.join(map(str, spot.counts))}{told}"


# Lengths that parts of road engines have, mm; common practice.
_SIZES = {
    "bore_diameter": (30.0, 200.0), "ring_gap": (0.0, 3.0), "piston_clearance": (0.0, 1.0), "deck_flatness": (0.0, 3.0),
    "head_flatness": (0.0, 3.0), "head_height": (30.0, 400.0), "journal_diameter": (15.0, 150.0),
}  # fmt: skip


def size_question(test: str, place: str, values_mm: Sequence[float]) -> str:
    """What to ask where a figure is none that such a part has; '' when it can be."""
    low, high = _SIZES["bore_diameter" if place == "piston" else test]
    odd = [v for v in values_mm if not low <= v <= high]
    if not odd:
        return ""
    return (
        f"{plain_number(odd[0], 5)} mm? Such a part has {low:g} to {high:g} mm: check the number and its unit"
    )


@dataclass(frozen=True, slots=True)
class Figure:
    """One derived figure of a part: ``quantity`` as in the limits table, ``value_mm``, ``differences`` True where it is the
    difference of two measured lengths.
    """

    quantity: str
    value_mm: float
    differences: bool = False


def bore_figures(taken: Mapping[str, Sequence[float]], nominal_mm: float | None) -> tuple[Figure, ...]:
    """Wear, taper, ovality, largest diameter and oversize of one bore, as far as what was measured goes.

    Parameters
    ----------
    taken
        Place ('thrust', 'pin', 'thrust top', '' ...) to diameters in mm. Three at an axis are top, middle, bottom; six at
        '' are both axes.
    nominal_mm
        The bore when new, None when not known.
    """
    at: dict[tuple[str, str], float] = {}
    loose: list[float] = []
    for place, values in taken.items():
        axis, _, height = place.partition(" ")
        if place == "" and len(values) == 6:
            at |= {(a, h): values[3 * i + k] for i, a in enumerate(AXES) for k, h in enumerate(HEIGHTS)}
        elif axis in AXES and not height and len(values) == 3:
            at |= {(axis, h): v for h, v in zip(HEIGHTS, values, strict=True)}
        elif axis in AXES and height in HEIGHTS:
            at[axis, height] = math.fsum(values) / len(values)
        elif place in HEIGHTS and len(values) == 2:
            at |= {("thrust", place): values[0], ("pin", place): values[1]}
        else:
            loose += values
    every = [*at.values(), *loose]
    if not every:
        return ()
    if len(at) == 6:
        thrust, pin = ((at[a, "top"], at[a, "middle"], at[a, "bottom"]) for a in AXES)
        result = bore_result(BoreMeasure(0, thrust, pin, nominal_mm))
        found = [
            Figure("wear", result.wear, True),
            Figure("taper", result.taper, True),
            Figure("ovality", result.ovality, True),
        ]
    else:
        found = []
        tapers = [max(v) - min(v) for a in AXES if len(v := [at[k] for k in at if k[0] == a]) >= 2]
        ovals = [abs(at["thrust", h] - at["pin", h]) for h in HEIGHTS if all((a, h) in at for a in AXES)]
        if tapers:
            found.append(Figure("taper", max(tapers), True))
        if ovals:
            found.append(Figure("ovality", max(ovals), True))
    found.append(Figure("diameter", max(every)))
    if nominal_mm is not None:
        found.append(Figure("oversize", max(0.0, max(every) - nominal_mm)))
    return tuple(found)


def bore_at_skirt(taken: Mapping[str, Sequence[float]]) -> float | None:
    """The diameter a piston skirt runs in: thrust axis, middle, where it was measured; else the mean of what was, mm."""
    if len(taken.get("", ())) == 6:
        return taken[""][1]
    if len(taken.get("thrust", ())) == 3:
        return taken["thrust"][1]
    if len(taken.get("middle", ())) == 2:
        return taken["middle"][0]
    every = [v for values in taken.values() for v in values]
    return math.fsum(every) / len(every) if every else None


def journal_figures(values: Sequence[float], name: str) -> tuple[Figure, ...]:
    """Smallest diameter of a journal, and taper and ovality where two or four diameters were taken.

    Two are upright and level at one place; four are the same at the front and at the rear.
    """
    found = [Figure(f"{name} diameter", min(values))]
    if len(values) in (2, 4):
        pairs = [values[i : i + 2] for i in range(0, len(values), 2)]
        found.append(Figure("ovality", max(abs(a - b) for a, b in pairs), True))
    if len(values) == 4:
        found.append(Figure("taper", max(abs(values[k] - values[k + 2]) for k in (0, 1)), True))
    return tuple(found)


@lru_cache(maxsize=1)
def _tools() -> tuple[tuple[str, float], ...]:
    return tuple(
        (r["words"], float(r["u_mm"])) for r in tables.rows("measuring_tools.csv", "words", "u_mm", "source")
    )


# Used where no instrument is noted: the tool that is usual for the test.
_USUAL_TOOL = {
    "bore_diameter": "bore gauge", "ring_gap": "feeler", "piston_clearance": "feeler", "deck_flatness": "feeler",
    "head_flatness": "feeler", "head_height": "depth gauge", "journal_diameter": "micrometer",
}  # fmt: skip


def tool_u(test: str, instrument: str) -> tuple[float, str]:
    """Standard uncertainty of one length in mm for the instrument noted, and what had to be assumed ('' for nothing)."""
    said = instrument.lower()
    for words, u in _tools():
        if words in said:
            return u, ""
    usual = _USUAL_TOOL[test]
    u = dict(_tools())[usual]
    why = "instrument not noted" if not said else f"{one_line(instrument, 30)!r} is no instrument known here"
    return u, f"{why}: {usual} taken, +-{plain_number(2 * u, 2)} mm"


# Oversizes in which pistons are sold, mm: 0.25 and 0.50 from a machine-shop page, the others from memory.
OVERSIZES = (0.25, 0.50, 0.75, 1.00)
# What boring and honing take at least beyond the largest worn diameter, mm; from memory.
TO_CLEAN_UP = 0.05


def rebore_words(nominal_mm: float, largest_mm: float) -> str:
    """Which oversize cleans a worn bore up; a sleeve where none does."""
    for step in OVERSIZES:
        if largest_mm + TO_CLEAN_UP <= nominal_mm + step + 1e-9:
            return f"cleans up at {step:.2f} mm over {plain_number(nominal_mm, 5)} mm, if the maker sells that piston"
    return f"too large for {OVERSIZES[-1]:.2f} mm over: a sleeve, or another block"
