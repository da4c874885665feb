"""What leak-down figures say together: limits, bands, where the air goes, other testers, second tests, the aviation form."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from borelog.engine.engine import Engine
from borelog.knowledge import tables
from borelog.logbook.entries import Reading
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import leak_reading, number, readings_of
from borelog.logbook.saying.value import Remark, cylinders_named, listed
from borelog.quantity import plain_number
from borelog.readings import leakdown
from borelog.readings.air import SEA_LEVEL_KPA, air_factor
from borelog.readings.errors import ReadingError
from borelog.readings.leakdown import LeakReading
from borelog.readings.orifice import FAA_SUPPLY_KPA, INCH_40, INCH_60, Leak, Tester, convert, leak_of

_TESTS = {"wet": "leakdown_wet", "mid": "leakdown_mid", "tap": "leakdown_tap"}
_PSI = 6.894757293168361
_NAMES = {"wet": "with oil", "mid": "at mid-stroke", "tap": "after tapping the valve"}


def leak_remarks(inspection: Inspection, engine: Engine | None) -> Iterator[Remark]:
    """Remarks on leak-down at the top, and on the second tests beside it."""
    dry = _latest(inspection, "leakdown")
    local = SEA_LEVEL_KPA * (air_factor(engine.altitude_m, engine.air_pressure_kpa) if engine else 1.0)
    if dry:
        yield from _conditions(dry)
        yield from _limits(inspection, dry)
        yield from _bands(dry)
        yield from _air(inspection, dry)
        yield from _testers(dry, local)
        yield from _holes(dry, local)
        yield from _form(inspection, dry, engine, local)
    for kind, test in _TESTS.items():
        for c, (again, entry) in _latest(inspection, test).items():
            if c not in dry:
                continue
            first, before = dry[c]
            try:
                found = leakdown.change(first, again, local)
            except ReadingError:
                continue
            words = (
                f"cylinder {c} {_NAMES[kind]}: {plain_number(found.before, 3)} % to {plain_number(found.after, 3)} %, "
                f"{found.words}"
            )
            figures = (("before_percent", found.before), ("after_percent", found.after))
            yield Remark(
                test, "second", "watch", words, (c,), (before, entry), figures, "trade article (2009)"
            )


Taken = Mapping[int, tuple[LeakReading, str]]


def _latest(inspection: Inspection, test: str) -> dict[int, tuple[LeakReading, str]]:
    found: dict[int, tuple[LeakReading, str]] = {}
    for r in readings_of(inspection, test):
        if not r.body.doubt and (reading := leak_reading(inspection, r)) is not None:
            found[reading.cylinder] = (reading, r.id)
    return dict(sorted(found.items()))


def _entries(dry: Taken) -> tuple[str, ...]:
    return tuple(e for _, e in dry.values())


def _conditions(dry: Taken) -> Iterator[Remark]:
    said: dict[str, list[int]] = {}
    for c, (reading, _) in dry.items():
        for question in leakdown.questions(reading):
            said.setdefault(question, []).append(c)
    for question, cylinders in said.items():
        yield Remark(
            "leakdown", "question", "ask", f"{cylinders_named(cylinders)}: {question}", tuple(cylinders),
            tuple(dry[c][1] for c in cylinders),
        )  # fmt: skip
    appraised: dict[str, tuple[list[int], str]] = {}
    for c, (reading, _) in dry.items():
        for a in reading.standing.appraisals if reading.standing else ():
            if a.state in ("not met", "doubtful"):
                appraised.setdefault(a.words, ([], a.condition.source))[0].append(c)
    for words, (cylinders, source) in appraised.items():
        where = "" if len(cylinders) == len(dry) else f"{cylinders_named(cylinders)}: "
        yield Remark(
            "leakdown", "conditions", "watch", f"{where}{words[0].lower()}{words[1:]}", tuple(cylinders),
            tuple(dry[c][1] for c in cylinders), source=source,
        )  # fmt: skip


def _limits(inspection: Inspection, dry: Taken) -> Iterator[Remark]:
    """Every loss against the manual's limit, else against 25 % of input; only what is not clearly within is said one by one."""
    own = number(inspection.facts.get("spec_leak", ""), "%")
    limit = own if own and 0 < own <= 100 else 25.0
    source = (
        "service manual, as entered"
        if limit == own
        else "FAA AC 43.13-1B para 8-14 step (i); vehicle maker service page 2002"
    )
    within: list[int] = []
    for c, (reading, entry) in dry.items():
        found = leakdown.against(reading.loss, limit)
        if found.result == "pass":
            within.append(c)
            continue
        figures = (
            ("loss_percent", reading.loss),
            ("limit_percent", limit),
            ("probability", found.probability),
        )
        yield Remark(
            "leakdown", "limit", "watch", f"cylinder {c}: {found.words}", (c,), (entry,), figures, source
        )
    if within:
        yield Remark(
            "leakdown", "limit", "note", f"{cylinders_named(within)}: not in excess of {limit:g} %", tuple(within),
            tuple(dry[c][1] for c in within), (("limit_percent", limit),), source,
        )  # fmt: skip


