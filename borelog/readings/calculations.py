"""The calculators themselves, one small function each; all arithmetic lives in the rooms' own modules."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from borelog.engine import geometry
from borelog.engine.engine import make_engine, parse_layout
from borelog.engine.numbering import numberings
from borelog.engine.orders import OVERSHOT, firing_angles, presets, turning_plan
from borelog.engine.plan import plan_grid
from borelog.quantity import Quantity, plain_number
from borelog.readings import air, chance, codes, leakdown, orifice, parts, plugs, risk
from borelog.readings.compression import CompressionReading, make_test
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import Gauge
from borelog.readings.rules import chance_words, judge, manual_rules

V = Mapping[str, Any]
Result = tuple[str, dict[str, Any]]

_PSI = 6.894757293168361


def _air_kpa(v: V) -> float:
    return air.SEA_LEVEL_KPA * air.air_factor(v["altitude"], v["air"])


def _both(kpa: float) -> str:
    return f"{plain_number(kpa)} kPa ({plain_number(kpa / _PSI, 4)} psi)"


def _units(v: V) -> Result:
    values = {u: q for u in ("psi", "kPa", "bar", "kgf/cm2") for q in [Quantity(v["pressure"], "kPa").to(u)]}
    text = ", ".join(f"{plain_number(q, 5)} {u}" for u, q in values.items())
    return text, {u.replace("/", "_"): q for u, q in values.items()}


def _displacement(v: V) -> Result:
    one, count = geometry.swept_cm3(v["bore"], v["stroke"]), int(v["cylinders"])
    whole = geometry.displacement_cm3(v["bore"], v["stroke"], count)
    text = f"{plain_number(one, 6)} cm3 a cylinder, {plain_number(whole, 6)} cm3 = {plain_number(whole / 16.387064, 6)} in3"
    return text, {"cylinder_cm3": one, "engine_cm3": whole, "engine_in3": whole / 16.387064}


def _ratio(v: V) -> Result:
    ratio = geometry.compression_ratio(v["swept"], v["clearance"])
    return f"compression ratio {ratio:.2f}", {"ratio": ratio}


def _volume(v: V) -> Result:
    volume = geometry.volume_cm3(v["angle"], v["bore"], v["stroke"], v["rod"], v["ratio"])
    down = geometry.stroke_share(v["angle"], v["rod"] / (v["stroke"] / 2)) * v["stroke"]
    return f"{volume:.3f} cm3, piston {down:.3f} mm down", {"volume_cm3": volume, "piston_down_mm": down}


def _dynamic(v: V) -> Result:
    rod_ratio = v["rod"] / (v["stroke"] / 2) if v["rod"] and v["stroke"] else geometry.USUAL_ROD_RATIO
    ratio = geometry.dynamic_ratio(v["ratio"], v["closing"], rod_ratio)
    return f"counted from intake closing the ratio is {ratio:.2f}", {
        "dynamic_ratio": ratio,
        "rod_ratio": rod_ratio,
    }


def _band(v: V) -> Result:
    engine = make_engine(
        "inline",
        4,
        compression_ratio=v["ratio"],
        intake_closing_deg=v["closing"],
        altitude_m=v["altitude"],
        air_pressure_kpa=v["air"],
        rod_mm=v["rod"],
        stroke_mm=v["stroke"],
    )
    band = air.expected_band(engine)
    assert band is not None
    lines = [
        f"cranking may show {_both(band.low)} to {_both(band.high)}: context only, never a limit",
        *band.assumed,
    ]
    return "\n".join(lines), {"low_kpa": band.low, "high_kpa": band.high, "assumed": list(band.assumed)}


def _end(v: V) -> Result:
    end = air.end_pressure(v["ratio"], v["exponent"], _air_kpa(v))
    return f"{_both(end)} on a gauge, without losses", {"gauge_kpa": end}


def _altitude(v: V) -> Result:
    factor = _air_kpa(v) / air.SEA_LEVEL_KPA
    there = v["reading"] / factor
    text = (
        f"the place has {100 * factor:.1f} % of sea-level pressure: {_both(v['reading'])} there is {_both(there)} at sea "
        f"level; comparisons between cylinders stay as they are\n{air.WHY_NOT_THE_TABLE}"
    )
    return text, {"factor": factor, "sea_level_kpa": there}


def _atmosphere(v: V) -> Result:
    h = v["altitude"]
    pressure, kelvin = air.isa_pressure(h), air.isa_temperature(h)
    density, sound = air.density_ratio(h), air.sound_speed(h)
    text = f"{pressure * 10:.1f} hPa, {kelvin - 273.15:.1f} degC, density {100 * density:.1f} %, sound {sound:.1f} m/s"
    values = {"pressure_kpa": pressure, "temperature_k": kelvin, "density_ratio": air.density_ratio(h)}
    return text, {**values, "sound_m_s": air.sound_speed(h)}


def _spread(v: V) -> Result:
    kpa = v["readings"]
    readings = [CompressionReading(i, (x,)) for i, x in enumerate(kpa, 1)]
    u = {"class_percent": v["class"], "full_scale_kpa": v["scale"], "graduation_kpa": v["graduation"]}
    test = make_test("dry", readings, "psi", Gauge(**u))
    found = judge(test, manual_rules(v["least"], v["share"]))
    lines = [found.line, *(o.words for o in found.outcomes), *found.assumed]
    rules = {
        o.rule.id: {"figure": o.figure, "holds": o.holds, "probability": o.probability, "result": o.result}
        for o in found.outcomes
    }
    return "\n".join(lines), {"line": found.line, "rules": rules, "assumed": list(found.assumed)}


def _leakdown(v: V) -> Result:
    loss = leakdown.loss_percent(v["held"], v["supply"])
    outcome = leakdown.against(loss, v["limit"])
    lines = [f"loss {plain_number(loss, 3)} %", outcome.words]
    values: dict[str, Any] = {
        "loss_percent": loss,
        "exceeds": outcome.exceeds,
        "probability": outcome.probability,
    }
    lines += [f"{band.words} ({band.source}; {band.status})" for band in leakdown.bands(loss)]
    return "\n".join(lines), values


def _leak(v: V) -> Result:
    tester = orifice.Tester(v["orifice"], v["supply"])
    leak = orifice.leak_of(v["held"], tester, _air_kpa(v))
    text = (
        f"effective leak {leak.area_mm2:.3f} mm2, a hole of {leak.hole_mm:.3f} mm, {leak.over_orifice:.4f} x the orifice; "
        f"{leak.flow_l_min:.1f} l/min ANR at most. Equal discharge coefficients assumed; supply read while it leaks"
    )
    return text, {
        "over_orifice": leak.over_orifice,
        "area_mm2": leak.area_mm2,
        "hole_mm": leak.hole_mm,
        "flow_l_min_anr": leak.flow_l_min,
        "leak_choked": leak.choked[0],
        "orifice_choked": leak.choked[1],
        "iso6358_shift_kpa": leak.other_law_kpa,
    }


def _convert(v: V) -> Result:
    one, two = orifice.Tester(v["orifice"], v["supply"]), orifice.Tester(v["to_orifice"], v["to_supply"])
    held = orifice.convert(v["held"], one, two, _air_kpa(v))
    before, after = leakdown.loss_percent(v["held"], v["supply"]), leakdown.loss_percent(held, v["to_supply"])
    text = f"{plain_number(before, 3)} % on {one.name} is {plain_number(after, 3)} % on {two.name}: {_both(held)} held"
    return text, {"held_kpa": held, "loss_percent": after, "loss_percent_before": before}


def _orifice(v: V) -> Result:
    rule = leakdown.faa_orifice(v["bore"])
    text = f"{rule.rule} ({rule.source})"
    return text, {"orifice_mm": rule.diameter_mm, "rule": rule.rule}


def _flow(v: V) -> Result:
    area = math.pi / 4 * v["hole"] ** 2
    local = _air_kpa(v)
    grams = orifice.mass_flow(area, v["supply"] + local, local)
    text = f"{grams:.3f} g/s, {orifice.flow_anr(grams):.1f} l/min ANR through an ideal hole"
    return text, {"grams_per_second": grams, "l_min_anr": orifice.flow_anr(grams)}


def _conformance(v: V) -> Result:
    if v["low"] is None and v["high"] is None:
        raise ReadingError("conformance needs low=, high= or both")
    dof = math.inf if v["dof"] is None else v["dof"]
    p = chance.conformance(v["value"], v["u"], v["low"], v["high"], dof)
    return f"keeps the limit with {chance_words(p)}", {"probability": p}


def _coverage(v: V) -> Result:
    k = chance.coverage_factor(v["confidence"] / 100, math.inf if v["dof"] is None else v["dof"])
    return f"k = {k:.3f}", {"k": k}


def _risk(v: V) -> Result:
    sd = risk.spread_for_share(v["limit"], v["inside"] / 100)
    found = risk.symmetric_risk(v["limit"], sd, v["u"], v["guard"])
    text = (
        f"of all, {100 * found.bad_passed:.2f} % are bad and passed, {100 * found.good_failed:.2f} % good and failed; "
        f"{100 * found.bad_among_passed:.2f} % of those passed are bad"
    )
    values = {"bad_passed": found.bad_passed, "good_failed": found.good_failed}
    return text, {**values, "bad_among_passed": found.bad_among_passed}


def _combine(v: V) -> Result:
    dofs = v["dofs"] or (math.inf,) * len(v["parts"])
    if len(dofs) != len(v["parts"]):
        raise ReadingError(
            "type as many degrees of freedom as parts (a large number for a known one), or none"
        )
    u, dof = math.hypot(*v["parts"]), chance.effective_dof(list(zip(v["parts"], dofs, strict=True)))
    shown = "" if math.isinf(dof) else f", {dof:.1f} degrees of freedom"
    k = chance.coverage_factor(0.95, dof)
    text = f"u {plain_number(u)}{shown}; 95 %: +-{plain_number(k * u, 3)} (k {k:.2f})"
    return text, {"u": u, "dof": None if math.isinf(dof) else dof, "expanded_95": k * u}


def _engine_of(v: V) -> Any:
    layout, count = parse_layout(v["layout"])
    return make_engine(layout, count, v["numbering"] or "", v["order"], intervals=v["intervals"])


def _plan(v: V) -> Result:
    engine = _engine_of(v)
    grid = plan_grid(engine)
    width = max(4, 2 + max(len(c.label) for c in grid.cells))
    lines = [grid.top]
    for row in range(grid.rows):
        cells = (grid.at(row, column) for column in range(grid.columns))
        lines.append("".join(f"{'' if c is None else engine.label(c):>{width}}" for c in cells))
    lines += [grid.bottom, grid.note]
    cells_out = [
        {"cylinder": c.cylinder, "row": c.row, "column": c.column, "bank": c.bank} for c in grid.cells
    ]
    return "\n".join(lines), {
        "note": grid.note,
        "cells": cells_out,
        "bridges": [list(p) for p in grid.bridges],
    }


def _order(v: V) -> Result:
    engine = _engine_of(v)
    known = [p.words for p in presets(engine.layout, engine.count)]
    if engine.firing_order is None:
        text = "published orders: " + ("; ".join(known) or "none known here")
        return text, {"presets": known}
    angles = firing_angles(engine)
    steps = sorted({round(s, 3) for s in engine.intervals})
    pairs = ", ".join(f"{a} and {b}" for a, b in engine.companions) or "none"
    apart = " and ".join(f"{s:g}" for s in steps)
    text = f"{'-'.join(map(str, engine.firing_order))}: {apart} degrees apart; companions: {pairs}"
    return text, {
        "angles_deg": {str(c): a for c, a in angles.items()},
        "companions": [list(p) for p in engine.companions],
    }


def _turn(v: V) -> Result:
    engine = _engine_of(v)
    start = None if v["start"] is None else engine.cylinder_named(v["start"])
    plan = turning_plan(engine, start)
    lines = [t.words for t in plan] + [OVERSHOT]
    return "\n".join(lines), {
        "plan": [{"cylinder": t.cylinder, "degrees": t.degrees, "total": t.total} for t in plan]
    }


def _gap(v: V) -> Result:
    found = plugs.judge_gap(v["gap"], v["spec"], v["distance"], v["electrode"])
    wear = None if found.expected_mm is None else list(found.expected_mm)
    return found.words, {"state": found.state, "grown_mm": found.grown_mm, "expected_mm": wear}


def _thread(v: V) -> Result:
    known = plugs.threads()
    name = v["name"].upper().replace(" ", "").replace("X", "x")
    found = [t for n, t in known.items() if n.startswith(name)]
    if len(found) != 1:
        raise ReadingError(f"no plug thread {v['name']!r}: there are {', '.join(known)}")
    t = found[0]
    sizes = f"pitch diameter {t.pitch_diameter:.3f}, minor {t.minor_diameter:.3f} mm"
    text = f"{t.name}: {sizes}; ten pitches are {10 * t.pitch:g} mm"
    return text, {
        "pitch_mm": t.pitch,
        "pitch_diameter_mm": t.pitch_diameter,
        "minor_diameter_mm": t.minor_diameter,
    }


def _bore(v: V) -> Result:
    thrust, pin = v["thrust"], v["pin"]
    if len(thrust) != 3 or len(pin) != 3:
        raise ReadingError("type three diameters along each axis: top, middle, bottom")
    measure = parts.BoreMeasure(1, thrust, pin, v["nominal"], v["u"])
    result = parts.bore_result(measure)
    outcomes = parts.judge_bore(measure)
    figures = f"taper {result.taper:.3f}, ovality {result.ovality:.3f}, wear {result.wear:.3f} mm"
    head = f"{figures}; largest at {result.largest_at}"
    lines = [head, *(o.words for o in outcomes), parts.worth_rebuilding(outcomes)]
    values = {
        "taper_mm": result.taper,
        "ovality_mm": result.ovality,
        "wear_mm": result.wear,
        "oversize_mm": result.oversize,
    }
    return "\n".join(lines), {**values, "call": parts.worth_rebuilding(outcomes)}


def _hatch(v: V) -> Result:
    angle = parts.hatch_included(v["axial"] / v["round"]) if v["round"] else math.nan
    return f"{angle:.1f} degrees included: {parts.hatch_words(angle)}", {"included_deg": angle}


def _code(v: V) -> Result:
    read = codes.read_codes(v["text"])
    lines = [c.words for c in read.codes] + list(read.not_codes) + list(read.questions)
    rows = [
        {
            "code": c.code,
            "meaning": c.meaning,
            "cylinder": c.cylinder,
            "bank": c.bank,
            "mechanical": c.mechanical,
        }
        for c in read.codes
    ]
    return "\n".join(lines) or "no code in this text", {"codes": rows, "questions": list(read.questions)}


def _numberings(_: V) -> Result:
    rows = [f"{n.id}: {n.title} - {n.words} ({n.source})" for n in numberings().values()]
    return "\n".join(rows), {"numberings": {n.id: n.words for n in numberings().values()}}


WORK: dict[str, Callable[[V], Result]] = {
    "units": _units,
    "spread": _spread,
    "leakdown": _leakdown,
    "leak": _leak,
    "convert-leak": _convert,
    "orifice": _orifice,
    "flow": _flow,
    "displacement": _displacement,
    "ratio": _ratio,
    "volume": _volume,
    "dynamic-ratio": _dynamic,
    "expected": _band,
    "end-pressure": _end,
    "altitude": _altitude,
    "atmosphere": _atmosphere,
    "conformance": _conformance,
    "coverage": _coverage,
    "risk": _risk,
    "combine": _combine,
    "plan": _plan,
    "firing": _order,
    "turning": _turn,
    "numberings": _numberings,
    "plug-gap": _gap,
    "plug-thread": _thread,
    "bore": _bore,
    "hatch": _hatch,
    "codes": _code,
}
