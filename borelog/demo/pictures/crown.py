"""Piston crowns: turned aluminium under carbon, with pockets, washed rims, a missing piece, dents, pits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from borelog.demo.pictures.cast import Floor, cells
from borelog.demo.pictures.grain import Dice, Mask, Plane, blur, fractal, mud_cracks, smoothstep


@dataclass(frozen=True, slots=True)
class CrownLook:
    """What a crown has been through. Shares are 0 to 1, lengths mm, angles degrees from x towards y."""

    carbon: float = 0.55
    """How much of the metal is covered."""
    thick: float = 0.25
    """How thick and broken up the carbon is."""
    tan: float = 0.3
    pockets: int = 2
    dish_mm: float = 0.8
    wash_rim_mm: float = 0.0
    washed_deg: float | None = None
    """Direction of a steam-clean area; None for none."""
    bite_deg: float | None = None
    bite_mm: float = 9.0
    pits: int = 0
    dents: int = 0
    oil: float = 0.0
    flakes: int = 0


@lru_cache(maxsize=6)
def make_crown(look: CrownLook, radius: float, depth: float, seed: int, size: int = 1100) -> Floor:
    """The maps, size x size, of one crown that fills a bore of the given radius at the given depth (mm)."""
    return _build(look, radius, depth, seed, size)


def _pockets(look: CrownLook, x: Plane, y: Plane, radius: float) -> list[tuple[float, float, float, float]]:
    r = radius
    if look.pockets == 4:
        return [
            (-0.37 * r, -0.40 * r, 0.35 * r, 1.0),
            (0.37 * r, -0.40 * r, 0.35 * r, 1.0),
            (-0.34 * r, 0.44 * r, 0.30 * r, 0.8),
            (0.34 * r, 0.44 * r, 0.30 * r, 0.8),
        ]
    return [(-0.05 * r, -0.42 * r, 0.46 * r, 1.2), (0.04 * r, 0.48 * r, 0.39 * r, 0.9)][: look.pockets]


def _build(look: CrownLook, radius: float, depth: float, seed: int, size: int) -> Floor:
    half = radius + 0.6
    x, y = cells(half, size)
    per_mm = size / (2 * half)
    shape = (size, size)
    r = np.sqrt(x * x + y * y).astype(np.float32)
    edge = radius - 0.45
    dice = Dice("crown", seed)
    height = (-look.dish_mm * smoothstep(0.72 * radius, 0.60 * radius, r)).astype(np.float32)
    turning = np.zeros(shape, np.float32)
    for px, py, pr, deep in _pockets(look, x, y, radius):
        away = np.sqrt((x - px) ** 2 + (y - py) ** 2).astype(np.float32)
        inside = smoothstep(pr + 0.35, pr - 0.35, away)
        slope = (y - py) / pr * (0.8 if py < 0 else -0.8)
        floor_of = -deep * (1.0 + 0.5 * slope)
        height += (np.minimum(floor_of, height) - height) * inside
        turning += np.sin(away * 2 * np.pi / 0.42) * inside * 0.004
    fine = normal_tools(shape, per_mm, seed)
    turning += np.sin(r * 2 * np.pi / 0.30) * 0.0035
    chamfer = smoothstep(edge - 1.0, edge, r)
    height -= chamfer * 0.5
    labels: dict[str, Mask] = {}
    torn = np.zeros(shape, np.float32)
    if look.bite_deg is not None:
        torn, cavity = _bite(look, x, y, radius, seed, shape)
        height += (np.minimum(height, -6.5 + 1.1 * fine["rock"]) - height) * cavity
        labels["missing piece"] = cavity > 0.5
    gap = smoothstep(edge - 0.05, edge + 0.22, r)
    height += (-9.0 - height) * gap
    labels["ring gap"] = (r > edge) & (r < radius)
    # Carbon: broad distribution by the flame, broken by clouds; thin towards the intake pocket's spray.
    flow = (
        fine["cloud"] * 0.75
        + fine["mid"] * 0.35
        + 0.5 * (y / radius)
        - 0.25 * smoothstep(0.5, 1.0, r / radius)
    )
    cover = smoothstep(-0.75, 0.55, flow + (look.carbon - 0.5) * 4.2)
    if look.wash_rim_mm > 0:
        wash = smoothstep(
            edge - look.wash_rim_mm - 1.2, edge - look.wash_rim_mm + 1.2, r + 0.9 * fine["cloud"]
        )
        cover *= 1 - 0.92 * wash
        labels["washed rim"] = (wash > 0.5) & (r < edge)
    clean = np.zeros(shape, np.float32)
    if look.washed_deg is not None:
        direction = math.radians(look.washed_deg)
        toward = x * math.cos(direction) + y * math.sin(direction)
        clean = smoothstep(-0.06, 0.06, toward / radius + 0.16 + 0.10 * fine["cloud"] + 0.035 * fine["mid"])
        cover *= 1 - 0.985 * clean
        labels["steam-clean area"] = (clean > 0.5) & (r < edge)
    cover *= 1 - torn
    crack = mud_cracks(shape, 3.2 * per_mm, "crown.mud", seed)
    crack = crack + 1.5 * fine["mid"] * per_mm * 0.06
    broken = smoothstep(0.16 * per_mm, 0.02 * per_mm, crack) * smoothstep(0.5, 0.9, cover) * look.thick
    build_up = cover * look.thick
    relief = turning * (1 - 0.85 * cover) + 0.012 * fine["grain"] * cover
    relief += build_up * (0.10 * fine["lump"] + 0.05 * fine["mid"]) - broken * 0.12
    height += build_up * (0.25 + 0.12 * fine["lump"]) * (1 - gap)
    metal = np.array([0.36, 0.355, 0.345], np.float32)
    metal_tone = 1 + 0.08 * fine["mid"] + 0.05 * fine["grain"] + 0.07 * np.sin(r * 2 * np.pi / 0.30)
    stain = np.clip(0.72 - 0.22 * fine["cloud"] + 0.16 * fine["mid"] + 0.06 * fine["grain"], 0, 1)
    varnish = np.array([0.16, 0.115, 0.075], np.float32)
    soot = np.array([0.050, 0.045, 0.040], np.float32)
    brown = np.array([0.105, 0.075, 0.050], np.float32)
    browning = np.clip(look.tan * (0.6 + 0.6 * fine["mid"] - 0.4 * fine["cloud"]), 0, 1)
    carbon = soot + (brown - soot) * browning[..., None]
    carbon = carbon * (1 + 0.09 * fine["grain"] + 0.20 * fine["lump"])[..., None]
    base = metal * metal_tone[..., None]
    base = base + (varnish - base) * (stain * (1 - clean) * (1 - torn) * 0.85)[..., None]
    base = np.where(torn[..., None] > 0.02, base + (np.float32(0.36) - base) * torn[..., None] * 0.8, base)
    colour = base + (carbon - base) * cover[..., None]
    colour *= (1 - 0.75 * broken)[..., None]
    if look.bite_deg is not None:
        # Down in the break only dull grain, a touch of oil, and the dark behind the rings.
        shade_in = cavity * np.clip(0.62 + 0.2 * fine["rock"], 0.2, 0.9)
        colour += (np.array([0.085, 0.08, 0.072], np.float32) - colour) * shade_in[..., None]
    ash = smoothstep(1.3, 2.4, fine["mid"] + 0.5 * fine["grain"]) * cover * look.thick
    colour += (np.array([0.15, 0.13, 0.11], np.float32) - colour) * (ash * 0.5)[..., None]
    gloss = 0.62 * (1 - cover) * (1 - 0.45 * stain) + 0.05 + 0.10 * clean
    rough = 0.36 + 0.38 * cover + 0.05 * fine["grain"] - 0.06 * clean
    rough = rough + torn * (0.30 - rough) * 0.6
    relief += torn * (0.22 * fine["rock"] + 0.04 * fine["grain"])
    if look.oil > 0:
        pool = smoothstep(
            1.35 - look.oil * 1.6, 1.75 - look.oil * 1.6, fine["cloud"] + 0.25 * fine["mid"] - height * 0.15
        )
        colour *= 1 - pool[..., None] * np.array([0.62, 0.68, 0.78], np.float32)
        gloss += (0.05 - gloss) * pool
        rough += (0.16 - rough) * pool * 0.9
        relief *= 1 - 0.96 * pool
        labels["oil pool"] = (pool > 0.5) & (r < edge)
    _knocks(look, x, y, edge, dice, fine, height, relief, colour, labels)
    crevice = gap[..., None]
    colour *= 1 - 0.88 * crevice
    gloss = gloss * (1 - 0.8 * gap)
    labels["bare metal"] = (cover < 0.3) & (r < edge)
    return Floor(
        half,
        depth,
        blur(height, 0.6),
        np.ascontiguousarray(np.clip(colour, 0.004, 0.95), np.float32),
        np.clip(gloss, 0.02, 0.9).astype(np.float32),
        np.clip(rough, 0.12, 0.95).astype(np.float32),
        labels,
        np.asarray(relief, np.float32),
    )


@lru_cache(maxsize=4)
def normal_tools(shape: tuple[int, int], per_mm: float, seed: int) -> dict[str, Plane]:
    """The handful of noises every floor needs, by size: cloud 22 mm, mid 4 mm, lump 1.6 mm, grain 0.25 mm, rock."""
    return {
        "cloud": fractal(shape, 22 * per_mm, "floor.cloud", seed, 4, 0.5),
        "mid": fractal(shape, 4.5 * per_mm, "floor.mid", seed, 4, 0.6),
        "lump": fractal(shape, 1.7 * per_mm, "floor.lump", seed, 3, 0.6),
        "grain": fractal(shape, max(2.0, 0.32 * per_mm), "floor.grain", seed, 2, 0.8),
        "rock": fractal(shape, 2.8 * per_mm, "floor.rock", seed, 4, 0.7),
    }


def _bite(
    look: CrownLook, x: Plane, y: Plane, radius: float, seed: int, shape: tuple[int, int]
) -> tuple[Plane, Plane]:
    """A piece broken out of the edge: its outline wanders, its lip is bright and torn."""
    assert look.bite_deg is not None
    direction = math.radians(look.bite_deg)
    out = x * math.cos(direction) + y * math.sin(direction)
    side = -x * math.sin(direction) + y * math.cos(direction)
    per_mm = shape[0] / (2 * radius)
    ragged = fractal(shape, 3.2 * per_mm, "crown.bite", seed, 4, 0.55)
    inner = radius - look.bite_mm
    reach = (out - inner) / look.bite_mm
    wide = np.abs(side + 0.8 * ragged) / (look.bite_mm * 1.35)
    inside = reach - wide**2.2 * 0.9 + 0.10 * ragged
    cavity = smoothstep(-0.02, 0.045, inside)
    torn = smoothstep(-0.16, -0.04, inside + 0.05 * ragged)
    return torn, cavity


def _knocks(
    look: CrownLook,
    x: Plane,
    y: Plane,
    edge: float,
    dice: Dice,
    fine: dict[str, Plane],
    height: Plane,
    relief: Plane,
    colour: Plane,
    labels: dict[str, Mask],
) -> None:
    """Sand-blast pits, sharp dents and loose flakes, written into the maps in place."""
    size = height.shape[0]
    per_mm = size / (x[0, -1] - x[0, 0])

    def spot(px: float, py: float, reach: float) -> tuple[slice, slice]:
        col, row = (px - x[0, 0]) * per_mm, (py - y[0, 0]) * per_mm
        span = reach * per_mm + 2
        return (
            slice(max(0, int(row - span)), min(size, int(row + span))),
            slice(max(0, int(col - span)), min(size, int(col + span))),
        )

    for name, count in (("pits", look.pits), ("dents", look.dents)):
        if not count:
            continue
        mask = labels.setdefault(name, np.zeros(height.shape, np.bool_))
        for _ in range(count):
            away = edge * dice.between(0.55 if name == "pits" else 0.1, 0.96)
            angle = math.radians(dice.between(200, 340) if name == "pits" else dice.between(0, 360))
            px, py = away * math.cos(angle), away * math.sin(angle)
            reach = dice.between(0.18, 0.5) if name == "pits" else dice.between(0.35, 1.1)
            long, turn = dice.between(1.0, 1.2 if name == "pits" else 2.4), dice.between(0, math.pi)
            window = spot(px, py, reach * long * 2.2)
            u = (x[:, window[1]] - px) * math.cos(turn) + (y[window[0]] - py) * math.sin(turn)
            v = -(x[:, window[1]] - px) * math.sin(turn) + (y[window[0]] - py) * math.cos(turn)
            far = np.sqrt((u / long) ** 2 + v * v) / reach
            far = far + 0.10 * fine["lump"][window] + 0.04 * fine["grain"][window]
            hole = smoothstep(1.12, 0.45 if name == "pits" else 0.80, far)
            # A nick has a floor that leans the way the blow came, and raises a burr on one side only.
            height[window] -= (
                hole * reach * (0.7 if name == "pits" else 0.42 + 0.30 * np.clip(v / reach, -1, 1))
            )
            burr = np.exp(-(((far - 1.12) / 0.14) ** 2)) * np.clip(v / reach - 0.1, 0, 1)
            relief[window] += burr * 0.12 * reach
            fresh = np.clip(hole * (0.62 + 0.25 * fine["mid"][window]) + 0.4 * burr, 0, 1)[..., None]
            colour[window] += (np.float32(0.22) - colour[window]) * fresh * (0.2 if name == "pits" else 0.8)
            mask[window] |= far < 1.0
    if look.flakes:
        mask = labels.setdefault("loose flakes", np.zeros(height.shape, np.bool_))
        for _ in range(look.flakes):
            away, angle = edge * dice.between(0.1, 0.9), dice.between(0, 2 * math.pi)
            px, py, reach = away * math.cos(angle), away * math.sin(angle), dice.between(0.4, 1.3)
            corners = [
                (
                    px + reach * dice.between(0.5, 1.1) * np.cos(a),
                    py + reach * dice.between(0.5, 1.1) * np.sin(a),
                )
                for a in np.linspace(0, 2 * np.pi, 7)[:-1]
            ]
            at = np.array([[(cx - x[0, 0]) * per_mm, (cy - y[0, 0]) * per_mm] for cx, cy in corners])
            drawn = np.zeros(height.shape, np.uint8)
            cv2.fillPoly(drawn, [at.astype(np.int32)], 1)
            inside = drawn.astype(bool)
            height[inside] += 0.28
            colour[inside] = colour[inside] * 0.4 + 0.02
            mask |= inside
