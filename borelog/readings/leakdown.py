"""Leak-down: per cent from any pair of gauges, the aviation form, where the air goes, and when two figures
may be compared.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from borelog.knowledge import tables
from borelog.quantity import plain_number
from borelog.readings.air import SEA_LEVEL_KPA
from borelog.readings.chance import conformance
from borelog.readings.conditions import Standing
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import accuracy
from borelog.readings.orifice import FAA_SUPPLY_KPA, INCH_40, INCH_60, REFERENCE, Tester, convert

KINDS = ("dry", "wet", "mid", "tap")
_PSI = 6.894757293168361


@dataclass(frozen=True, slots=True)
class LeakReading:
    """One cylinder on a leak-down tester.

    Attributes
    ----------
    cylinder : int
    kind : str
        'dry' at the top, 'wet' with oil, 'mid' at mid-stroke, 'tap' after tapping the valve.
    held_kpa, supply_kpa : float or None
        Both gauges, kPa gauge; both None for a dial that shows only per cent.
    percent : float or None
        Loss in per cent where the dial shows only that.
    orifice_mm : float or None
        Tester orifice diameter, None when not known.
    air : tuple of str
        Where the air goes, ids of the air table; ('none',) means listened everywhere, () not noted.
    tester : str
        Name of the tester, to tell two apart.
    standing : Standing or None
    """

    cylinder: int
    kind: str = "dry"
    held_kpa: float | None = None
    supply_kpa: float | None = None
    percent: float | None = None
    orifice_mm: float | None = None
    air: tuple[str, ...] = ()
    tester: str = ""
    standing: Standing | None = None

    @property
    def loss(self) -> float:
        """Loss in per cent of supply, from the gauges or as the dial showed it."""
        if self.percent is not None:
            return self.percent
        assert self.held_kpa is not None
        assert self.supply_kpa is not None
        return loss_percent(self.held_kpa, self.supply_kpa)

    @property
    def convertible(self) -> bool:
        """True when both gauges and the orifice are known, so that another tester's figure can be worked out."""
        return None not in (self.held_kpa, self.supply_kpa, self.orifice_mm)


def loss_percent(held: float, supply: float) -> float:
    """(supply - held) / supply in per cent, any one gauge unit.

    Raises
    ------
    ReadingError
        Without a supply, or for more held than supplied.
    """
    if not (math.isfinite(supply) and math.isfinite(held)) or supply <= 0:
        raise ReadingError(
            "a per cent needs a supply above 0: read the supply gauge while the cylinder leaks"
        )
    if held < 0:
        raise ReadingError(f"a gauge does not hold {held:g}: type 0 or more")
    if held > supply:
        raise ReadingError(
            f"{held:g} held of {supply:g} supplied: swap the two figures, or let the gauges be compared"
        )
    return 100 * (supply - held) / supply


def make_leak(reading: LeakReading) -> LeakReading:
    """A checked reading.

    Raises
    ------
    ReadingError
        For an unknown kind, a per cent outside 0 to 100, gauges that cannot be, or neither gauges nor per
        cent.
    """
    if reading.kind not in KINDS:
        raise ReadingError(f"{reading.kind!r} is no kind of leak-down: choose {', '.join(KINDS)}")
    if reading.percent is not None:
        if not 0 <= reading.percent <= 100:
            raise ReadingError(f"{reading.percent:g} % cannot be lost: type 0 to 100")
    elif reading.held_kpa is None or reading.supply_kpa is None:
        raise ReadingError("type both gauges as held/supplied (60/80 psi), or the per cent the dial shows")
    else:
        loss_percent(reading.held_kpa, reading.supply_kpa)
    if reading.orifice_mm is not None and not 0.2 <= reading.orifice_mm <= 6:
        raise ReadingError(f"an orifice of {reading.orifice_mm:g} mm is no tester's: 0.040 in is 1.016 mm")
    return reading


@dataclass(frozen=True, slots=True)
class ReferenceFigure:
    """A leak-down as the reference tester (0.040 in, 80 psi) would show it: ``loss`` per cent, ``converted``
    or kept as read.
    """

    loss: float
    converted: bool
    words: str


