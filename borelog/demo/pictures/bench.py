"""What a phone takes at the bench: the slate card before a cylinder, a gauge, the tray of plugs."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.camera import Camera, camera
from borelog.demo.pictures.grain import Dice, Plane, blur, fractal, smoothstep
from borelog.demo.pictures.plug import STATES, lay_ground, light_plugs
from borelog.demo.pictures.plug_parts import Layout, lay_plug
from borelog.demo.pictures.rendered import Rendered, finish
from borelog.demo.pictures.strokes import write

Corners = list[tuple[float, float]]


def _warped(art: Plane, corners: Corners, size: tuple[int, int]) -> tuple[Plane, Plane, NDArray[np.float64]]:
    """A flat picture seen at an angle: its pixels, how much it covers each, and the 3x3 matrix."""
    height, width = art.shape[:2]
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    matrix = np.asarray(cv2.getPerspectiveTransform(flat, np.array(corners, np.float32)), np.float64)
    # Area-like filtering: the art is soft enough already, so one bilinear look is clean.
    seen: Any = cv2.warpPerspective(
        art, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    cover: Any = cv2.warpPerspective(
        np.ones((height, width), np.float32), matrix, size, flags=cv2.INTER_LINEAR
    )
    return np.asarray(seen, np.float32), np.asarray(cover, np.float32), matrix


def _engine_bay(size: tuple[int, int], seed: int) -> Plane:
    """Out of focus dark metal, hoses and a bright hole or two, behind whatever is held up."""
    width, height = size
    dice = Dice("bench.bay", seed)
    ground = 0.045 * (1 + 0.5 * fractal((height, width), width / 3, "bench.bay", seed, 3))
    out = np.repeat(np.clip(ground, 0.008, 1)[..., None], 3, axis=2).astype(np.float32)
    for _ in range(14):
        a = (dice.between(-0.1, 1.1) * width, dice.between(-0.1, 1.1) * height)
        b = (a[0] + dice.between(-0.5, 0.5) * width, a[1] + dice.between(-0.5, 0.5) * height)
        tone = dice.between(0.01, 0.20)
        tint = (tone, tone * dice.between(0.8, 1.0), tone * dice.between(0.7, 1.1))
        thick = dice.whole(12, 70) * width // 1280
        cv2.line(out, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), tint, max(3, thick), cv2.LINE_AA)
    for _ in range(9):
        at = (int(dice.between(0, 1) * width), int(dice.between(0, 1) * height))
        tone = dice.between(0.15, 0.7)
        cv2.circle(
            out, at, dice.whole(3, 12) * width // 640, (tone, tone * 0.97, tone * 0.9), -1, cv2.LINE_AA
        )
    return blur(out, width / 75)


def slate(
    seed: int = 0,
    *,
    text: str = "CYL 3",
    size: tuple[int, int] = (640, 480),
    made_by: Camera | None = None,
) -> Rendered:
    """A greasy card with the cylinder written on it, held into the frame before the stills of that cylinder."""
    dice = Dice("bench.slate", seed)
    wide, high = 1000, 640
    ink = np.full((high, wide), 255, np.uint8)
    write(ink, text, (wide / 2, high / 2), 232 if len(text) < 6 else 170, 12, 30, dice, centred=True)
    marker = np.asarray(ink, np.float32) / 255
    worn = np.clip(
        marker + 0.10 * np.clip(fractal((high, wide), 9, "slate.worn", seed, 3), 0, 2) * (1 - marker), 0, 1
    )
    smudge = smoothstep(0.9, 2.1, fractal((high, wide), 150, "slate.smudge", seed, 4, 0.6))
    prints = smoothstep(0.8, 1.6, fractal((high, wide), (16, 60), "slate.prints", seed, 3)) * smudge
    paper = (
        np.array([0.66, 0.645, 0.60], np.float32)
        * (1 + 0.02 * fractal((high, wide), 5, "slate.paper", seed, 2))[..., None]
    )
    paper = paper * (1 - 0.45 * smudge - 0.3 * prints)[..., None]
    art = paper * worn[..., None] + np.array([0.02, 0.02, 0.03], np.float32) * (1 - worn[..., None])
    w, h = size
    lean = dice.between(-0.05, 0.05)
    corners: Corners = [
        (w * (0.12 + dice.between(-0.03, 0.03)), h * (0.18 + lean)),
        (w * (0.90 + dice.between(-0.03, 0.03)), h * (0.14 - lean + dice.between(-0.03, 0.03))),
        (w * (0.93 + dice.between(-0.03, 0.03)), h * (0.86 - lean)),
        (w * (0.09 + dice.between(-0.03, 0.03)), h * (0.90 + lean)),
    ]
    seen, cover, matrix = _warped(np.asarray(art, np.float32), corners, size)
    light = _engine_bay(size, seed)
    shadow = blur(np.roll(cover, (h // 40, w // 60), (0, 1)), w / 50)
    light = light * (1 - 0.5 * shadow[..., None]) * (1 - cover[..., None]) + seen * cover[..., None]
    light = light * _lamp_pool(size, (w * dice.between(0.3, 0.6), h * dice.between(0.2, 0.5)), 0.75)
    truth = {"text": text, "card": [list(c) for c in corners], "card_to_picture": matrix.tolist()}
    return finish(light, made_by or camera("tip480", exposure=0.35, round_view=0.0), seed, truth)


def _lamp_pool(size: tuple[int, int], at: tuple[float, float], reach: float) -> Plane:
    x = (np.arange(size[0], dtype=np.float32) - at[0])[None, :] / (size[0] * reach)
    y = (np.arange(size[1], dtype=np.float32) - at[1])[:, None] / (size[0] * reach)
    return np.asarray(0.25 + 0.9 / (1 + x * x + y * y) ** 1.5, np.float32)[..., None]


def gauge(
    seed: int = 0,
    *,
    psi: float = 62.0,
    size: tuple[int, int] = (640, 480),
    made_by: Camera | None = None,
) -> Rendered:
    """A compression gauge as photographed: inner scale kPa x 100, outer psi, glass that reflects a window.

    Truth: ``reading`` in psi and kPa, the needle's two ends and the dial's ellipse corner points in px.
    """
    dice = Dice("bench.gauge", seed)
    side, c = 900, 450.0
    full, sweep, start = 300.0, math.radians(270), math.radians(135)

    def spot(value: float, radius: float) -> tuple[float, float]:
        turn = start + sweep * value / full
        return c + radius * math.cos(turn), c + radius * math.sin(turn)

    ink = np.full((side, side), 255, np.uint8)

    def tick(value: float, inner: float, outer: float, thick: int) -> None:
        a, b = (np.round(np.array(spot(value, r)) * 16).astype(int) for r in (inner, outer))
        cv2.line(ink, tuple(int(v) for v in a), tuple(int(v) for v in b), 20, thick, cv2.LINE_AA, 4)

    for step in range(61):
        tick(step * 5, 322 if step % 2 else 306, 350, 3 if step % 2 else 4)
    for value in range(0, 301, 50):
        tick(value, 292, 350, 8)
        write(ink, str(value), spot(value, 250), 40, 20, 6, centred=True)
    for hundreds in range(0, 21, 5):
        in_psi = hundreds * 100 / 6.894757
        tick(in_psi, 196, 214, 4)
        write(ink, str(hundreds), spot(in_psi, 168), 24, 70, 3, centred=True)
    write(ink, "psi", (c, c + 170), 40, 20, 5, centred=True)
    write(ink, "kPa x 100", (c, c + 235), 26, 70, 3, centred=True)
    x = (np.arange(side, dtype=np.float32) - c)[None, :]
    y = (np.arange(side, dtype=np.float32) - c)[:, None]
    r = np.sqrt(x * x + y * y)
    turn = np.arctan2(y, x)
    yellowed = (
        np.array([0.70, 0.69, 0.64], np.float32)
        * (1 - 0.08 * np.clip(fractal((side, side), 200, "gauge.face", seed, 4), 0, 2))[..., None]
    )
    face = yellowed * (np.asarray(ink, np.float32) / 255)[..., None] ** 1.6
    shade_needle = np.zeros((side, side), np.float32)
    needle = np.zeros((side, side), np.uint8)
    tip, tail = spot(psi, 318), spot(psi - full / 2 * 4 / 3, 70)
    across = (-(tip[1] - tail[1]), tip[0] - tail[0])
    long = math.hypot(*across)
    ux, uy = across[0] / long, across[1] / long
    outline = [
        (tail[0] + ux * 9, tail[1] + uy * 9),
        (tip[0] + ux * 2, tip[1] + uy * 2),
        (tip[0] - ux * 2, tip[1] - uy * 2),
        (tail[0] - ux * 9, tail[1] - uy * 9),
    ]
    cv2.fillPoly(needle, [np.round(np.array(outline) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
    cv2.circle(needle, (450, 450), 30, 255, -1, cv2.LINE_AA)
    shade_needle = blur(np.roll(np.asarray(needle, np.float32) / 255, (14, 10), (0, 1)), 5)
    face = face * (1 - 0.55 * shade_needle)[..., None]
    cover = (np.asarray(needle, np.float32) / 255)[..., None]
    face = face * (1 - cover) + np.array([0.03, 0.028, 0.028], np.float32) * cover
    inside_shadow = smoothstep(395, 340, r - 25 * np.cos(turn - 0.8))
    face = face * (0.45 + 0.55 * inside_shadow)[..., None]
    # The bezel: chrome that shows a bright and a dark sky all round.
    lip = np.clip((r - 392) / 48, 0, 1)
    sky = 0.30 + 0.30 * np.sin(turn * 2 + 1.2 + 5 * (lip - 0.5)) + 0.25 * np.sin(lip * 9 + turn)
    chrome = (np.clip(sky, 0.02, 1.2) * (1 - 0.35 * np.abs(lip - 0.5)))[..., None] * np.array(
        [0.8, 0.82, 0.85], np.float32
    )
    rubber = (
        np.array([0.035, 0.034, 0.033], np.float32)
        * (1 + 0.25 * fractal((side, side), 12, "gauge.rubber", seed, 3))[..., None]
    )
    rubber = rubber * (1 + 0.9 * np.clip(np.cos(turn + 2.2), 0, 1) * (r > 440))[..., None]
    whole: Plane = np.where(
        (r < 392)[..., None], face, np.where((r < 440)[..., None], chrome, rubber)
    ).astype(np.float32)
    # A window and a lamp in the glass.
    glass = smoothstep(0.5, -0.5, np.abs(x + 0.55 * y + 190) / 70 - 1) * smoothstep(385, 372, r) * 0.16
    glass = glass + 0.8 * np.exp(-(((x - 150) / 34) ** 2 + ((y + 210) / 20) ** 2))
    whole = whole + blur(np.asarray(glass, np.float32), 6)[..., None] * np.array([0.9, 1.0, 1.1], np.float32)
    w, h = size
    wide = h * 0.47
    mx, my = w * 0.5 + dice.between(-18, 18), h * 0.5 + dice.between(-8, 8)
    roll = math.radians(dice.between(-14, 14))
    corners = []
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        px, py = sx * math.cos(roll) - sy * math.sin(roll), sx * math.sin(roll) + sy * math.cos(roll)
        corners.append((mx + wide * px * (1 + 0.06 * py), my + wide * py * 0.95))
    seen, _, matrix = _warped(blur(whole, 1.2), corners, size)
    disc = np.where(r < 448, 1.0, 0.0).astype(np.float32)
    on, _, _ = _warped(blur(disc, 1.5), corners, size)
    on = np.clip(on, 0, 1) * _warped(np.ones((side, side), np.float32), corners, size)[1]
    light = _engine_bay(size, seed) * (1 - on[..., None]) + seen * on[..., None]
    light = light * _lamp_pool(size, (w * 0.35, h * 0.25), 0.9)
    ends: Any = cv2.perspectiveTransform(np.array([[spot(psi, 0), tip]], np.float64), matrix)
    truth = {
        "reading": {"psi": psi, "kPa": round(psi * 6.894757, 1)},
        "needle_px": ends[0].round(2).tolist(),
        "dial_corners_px": [list(p) for p in corners],
    }
    return finish(light, made_by or camera("phone", exposure=0.33), seed, truth)


def plug_tray(
    seed: int = 0,
    *,
    states: tuple[str, ...] = ("tan", "tan", "dry_soot", "tan"),
    size: tuple[int, int] = (1280, 720),
    made_by: Camera | None = None,
) -> Rendered:
    """The plugs side by side on card in the order in which they were pulled, numbered by hand.

    Truth: ``plugs``, from left to right, each with cylinder number, state, term, and a point on its nose in px.
    """
    dice = Dice("bench.tray", seed)
    width, height = size
    per_mm = min(width / (len(states) * 27.0 + 8), height / 62.0)
    x = ((np.arange(width, dtype=np.float32) + 0.5 - width / 2) / per_mm)[None, :].repeat(height, 0)
    y = ((np.arange(height, dtype=np.float32) + 0.5 - height / 2) / per_mm)[:, None].repeat(width, 1)
    field = lay_ground(Layout(x, y + 400, 1.0, 0.0, 0.0, 420.0), "card", per_mm, seed)
    numbers = np.full((height, width), 255, np.uint8)
    plugs = []
    pitch = width / len(states)
    for index, state in enumerate(states):
        ox = (index + 0.5) * pitch + dice.between(-6, 6)
        oy = height * 0.45 + dice.between(-8, 8)
        turn = math.radians(-90 + dice.between(-5, 5))
        cols = slice(int(max(0, ox - pitch * 0.48)), int(min(width, ox + pitch * 0.48)))
        local = Layout(
            np.ascontiguousarray(x[:, cols] - (ox - width / 2) / per_mm),
            np.ascontiguousarray(y[:, cols] - (oy - height / 2) / per_mm),
            math.cos(turn),
            math.sin(turn),
            -3.0,
            420.0,
        )
        part = {key: plane[..., cols].copy() for key, plane in field.items()}
        u, v = local.local(np.float32(-9.0))
        away = np.maximum(np.abs(v - 1.2) - 6.5, 0) + np.maximum(u - 4, 0)
        part["colour"] *= 1 - 0.68 * np.exp(-away / 3.0)
        lay_plug(part, local, STATES[state], STATES[state].gap_mm, 1.25, per_mm, seed * 31 + index)
        for key, plane in part.items():
            field[key][..., cols] = plane
        write(numbers, str(index + 1), (ox, oy - 0.315 * height), 6.0 * per_mm, 20, 0.8 * per_mm, dice, True)
        grow = per_mm
        nose = (ox + math.cos(turn) * 4.5 * grow, oy + math.sin(turn) * 4.5 * grow)
        plugs.append(
            {
                "cylinder": index + 1,
                "state": state,
                "term": STATES[state].term,
                "nose_px": [round(v, 2) for v in nose],
            }
        )
    ink = blur(np.asarray(numbers, np.float32) / 255, 0.7)
    ink = np.where(field["depth"] < -5, ink, 1.0)
    field["colour"] *= 0.12 + 0.88 * ink
    light = light_plugs(field, Layout(x, y, 1.0, 0.0, 0.0, 420.0), seed)
    return finish(
        light, made_by or camera("phone", exposure=0.27), seed, {"px_per_mm": per_mm, "plugs": plugs}
    )
