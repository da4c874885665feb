"""Calculators about readings; all arithmetic lives in the modules of this room."""

from __future__ import annotations

import math
from typing import Any

from borelog.quantity import plain_number
from borelog.readings import chance, codes, leakdown, orifice, parts, plugs, risk
from borelog.readings.calc_shape import Result, Values, Work, both_units, local_air
from borelog.readings.compression import CompressionReading, make_test
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import Gauge
from borelog.readings.rules import chance_words, judge, manual_rules


def _spread(v: Values) -> Result:
    kpa = v["readings"]
    readings = [CompressionReading(i, (x,)) for i, x in enumerate(kpa, 1)]
    u = {"class_percent": v["class"], "full_scale_kpa": v["scale"], "graduation_kpa": v["graduation"]}
    test = make_test("dry", readings, "psi", Gauge(**u))
    found = judge(test, manual_rules(v["least"], v["share"]))
    lines = [found.line, *(o.sourced for o in found.outcomes), *found.assumed]
    rules = {
        o.rule.id: {
            "figure": o.figure,
            "holds": o.holds,
            "probability": o.probability,
            "result": o.result,
            "source": o.rule.source,
            "denominator": o.rule.denominator,
        }
        for o in found.outcomes
    }
    return "\n".join(lines), {"line": found.line, "rules": rules, "assumed": list(found.assumed)}


def _not_more_than_fed(v: Values) -> None:
    if v["held"] > v["supply"]:
        raise ReadingError(
            f"{both_units(v['held'])} held of {both_units(v['supply'])} fed in: swap the two, or let the gauges be compared"
        )


def _leakdown(v: Values) -> Result:
    _not_more_than_fed(v)
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


def _leak(v: Values) -> Result:
    tester = orifice.Tester(v["orifice"], v["supply"])
    leak = orifice.leak_of(v["held"], tester, local_air(v))
    text = (
        f"effective leak {leak.area_mm2:.3f} mm2, a hole of {leak.hole_mm:.3f} mm, {leak.over_orifice:.4f} x the orifice; "
        f"{leak.flow_l_min:.1f} l/min ANR at most. Equal discharge coefficients assumed; supply read while it leaks"
    )
    return text, {
        "over_orifice": leak.over_orifice,
        "area_mm2": leak.area_mm2,
        "hole_mm": leak.hole_mm,
        "flow_l_min_anr": leak.flow_l_min,
        "sonic_conductance_dm3_s_bar": orifice.sonic_conductance(leak.area_mm2),
        "leak_choked": leak.choked[0],
        "orifice_choked": leak.choked[1],
        "iso6358_shift_kpa": leak.other_law_kpa,
    }


def _convert(v: Values) -> Result:
    one, two = orifice.Tester(v["orifice"], v["supply"]), orifice.Tester(v["to_orifice"], v["to_supply"])
    held = orifice.convert(v["held"], one, two, local_air(v))
    before, after = leakdown.loss_percent(v["held"], v["supply"]), leakdown.loss_percent(held, v["to_supply"])
    text = f"{plain_number(before, 3)} % on {one.name} is {plain_number(after, 3)} % on {two.name}: {both_units(held)} held"
    return text, {"held_kpa": held, "loss_percent": after, "loss_percent_before": before}


def _orifice(v: Values) -> Result:
    rule = leakdown.faa_orifice(v["bore"])
    lines = [f"{rule.rule} ({rule.source})"]
    values: dict[str, Any] = {"orifice_mm": rule.diameter_mm, "rule": rule.rule}
    if v["displacement"] is not None:
        older = leakdown.older_orifice(v["displacement"])
        lines.append(f"{older.rule} ({older.source}); shown beside it, never mixed")
        values["older_orifice_mm"] = older.diameter_mm
    return "\n".join(lines), values


def _flow(v: Values) -> Result:
    area = math.pi / 4 * v["hole"] ** 2
    local = local_air(v)
    grams = orifice.mass_flow(area, v["supply"] + local, local)
    text = f"{grams:.3f} g/s, {orifice.flow_anr(grams):.1f} l/min ANR through an ideal hole"
    return text, {"grams_per_second": grams, "l_min_anr": orifice.flow_anr(grams)}


def _conformance(v: Values) -> Result:
    if v["low"] is None and v["high"] is None:
        raise ReadingError("conformance needs low=, high= or both")
    if v["low"] is not None and v["high"] is not None and v["low"] > v["high"]:
        raise ReadingError(f"low={v['low']:g} lies above high={v['high']:g}: swap the two")
    dof = math.inf if v["dof"] is None else v["dof"]
    p = chance.conformance(v["value"], v["u"], v["low"], v["high"], dof)
    guard = risk.guard_factor(0.05) * v["u"]
    text = f"keeps the limit with {chance_words(p)}; to be 95 % sure stay {plain_number(guard, 3)} inside it"
    return text, {"probability": p, "guard_band_95": guard}


