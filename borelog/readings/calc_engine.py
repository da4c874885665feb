"""Calculators about the engine and its air; all arithmetic lives in the rooms' own modules."""

from __future__ import annotations

from borelog.engine import geometry
from borelog.engine.engine import Engine, make_engine, parse_layout
from borelog.engine.numbering import numberings
from borelog.engine.orders import OVERSHOT, firing_angles, presets, turning_plan
from borelog.engine.plan import plan_grid
from borelog.quantity import Quantity, plain_number
from borelog.readings import air
from borelog.readings.calc_shape import Result, Values, Work, both_units, local_air


def _units(v: Values) -> Result:
    values = {u: q for u in ("psi", "kPa", "bar", "kgf/cm2") for q in [Quantity(v["pressure"], "kPa").to(u)]}
    text = ", ".join(f"{plain_number(q, 5)} {u}" for u, q in values.items())
    return text, {u.replace("/", "_"): q for u, q in values.items()}


def _displacement(v: Values) -> Result:
    one, count = geometry.swept_cm3(v["bore"], v["stroke"]), v["cylinders"]
    whole = geometry.displacement_cm3(v["bore"], v["stroke"], count)
    text = f"{plain_number(one, 6)} cm3 a cylinder, {plain_number(whole, 6)} cm3 = {plain_number(whole / 16.387064, 6)} in3"
    values = {"cylinder_cm3": one, "engine_cm3": whole, "engine_in3": whole / 16.387064}
    if v["speed"] is not None:
        values["piston_speed_m_s"] = geometry.mean_piston_speed(v["stroke"], v["speed"])
        text += f"; mean piston speed {values['piston_speed_m_s']:.2f} m/s"
    return text, values


def _ratio(v: Values) -> Result:
    ratio = geometry.compression_ratio(v["swept"], v["clearance"])
    return f"compression ratio {ratio:.2f}", {"ratio": ratio}


def _volume(v: Values) -> Result:
    volume = geometry.volume_cm3(v["angle"], v["bore"], v["stroke"], v["rod"], v["ratio"])
    down = geometry.stroke_share(v["angle"], v["rod"] / (v["stroke"] / 2)) * v["stroke"]
    return f"{volume:.3f} cm3, piston {down:.3f} mm down", {"volume_cm3": volume, "piston_down_mm": down}


def _dynamic(v: Values) -> Result:
    rod_ratio = v["rod"] / (v["stroke"] / 2) if v["rod"] and v["stroke"] else geometry.USUAL_ROD_RATIO
    ratio = geometry.dynamic_ratio(v["ratio"], v["closing"], rod_ratio)
    return f"counted from intake closing the ratio is {ratio:.2f}", {
        "dynamic_ratio": ratio,
        "rod_ratio": rod_ratio,
    }


def _band(v: Values) -> Result:
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
        f"cranking may show {both_units(band.low)} to {both_units(band.high)}: context only, never a limit",
        *band.assumed,
    ]
    return "\n".join(lines), {"low_kpa": band.low, "high_kpa": band.high, "assumed": list(band.assumed)}


def _end(v: Values) -> Result:
    end = air.end_pressure(v["ratio"], v["exponent"], local_air(v))
    return f"{both_units(end)} on a gauge, without losses", {"gauge_kpa": end}


def _altitude(v: Values) -> Result:
    factor = local_air(v) / air.SEA_LEVEL_KPA
    there = v["reading"] / factor
    text = (
        f"the place has {100 * factor:.1f} % of sea-level pressure: {both_units(v['reading'])} there is {both_units(there)} "
        f"at sea level; comparisons between cylinders stay as they are\n{air.WHY_NOT_THE_TABLE}"
    )
    return text, {"factor": factor, "sea_level_kpa": there}


def _atmosphere(v: Values) -> Result:
    h = air.geopotential(v["altitude"]) if v["height"] == "geometric" else v["altitude"]
    pressure, kelvin = air.isa_pressure(h), air.isa_temperature(h)
    density, sound = air.density_ratio(h), air.sound_speed(h)
    text = f"{pressure * 10:.1f} hPa, {kelvin - 273.15:.1f} degC, density {100 * density:.1f} %, sound {sound:.1f} m/s"
    values = {"pressure_kpa": pressure, "temperature_k": kelvin, "density_ratio": density, "sound_m_s": sound}
    return text, values


def engine_of(v: Values) -> Engine:
    """The engine of a calculator's parameters; an order may be a published one by name ('v6-odd')."""
    layout, count = parse_layout(v["layout"])
    preset = next((p for p in presets(layout, count) if p.id == (v["order"] or "").strip().lower()), None)
    if preset is None:
        return make_engine(layout, count, v["numbering"] or "", v["order"], intervals=v["intervals"])
    return make_engine(
        layout, count, v["numbering"] or "", preset.order, intervals=preset.intervals, heads=preset.heads
    )


def _plan(v: Values) -> Result:
    engine = engine_of(v)
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


def _order(v: Values) -> Result:
    engine = engine_of(v)
    known = presets(engine.layout, engine.count)
    if engine.firing_order is None:
        rows = [
            f"{p.id}: {p.words}, {' '.join(f'{d:g}' for d in dict.fromkeys(p.intervals))} degrees ({p.source})"
            for p in known
        ]
        text = "\n".join(
            ["published orders, by the name they may be typed with:", *rows] if rows else ["none known here"]
        )
        return text, {
            "presets": [
                {
                    "name": p.id,
                    "order": list(p.order),
                    "intervals_deg": list(p.intervals),
                    "note": p.note,
                    "source": p.source,
                }
                for p in known
            ]
        }
    angles = firing_angles(engine)
    steps = sorted({round(s, 3) for s in engine.intervals})
    pairs = ", ".join(f"{a} and {b}" for a, b in engine.companions) or "none"
    apart = " and ".join(f"{s:g}" for s in steps)
    text = f"{'-'.join(map(str, engine.firing_order))}: {apart} degrees apart; companions: {pairs}"
    return text, {
        "angles_deg": {str(c): a for c, a in angles.items()},
        "companions": [list(p) for p in engine.companions],
    }


def _turn(v: Values) -> Result:
    engine = engine_of(v)
    start = None if v["start"] is None else engine.cylinder_named(v["start"])
    plan = turning_plan(engine, start)
    lines = [t.words for t in plan] + [OVERSHOT]
    return "\n".join(lines), {
        "plan": [{"cylinder": t.cylinder, "degrees": t.degrees, "total": t.total} for t in plan]
    }


def _numberings(_: Values) -> Result:
    rows = [f"{n.id}: {n.title} - {n.words} ({n.source})" for n in numberings().values()]
    return "\n".join(rows), {"numberings": {n.id: n.words for n in numberings().values()}}


WORK: dict[str, Work] = {
    "units": _units,
    "displacement": _displacement,
    "ratio": _ratio,
    "volume": _volume,
    "dynamic-ratio": _dynamic,
    "expected": _band,
    "end-pressure": _end,
    "altitude": _altitude,
    "atmosphere": _atmosphere,
    "plan": _plan,
    "firing": _order,
    "turning": _turn,
    "numberings": _numberings,
}
