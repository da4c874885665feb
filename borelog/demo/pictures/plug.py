"""Stills of spark plug ends in profile with the thread in view: gap, pitch and scale known."""

from __future__ import annotations

from typing import Any

import numpy as np

from borelog.demo.pictures.bore import halved
from borelog.demo.pictures.camera import Camera, camera
from borelog.demo.pictures.grain import Dice, Mask, Plane, blur, fractal, smoothstep
from borelog.demo.pictures.light import Lamps, Surface, shade
from borelog.demo.pictures.plug_parts import FACE, MAJOR, SHELL_FROM, Layout, lay_plug
from borelog.demo.pictures.plug_states import STATES, PlugState
from borelog.demo.pictures.rendered import PictureError, Rendered, finish, outlines


def plug_profile(
    gap_mm: float | None = None,
    px_per_mm: float = 20.0,
    pitch_mm: float = 1.25,
    seed: int = 0,
    *,
    state: str = "tan",
    size: tuple[int, int] = (1280, 720),
    turn_deg: float | None = None,
    distance_mm: float = 170.0,
    ground: str = "rag",
    patch: str | None = None,
    made_by: Camera | None = None,
    fine: int = 1,
) -> Rendered:
    """A plug end in profile.

    Parameters
    ----------
    gap_mm : electrode gap; the state's own by default
    px_per_mm : scale in the plane of the plug's axis, where gap and silhouette lie
    pitch_mm : thread pitch, 1.25 for M14x1.25 (ISO 261)
    state : a key of :data:`STATES`
    turn_deg : direction of the axis against the picture's x; left to the seed by default
    distance_mm : camera to axis; near cameras see the threads in the middle larger than the outline
    ground : 'rag', 'paper', 'card', 'bench' or 'dark'
    patch : 'white' (75 %) or 'grey' (18 %) puts a reference card beside the plug

    Returns
    -------
    Rendered
        truth: ``gap`` (mm, its two end points in px), ``thread`` (pitch, px per mm, both silhouette lines),
        ``nose`` (outline, CIELAB), ``state``, and ``patch`` where there is one.
    """
    if state not in STATES:
        raise PictureError(f"There is no plug state '{state}'; choose one of {', '.join(STATES)}.")
    look = STATES[state]
    gap = look.gap_mm if gap_mm is None else gap_mm
    dice = Dice("plug", seed)
    turn = np.deg2rad(dice.between(-25, 25) if turn_deg is None else turn_deg)
    width, height = size[0] * fine, size[1] * fine
    per_mm = px_per_mm * fine
    # The principal point sits between gap and thread, nearer to the gap, as a person frames it.
    middle_u = FACE + gap / 2 - min(9.5, 0.26 * size[0] / px_per_mm)
    x = ((np.arange(width, dtype=np.float32) + 0.5 - width / 2) / per_mm)[None, :].repeat(height, 0)
    y = ((np.arange(height, dtype=np.float32) + 0.5 - height / 2) / per_mm)[:, None].repeat(width, 1)
    layout = Layout(x, y, float(np.cos(turn)), float(np.sin(turn)), middle_u, distance_mm)
    field = lay_ground(layout, ground, per_mm, seed, patch)
    labels = lay_plug(field, layout, look, gap, pitch_mm, per_mm, seed)
    light = halved(light_plugs(field, layout, seed), fine)
    if fine > 1:
        labels = {name: mask[fine // 2 :: fine, fine // 2 :: fine] for name, mask in labels.items()}
    truth = _truth(layout, look, gap, pitch_mm, px_per_mm, size, state, labels)
    if patch:
        truth["patch"] = _patch_truth(layout, px_per_mm, size, patch)
    maps = {f"label/{name}": mask for name, mask in labels.items()}
    return finish(light, made_by or camera("phone"), seed, truth, maps)


def lay_ground(
    layout: Layout, kind: str, per_mm: float, seed: int, patch: str | None = None
) -> dict[str, Plane]:
    """What a plug lies on, as a field of surface planes."""
    x, y = layout.x, layout.y
    shape = x.shape
    cloud = fractal(shape, 12 * per_mm, "plug.ground", seed, 4, 0.5)
    fine = fractal(shape, max(2.5, 0.35 * per_mm), "plug.cloth", seed, 3, 0.7)
    weave: Plane = np.zeros(shape, np.float32)
    if kind == "rag":
        bend = 0.25 * cloud
        weave = np.sin((x + bend) * 2 * np.pi / 0.62) * 0.5 + np.sin((y - bend) * 2 * np.pi / 0.62) * 0.5
        base, gloss = (0.26, 0.29, 0.34), 0.02
        stain = smoothstep(0.2, 2.6, cloud)
        tone = (1 + 0.22 * weave + 0.12 * fine + 0.07 * cloud) * (1 - 0.55 * stain)
    elif kind == "paper":
        base, gloss = (0.66, 0.65, 0.62), 0.03
        tone = 1 + 0.025 * fine - 0.25 * smoothstep(0.9, 2.0, cloud)
    elif kind == "card":
        flute = np.sin(y * 2 * np.pi / 6.5)
        base, gloss = (0.36, 0.245, 0.15), 0.02
        tone = 1 + 0.05 * fine + 0.04 * flute + 0.05 * cloud - 0.5 * smoothstep(1.2, 2.2, cloud)
    elif kind == "bench":
        grain = fractal(shape, (4 * per_mm, 60 * per_mm), "plug.wood", seed, 5, 0.65)
        base, gloss = (0.24, 0.165, 0.105), 0.06
        tone = 1 + 0.22 * grain + 0.10 * fine - 0.4 * smoothstep(0.8, 1.6, cloud)
    else:
        base, gloss = (0.035, 0.035, 0.038), 0.03
        tone = 1 + 0.2 * fine + 0.2 * cloud
    colour = np.stack([np.float32(c) * tone for c in base]).astype(np.float32)
    for channel in range(3):
        colour[channel] = blur(np.ascontiguousarray(colour[channel]), 0.10 * per_mm)
    normal = np.zeros((3, *shape), np.float32)
    normal[2] = 1.0
    normal[0], normal[1] = 0.12 * cloud, 0.10 * np.roll(cloud, 97, axis=0)
    depth = np.full(shape, -9.0, np.float32)
    # The plug's soft shadow on what it lies on.
    u, v = layout.local(np.float32(-9.0))
    away = np.maximum(np.abs(v - 1.5) - 6.0, 0) + np.maximum(u - 4.0, 0)
    shadow = 1 - 0.72 * np.exp(-away / 3.6)
    colour *= shadow
    if patch:
        inside = _patch_mask(layout)
        level = 0.75 if patch == "white" else 0.18
        colour = np.where(inside, np.float32(level) * (1 + 0.01 * fine), colour)
        normal[0], normal[1] = np.where(inside, 0, normal[0]), np.where(inside, 0, normal[1])
    return {
        "depth": depth,
        "colour": colour.astype(np.float32),
        "normal": normal,
        "gloss": np.full(shape, gloss, np.float32),
        "rough": np.full(shape, 0.7, np.float32),
        "sky": np.ones(shape, np.float32),
    }


PATCH = (-6.0, 4.0, 9.5, 14.0)
"""Reference card in u and v (mm): from, to, from, to."""


def _patch_mask(layout: Layout) -> Mask:
    u, v = layout.local(np.float32(-9.0))
    return (u > PATCH[0]) & (u < PATCH[1]) & (v > PATCH[2]) & (v < PATCH[3])


def _place(
    layout: Layout, u: float, v: float, lift: float, px_per_mm: float, size: tuple[int, int]
) -> list[float]:
    """Pixel coordinates of a point of the plug."""
    a, b = u - layout.middle_u, v
    grow = px_per_mm / (1 - lift / layout.distance)
    return [
        round(size[0] / 2 + (layout.cos * a - layout.sin * b) * grow, 3),
        round(size[1] / 2 + (layout.sin * a + layout.cos * b) * grow, 3),
    ]


def _patch_truth(layout: Layout, px_per_mm: float, size: tuple[int, int], patch: str) -> dict[str, Any]:
    corners = [(PATCH[0], PATCH[2]), (PATCH[1], PATCH[2]), (PATCH[1], PATCH[3]), (PATCH[0], PATCH[3])]
    return {
        "reflectance": 0.75 if patch == "white" else 0.18,
        "outline": [_place(layout, u, v, -9.0, px_per_mm, size) for u, v in corners],
    }


def light_plugs(field: dict[str, Plane], layout: Layout, seed: int) -> Plane:
    """A workshop lamp from one side, a window's worth of soft light from the other."""
    dice = Dice("plug.light", seed)
    swing = dice.between(-25, 25)
    spots: list[tuple[float, float, float]] = []
    for across in (-1, 0, 1):
        for deep in (-1, 0, 1):
            spots.append((swing - 40 + across * 22, -75 + deep * 18, 105 + deep * 12))
    spots += [(80.0 + swing, 60.0, 90.0), (95.0 + swing, 20.0, 70.0)]
    near = np.float32(1.0) - field["depth"] / np.float32(layout.distance)
    point = np.stack([layout.x * near, layout.y * near, field["depth"]]).astype(np.float32)
    surface = Surface(
        point,
        field["normal"] / np.sqrt((field["normal"] ** 2).sum(axis=0) + 1e-9),
        np.clip(field["colour"], 0.003, 0.95).astype(np.float32),
        np.clip(field["gloss"], 0.01, 0.9).astype(np.float32),
        np.clip(field["rough"], 0.14, 0.9).astype(np.float32),
        np.clip(field["sky"], 0.05, 1).astype(np.float32),
    )
    lamps = Lamps(
        np.array(spots),
        np.array([0.0, 0.0, -1.0]),
        power=9000.0,
        lobe=0.3,
        bounce=0.35,
        mirror=0.6,
        seed=seed,
        weights=(1.0,) * 9 + (1.4, 1.2),
    )
    return shade(surface, np.array([0.0, 0.0, layout.distance]), lamps)


def _truth(
    layout: Layout,
    look: PlugState,
    gap: float,
    pitch: float,
    px_per_mm: float,
    size: tuple[int, int],
    state: str,
    labels: dict[str, Mask],
) -> dict[str, Any]:
    def at(u: float, v: float) -> list[float]:
        return _place(layout, u, v, 0.0, px_per_mm, size)

    def in_frame(spot: list[float]) -> bool:
        return 3 < spot[0] < size[0] - 3 and 3 < spot[1] < size[1] - 3

    # Each outline from the flange, or from where it enters the picture, to the last full turn.
    steps = np.linspace(SHELL_FROM + 0.8, -1.4, 64)
    lines = []
    for side in (-1.0, 1.0):
        seen = [spot for spot in (at(float(u), side * MAJOR) for u in steps) if in_frame(spot)]
        lines.append([seen[0], seen[-1]] if seen else [])
    return {
        "state": state,
        "term": look.term,
        "gap": {
            "mm": gap,
            "nominal": look.wear > 0.6,
            "from_px": at(FACE, 0.0),
            "to_px": at(FACE + gap, 0.0),
        },
        "thread": {
            "designation": f"M14x{pitch:g}",
            "pitch_mm": pitch,
            "px_per_mm": px_per_mm,
            "silhouettes_px": lines,
            "camera_mm": layout.distance,
        },
        "nose": {"lab_d65": list(look.nose_lab), "outlines": outlines(labels["nose"])},
        "where": {
            n: {"outlines": outlines(m), "share": float(m.mean())}
            for n, m in sorted(labels.items())
            if m.any()
        },
    }


__all__ = ["STATES", "lay_ground", "light_plugs", "plug_profile"]
