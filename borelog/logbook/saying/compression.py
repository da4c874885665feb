"""What compression figures say together: pattern, trend, repeats, needle, oil, warm run, what cranking might show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from borelog.engine.engine import Engine
from borelog.logbook.entries import Reading
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import compression_test, number, series_of
from borelog.logbook.saying.value import Level, Remark, cylinders_named, listed
from borelog.quantity import Quantity, plain_number
from borelog.readings import air, patterns
from borelog.readings.compression import CompressionTest, check_repeats
from borelog.readings.crank_trace import crank_state
from borelog.readings.repeats import counted

_TEST = {"dry": "compression_dry", "wet": "compression_wet", "warm": "compression_warm"}
_WATCH = ("none low", "cannot say")


def compression_remarks(inspection: Inspection, engine: Engine | None) -> Iterator[Remark]:
    """Remarks on every session of dry, wet and warm compression."""
    latest: dict[str, CompressionTest] = {}
    for kind, test in _TEST.items():
        for series in series_of(inspection, test):
            session = compression_test(inspection, test, series)
            if session is None:
                continue
            latest[kind] = session
            entries = _entries(inspection, test, series)
            yield from _conditions(session, entries)
            yield from _repeats(session, entries)
            yield from _trend(session, entries)
            yield from _needle(session, entries)
    dry = latest.get("dry")
    if dry is None:
        return
    entries = _entries(inspection, "compression_dry", dry.series)
    if engine is not None:
        yield from _pattern(inspection, dry, engine, entries)
        yield from _context(dry, engine, entries)
        if wet := latest.get("wet"):
            both = {**entries, **_entries(inspection, "compression_wet", wet.series)}
            yield from _oil(dry, wet, engine, both)
    if warm := latest.get("warm"):
        both = {**entries, **_entries(inspection, "compression_warm", warm.series)}
        for g in patterns.warm_changes(dry, warm):
            if g.state != "same":
                yield Remark(
                    "compression_warm", "warm", "watch" if g.state == "worse" else "note",
                    f"{patterns.gain_words(g)} after the warm run: " + _WARM.get(g.state, "no share can be worked out"),
                    (g.cylinder,), both.get(g.cylinder, ()), _gain_figures(g),
                )  # fmt: skip


_WARM = {
    "recovers": "washed or dried-out rings come up like this",
    "worse": "a tight valve goes worse warm like this",
}


def _entries(inspection: Inspection, test: str, series: str) -> dict[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    for r in inspection.of(Reading):
        if (r.body.test, r.body.series) == (test, series) and r.body.cylinder is not None:
            found[r.body.cylinder] = (*found.get(r.body.cylinder, ()), r.id)
    return found


def _all(entries: dict[int, tuple[str, ...]], cylinders: tuple[int, ...] = ()) -> tuple[str, ...]:
    return tuple(e for c, ids in entries.items() if not cylinders or c in cylinders for e in ids)


def _name(session: CompressionTest) -> str:
    return f"{session.kind}{' ' + session.series if session.series else ''}"


def _topic(session: CompressionTest) -> str:
    return _TEST[session.kind]


def _conditions(session: CompressionTest, entries: dict[int, tuple[str, ...]]) -> Iterator[Remark]:
    """What was not as it should be while testing; the readings stay and weigh less."""
    if session.standing is None:
        return
    for a in session.standing.appraisals:
        if a.state in ("not met", "doubtful"):
            yield Remark(
                _topic(session), "conditions", "watch", f"{_name(session)}: {a.words[0].lower()}{a.words[1:]}",
                (), _all(entries), source=a.condition.source,
            )  # fmt: skip


def _repeats(session: CompressionTest, entries: dict[int, tuple[str, ...]]) -> Iterator[Remark]:
    for check in check_repeats(session):
        if not check.agree:
            yield Remark(
                _topic(session), "repeats", "ask", f"{_name(session)}, {check.words}", (check.cylinder,),
                entries.get(check.cylinder, ()), (("spread_kpa", check.spread_kpa),), "within 10 %: common practice",
            )  # fmt: skip


def _trend(session: CompressionTest, entries: dict[int, tuple[str, ...]]) -> Iterator[Remark]:
    """A fall over the order of testing; while the order is not noted, whether the cylinder numbers are that order."""
    noted = bool(session.order)
    order = session.order or tuple(sorted(r.cylinder for r in session.readings))
    found = patterns.trend(replace(session, order=order))
    if found is None or not found.sags:
        return
    figures = (("change", found.change), ("chance", found.chance))
    words = (
        found.words
        if noted
        else f"the readings fall {abs(100 * found.change):.0f} % from cylinder {order[0]} to {order[-1]}: were they tested in "
        "that order? A sagging battery looks like this"
    )
    yield Remark(
        _topic(session), "trend", "watch" if noted else "ask", f"{_name(session)}: {words}", order, _all(entries), figures,
        "straight line, Student t on the slope",
    )  # fmt: skip


def _needle(session: CompressionTest, entries: dict[int, tuple[str, ...]]) -> Iterator[Remark]:
    """How the needle climbed; the sound ones in one line."""
    used = [r for r in session.readings if not r.doubt]
    if len(used) < 2 or max(r.mean_kpa for r in used) <= 0:
        return
    reference = patterns.good_level([r.mean_kpa for r in used])
    source = "vehicle maker service pages 2006 and 2009 (direction only)"
    even: list[int] = []
    for r in used:
        if len(r.puffs_kpa) < 2:
            continue
        found = patterns.build_shape(r.puffs_kpa, reference)
        if found.shape == "quick and even":
            even.append(r.cylinder)
            continue
        level: Level = "ask" if found.shape == "cannot say" else "watch"
        what = found.words if level == "ask" else f"the needle is {found.words}"
        yield Remark(
            _topic(session), "needle", level, f"{_name(session)}, cylinder {r.cylinder}: {what}", (r.cylinder,),
            entries.get(r.cylinder, ()), (("first_share", found.first_share), ("last_share", found.last_share)), source,
        )  # fmt: skip
    if even:
        yield Remark(
            _topic(session), "needle", "note",
            f"{_name(session)}, {cylinders_named(even)}: the needle is quick and even, as on a sound cylinder",
            tuple(even), _all(entries, tuple(even)), source=source,
        )  # fmt: skip


def _pattern(
    inspection: Inspection, dry: CompressionTest, engine: Engine, entries: dict[int, tuple[str, ...]]
) -> Iterator[Remark]:
    values = {r.cylinder: r.mean_kpa for r in dry.readings if not r.doubt}
    found = patterns.pattern(values, engine, number(inspection.facts.get("spec_min", ""), "kPa"))
    if found.name == "cannot say":
        return
    spoiled = dry.standing is not None and bool(dry.standing.spoiled_by)
    first = (
        "; the test was not done as it should be: repeat it first"
        if spoiled and found.name not in _WATCH
        else ""
    )
    yield Remark(
        _topic(dry), "pattern", "note" if found.name in _WATCH else "watch", f"{_name(dry)}: {found.words}{first}",
        found.cylinders, _all(entries, found.cylinders), source="service-manual compression sections (direction)",
    )  # fmt: skip
    extra = [p for p in found.pairs if found.name in ("several low", "whole bank")]
    if extra:
        pairs = "; ".join(listed(p) for p in extra)
        yield Remark(
            _topic(dry), "pattern", "watch", f"{_name(dry)}: sharing a gasket bridge among them: {pairs}",
            tuple(sorted({c for p in extra for c in p})), _all(entries, found.cylinders),
        )  # fmt: skip


def _span(low_kpa: float, high_kpa: float, unit: str) -> str:
    low, high = Quantity(low_kpa, "kPa").to(unit), Quantity(high_kpa, "kPa").to(unit)
    return f"{plain_number(low, 3)} to {plain_number(high, 3)} {unit}"


def _context(dry: CompressionTest, engine: Engine, entries: dict[int, tuple[str, ...]]) -> Iterator[Remark]:
    """Expected band and what the place does to a gauge: context, never a limit."""
    values = [r.mean_kpa for r in dry.readings if not r.doubt]
    if not values or max(values) <= 0:
        return
    band = air.expected_band(engine)
    if band is not None:
        assumed = f" ({'; '.join(band.assumed)})" if band.assumed else ""
        words = (
            f"at ratio {plain_number(engine.compression_ratio or 0, 3)} cranking may show "
            f"{_span(band.low, band.high, dry.unit)}, read were {_span(min(values), max(values), dry.unit)}: context only, "
            f"never a limit{assumed}"
        )
        yield Remark(
            _topic(dry), "expected", "note", words, (), _all(entries), (("low_kpa", band.low), ("high_kpa", band.high)),
            f"polytropic, exponent {air.LOW_EXPONENT:g} to {air.HIGH_EXPONENT:g} (common practice)",
        )  # fmt: skip
    factor = air.air_factor(engine.altitude_m, engine.air_pressure_kpa)
    if abs(factor - 1) >= 0.01:
        top = max(values)
        sea = air.at_sea_level(top, engine.altitude_m, engine.air_pressure_kpa)
        words = (
            f"the place has {100 * factor:.1f} % of sea-level air pressure: the highest, "
            f"{Quantity(top, 'kPa').in_unit(dry.unit)}, would be {Quantity(sea, 'kPa').in_unit(dry.unit)} at sea level; "
            "comparisons between cylinders stay as they are"
        )
        yield Remark(
            _topic(dry), "altitude", "note", words, (), _all(entries), (("factor", factor), ("sea_level_kpa", sea)),
            "ISO 2533:1975, by air pressure and not by density",
        )  # fmt: skip


def _gain_figures(gain: patterns.Gain) -> tuple[tuple[str, float], ...]:
    found = (("gain", gain.gain), ("u", gain.u))
    return tuple((k, v) for k, v in found if v is not None)


_OIL = {
    "big over 25 %": "rings or bore",
    "some 10 to 25 %": "part of the loss goes past the rings",
    "none under 10 %": "not the rings; valve, gasket or a hole",
}


def _oil(
    dry: CompressionTest, wet: CompressionTest, engine: Engine, entries: dict[int, tuple[str, ...]]
) -> Iterator[Remark]:
    gains = patterns.wet_gains(dry, wet, engine)
    filling = patterns.filling_share(engine, wet.oil_ml)
    reference = patterns.good_level([r.mean_kpa for r in dry.readings]) if dry.readings else 0.0
    low = {r.cylinder for r in dry.readings if r.mean_kpa < patterns.levels()["level"]["low"] * reference}
    for g in gains:
        means = _OIL.get(g.state, "")
        if g.gain is not None and filling is not None and g.gain > 0.1 and g.gain <= filling + 0.1:
            means = "the oil fills the chamber and explains this by itself; repeat with less oil"
        tail = f": {means}" if means and g.cylinder in low else ""
        yield Remark(
            "compression_wet", "oil", "watch" if tail else "note", f"with oil, {patterns.gain_words(g)}{tail}", (g.cylinder,),
            entries.get(g.cylinder, ()), _gain_figures(g), "service-manual compression sections",
        )  # fmt: skip
    for words in dict.fromkeys(w for g in gains for w in g.warnings):
        yield Remark("compression_wet", "oil", "watch", f"with oil: {words}", (), _all(entries))


_CURRENT = {
    "above_group": "above the rest",
    "soft_70_84": "soft",
    "low_35_69": "low",
    "dead_under_35": "next to no hump",
}


def current_remarks(inspection: Inspection) -> Iterator[Remark]:
    """Cylinders that stand out in the starter's current."""
    said: dict[int, tuple[float, str]] = {}
    for r in inspection.of(Reading):
        b = r.body
        if b.test == "crank_current" and b.cylinder is not None and b.values and not b.doubt:
            said[b.cylinder] = (counted(b.values), r.id)
    odd = {c: (v, e) for c, (v, e) in said.items() if crank_state(v / 100) != "within_85"}
    for c, (value, entry) in odd.items():
        yield Remark(
            "crank_current", "current", "watch",
            f"cylinder {c}: hump {plain_number(value, 3)} % of the good ones, {_CURRENT[crank_state(value / 100)]}",
            (c,), (entry,), (("relative_percent", value),),
        )  # fmt: skip
    if said and not odd:
        yield Remark(
            "crank_current", "current", "note", "all humps within 15 % of the good ones: nothing of the level is said",
            tuple(said), tuple(e for _, e in said.values()),
        )  # fmt: skip
