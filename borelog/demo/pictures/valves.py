"""Valve heads and their seats as seen from the piston: even, deposited, one-sided, burnt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from borelog.demo.pictures.grain import Mask, Plane, smoothstep

PENT = 0.22
"""Slope of the two roof planes."""


@dataclass(frozen=True, slots=True)
class Valve:
    """One valve as seen from the piston. Place and radius in mm; y > 0 is the exhaust side."""

    x: float
    y: float
    radius: float
    exhaust: bool
    notch_deg: float | None = None
    notch_mm: float = 6.0
    pale_deg: float | None = None
    """Direction of a one-sided pale patch, as burning begins."""
    open_mm: float = 0.0
    deposit: float = 0.4
    crumb_deg: float | None = None


FOUR = (
    Valve(-15.5, -15.5, 16.0, False),
    Valve(15.5, -15.5, 16.0, False),
    Valve(-14.5, 15.5, 13.6, True),
    Valve(14.5, 15.5, 13.6, True),
)
TWO = (Valve(-3.0, -16.0, 20.0, False), Valve(2.0, 18.5, 16.5, True))


def set_valve(
    maps: dict[str, Plane],
    labels: dict[str, Mask],
    valve: Valve,
    index: int,
    x: Plane,
    y: Plane,
    tools: dict[str, Plane],
    per_mm: float,
) -> None:
    """Let one valve and its seat into the roof, working only in the square that holds them."""
    full_maps, full_labels, size = maps, labels, x.shape[1]
    reach = valve.radius + 4.5
    col = slice(
        *(int(np.clip((at + x[0, -1]) * per_mm, 0, size)) for at in (valve.x - reach, valve.x + reach))
    )
    row = slice(
        *(int(np.clip((at + x[0, -1]) * per_mm, 0, size)) for at in (valve.y - reach, valve.y + reach))
    )
    maps = {key: field[row, col] for key, field in full_maps.items()}
    tools = {key: field[row, col] for key, field in tools.items()}
    x, y, labels = x[:, col], y[row], {}
    dx, dy = x - np.float32(valve.x), y - np.float32(valve.y)
    away = np.sqrt(dx * dx + dy * dy).astype(np.float32)
    angle = np.arctan2(dy, dx).astype(np.float32)
    plane = (PENT * abs(valve.y) + (PENT if valve.y > 0 else -PENT) * dy).astype(np.float32) + 0 * x
    r = valve.radius
    kind = "exhaust" if valve.exhaust else "intake"
    name = f"{kind} valve {index + 1}"
    seat = smoothstep(r + 2.3, r + 2.0, away)
    head = smoothstep(r + 0.04, r - 0.10, away)
    gap = np.exp(-(((away - (r + 0.16)) / 0.17) ** 2)).astype(np.float32)
    wide = 1.0 if valve.open_mm else 0.0
    # The pocket and the seat ring are cut by one tool: flat, slightly sunk, with turned marks.
    height, relief, colour = maps["height"], maps["relief"], maps["colour"]
    height += (plane - 0.35 - height) * smoothstep(r + 3.0, r + 2.0, away)
    ring = seat * (1 - head)
    height -= 0.5 * ring * smoothstep(r + 1.6, r + 0.2, away)
    relief *= 1 - 0.8 * seat
    relief += ring * np.sin(away * 2 * np.pi / 0.22) * 0.004
    seat_metal = np.array([0.40, 0.37, 0.33], np.float32) * (1 + 0.1 * tools["mid"])[..., None]
    dirty = np.clip(0.45 + 0.35 * tools["mid"] + 0.2 * tools["lump"], 0, 0.92)[..., None]
    seat_colour = seat_metal * (1 - dirty) + np.array([0.085, 0.065, 0.05], np.float32) * dirty
    colour += (seat_colour - colour) * (ring * 0.9)[..., None]
    maps["gloss"] += (0.45 * (1 - dirty[..., 0]) + 0.06 - maps["gloss"]) * ring
    maps["rough"] += (0.38 - maps["rough"]) * ring
    # The head: shallow dish, margin with a small chamfer, stamped ring.
    dish = -0.55 * smoothstep(0.78 * r, 0.55 * r, away) - 0.5 * smoothstep(r - 0.7, r, away)
    proud = plane + 0.35 + dish - valve.open_mm
    height += (proud - height) * head
    if valve.exhaust:
        face = _exhaust_face(valve, away, angle, tools)
    else:
        face = _intake_face(valve, away, angle, tools)
    colour += (face[0] - colour) * head[..., None]
    maps["gloss"] += (face[1] - maps["gloss"]) * head
    maps["rough"] += (face[2] - maps["rough"]) * head
    relief += (face[3] - relief) * head
    colour *= (1 - 0.9 * gap)[..., None]
    height -= gap * 0.9 * (1 - wide)
    labels[name] = away < r
    if valve.notch_deg is not None:
        _burn(maps, labels, valve, away, angle, tools, name)
    if valve.crumb_deg is not None:
        at = math.radians(valve.crumb_deg)
        cx, cy = valve.x + r * math.cos(at), valve.y + r * math.sin(at)
        lump = smoothstep(1.5, 0.9, np.sqrt((x - cx) ** 2 + (y - cy) ** 2) + 0.35 * tools["lump"])
        height += 0.7 * lump
        colour *= (1 - 0.85 * lump)[..., None]
        labels["carbon across the seat"] = lump > 0.5
    for key, mask in labels.items():
        whole = full_labels.setdefault(key, np.zeros((size, size), np.bool_))
        whole[row, col] |= mask


Face = tuple[Plane, Plane, Plane, Plane]


def _exhaust_face(valve: Valve, away: Plane, angle: Plane, tools: dict[str, Plane]) -> Face:
    """Tan to rust rings on a dry oxide ground, even all round unless the valve leaks on one side."""
    r = valve.radius
    q = away / r + 0.035 * tools["cloud"] + 0.03 * tools["mid"]
    grey = np.array([0.30, 0.275, 0.25], np.float32)
    tan = np.array([0.36, 0.235, 0.145], np.float32)
    rust = np.array([0.235, 0.115, 0.065], np.float32)
    dark = np.array([0.075, 0.060, 0.050], np.float32)
    core = smoothstep(0.34, 0.18, q)[..., None]
    ring = (smoothstep(0.30, 0.48, q) * smoothstep(0.80, 0.62, q))[..., None]
    outer = smoothstep(0.68, 0.86, q)[..., None]
    colour = tan * (1 - core) + dark * core * 0.6 + tan * core * 0.4
    colour = colour + (rust - colour) * ring * np.clip(0.55 + 0.35 * tools["mid"], 0, 1)[..., None]
    colour = colour + (grey - colour) * outer * 0.85
    rays = np.sin(angle * 23 + 2.2 * tools["cloud"]) * 0.5 + np.sin(angle * 41 + tools["mid"]) * 0.5
    crust = smoothstep(0.2, 1.4, tools["lump"] + 0.6 * tools["mid"] + 0.3 * rays) * valve.deposit
    pale = np.array([0.42, 0.36, 0.28], np.float32)
    colour = colour + (pale - colour) * (crust * 0.55)[..., None]
    colour = colour * (1 + 0.06 * tools["grain"] + 0.05 * rays)[..., None]
    if valve.pale_deg is not None:
        turn = np.cos(angle - math.radians(valve.pale_deg))
        patch = smoothstep(0.62, 0.98, turn + 0.10 * tools["mid"]) * smoothstep(0.25, 0.75, q + 0.06 * rays)
        hot = np.array([0.50, 0.50, 0.42], np.float32)
        colour = colour + (hot - colour) * (patch * 0.75)[..., None]
    margin = smoothstep(r - 0.9, r - 0.5, away)
    colour = colour * (1 - 0.25 * margin)[..., None]
    gloss = 0.10 + 0.10 * outer[..., 0] + 0.12 * margin
    rough = 0.62 - 0.12 * outer[..., 0] + 0 * q
    relief = 0.05 * tools["lump"] * (0.4 + valve.deposit) + 0.007 * tools["grain"] + 0.07 * crust
    relief = relief + np.sin(away * 2 * np.pi / 0.35) * 0.0022
    return (
        colour.astype(np.float32),
        gloss.astype(np.float32),
        rough.astype(np.float32),
        relief.astype(np.float32),
    )


def _intake_face(valve: Valve, away: Plane, angle: Plane, tools: dict[str, Plane]) -> Face:
    """Dark, part bare: oily carbon thicker in the middle, turned steel towards the margin."""
    r = valve.radius
    q = away / r
    bare = smoothstep(0.45, 1.0, q + 0.28 * tools["cloud"] + 0.14 * tools["mid"])
    steel = (
        np.array([0.33, 0.32, 0.305], np.float32) * (1 + 0.06 * np.sin(away * 2 * np.pi / 0.40))[..., None]
    )
    soot = np.array([0.060, 0.052, 0.045], np.float32)
    varnish = np.array([0.15, 0.105, 0.065], np.float32)
    mix = np.clip(0.45 + 0.4 * tools["mid"], 0, 1)[..., None]
    carbon = soot * mix + varnish * (1 - mix)
    carbon = carbon * (1 + 0.2 * tools["lump"] + 0.14 * tools["grain"])[..., None]
    stained = steel + (varnish * 1.2 - steel) * np.clip(0.35 + 0.3 * tools["mid"], 0, 0.8)[..., None]
    colour = carbon + (stained - carbon) * (bare * 0.9)[..., None]
    gloss = 0.10 + 0.38 * bare
    rough = 0.58 - 0.20 * bare
    relief = 0.05 * tools["lump"] * (1 - bare) + 0.010 * tools["grain"]
    relief = relief + np.sin(away * 2 * np.pi / 0.40) * 0.0035 * bare
    return (
        colour.astype(np.float32),
        gloss.astype(np.float32),
        rough.astype(np.float32),
        relief.astype(np.float32),
    )


def _burn(
    maps: dict[str, Plane],
    labels: dict[str, Mask],
    valve: Valve,
    away: Plane,
    angle: Plane,
    tools: dict[str, Plane],
    name: str,
) -> None:
    """A gutter burnt through the rim: black opening, melted pale lip, one-sided hot colour, cracks from its root."""
    assert valve.notch_deg is not None
    r, deep = valve.radius, valve.notch_mm
    turn = angle - math.radians(valve.notch_deg)
    turn = np.arctan2(np.sin(turn), np.cos(turn))
    side = np.abs(turn) * away + 0.32 * tools["mid"] + 0.18 * tools["lump"]
    reach = (away - (r - deep)) / deep
    opening = 0.33 * deep * (0.25 + 0.75 * np.clip(reach, 0, 1.2) ** 0.7)
    gone = smoothstep(0.18, -0.18, side - opening) * smoothstep(-0.04, 0.10, reach + 0.04 * tools["lump"])
    gone *= smoothstep(r + 1.3, r + 0.6, away)
    dark = smoothstep(0.62, 0.15, side - opening) * smoothstep(-0.14, 0.06, reach + 0.04 * tools["lump"])
    dark *= smoothstep(r + 2.0, r + 1.2, away)
    lip = (
        np.exp(-((np.maximum(side - opening - 0.55, 0) / 0.8) ** 2))
        * smoothstep(-0.35, 0.05, reach)
        * (1 - gone)
    )
    lip *= smoothstep(r + 0.6, r - 0.2, away)
    hot = np.exp(-((side / (deep * 0.95)) ** 2)) * smoothstep(-1.3, 0.3, reach) * (away < r)
    colour = maps["colour"]
    colour += (np.array([0.47, 0.45, 0.36], np.float32) - colour) * (hot * 0.65)[..., None]
    colour += (np.array([0.56, 0.53, 0.48], np.float32) - colour) * (lip * 0.8)[..., None]
    maps["gloss"] += (0.34 - maps["gloss"]) * lip
    maps["rough"] += (0.30 - maps["rough"]) * lip * 0.8
    maps["relief"] += lip * (0.10 + 0.05 * tools["mid"])
    maps["height"] += (-7.0 - maps["height"]) * gone
    colour *= (1 - 0.96 * dark)[..., None]
    maps["gloss"] *= 1 - 0.9 * dark
    labels["notch"] = gone > 0.5
    labels["hot patch"] = (hot > 0.5) & labels[name] & ~labels["notch"]