def _bands(dry: Taken) -> Iterator[Remark]:
    """The narrowest trade band each loss falls in: common practice, no standard, and only for this tester."""
    found: dict[str, list[int]] = {}
    for c, (reading, _) in dry.items():
        trade = [b for b in leakdown.bands(reading.loss) if b.use == "trade" and b.low == 0]
        words = min(trade, key=lambda b: b.high).words if trade else "beyond every trade band"
        found.setdefault(words, []).append(c)
    said = "; ".join(f"{listed(cylinders)}: {words}" for words, cylinders in found.items())
    yield Remark(
        "leakdown", "bands", "note", f"by trade bands, which are common practice and no standard - {said}", tuple(dry),
        _entries(dry), source="hobby and trade pages, exam guide",
    )  # fmt: skip


def _air(inspection: Inspection, dry: Taken) -> Iterator[Remark]:
    why = {r["id"]: (r["wording"], r["why"]) for r in tables.rows("air.csv", "id", "wording", "why")}
    for r in readings_of(inspection, "leakdown"):
        c = r.body.cylinder
        if c is None or c not in dry or dry[c][1] != r.id:
            continue
        for heard in r.body.air:
            place, _, other = heard.partition(":")
            if place not in why or place == "none":
                continue
            wording, points = why[place]
            reason, _, source = points.partition(" [")
            at = f" {other}" if other else ""
            yield Remark(
                "leakdown", "air", "watch", f"cylinder {c}: air at the {wording}{at} points to {reason}", (c,), (r.id,),
                source=source.rstrip("]"),
            )  # fmt: skip


def _testers(dry: Taken, local: float) -> Iterator[Remark]:
    readings = [r for r, _ in dry.values()]
    spread = leakdown.side_by_side(readings, local)
    if spread.warning:
        figures = tuple((f"cylinder_{c}_percent", v) for c, v in spread.losses.items())
        told = ", ".join(f"{c} {plain_number(v, 3)} %" for c, v in spread.losses.items())
        words = f"{spread.warning}: {told}" if spread.comparable else spread.warning
        level = "note" if spread.comparable else "watch"
        yield Remark("leakdown", "testers", level, words, tuple(dry), _entries(dry), figures)  # type: ignore[arg-type]
    elif not all(r.convertible for r in readings):
        why = (
            "the dial shows only per cent"
            if all(r.percent is not None for r in readings)
            else "the orifice is not noted"
        )
        yield Remark(
            "leakdown", "testers", "note", f"{why}: these figures compare with one another, not with another tester's",
            tuple(dry), _entries(dry), source="encyclopaedia text on leak-down testers",
        )  # fmt: skip