def on_reference(reading: LeakReading, air: float = SEA_LEVEL_KPA) -> ReferenceFigure:
    """The loss a 0.040 in tester at 80 psi would have shown; kept as read, and said, where it cannot be
    worked out.
    """
    if not reading.convertible:
        why = "dial shows only per cent" if reading.percent is not None else "orifice not noted"
        return ReferenceFigure(
            reading.loss, False, f"{plain_number(reading.loss, 3)} % as read; not converted: {why}"
        )
    assert reading.held_kpa is not None
    assert reading.supply_kpa is not None
    assert reading.orifice_mm is not None
    if reading.standing is not None and reading.standing.touches("model"):
        words = (
            f"{plain_number(reading.loss, 3)} % as read; not converted: supply was not read while it leaked"
        )
        return ReferenceFigure(reading.loss, False, words)
    tester = Tester(reading.orifice_mm, reading.supply_kpa)
    held = convert(reading.held_kpa, tester, REFERENCE, air)
    loss = loss_percent(held, REFERENCE.supply_kpa)
    words = (
        f"{plain_number(reading.loss, 3)} % on {tester.name} is {plain_number(loss, 3)} % on {REFERENCE.name}"
    )
    return ReferenceFigure(loss, True, words)


def questions(reading: LeakReading) -> tuple[str, ...]:
    """What a reading should be asked: a perfect seal, everything lost, a sagging or odd supply, not at the
    top.
    """
    asked: list[str] = []
    standing = reading.standing
    answers = {} if standing is None else {a.condition.id: a.answer for a in standing.appraisals}
    if reading.loss < 0.5 and answers.get("core_out") not in ("yes", "no core"):
        asked.append("a perfect seal is rare: is the valve core out of the hose?")
    if reading.kind != "mid" and reading.loss > 60 and answers.get("tdc") != "proven":
        asked.append("a large loss: was the piston proven at its top on compression?")
    if reading.supply_kpa is not None and not 40 * _PSI <= reading.supply_kpa <= 200 * _PSI:
        asked.append(f"supply {plain_number(reading.supply_kpa / _PSI, 3)} psi: 80 psi is usual")
    if reading.air and "none" in reading.air and reading.loss > 20:
        asked.append(
            "a loss but nothing heard: listen at tailpipe, throttle, filler, radiator and the next plug holes"
        )
    return tuple(asked)


@dataclass(frozen=True, slots=True)
class LimitOutcome:
    """A loss against a limit in per cent: ``exceeds`` as read ('in excess of', so equal is not), ``probability`` that the
    true loss keeps it, ``result`` 'pass', 'fail' or 'cannot tell'.
    """

    limit: float
    exceeds: bool
    probability: float
    result: str
    words: str


def against(loss: float, limit: float = 25.0, u: float | None = None) -> LimitOutcome:
    """Hold a loss (per cent) against a limit (per cent) with the standard uncertainty of the two gauges (per
    cent).
    """
    if not 0 < limit <= 100:
        raise ReadingError(f"{limit:g} % is no limit: type more than 0, up to 100")
    spread = float(accuracy()["assumed"]["leak_u_percent"]) if u is None else u
    chance = conformance(loss, spread, high=limit)
    sure = float(accuracy()["calling"]["sure"])
    result = "pass" if chance >= sure else "fail" if chance <= 1 - sure else "cannot tell"
    exceeds = loss > limit + 1e-9
    verb = "in excess of" if exceeds else "not in excess of"
    words = f"{plain_number(loss, 3)} % is {verb} {limit:g} %; {result} as far as the gauges go"
    return LimitOutcome(limit, exceeds, chance, result, words)


@dataclass(frozen=True, slots=True)
class Band:
    """A row of the published bands: ``low`` to ``high`` per cent; ``use`` is 'limit' or 'trade' (common
    practice, no standard).
    """

    low: float
    high: float
    words: str
    use: str
    source: str
    status: str


def bands(loss: float) -> tuple[Band, ...]:
    """The published bands a loss falls in; trade bands are common practice, none is a standard."""
    columns = ("low", "high", "words", "use", "source", "status")
    rows = (
        Band(float(r["low"]), float(r["high"]), r["words"], r["use"], r["source"], r["status"])
        for r in tables.rows("leak_bands.csv", *columns)
    )
    return tuple(b for b in rows if b.low - 1e-9 <= loss <= b.high + 1e-9)


def paths(air: Sequence[str]) -> tuple[str, ...]:
    """What each place where air was heard points to, 'tailpipe: exhaust valve'; ids that are not in the table
    are refused.
    """
    rows = {r["id"]: r for r in tables.rows("air.csv", "id", "wording", "why")}
    for name in air:
        if name not in rows:
            raise ReadingError(f"{name!r} is no place to listen: choose {', '.join(rows)}")
    return tuple(f"{rows[a]['wording']}: {rows[a]['why'].split(' [')[0]}" for a in air)


