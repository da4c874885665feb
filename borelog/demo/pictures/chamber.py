"""The roof of the combustion chamber with its valves, seats and plug hole; cracks and lines that only look so."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.bore import take
from borelog.demo.pictures.camera import Camera, camera
from borelog.demo.pictures.cast import Floor, cells
from borelog.demo.pictures.crown import normal_tools
from borelog.demo.pictures.grain import Dice, Mask, Plane, blur, smoothstep
from borelog.demo.pictures.optics import Lens, look, project
from borelog.demo.pictures.rendered import Rendered, ellipse_of, outlines
from borelog.demo.pictures.valves import FOUR, PENT, TWO, Valve, set_valve
from borelog.demo.pictures.wall import Wall


@dataclass(frozen=True, slots=True)
class RoofLook:
    """A chamber roof. ``cracks`` are polylines in mm; ``hole`` is the plug hole (x, y, radius)."""

    valves: tuple[Valve, ...] = FOUR
    hole: tuple[float, float, float] | None = (0.0, 0.0, 5.6)
    carbon: float = 0.55
    tan: float = 0.35
    steam_clean: float = 0.0
    cracks: tuple[tuple[tuple[float, float], ...], ...] = ()
    crack_mm: float = 0.16
    flow_lines: tuple[tuple[tuple[float, float], ...], ...] = ()
    """Raised casting lines: what a crack may be confused with."""


def wandering(
    start: tuple[float, float], end: tuple[float, float], seed: int, jitter: float = 0.10, depth: int = 6
) -> tuple[tuple[float, float], ...]:
    """A jagged path between two points, halved again and again with sideways jumps (mm)."""
    dice = Dice("chamber.path", seed)
    path = [start, end]
    for _ in range(depth):
        finer = [path[0]]
        for a, b in pairwise(path):
            long = float(np.hypot(b[0] - a[0], b[1] - a[1]))
            off = dice.between(-1, 1) * jitter * long * (1.9 if long > 2 else 1.2)
            middle = (
                (a[0] + b[0]) / 2 - (b[1] - a[1]) / max(long, 1e-6) * off,
                (a[1] + b[1]) / 2 + (b[0] - a[0]) / max(long, 1e-6) * off,
            )
            finer += [middle, b]
        path = finer
    return tuple(path)


def _traced(
    paths: tuple[tuple[tuple[float, float], ...], ...], half: float, size: int, width_mm: float
) -> Plane:
    """Distance-like strength of thin lines on a map: 1 on the line, 0 beyond its width."""
    scale = size / (2 * half)
    out = np.zeros((size, size), np.float32)
    for path in paths:
        at = (np.array(path) + half) * scale - 0.5
        ground = np.full((size, size), 255, np.uint8)
        cv2.polylines(ground, [np.round(at * 16).astype(np.int32)], False, 0, 1, cv2.LINE_8, 4)
        far: Any = cv2.distanceTransform(ground, cv2.DIST_L2, 5)
        # A crack tapers towards its tips.
        taper = np.clip(far * 0 + 1, 0, 1)
        out = np.maximum(out, np.exp(-((far / (width_mm * scale * 0.5)) ** 2)) * taper)
    return out.astype(np.float32)


@lru_cache(maxsize=6)
def make_roof(roof: RoofLook, radius: float, depth: float, seed: int, size: int = 1200) -> Floor:
    """The maps of one chamber roof that closes a bore of the given radius (mm)."""
    half = radius + 0.6
    x, y = cells(half, size)
    shape = (size, size)
    per_mm = size / (2 * half)
    tools = normal_tools(shape, per_mm, seed)
    r = np.sqrt(x * x + y * y).astype(np.float32)
    inside = smoothstep(radius - 1.2, radius - 2.6, r + 0.5 * tools["cloud"] * 0.4)
    height = (PENT * np.abs(y) * np.ones_like(x)).astype(np.float32)
    rim_flat = np.float32(PENT * 0.72 * radius)
    height = np.minimum(height, rim_flat) * inside + (rim_flat + 1.5) * (1 - inside)
    cover = smoothstep(-0.9, 0.7, tools["cloud"] * 0.7 + 0.4 * tools["mid"] + (roof.carbon - 0.5) * 4)
    if roof.steam_clean > 0:
        washed = smoothstep(-0.2, 0.35, roof.steam_clean - 0.6 + 0.35 * tools["cloud"] - 0.4 * x / radius)
        cover *= 1 - 0.95 * washed
    relief = 0.05 * tools["lump"] * (0.4 + cover) + 0.03 * tools["mid"] + 0.012 * tools["grain"]
    metal = (
        np.array([0.44, 0.43, 0.41], np.float32)
        * (1 + 0.07 * tools["mid"] + 0.05 * tools["grain"])[..., None]
    )
    brown = np.clip(roof.tan * (0.7 + 0.6 * tools["mid"]), 0, 1)[..., None]
    carbon = (
        np.array([0.055, 0.048, 0.042], np.float32) * (1 - brown)
        + np.array([0.19, 0.13, 0.085], np.float32) * brown
    )
    carbon = carbon * (1 + 0.18 * tools["grain"] + 0.2 * tools["lump"])[..., None]
    colour = metal + (carbon - metal) * cover[..., None]
    gloss = 0.42 * (1 - cover) + 0.05
    rough = 0.42 + 0.33 * cover
    labels: dict[str, Mask] = {}
    maps = {"height": height, "relief": relief, "colour": colour, "gloss": gloss, "rough": rough}
    for index, valve in enumerate(roof.valves):
        set_valve(maps, labels, valve, index, x, y, tools, per_mm)
    if roof.hole is not None:
        _bore_hole(maps, labels, roof.hole, x, y, tools)
    if roof.flow_lines:
        ridge = _traced(roof.flow_lines, half, size, 0.26)
        for name, mask in labels.items():
            if "valve" in name or name == "plug hole":
                ridge[mask] = 0.0
        maps["relief"] += 0.12 * ridge
        maps["colour"] *= (1 - 0.62 * ridge)[..., None]
        maps["gloss"] *= 1 - 0.3 * ridge
        labels["casting line"] = ridge > 0.4
    if roof.cracks:
        crack = _traced(roof.cracks, half, size, roof.crack_mm)
        for name, mask in labels.items():
            if "valve" in name or name == "plug hole":
                crack[mask] = 0.0
        crack = crack * np.clip(0.85 + 0.25 * tools["mid"], 0.3, 1)
        maps["colour"] *= (1 - 0.88 * crack)[..., None]
        maps["gloss"] *= 1 - 0.8 * crack
        maps["relief"] -= 0.10 * crack
        # Old cracks bleed a trace of what went through them.
        trail = blur(crack, 0.5 * per_mm) * 2.2
        maps["colour"] += (np.array([0.22, 0.13, 0.07], np.float32) - maps["colour"]) * np.clip(
            trail * 0.22, 0, 0.3
        )[..., None]
        labels["crack"] = crack > 0.35
    return Floor(
        half,
        depth,
        blur(maps["height"], 0.7),
        np.ascontiguousarray(np.clip(maps["colour"], 0.004, 0.95), np.float32),
        np.clip(maps["gloss"], 0.02, 0.9).astype(np.float32),
        np.clip(maps["rough"], 0.14, 0.95).astype(np.float32),
        labels,
        np.asarray(maps["relief"], np.float32),
    )


def _bore_hole(
    maps: dict[str, Plane],
    labels: dict[str, Mask],
    hole: tuple[float, float, float],
    x: Plane,
    y: Plane,
    tools: dict[str, Plane],
) -> None:
    """The plug hole: chamfer, two or three turns of thread in view, darkness."""
    hx, hy, radius = hole
    away = np.sqrt((x - hx) ** 2 + (y - hy) ** 2).astype(np.float32)
    turn = np.arctan2(y - hy, x - hx).astype(np.float32)
    inside = smoothstep(radius + 0.1, radius - 0.1, away)
    boss = smoothstep(radius + 2.4, radius + 1.8, away)
    maps["height"] += 0.35 * boss * (1 - inside) - 0.5 * smoothstep(radius + 0.8, radius, away) * (1 - inside)
    fall = np.clip((radius - away) / (radius * 0.45), 0, 1)
    thread = np.sin(2 * np.pi * (fall * 5.0) + turn)
    maps["height"] += (-9.0 * fall + 0.45 * thread - 0.5) * inside
    metal = np.array([0.34, 0.31, 0.27], np.float32) * np.clip(0.75 + 0.35 * thread, 0.2, 1.2)[..., None]
    maps["colour"] += (metal * (1 - 0.93 * fall[..., None] ** 0.7) - maps["colour"]) * inside[..., None]
    maps["gloss"] += (0.35 * (1 - fall) - maps["gloss"]) * inside
    maps["rough"] += (0.4 - maps["rough"]) * inside
    maps["relief"] *= 1 - inside
    labels["plug hole"] = away < radius


def chamber_view(
    seed: int = 0,
    *,
    roof: RoofLook | None = None,
    target: tuple[float, float] = (8.0, 12.0),
    distance: float = 34.0,
    lean: tuple[float, float] = (0.25, -0.3),
    roll_deg: float = 0.0,
    size: tuple[int, int] = (1280, 720),
    focal: float | None = None,
    k1: float = -0.05,
    radius: float = 40.5,
    made_by: Camera | None = None,
    fine: int = 1,
    lamps: dict[str, Any] | None = None,
    ring: dict[str, Any] | None = None,
) -> Rendered:
    """A bent-back view of the roof: valves as ellipses, cracks and notches as outlines in ``truth``.

    ``target`` is the spot in the middle (mm from the bore's axis), ``lean`` how far aside the tip stands per mm
    of ``distance``.
    """
    depth = 60.0
    roof = roof or RoofLook()
    lens = Lens(size[0], size[1], focal or 0.72 * size[0], k1)
    at = (target[0] + lean[0] * distance, target[1] + lean[1] * distance, depth - distance)
    pose = look(at, (target[0], target[1], depth - 3.0), roll_deg)
    floor = make_roof(roof, radius, depth, seed)
    shot = take(
        lens, pose, Wall(radius, soot=0.5), floor, made_by or camera("tip720"), seed, fine, lamps, ring
    )
    valves = []
    for index, valve in enumerate(roof.valves):
        turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
        px, py = valve.x + valve.radius * np.cos(turn), valve.y + valve.radius * np.sin(turn)
        pz = depth - (PENT * np.abs(valve.y) + np.sign(valve.y) * PENT * (py - valve.y))
        points = project(lens, pose, np.stack([px, py, pz], axis=-1))
        kind = "exhaust" if valve.exhaust else "intake"
        valves.append(
            {
                "name": f"{kind} valve {index + 1}",
                "diameter_mm": 2 * valve.radius,
                "ellipse": ellipse_of(points),
            }
        )
    shot.truth["valves"] = valves
    return shot


def crack_scene(
    seed: int = 0, *, size: tuple[int, int] = (1280, 720), crack: bool = True, **view: Any
) -> Rendered:
    """A roof with a jagged crack from an exhaust seat to the plug hole: ``maps['crack']`` is its mask (H, W) bool.

    Without ``crack`` the same roof sound, for counting false marks.
    """
    dice = Dice("crack", seed)
    # From the seat of an exhaust valve to the edge of the plug hole, the hottest bridge of a roof.
    valve = FOUR[dice.whole(2, 3)]
    toward = math.atan2(-valve.y, -valve.x) + dice.between(-0.35, 0.35)
    start = (
        valve.x + (valve.radius + 0.2) * math.cos(toward),
        valve.y + (valve.radius + 0.2) * math.sin(toward),
    )
    end = (5.5 * math.cos(toward + math.pi), 5.5 * math.sin(toward + math.pi))
    paths: list[tuple[tuple[float, float], ...]] = [wandering(start, end, seed)]
    middle = paths[0][len(paths[0]) // 2]
    if dice.chance(0.6):
        side = dice.sign() * dice.between(2.5, 5)
        fork = (middle[0] - side * math.sin(toward), middle[1] + side * math.cos(toward))
        paths.append(wandering(middle, fork, seed + 1))
    side = 1.0 if valve.x < 0 else -1.0
    paths.append(wandering((0.0, 6.0), (dice.between(-0.6, 0.6), dice.between(12, 17)), seed + 2))
    if dice.chance(0.5):
        paths.append(
            wandering(
                (side * 5.6, dice.between(-1, 1)), (side * dice.between(9, 13), dice.between(-1, 1)), seed + 3
            )
        )
    roof = RoofLook(
        cracks=tuple(paths) if crack else (),
        crack_mm=dice.between(0.13, 0.26),
        carbon=dice.between(0.35, 0.65),
        tan=dice.between(0.2, 0.6),
    )
    chosen: dict[str, Any] = {
        "target": (dice.between(-3, 3), dice.between(3, 7)),
        "distance": dice.between(20, 27),
        "lean": (dice.between(-0.35, 0.35), dice.between(-0.35, 0.35)),
        "roll_deg": dice.between(0, 360),
    }
    shot = chamber_view(seed, roof=roof, size=size, **(chosen | view))
    mask: NDArray[Any] = shot.maps.get("label/crack", np.zeros(shot.image.shape[:2], np.bool_))
    shot.maps["crack"] = mask
    shot.truth["crack"] = {"outlines": outlines(np.asarray(mask, np.bool_)), "share": float(mask.mean())}
    return shot


__all__ = ["FOUR", "TWO", "RoofLook", "Valve", "chamber_view", "crack_scene", "make_roof", "wandering"]
