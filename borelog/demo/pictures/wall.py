"""The running surface of a bore: honing, wear, streaks, scores, films and stains, painted where it is seen."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from borelog.demo.pictures.grain import Dice, Mask, Plane, blur, fractal, normal, smoothstep

TABLE = 16384
LEVELS = 11


@dataclass(frozen=True, slots=True)
class Line:
    """A line that runs along the bore: a score, a fine line or a pin streak. Lengths in mm."""

    at_deg: float
    top: float
    bottom: float
    width: float
    contrast: float
    """Below 0 a dark valley, above 0 bright torn or rubbed metal."""
    sway: float = 0.0
    label: str = "score"


@dataclass(frozen=True, slots=True)
class Wall:
    """Looks of one bore. Lengths in mm, angles in degrees; z runs down from the deck.

    ``hone_deg`` is the included angle of the two groove families, bisected by the circumferential direction.
    """

    radius: float = 40.5
    hone_deg: float = 45.0
    hone_depth: float = 1.0
    groove_mm: float = 0.045
    tone: tuple[float, float, float] = (0.205, 0.20, 0.19)
    faint_top: float = 0.0
    """How far the hatch has gone in the upper third, 0 to 1."""
    shine: float = 0.0
    """Mid-bore rubbed patches on the two thrust sides, 0 to 1."""
    ring_top: float = 8.0
    """z of the top ring's turning point; carbon sits above it."""
    carbon_top: float = 0.8
    oil: float = 0.25
    soot: float = 0.15
    fine_lines: float = 0.4
    rust: float = 0.0
    coolant_run_deg: float | None = None
    pick_up_deg: float | None = None
    lines: tuple[Line, ...] = ()
    stroke_bottom: float = 96.0


def scored(seed: int, count: int = 9, at_deg: float = 40.0, spread: float = 26.0) -> tuple[Line, ...]:
    """A band of scores round one side, as a failing ring or particle leaves."""
    dice = Dice("wall.scores", seed)
    made = []
    for _ in range(count):
        top = dice.between(9, 16)
        length = dice.between(46, 76)
        bright = dice.chance(0.35)
        contrast = dice.between(0.6, 1.0) if bright else -dice.between(0.55, 0.95)
        at = at_deg + spread * (dice.between(-0.5, 0.5) + dice.between(-0.5, 0.5)) * 0.7
        made.append(
            Line(
                at,
                top,
                top + length,
                dice.between(0.12, 0.30) if dice.chance(0.6) else dice.between(0.4, 1.3),
                contrast,
                dice.between(0.0, 0.12),
            )
        )
    return tuple(made)


def pin_streaks(seed: int, at_deg: float = 0.0) -> tuple[Line, ...]:
    """Pairs of rubbed streaks in line with the piston pin: mostly harmless contact."""
    dice = Dice("wall.pin", seed)
    made = []
    for side in (0.0, 180.0):
        for offset in (-9.0, 9.0):
            for _ in range(5):
                made.append(
                    Line(
                        at_deg + side + offset + dice.between(-2.2, 2.2),
                        dice.between(12, 24),
                        dice.between(60, 88),
                        dice.between(0.25, 0.9),
                        dice.between(0.22, 0.50) * (1 if dice.chance(0.6) else -1),
                        0.05,
                        "pin streak",
                    )
                )
    return tuple(made)


@dataclass(slots=True)
class WallPaint:
    """What the paint gives back per pixel, (H, W) planes; slopes are bumps along s and z."""

    colour: Plane
    gloss: Plane
    rough: Plane
    rough_along: Plane
    slope_s: Plane
    slope_z: Plane
    labels: dict[str, Mask]