@dataclass(frozen=True, slots=True)
class Spread:
    """Losses side by side, per cent, and whether they may be compared."""

    losses: Mapping[int, float]
    comparable: bool
    warning: str


def side_by_side(readings: Sequence[LeakReading], air: float = SEA_LEVEL_KPA) -> Spread:
    """Losses of several cylinders; readings of different testers are converted where possible, else a warning
    says so.
    """
    kinds = {r.kind for r in readings}
    if len(kinds) > 1:
        raise ReadingError(
            f"{' and '.join(sorted(kinds))} leak-downs are different tests: compare one kind at a time"
        )
    if _one_tester(readings):
        return Spread({r.cylinder: r.loss for r in readings}, True, "")
    figures = {r.cylinder: on_reference(r, air) for r in readings}
    losses = {c: f.loss for c, f in figures.items()}
    if all(f.converted for f in figures.values()):
        return Spread(losses, True, f"different testers: all figures worked out for {REFERENCE.name}")
    kept = [str(c) for c, f in figures.items() if not f.converted]
    which = f"cylinder{'s' if len(kept) > 1 else ''} {', '.join(kept)}"
    warning = f"different testers, and {which} cannot be converted: compare within one tester only"
    return Spread(losses, False, warning)


def _one_tester(readings: Sequence[LeakReading]) -> bool:
    """Whether nothing noted tells two testers apart; a blank beside a figure is taken as the same tester."""
    known = (
        {r.percent is not None for r in readings},
        {r.tester for r in readings if r.tester},
        {r.orifice_mm for r in readings if r.orifice_mm is not None},
        {round(r.supply_kpa / _PSI / 2) for r in readings if r.supply_kpa is not None},
    )
    return all(len(values) <= 1 for values in known)


@dataclass(frozen=True, slots=True)
class Change:
    """A second leak-down against the first on one cylinder: ``state`` 'drops', 'unchanged', 'more' or 'cannot
    compare'.
    """

    cylinder: int
    before: float
    after: float
    state: str
    words: str


# A change smaller than this, per cent of supply, is not one; common practice.
SAME_WITHIN = 5.0

_MEANS = {
    ("wet", "drops"): "oil seals it: rings",
    ("wet", "unchanged"): "oil changes nothing: valve, gasket or a damaged piston",
    ("mid", "drops"): "less at mid-stroke: the bore is tapered at the top",
    ("mid", "unchanged"): "the same at mid-stroke: rings or piston; try with oil",
    ("mid", "more"): "more at mid-stroke: a score or crack lower down comes into play",
    ("tap", "drops"): "falls after tapping: something held the valve open",
    ("tap", "unchanged"): "tapping changes nothing",
}


def change(before: LeakReading, after: LeakReading, air: float = SEA_LEVEL_KPA) -> Change:
    """What oil, mid-stroke or a tap changed against the dry figure at the top.

    Direction from a trade article (2009): falls at mid-stroke, taper; unchanged, rings or piston; then oil:
    falls, rings; unchanged, piston damage. The valves stay shut at mid-stroke only on the compression stroke.
    """
    if after.kind == "dry" or before.kind != "dry" or before.cylinder != after.cylinder:
        raise ReadingError("compare a dry figure with a wet, mid-stroke or tapped one of the same cylinder")
    second_one = replace(after, cylinder=-1, kind="dry")
    spread = side_by_side([before, second_one], air)
    if not spread.comparable:
        words = "two testers, and one figure cannot be converted: repeat both with one tester"
        return Change(before.cylinder, before.loss, after.loss, "cannot compare", words)
    first, second = spread.losses[before.cylinder], spread.losses[-1]
    moved = second - first
    state = "unchanged" if abs(moved) <= SAME_WITHIN + 1e-9 else "drops" if moved < 0 else "more"
    words = _MEANS.get((after.kind, state), "more than before: repeat both")
    return Change(before.cylinder, first, second, state, words)


@dataclass(frozen=True, slots=True)
class FaaOrifice:
    """An orifice after a rule: diameter mm, ``rule`` in words, ``source``."""

    diameter_mm: float
    rule: str
    source: str