def _coverage(v: Values) -> Result:
    k = chance.coverage_factor(v["confidence"] / 100, math.inf if v["dof"] is None else v["dof"])
    return f"k = {k:.3f}", {"k": k}


def _risk(v: Values) -> Result:
    sd = risk.spread_for_share(v["limit"], v["inside"] / 100)
    found = risk.symmetric_risk(v["limit"], sd, v["u"], v["guard"])
    text = (
        f"of all, {100 * found.bad_passed:.2f} % are bad and passed, {100 * found.good_failed:.2f} % good and failed; "
        f"{100 * found.bad_among_passed:.2f} % of those passed are bad"
    )
    values = {"bad_passed": found.bad_passed, "good_failed": found.good_failed}
    return text, {**values, "bad_among_passed": found.bad_among_passed}


def _combine(v: Values) -> Result:
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


def _gap(v: Values) -> Result:
    found = plugs.judge_gap(v["gap"], v["spec"], v["distance"], v["electrode"])
    wear = None if found.expected_mm is None else list(found.expected_mm)
    return found.words, {"state": found.state, "grown_mm": found.grown_mm, "expected_mm": wear}


def _thread(v: Values) -> Result:
    known = plugs.threads()
    name = v["name"].upper().replace(" ", "").replace("X", "x")
    found = [t for n, t in known.items() if n.startswith(name)]
    if len(found) != 1:
        raise ReadingError(f"no plug thread {v['name']!r}: there are {', '.join(known)}")
    t = found[0]
    sizes = (
        f"pitch diameter {t.pitch_diameter:.3f}, minor {t.minor_diameter:.3f}, root {t.root_diameter:.3f} mm"
    )
    text = f"{t.name}: {sizes}; ten pitches are {10 * t.pitch:g} mm"
    return text, {
        "pitch_mm": t.pitch,
        "pitch_diameter_mm": t.pitch_diameter,
        "minor_diameter_mm": t.minor_diameter,
        "root_diameter_mm": t.root_diameter,
    }


def _bore(v: Values) -> Result:
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


def _hatch(v: Values) -> Result:
    angle = parts.hatch_included(v["axial"] / v["round"])
    return f"{angle:.1f} degrees included: {parts.hatch_words(angle)}", {"included_deg": angle}


def _part(v: Values) -> Result:
    manual = (
        () if v["limit"] is None else (parts.manual_limit(v["part"], v["figure"], v["limit"], v["sense"]),)
    )
    outcomes = parts.judge_part(v["part"], v["figure"], v["value"], v["u"], manual, v["bore"])
    if not outcomes:
        by_bore = any(
            (x.part, x.quantity) == (v["part"], v["figure"]) and x.per == "bore" for x in parts.limits()
        )
        need = (
            "type bore=, these limits go by it" if by_bore else "type the service manual's figure as limit="
        )
        raise ReadingError(f"no limit known for {parts.figure_name(v['part'], v['figure'])}: {need}")
    call = parts.worth_rebuilding(outcomes)
    rows = [
        {
            "limit_mm": o.limit.in_mm(v["bore"]),
            "source": o.limit.source,
            "probability": o.probability,
            "result": o.result,
        }
        for o in outcomes
    ]
    lines = [f"{o.words} [{o.limit.source}]" for o in outcomes]
    return "\n".join([*lines, call]), {"limits": rows, "call": call}


def _code_bytes(v: Values) -> Result:
    """Two bytes as a control unit sends them, or a code as its two bytes."""
    text = v["value"].lower().removeprefix("0x")
    if text[:1] in ("p", "c", "b", "u") and len(text) == 5:
        code = codes.parse_code(text).code
        return f"{code} is 0x{codes.code_to_bytes(code):04X}", {
            "code": code,
            "value": codes.code_to_bytes(code),
        }
    try:
        value = int(text, 16)
    except ValueError as error:
        raise ReadingError("type two bytes in hex, as 0301, or a code, as P0301") from error
    code = codes.code_from_bytes(value)
    return f"0x{value:04X} is {code}", {"code": code, "value": value}


def _code(v: Values) -> Result:
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


WORK: dict[str, Work] = {
    "spread": _spread,
    "leakdown": _leakdown,
    "leak": _leak,
    "convert-leak": _convert,
    "orifice": _orifice,
    "flow": _flow,
    "conformance": _conformance,
    "coverage": _coverage,
    "risk": _risk,
    "combine": _combine,
    "plug-gap": _gap,
    "plug-thread": _thread,
    "bore": _bore,
    "part": _part,
    "hatch": _hatch,
    "codes": _code,
    "code-bytes": _code_bytes,
}