def _holes(dry: Taken, local: float) -> Iterator[Remark]:
    """The leak behind each reading whose gauges and orifice are known, and what the other usual tester would have shown."""
    found: dict[int, tuple[Leak, float, Tester]] = {}
    for c, (r, _) in dry.items():
        if not r.convertible or not r.held_kpa or r.standing is None or r.standing.touches("model"):
            continue
        assert r.orifice_mm is not None
        assert r.supply_kpa is not None
        one = Tester(r.orifice_mm, r.supply_kpa)
        other = Tester(INCH_60 if abs(r.orifice_mm - INCH_40) < 0.01 else INCH_40, FAA_SUPPLY_KPA)
        found[c] = (leak_of(r.held_kpa, one, local), convert(r.held_kpa, one, other, local), other)
    if not found:
        return
    sizes = ", ".join(f"{c} {leak.hole_mm:.2f} mm" for c, (leak, _, _) in found.items())
    other = next(iter(found.values()))[2]
    there = ", ".join(f"{c} {held / _PSI:.0f}/80" for c, (_, held, _) in found.items())
    figures = tuple(
        (f"cylinder_{c}_{name}", value)
        for c, (leak, held, _) in found.items()
        for name, value in (
            ("leak_mm2", leak.area_mm2), ("hole_mm", leak.hole_mm), ("flow_l_min_anr", leak.flow_l_min),
            ("other_tester_held_psi", held / _PSI),
        )
    )  # fmt: skip
    yield Remark(
        "leakdown", "leak", "note",
        f"the leak as one round hole: {sizes}; {other.name} would show {there}; equal discharge coefficients assumed",
        tuple(found), tuple(dry[c][1] for c in found), figures, "isentropic orifice flow, two in a row, gamma 1.4",
    )  # fmt: skip


def _form(inspection: Inspection, dry: Taken, engine: Engine | None, local: float) -> Iterator[Remark]:
    """The aviation form, where both gauges and the orifice are known: held over 80 psi on the orifice the bore asks for."""
    bore = engine.bore_mm if engine else None
    known = {c: r for c, (r, _) in dry.items() if r.convertible}
    if not known or bore is None:
        return
    rerun = {c: r for c, (r, e) in dry.items() if _again(inspection, c, e)}
    lines = {c: leakdown.faa_line(r, bore, rerun.get(c), local) for c, r in known.items()}
    orifice = leakdown.faa_orifice(bore).diameter_mm
    name = "0.040 in" if orifice == INCH_40 else "0.060 in"
    held = ", ".join(f"{c} {line.held_psi:.0f}/80" for c, line in lines.items())
    entries = tuple(dry[c][1] for c in lines)
    yield Remark(
        "leakdown", "aviation form", "note",
        f"on the aviation form, {name} by the bore: {held}", tuple(lines), entries,
        tuple((f"cylinder_{c}_held_psi", line.held_psi) for c, line in lines.items()),
        "FAA AC 43.13-1B para 8-14; FAASTeam Maintenance Safety Tip Nov 2011; the maker's word stands above it",
    )  # fmt: skip
    for c, line in lines.items():
        if line.in_excess:
            yield Remark(
                "leakdown", "aviation form", "watch", f"cylinder {c}: {line.action}", (c,), (dry[c][1],)
            )
    if len(lines) > 1:
        band, why = leakdown.aero_band([line.held_psi for line in lines.values()])
        yield Remark(
            "leakdown", "aviation bands", "note" if band == "good" else "watch", f"on that form: {band} ({why})",
            tuple(lines), entries, source="service instruction 1191A, quoted in an aviation article",
        )  # fmt: skip


def _again(inspection: Inspection, cylinder: int, entry: str) -> bool:
    """True where it is noted that this figure was taken after a run."""
    mine = [r for r in inspection.of(Reading) if r.body.test == "leakdown" and r.body.cylinder == cylinder]
    this = next(r for r in mine if r.id == entry)
    noted = conditions_of(inspection, "leakdown", cylinder, this.body.series).get("rerun", "")
    return noted == "yes"