def faa_orifice(bore_mm: float) -> FaaOrifice:
    """Orifice by bore: under 5.00 in 0.040 in, from 5.00 in 0.060 in; the maker's word stands above it."""
    if not bore_mm > 0:
        raise ReadingError("the bore must be above 0")
    large = bore_mm >= 5.0 * 25.4 - 1e-9
    rule = "bore 5.00 in or more: 0.060 in" if large else "bore under 5.00 in: 0.040 in"
    source = (
        "FAASTeam Maintenance Safety Tip Nov 2011 (AC 43.13-1B Change 1); makers' service letters overrule it"
    )
    return FaaOrifice(INCH_60 if large else INCH_40, rule, source)


def older_orifice(displacement_in3: float) -> FaaOrifice:
    """The rule before 2001, by displacement: over 1000 in3 0.060 in (AC 43.13-1A ch. 14); shown, never mixed."""
    large = displacement_in3 > 1000
    rule = (
        "over 1000 in3: 0.060 in (text before 2001)"
        if large
        else "up to 1000 in3: 0.040 in (text before 2001)"
    )
    return FaaOrifice(INCH_60 if large else INCH_40, rule, "AC 43.13-1A ch. 14 para 692, reprint")


FAA_STEPS = (
    "Engine warm; ignition off, mixture and fuel by the manual; nobody in the arc of the propeller or near belts.",
    "Clean air of 100 to 120 psi at the tester; with the cylinder not joined both gauges agree.",
    "Turn the piston up on compression; feed 20 psi first: both gauges must agree at 20.",
    "Raise to 80 psi and turn slowly to the top against the air, held by a bar that cannot fly. Overshot: back half a turn.",
    "Read both gauges while it leaks. A loss in excess of 25 %: run the engine at least 3 minutes and test again.",
    "Still in excess, and the maker says nothing else: the cylinder comes off. A good figure does not clear a worn engine.",
)


@dataclass(frozen=True, slots=True)
class FaaLine:
    """One cylinder of the aviation form: ``held`` over 80, ``loss`` per cent, ``action`` in words,
    ``converted`` or as read.
    """

    cylinder: int
    held_psi: float
    loss: float
    in_excess: bool
    action: str
    converted: bool


def faa_line(
    reading: LeakReading, bore_mm: float | None, rerun: LeakReading | None = None, air: float = SEA_LEVEL_KPA
) -> FaaLine:
    """A leak-down in the aviation form: held over 80 psi on the orifice the bore asks for.

    A second figure after a run of at least 3 minutes decides (AC 43.13-1B para 8-14 steps (i) and after); one
    alone never takes a cylinder off.
    """
    judged = rerun or reading
    orifice = faa_orifice(bore_mm).diameter_mm if bore_mm else INCH_40
    held, converted = FAA_SUPPLY_KPA * (1 - judged.loss / 100), False
    if judged.convertible:
        assert judged.held_kpa is not None
        assert judged.supply_kpa is not None
        assert judged.orifice_mm is not None
        tester = Tester(judged.orifice_mm, judged.supply_kpa)
        same = abs(tester.orifice_mm - orifice) < 0.01 and abs(tester.supply_kpa - FAA_SUPPLY_KPA) < 0.5
        held = (
            FAA_SUPPLY_KPA * judged.held_kpa / judged.supply_kpa
            if same
            else convert(judged.held_kpa, tester, Tester(orifice, FAA_SUPPLY_KPA), air)
        )
        converted = not same
    loss = loss_percent(min(held, FAA_SUPPLY_KPA), FAA_SUPPLY_KPA)
    excess = loss > 25 + 1e-6
    if not excess:
        action = "not in excess of 25 %"
    elif rerun is None:
        action = "in excess of 25 %: run at least 3 minutes and test again"
    else:
        action = "in excess again after the run: cylinder off, unless the maker instructs otherwise"
    return FaaLine(judged.cylinder, held / _PSI, loss, excess, action, converted)


def aero_band(held_psi: Sequence[float]) -> tuple[str, str]:
    """Three bands of a maker's service instruction for the 80 psi test: ('good', 'retest' or 'investigate', why).

    Spread up to 5 psi and none under 70: good; under 65 or a spread of 10 to 15: retest on a schedule; under
    60 or a spread over 15: investigate (service instruction 1191A, quoted in an aviation article). Between
    the bands: retest.
    """
    if not held_psi:
        raise ReadingError("no cylinder to put in a band")
    low, spread = min(held_psi), max(held_psi) - min(held_psi)
    why = f"lowest {low:.0f}/80, spread {spread:.0f} psi"
    if low < 60 or spread > 15:
        return "investigate", why
    return ("good", why) if low >= 70 and spread <= 5 else ("retest", why)
