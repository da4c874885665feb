"""What the readings say beside each other: rules, pattern, trend, gain with oil, testers, plugs. The judging is the readings room's."""

from __future__ import annotations

from typing import NamedTuple

from borelog.engine.engine import Engine
from borelog.knowledge.procedures import procedures
from borelog.logbook.described import engine_of
from borelog.logbook.entries import Reading, Seen
from borelog.logbook.inspection import Inspection
from borelog.logbook.measured import book_rules, compression_test, leak_reading, number, readings_of
from borelog.quantity import Quantity, QuantityError
from borelog.readings.compression import CompressionTest, check_repeats
from borelog.readings.leakdown import LeakReading, change, side_by_side
from borelog.readings.patterns import (
    build_shape,
    gain_words,
    good_level,
    pattern,
    trend,
    warm_changes,
    wet_gains,
)
from borelog.readings.plugs import GapJudgement, PlugState, judge_gap, judge_plugs, plug_words
from borelog.readings.rules import judge
from borelog.text import BorelogError
from borelog.tui.views.words import Line, Span, wrapped


class Saying(NamedTuple):
    """One thing said: the test it is about, the words, and whether somebody should look ('watch') or not ('ink')."""

    test: str
    words: str
    role: str = "ink"


_kept: list[tuple[Inspection, tuple[Saying, ...]]] = []


def sayings(inspection: Inspection) -> tuple[Saying, ...]:
    """Everything the readings say together, in test order; worked out once for each state of the record."""
    if not (_kept and _kept[0][0] is inspection):
        engine = engine_of(inspection)
        _kept[:] = [(inspection, tuple(_all(inspection, engine)) if engine else ())]
    return _kept[0][1]


def _all(inspection: Inspection, engine: Engine) -> list[Saying]:
    dry = compression_test(inspection)
    out = [*_plugs(inspection), *_dry(inspection, engine, dry), *_leaks(inspection)]
    wet, warm = (
        compression_test(inspection, "compression_wet"),
        compression_test(inspection, "compression_warm"),
    )
    if dry and wet:
        gains = wet_gains(dry, wet, engine)
        out += [Saying("compression_wet", f"with oil: {gain_words(g)}", _big(g.gain)) for g in gains]
        out += [
            Saying("compression_wet", w, "quiet") for w in dict.fromkeys(w for g in gains for w in g.warnings)
        ]
    if dry and warm:
        out += [
            Saying(
                "compression_warm",
                f"after a warm run: {gain_words(g)}",
                "ink" if g.state == "same" else "watch",
            )
            for g in warm_changes(dry, warm)
        ]
    return out


def _big(gain: float | None) -> str:
    return "watch" if gain is not None and gain > 0.1 else "ink"


def _dry(inspection: Inspection, engine: Engine, test: CompressionTest | None) -> list[Saying]:
    if test is None:
        return []
    name, floor = "compression_dry", number(inspection.facts.get("spec_min", ""), "kPa")
    values = {r.cylinder: r.mean_kpa for r in test.readings if not r.doubt}
    out: list[Saying] = []
    if len(values) > 1:
        shape = pattern(values, engine, floor)
        out.append(Saying(name, shape.words, "ink" if shape.name == "none low" else "watch"))
        judged = judge(test, book_rules(inspection))
        out.append(Saying(name, judged.line))
    fall = trend(test)
    if fall is not None and fall.sags:
        out.append(Saying(name, fall.words, "watch"))
    best = good_level(list(values.values())) if values else 0.0
    for r in test.readings:
        if len(r.puffs_kpa) > 1 and best > 0:
            out.append(Saying(name, f"cylinder {r.cylinder} builds: {build_shape(r.puffs_kpa, best).words}"))
    out += [Saying(name, c.words, "watch") for c in check_repeats(test) if not c.agree]
    return out


def _leaks(inspection: Inspection) -> list[Saying]:
    found: dict[str, dict[int, LeakReading]] = {}
    for test in ("leakdown", "leakdown_mid", "leakdown_tap", "leakdown_wet"):
        made = (leak_reading(inspection, r) for r in readings_of(inspection, test, ""))
        found[test] = {one.cylinder: one for one in made if one is not None}
    out: list[Saying] = []
    dry = found.pop("leakdown")
    if len(dry) > 1 and (spread := side_by_side(tuple(dry.values()))).warning:
        out.append(Saying("leakdown", spread.warning, "ink" if spread.comparable else "watch"))
    for test, later in found.items():
        for cylinder, second in later.items():
            if cylinder in dry:
                moved = change(dry[cylinder], second)
                out.append(
                    Saying(
                        test,
                        f"cylinder {cylinder}: {moved.words}",
                        "watch" if moved.state != "unchanged" else "ink",
                    )
                )
    return out


def _plugs(inspection: Inspection) -> list[Saying]:
    states: dict[int, dict[str, str]] = {}
    for r in inspection.of(Seen):
        if r.body.cylinder is not None and (r.body.item, r.body.state) in plug_words():
            states.setdefault(r.body.cylinder, {})[r.body.item] = r.body.state
    gaps: dict[int, GapJudgement] = {}
    spec = number(inspection.facts.get("spec_gap", ""), "mm")
    for g in inspection.of(Reading):
        b = g.body
        if b.test == "plug_gap" and b.cylinder is not None and b.values and spec:
            try:
                mm = Quantity(b.values[-1], b.unit).to("mm")
            except QuantityError:
                continue
            gaps[b.cylinder] = judge_gap(mm, spec)
    plugs = [
        PlugState(c, s.get("plug_deposit", ""), s.get("plug_specks", ""), s.get("plug_ceramic", ""))
        for c, s in states.items()
    ]
    try:
        said = [Saying("plug_gap", w, "watch") for w in judge_plugs(plugs, gaps).remarks] if plugs else []
    except BorelogError:
        said = []
    return said + [
        Saying("plug_gap", f"gap on {c}: {g.words}", "ink" if g.state == "in_spec" else "watch")
        for c, g in sorted(gaps.items())
    ]


def said_of(inspection: Inspection, test: str, room: int, most: int) -> list[Line]:
    """What the readings of one test say, in at most ``most`` lines; the last line says where the rest is."""
    lines: list[Line] = [
        (Span(text, one.role),)
        for one in sayings(inspection) if one.test == test
        for text in wrapped(f"= {one.words}", room, "  ")
    ]  # fmt: skip
    if len(lines) > most:
        lines = [*lines[: most - 1], (Span("  ^S shows all that the readings say", "quiet"),)]
    return lines


def page_lines(inspection: Inspection, room: int) -> list[Line]:
    """All of it, a heading for each test."""
    lines: list[Line] = []
    last = ""
    for one in sayings(inspection):
        if one.test != last:
            name = "Plugs" if one.test == "plug_gap" else procedures()[one.test].label
            lines += (
                [(), (Span(name.upper(), "quiet", "bold"),)]
                if lines
                else [(Span(name.upper(), "quiet", "bold"),)]
            )
            last = one.test
        lines += [(Span(text, one.role),) for text in wrapped(f"· {one.words}", room, "  ")]
    return lines or [
        (
            Span(
                "Nothing can be said yet: a figure on two cylinders, a plug or a leak-down begins it.",
                "quiet",
            ),
        )
    ]