@lru_cache(maxsize=24)
def _groove_table(seed: int, family: int, width_cells: float) -> Plane:
    """Groove value and slope over 16384 cells at halving sharpness, (LEVELS, TABLE, 2), periodic."""
    white = normal((1, TABLE), f"wall.grooves/{family}", seed)

    def soft(sigma: float) -> Plane:
        padded = np.concatenate([white, white, white], axis=1)[:, TABLE // 2 : TABLE // 2 * 5]
        size = int(sigma * 4) * 2 + 1
        kernel = cv2.getGaussianKernel(size, sigma).T.astype(np.float32)
        out: Any = cv2.filter2D(padded, cv2.CV_32F, kernel, borderType=cv2.BORDER_REFLECT)
        return np.asarray(
            out[:, TABLE // 2 : TABLE // 2 + TABLE] * np.float32((sigma * 3.54) ** 0.5), np.float32
        )

    # Many fine scratches, some broad ones, a few deep: valleys cut into a plateau.
    fine, broad = soft(width_cells * 0.7), soft(width_cells * 1.8)
    valley = -(np.maximum(fine - 0.15, 0) ** 1.2) * 0.8 - np.maximum(broad - 1.2, 0) * 0.8 + 0.30 * fine
    valley = np.roll(valley - valley.mean(), -TABLE // 2, axis=1)
    levels = []
    for level in range(LEVELS):
        if level:
            sigma = 0.55 * 2.0**level
            size = int(sigma * 3.5) * 2 + 1
            wide = np.concatenate([valley, valley, valley], axis=1)
            kernel = cv2.getGaussianKernel(size, sigma).T.astype(np.float32)
            filtered: Any = cv2.filter2D(wide, cv2.CV_32F, kernel, borderType=cv2.BORDER_REFLECT)
            value = np.asarray(filtered[:, TABLE : 2 * TABLE], np.float32)
        else:
            value = valley
        slope = (np.roll(value, -1, axis=1) - np.roll(value, 1, axis=1)) * 0.5 * width_cells
        levels.append(np.stack([value[0], slope[0]], axis=-1))
    return np.ascontiguousarray(np.stack(levels), dtype=np.float32)


@lru_cache(maxsize=8)
def _clouds(seed: int) -> Plane:
    """Slow wall noise over the whole bore: 4 channels, 1024 cells round by 512 along 140 mm."""
    shape = (512, 1024)
    return np.ascontiguousarray(
        np.dstack(
            [
                fractal(shape, 90, "wall.stain", seed, 5, 0.55),
                fractal(shape, (160, 26), "wall.run", seed, 4, 0.6),
                fractal(shape, 14, "wall.mottle", seed, 3, 0.6),
                fractal(shape, (300, 9), "wall.lines", seed, 3, 0.75),
            ]
        )
    )


@lru_cache(maxsize=8)
def _grit(seed: int) -> Plane:
    return np.ascontiguousarray(fractal((512, 512), 9, "wall.grit", seed, 4, 0.8))


def _wrapped(field: Plane, u: Plane, v: Plane) -> Plane:
    rows, columns = field.shape[:2]
    out: Any = cv2.remap(
        field, np.mod(u, columns), np.mod(v, rows), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP
    )
    return np.asarray(out, np.float32)


def footprint(field: Plane, seam: float = 1e9) -> Plane:
    """How much a value changes from one pixel to the next: the size of a pixel on the surface."""
    gx = np.abs(cv2.filter2D(field, cv2.CV_32F, np.array([[-0.5, 0, 0.5]]), borderType=cv2.BORDER_REPLICATE))
    gy = np.abs(
        cv2.filter2D(field, cv2.CV_32F, np.array([[-0.5], [0], [0.5]]), borderType=cv2.BORDER_REPLICATE)
    )
    worst = np.maximum(gx, gy)
    return np.where(worst > seam, 0.05, worst)


def _hatch(wall: Wall, family: int, s: Plane, z: Plane, foot: Plane, seed: int) -> tuple[Plane, Plane, Plane]:
    """Groove value and its slopes along s and z of one family."""
    half = np.deg2rad(wall.hone_deg / 2)
    side = 1.0 if family == 0 else -1.0
    sin, cos = float(np.sin(half)), float(np.cos(half))
    round_trip = 2 * np.pi * wall.radius * sin
    turns = max(1, round(round_trip / 82.0)) if sin > 1e-3 else 1
    cell = round_trip / turns / TABLE if sin > 1e-3 else 82.0 / TABLE
    across = -side * sin * s + cos * z
    along = cos * s + side * sin * z
    level = np.clip(np.log2(np.maximum(foot / np.float32(cell), 1.0)), 0, LEVELS - 1.01).astype(np.float32)
    table = _groove_table(seed, family, wall.groove_mm / cell)
    # The table is folded in two, as a remap source may not be wider than 32767 and needs a margin to wrap.
    position = np.mod(across / np.float32(cell), np.float32(TABLE))
    got: Any = cv2.remap(
        table, position.astype(np.float32), level, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    # Grooves start and end: their strength changes slowly along and at once across.
    ends = _wrapped(_grit(seed + 17 + family), across * np.float32(2.3), along * np.float32(0.30))
    strength = np.clip(0.85 + 0.42 * ends, 0.05, 1.8)
    value = np.asarray(got[..., 0], np.float32) * strength
    slope = np.asarray(got[..., 1], np.float32) * strength
    return value, -side * np.float32(sin) * slope, np.float32(cos) * slope


def _window(z: Plane, top: float, bottom: float, soft: float) -> Plane:
    rising = np.clip((z - top) / soft + 0.5, 0, 1)
    falling = np.clip((bottom - z) / soft + 0.5, 0, 1)
    return np.asarray(rising * falling, np.float32)


def paint_wall(
    wall: Wall, s: Plane, z: Plane, foot_s: Plane, foot_z: Plane, seed: int, families: int = 2
) -> WallPaint:
    """Paint the wall at arc length s and depth z (mm), each pixel covering foot_s x foot_z mm.

    Parameters
    ----------
    s, z, foot_s, foot_z : (H, W) float32
    """
    around = np.float32(2 * np.pi * wall.radius)
    clouds = _wrapped(_clouds(seed), s * np.float32(1024 / around), z * np.float32(512 / 140))
    stain, run, mottle, lines = (np.ascontiguousarray(clouds[..., i]) for i in range(4))
    fine = np.clip(1.2 - np.maximum(foot_s, foot_z) * 14, 0.0, 1.0)
    grit = _wrapped(_grit(seed), s * np.float32(22), z * np.float32(22)) * fine
    thrust = np.cos(2 * s / np.float32(wall.radius))
    keep = np.ones(s.shape, np.float32)
    if wall.faint_top > 0:
        fade = smoothstep(wall.ring_top + 34, wall.ring_top + 3, z + 6 * stain)
        keep *= 1 - wall.faint_top * fade * np.clip(0.85 + 0.3 * mottle, 0, 1)
    rubbed = np.zeros(s.shape, np.float32)
    if wall.shine > 0:
        middle = np.exp(-(((z - 46 - 4 * stain) / 19) ** 2)) * smoothstep(0.35, 0.95, -thrust + 0.16 * run)
        rubbed = np.asarray(wall.shine * middle, np.float32)
        keep *= 1 - 0.8 * rubbed
    travel = smoothstep(wall.ring_top - 0.6, wall.ring_top + 1.2, z + 0.25 * run)
    v0, s0, z0 = _hatch(wall, 0, s, z, np.sqrt(foot_s * foot_z), seed)
    v1, s1, z1 = _hatch(wall, 1, s, z, np.sqrt(foot_s * foot_z), seed)
    if families == 1:
        v1, s1, z1 = (np.zeros_like(v0) for _ in range(3))
    depth = wall.hone_depth * keep * np.clip(1 + 0.18 * stain, 0.4, 1.4)
    # Where two grooves cross the deeper one stays: not a plain sum.
    value = np.minimum(v0, v1) * 0.6 + (v0 + v1) * 0.4
    tone = 1 + depth * 0.42 * value + 0.03 * mottle + 0.025 * grit + 0.06 * stain
    tone = tone + wall.fine_lines * 0.22 * lines * smoothstep(8, 20, z)
    slope_s, slope_z = depth * 0.30 * (s0 + s1), depth * 0.30 * (z0 + z1)
    gloss = 0.72 - 0.10 * stain + 0.16 * depth * value + 0.10 * wall.fine_lines * lines
    rough = np.clip(
        0.31 + 0.03 * lines + 0.012 * mottle + 0.015 * grit - 0.10 * (1 - keep) - 0.05 * rubbed, 0.17, 0.8
    )
    # Grooves run mostly round the bore, so that light is spread along it.
    rough_along = np.clip(rough * (1.0 + 0.45 * keep), 0.15, 0.85)
    gloss = gloss + 0.16 * rubbed
    tone = tone * (1 + 0.10 * rubbed)
    labels: dict[str, Mask] = {}
    colour = np.stack([np.float32(c) * tone for c in wall.tone])
    painted = WallPaint(colour, gloss, rough, rough_along, slope_s, slope_z, labels)
    _lines(painted, wall, s, z, foot_s, grit, seed)
    _films(painted, wall, s, z, stain, run, mottle, lines, grit, travel)
    labels["carbon belt"] = (travel < 0.4) & (z < wall.ring_top + 2)
    if wall.shine > 0:
        labels["mid-bore shine"] = rubbed > 0.35 * wall.shine
    np.clip(painted.gloss, 0.02, 0.95, out=painted.gloss)
    np.clip(painted.colour, 0.004, 0.95, out=painted.colour)
    return painted


def _lines(out: WallPaint, wall: Wall, s: Plane, z: Plane, foot_s: Plane, grit: Plane, seed: int) -> None:
    """Scores and streaks, each worked only where it can be seen."""
    around = np.float32(2 * np.pi * wall.radius)
    for index, line in enumerate(wall.lines):
        centre = np.float32(np.deg2rad(line.at_deg) * wall.radius)
        phase = 1.7 * index + seed % 7
        away = np.mod(s - centre + around / 2, around) - around / 2
        near = np.abs(away) < line.width * 4 + line.sway + 0.6
        near &= (z > line.top - 3) & (z < line.bottom + 3)
        if not near.any():
            continue
        zz = z[near]
        off = away[near] - line.sway * np.sin(zz * 0.11 + phase)
        width = np.maximum(line.width / 2, foot_s[near] * 0.55)
        thin = line.width / 2 / width
        # Pressure comes and goes along a score.
        swell = 0.72 + 0.28 * np.sin(zz * 0.23 + phase) * np.sin(zz * 0.071 + 2 * phase) + 0.22 * grit[near]
        ends = np.clip((zz - line.top) / 3.0, 0, 1) * np.clip((line.bottom - zz) / 6.0, 0, 1)
        core = np.exp(-((off / width) ** 2)) * swell * ends
        amount = (core * thin * abs(line.contrast)).astype(np.float32)
        if line.contrast < 0:
            out.colour[:, near] *= 1 - 0.85 * amount
            out.gloss[near] *= 1 - 0.7 * amount
            lip = np.exp(-(((np.abs(off) - width * 1.5) / (width * 0.5)) ** 2)) * swell * ends * thin
            out.colour[:, near] *= 1 + 0.35 * abs(line.contrast) * lip
            out.slope_s[near] += (-np.sign(off) * core * thin * 0.45).astype(np.float32)
        else:
            out.colour[:, near] *= 1 + 0.55 * amount
            out.gloss[near] += 0.22 * amount
            out.rough[near] *= 1 - 0.25 * amount
            out.slope_s[near] += (off / width * core * 0.10).astype(np.float32)
        mask = out.labels.setdefault(line.label, np.zeros(s.shape, np.bool_))
        mask[near] |= (np.abs(off) < np.maximum(line.width * 0.5, foot_s[near] * 0.7)) & (ends > 0.15)


def _mix(
    out: WallPaint, amount: Plane, colour: tuple[float, float, float], gloss: float, rough: float
) -> None:
    for channel in range(3):
        out.colour[channel] += (np.float32(colour[channel]) - out.colour[channel]) * amount
    out.gloss += (np.float32(gloss) - out.gloss) * amount
    out.rough += (np.float32(rough) - out.rough) * amount
    out.rough_along += (np.float32(rough) - out.rough_along) * amount
    out.slope_s *= 1 - 0.8 * amount
    out.slope_z *= 1 - 0.8 * amount


def _films(
    out: WallPaint,
    wall: Wall,
    s: Plane,
    z: Plane,
    stain: Plane,
    run: Plane,
    mottle: Plane,
    lines: Plane,
    grit: Plane,
    travel: Plane,
) -> None:
    """Oil, soot, carbon belt, rust, coolant and picked-up metal, laid over the metal in that order."""
    if wall.oil > 0:
        film = np.clip(wall.oil * (0.55 + 0.5 * run + 0.2 * stain), 0, 0.9)
        for channel, kept in enumerate((0.92, 0.80, 0.58)):
            out.colour[channel] *= 1 - film * np.float32(1 - kept)
        out.rough += (0.20 - out.rough) * film * 0.5
        out.slope_s *= 1 - 0.35 * film
        out.slope_z *= 1 - 0.35 * film
        out.labels["oil film"] = film > 0.45
    if wall.soot > 0:
        dust = np.clip(wall.soot * (0.5 + 0.6 * stain + 0.35 * mottle + 0.4 * lines), 0, 0.85)
        _mix(out, dust, (0.055, 0.05, 0.045), 0.10, 0.6)
    belt = (1 - travel) * np.clip(wall.carbon_top * (0.9 + 0.30 * mottle + 0.25 * run), 0, 1)
    _mix(out, np.asarray(belt, np.float32), (0.045, 0.038, 0.032), 0.10, 0.62)
    out.slope_s += belt * (0.25 * grit + 0.1 * mottle)
    if wall.rust > 0:
        bloom = mottle + 0.55 * stain + 0.55 * grit + 0.35 * lines + wall.rust
        halo, spots = smoothstep(0.2, 1.6, bloom), smoothstep(1.0, 2.3, bloom)
        _mix(out, halo * 0.55, (0.20, 0.12, 0.055), 0.25, 0.5)
        _mix(out, spots * 0.9, (0.115, 0.048, 0.020), 0.04, 0.8)
        pitted = smoothstep(1.9, 2.5, bloom + 0.3 * grit)
        out.colour *= 1 - 0.7 * pitted
        out.slope_s += spots * 0.45 * grit
        out.slope_z += spots * 0.35 * mottle
        out.labels["rust"] = spots > 0.5
    if wall.coolant_run_deg is not None:
        _coolant(out, wall, s, z, run, mottle, stain)
    if wall.pick_up_deg is not None:
        around = 2 * np.pi * wall.radius
        away = np.mod(s - np.deg2rad(wall.pick_up_deg) * wall.radius + around / 2, around) - around / 2
        body = np.exp(-((away / 6.0) ** 2)) * _window(z, 24, 70, 22)
        torn = body * 1.5 + 0.34 * lines + 0.16 * mottle + 0.10 * run
        smear = smoothstep(0.55, 1.25, torn)
        tone = 0.30 * (1 + 0.22 * lines + 0.16 * mottle + 0.10 * grit)
        for channel in range(3):
            out.colour[channel] += (tone - out.colour[channel]) * smear * 0.85
        out.gloss += (0.34 - out.gloss) * smear
        out.rough += (0.52 - out.rough) * smear
        out.slope_z *= 1 - 0.85 * smear
        out.slope_s += smear * (0.40 * lines + 0.30 * grit)
        rents = smoothstep(0.9, 1.8, lines + 0.7 * mottle + 0.4 * grit) * smear
        out.colour *= 1 - 0.6 * rents
        out.labels["metal pick-up"] = smear > 0.5


def _coolant(out: WallPaint, wall: Wall, s: Plane, z: Plane, run: Plane, mottle: Plane, stain: Plane) -> None:
    """A clean track that a bead of coolant washed down the wall, with a pale dried edge."""
    assert wall.coolant_run_deg is not None
    around = 2 * np.pi * wall.radius
    centre = np.deg2rad(wall.coolant_run_deg) * wall.radius
    path = 1.2 * np.sin(z * 0.09) + 0.5 * np.sin(z * 0.23 + 1)
    away = np.abs(np.mod(s - centre - path + around / 2, around) - around / 2)
    wide = 1.6 + 0.05 * z + 0.35 * mottle
    body = (
        smoothstep(1.15, 0.85, away / np.maximum(wide, 0.5))
        * smoothstep(5, 7, z)
        * smoothstep(92, 74, z + 3 * stain)
    )
    rim = np.exp(-(((away - wide) / 0.35) ** 2)) * body.clip(0.0, 1.0)
    for channel, value in enumerate((0.52, 0.52, 0.50)):
        out.colour[channel] += (np.float32(value) - out.colour[channel]) * body * 0.7
    out.gloss += (0.8 - out.gloss) * body * 0.6
    out.rough += (0.15 - out.rough) * body * 0.7
    _mix(
        out,
        np.asarray(np.clip(rim * (0.8 + 0.4 * mottle), 0, 0.9), np.float32),
        (0.50, 0.52, 0.44),
        0.06,
        0.7,
    )
    out.labels["coolant run"] = body > 0.5


def straight_patch(
    wall: Wall,
    shape: tuple[int, int],
    per_mm: float,
    seed: int,
    at: tuple[float, float] = (0.0, 50.0),
    families: int = 2,
) -> WallPaint:
    """The wall rolled flat and seen square-on at a given scale."""
    s = ((np.arange(shape[1], dtype=np.float32) + 0.5) / per_mm + np.float32(at[0]))[None, :].repeat(
        shape[0], 0
    )
    z = ((np.arange(shape[0], dtype=np.float32) + 0.5) / per_mm + np.float32(at[1]))[:, None].repeat(
        shape[1], 1
    )
    foot = np.full(shape, 1 / per_mm, np.float32)
    return paint_wall(wall, s, z, foot, foot, seed, families)


__all__ = [
    "Line",
    "Wall",
    "WallPaint",
    "blur",
    "footprint",
    "paint_wall",
    "pin_streaks",
    "scored",
    "straight_patch",
]
