"""Spark plugs as witnesses: state, specks, gap and ceramic, the odd one out, and what the set says together."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.quantity import plain_number
from borelog.readings.errors import ReadingError

# Wear of a nickel electrode, mm for 10 000 km (plug maker training text).
NICKEL_WEAR = (0.10, 0.15)
# A gap this much over specification is worn (small-engine maker page: 0.010 in).
WORN_OVER = 0.25
# A gap under this share of specification is closed; common practice.
CLOSED_UNDER = 0.6


@dataclass(frozen=True, slots=True)
class PlugState:
    """One plug: states of the plug table ('' not looked at), ``gap_mm`` None when not measured."""

    cylinder: int
    deposit: str = ""
    specks: str = ""
    ceramic: str = ""
    gap_mm: float | None = None


@dataclass(frozen=True, slots=True)
class PlugWord:
    """A row of the plug table: what it looks like and what it points to."""

    item: str
    state: str
    words: str
    points_to: str
    source: str


@lru_cache(maxsize=1)
def plug_words() -> dict[tuple[str, str], PlugWord]:
    """The plug table by (item, state)."""
    columns = ("item", "state", "words", "points_to", "source")
    return {
        (r["item"], r["state"]): PlugWord(*(r[c] for c in columns))
        for r in tables.rows("plug_states.csv", *columns)
    }


def make_plug(plug: PlugState) -> PlugState:
    """A checked plug; `ReadingError` for a state that is not in the table or a gap that cannot be."""
    for item, state in (
        ("plug_deposit", plug.deposit),
        ("plug_specks", plug.specks),
        ("plug_ceramic", plug.ceramic),
    ):
        if state and (item, state) not in plug_words():
            known = ", ".join(s for i, s in plug_words() if i == item)
            raise ReadingError(
                f"cylinder {plug.cylinder}: {state!r} is no {item.replace('_', ' ')}: choose {known}"
            )
    if plug.gap_mm is not None and not 0 <= plug.gap_mm <= 6:
        raise ReadingError(
            f"cylinder {plug.cylinder}: a gap of {plug.gap_mm:g} mm is no plug's: type 0 to 6 mm"
        )
    return plug


@dataclass(frozen=True, slots=True)
class GapJudgement:
    """A gap against specification and distance.

    ``state`` is 'in_spec', 'worn_wide' or 'closed_hammered'; ``grown_mm`` over specification; ``expected_mm``
    the growth the distance explains (nickel only), None otherwise; ``words`` for a person.
    """

    state: str
    grown_mm: float
    expected_mm: tuple[float, float] | None
    words: str


def expected_wear(distance_km: float, electrode: str = "nickel") -> tuple[float, float] | None:
    """Growth of the gap in mm, least and most, over a distance; None for metals without a published rate."""
    if distance_km < 0 or not math.isfinite(distance_km):
        raise ReadingError("a distance driven is 0 km or more")
    if electrode != "nickel":
        return None
    return NICKEL_WEAR[0] * distance_km / 10_000, NICKEL_WEAR[1] * distance_km / 10_000


def judge_gap(
    gap_mm: float, spec_mm: float, distance_km: float | None = None, electrode: str = "not known"
) -> GapJudgement:
    """A measured gap against specification (mm) and, for nickel plugs, against the distance driven (km).

    Worn at 0.25 mm over specification; closed under 60 % of it.
    """
    if spec_mm <= 0:
        raise ReadingError("the specified gap must be above 0 mm")
    grown = gap_mm - spec_mm
    state = "in_spec"
    if gap_mm < CLOSED_UNDER * spec_mm:
        state = "closed_hammered"
    elif grown >= WORN_OVER - 1e-9:
        state = "worn_wide"
    words = (
        f"{plain_number(gap_mm, 3)} mm against {plain_number(spec_mm, 3)} mm: "
        + {
            "in_spec": "within bounds",
            "worn_wide": "worn wide",
            "closed_hammered": "closed or hammered",
        }[state]
    )
    expected = expected_wear(distance_km, electrode) if distance_km is not None else None
    if expected is not None and state != "closed_hammered":
        low, high = expected
        told = f"{plain_number(low, 2)} to {plain_number(high, 2)} mm of growth"
        if grown > high + 0.1:
            words += f"; the distance explains {told} only: driven further, set wide, or hot"
        elif grown < low - 0.1:
            words += f"; the distance asks for {told}: younger plugs than told, or re-gapped"
        else:
            words += f"; fits the distance ({told})"
    elif distance_km is not None and expected is None:
        words += f"; no published wear rate for {electrode} electrodes"
    return GapJudgement(state, grown, expected, words)


@dataclass(frozen=True, slots=True)
class PlugSet:
    """All plugs together.

    ``odd`` cylinders whose deposit differs from all others' common one; ``metal`` cylinders with metal spray;
    ``remarks`` what follows, most telling first.
    """

    odd: tuple[int, ...]
    metal: tuple[int, ...]
    remarks: tuple[str, ...]


def odd_ones(plugs: Sequence[PlugState]) -> tuple[int, ...]:
    """Cylinders whose deposit differs from the one that at least two thirds of three or more plugs share."""
    seen = {p.cylinder: p.deposit for p in plugs if p.deposit}
    if len(seen) < 3:
        return ()
    common, count = Counter(seen.values()).most_common(1)[0]
    return tuple(c for c, d in seen.items() if d != common) if 3 * count >= 2 * len(seen) else ()


def judge_plugs(plugs: Sequence[PlugState], gaps: Mapping[int, GapJudgement] | None = None) -> PlugSet:
    """What the set of plugs says (FAA AC 43.13-1B para 8-16 for metal spray and fused electrodes)."""
    for plug in plugs:
        make_plug(plug)
    looked = [p for p in plugs if p.specks]
    metal = tuple(p.cylinder for p in looked if p.specks == "aluminium_beads")
    remarks: list[str] = []
    if metal and len(metal) == len(looked) and len(looked) > 1:
        remarks.append(
            "metal spray alike on every plug: the failing part is upstream of the cylinders (induction, charger)"
        )
    elif metal:
        which = ", ".join(map(str, metal))
        remarks.append(
            f"metal spray on {which} only: a part in that cylinder is failing, mostly the piston: look inside"
        )
    for p in plugs:
        if p.ceramic == "electrode_melted":
            remarks.append(f"cylinder {p.cylinder}: fused electrode, cylinder and piston must be examined")
        if p.ceramic == "flashover":
            remarks.append(
                f"cylinder {p.cylinder}: flashover comes from the plug well, not from inside the engine"
            )
        gap = (gaps or {}).get(p.cylinder)
        if gap is not None and gap.state == "closed_hammered":
            remarks.append(
                f"cylinder {p.cylinder}: gap closed, something may have touched it: camera before cranking again"
            )
    odd = odd_ones(plugs)
    for cylinder in odd:
        deposit = next(p.deposit for p in plugs if p.cylinder == cylinder)
        word = plug_words()["plug_deposit", deposit]
        remarks.append(f"cylinder {cylinder} is the odd one out: {word.words} - {word.points_to}")
    return PlugSet(odd, metal, tuple(remarks))


@dataclass(frozen=True, slots=True)
class Thread:
    """A plug thread, mm: basic diameters by the ISO 724 formulas; ten pitches are a scale in a picture."""

    name: str
    diameter: float
    pitch: float
    hex: float

    @property
    def pitch_diameter(self) -> float:
        """d2 = d - 0.649519 P."""
        return self.diameter - 0.649519 * self.pitch

    @property
    def minor_diameter(self) -> float:
        """D1 = d - 1.082532 P."""
        return self.diameter - 1.082532 * self.pitch

    @property
    def root_diameter(self) -> float:
        """d3 = d - 1.226869 P."""
        return self.diameter - 1.226869 * self.pitch


@lru_cache(maxsize=1)
def threads() -> dict[str, Thread]:
    """Plug threads of ISO 28741 by name ('M14x1.25')."""
    return {
        r["name"]: Thread(r["name"], float(r["diameter_mm"]), float(r["pitch_mm"]), float(r["hex_mm"]))
        for r in tables.rows("plug_threads.csv", "name", "diameter_mm", "pitch_mm", "hex_mm", "source")
    }
