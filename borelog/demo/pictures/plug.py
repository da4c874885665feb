"""Spark plug ends in profile with the thread in view: gap, pitch and scale known, twelve states of wear and dirt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.bore import halved
from borelog.demo.pictures.camera import Camera, camera
from borelog.demo.pictures.grain import Dice, Mask, Plane, blur, fractal, smoothstep
from borelog.demo.pictures.light import Lamps, Surface, shade
from borelog.demo.pictures.rendered import PictureError, Rendered, finish, outlines

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class PlugState:
    """How a plug end came out. ``nose_lab`` is the ceramic in CIELAB (D65); ``term`` the trade's word for it."""

    term: str
    nose_lab: Colour
    shell: Colour = (0.10, 0.09, 0.08)
    """Linear colour of the shell's end and strap."""
    blotch: float = 0.25
    wet: float = 0.0
    crust: float = 0.0
    crust_lab: Colour = (70.0, 2.0, 8.0)
    wear: float = 0.12
    """Rounding of the electrodes in mm."""
    specks: int = 0
    beads: int = 0
    chip: float = 0.0
    blued: float = 0.0
    gap_mm: float = 0.9
    rust: float = 0.0


STATES: dict[str, PlugState] = {
    "tan": PlugState("Tan nose", (72, 5, 17), (0.15, 0.135, 0.12)),
    "dry_soot": PlugState("Dry soot", (19, 0, 1), (0.030, 0.029, 0.028), blotch=0.5),
    "fuel_wet": PlugState("Wet with fuel", (47, 4, 13), (0.060, 0.055, 0.050), wet=0.7, blotch=0.6),
    "oil_wet": PlugState(
        "Wet with oil", (12, 1, 3), (0.022, 0.019, 0.016), wet=1.0, crust=0.25, crust_lab=(9, 1, 3)
    ),
    "ash": PlugState("Ash crust", (66, 3, 13), (0.16, 0.145, 0.12), crust=0.8, crust_lab=(74, 2, 11)),
    "white_hot": PlugState(
        "White hot nose", (91, -1, 3), (0.27, 0.26, 0.25), blotch=0.08, wear=0.28, blued=0.8
    ),
    "pepper": PlugState("Pepper specks", (82, 1, 7), (0.17, 0.155, 0.14), specks=70),
    "beads": PlugState("Bright beads", (80, 1, 8), (0.18, 0.17, 0.16), beads=26, wear=0.3),
    "closed_gap": PlugState("Closed or hammered gap", (64, 5, 15), (0.15, 0.14, 0.125), gap_mm=0.04),
    "cracked_nose": PlugState("Cracked nose", (74, 3, 13), (0.15, 0.14, 0.13), chip=1.0),
    "melted": PlugState(
        "Melted electrode", (85, 0, 5), (0.22, 0.21, 0.20), wear=0.75, blued=0.5, beads=8, gap_mm=1.7
    ),
    "coolant": PlugState(
        "Washed or coolant crust",
        (88, -1, 4),
        (0.20, 0.19, 0.17),
        crust=0.35,
        crust_lab=(78, -7, 12),
        rust=0.5,
    ),
}
"""States by name; the terms are those of the findings vocabulary."""

MAJOR = 7.0
NOSE_TIP, FACE = 2.3, 3.5
STRAP_THICK, STRAP_HALF_WIDE = 1.35, 1.35
SHELL_FROM = -18.5


def lab_to_linear(lab: Colour) -> Colour:
    """CIELAB (D65, 2 degrees) to linear sRGB, clipped to 0..1 (ISO/CIE 11664-4, IEC 61966-2-1)."""
    fy = (lab[0] + 16) / 116
    f = (fy + lab[1] / 500, fy, fy - lab[2] / 200)
    xyz = [
        w * (v**3 if v > 6 / 29 else 3 * (6 / 29) ** 2 * (v - 4 / 29))
        for w, v in zip((0.95047, 1.0, 1.08883), f, strict=True)
    ]
    matrix = (
        (3.2404542, -1.5371385, -0.4985314),
        (-0.9692660, 1.8760108, 0.0415560),
        (0.0556434, -0.2040259, 1.0572252),
    )
    red, green, blue = (
        min(1.0, max(0.0, sum(m * v for m, v in zip(row, xyz, strict=True)))) for row in matrix
    )
    return red, green, blue


@dataclass(slots=True)
class Layout:
    """From picture to plug: u along the axis (0 at the shell's end, electrodes at u > 0), v across, mm."""

    x: Plane
    y: Plane
    cos: float
    sin: float
    middle_u: float
    distance: float

    def local(self, lift: Any) -> tuple[Plane, Plane]:
        """u and v of what lies ``lift`` mm nearer to the camera than the axis."""
        near = np.float32(1.0) - lift / np.float32(self.distance)
        x, y = self.x * near, self.y * near
        return np.asarray(self.cos * x + self.sin * y + self.middle_u), np.asarray(
            -self.sin * x + self.cos * y
        )


def _thread_radius(u: Plane, turn: Any, pitch: float) -> Plane:
    """Radius of the threaded shell: 60-degree flanks, rounded roots (ISO 68-1), run out at the end."""
    phase = np.mod(u / np.float32(pitch) - turn, 1.0)
    flank = np.abs(phase - 0.5) * 2
    height = 0.61 * pitch
    cut = np.clip((flank - 0.14) / 0.72, 0, 1)
    cut = cut * 0.82 + 0.18 * (cut * cut * (3 - 2 * cut))
    radius = MAJOR - height * cut
    chamfer = MAJOR - 1.25 + np.maximum(-u - 0.15, 0) * 1.0
    return np.asarray(np.minimum(radius, np.maximum(chamfer, MAJOR - 1.25)), np.float32)


def _segments(gap: float, lean: float) -> list[tuple[float, float]]:
    """Middle line of the strap in (u, v)."""
    top = FACE + gap + STRAP_THICK / 2
    bend = 1.9
    side = -5.55
    path = [(-0.6, side), (top - bend, side)]
    for turn in np.linspace(0, np.pi / 2, 7)[1:]:
        path.append((top - bend + bend * float(np.sin(turn)), side + bend - bend * float(np.cos(turn))))
    path.append((top - lean, 1.45))
    return path


def _from_path(u: Plane, v: Plane, path: list[tuple[float, float]]) -> tuple[Plane, Plane, Plane]:
    """Signed distance square-ended to a path, and the outward direction in (u, v)."""
    best = np.full(u.shape, 1e6, np.float32)
    du, dv = np.zeros_like(u), np.zeros_like(v)
    last = len(path) - 2
    for index, ((ua, va), (ub, vb)) in enumerate(zip(path, path[1:], strict=False)):
        lu, lv = ub - ua, vb - va
        square = lu * lu + lv * lv
        along = ((u - ua) * lu + (v - va) * lv) / square
        t = np.clip(along, 0, 1)
        eu, ev = u - ua - t * lu, v - va - t * lv
        far = np.sqrt(eu * eu + ev * ev)
        if index == last:  # The free end is cut off square.
            over = np.maximum((along - 1) * np.sqrt(square), 0)
            aside = np.abs((u - ua) * lv - (v - va) * lu) / np.sqrt(square)
            far = np.where(along > 1, np.maximum(aside, over + STRAP_THICK / 2), far)
        closer = far < best
        best = np.where(closer, far, best)
        du, dv = np.where(closer, eu, du), np.where(closer, ev, dv)
    size = np.sqrt(du * du + dv * dv) + 1e-6
    return best.astype(np.float32), du / size, dv / size


def _solid(field: dict[str, Plane], mask: Mask, depth: Plane, values: dict[str, Any]) -> None:
    """Put one part in front of what is behind it."""
    front = mask & (depth > field["depth"])
    field["depth"] = np.where(front, depth, field["depth"])
    for name, value in values.items():
        if name in ("colour", "normal"):
            for channel in range(3):
                field[name][channel] = np.where(front, value[channel], field[name][channel])
        else:
            field[name] = np.where(front, value, field[name])


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


def lay_plug(
    field: dict[str, Plane],
    layout: Layout,
    look: PlugState,
    gap: float,
    pitch: float,
    per_mm: float,
    seed: int,
) -> dict[str, Mask]:
    """Put one plug into a field of surface planes; gives back where its parts are."""
    shape = layout.x.shape
    dice = Dice("plug.dirt", seed)
    noise = {
        "cloud": fractal(shape, 7 * per_mm, "plug.cloud", seed, 4, 0.55),
        "mid": fractal(shape, 1.5 * per_mm, "plug.mid", seed, 4, 0.6),
        "grain": fractal(shape, max(2.2, 0.16 * per_mm), "plug.grain", seed, 2, 0.8),
    }
    labels: dict[str, Mask] = {}
    _shell(field, labels, layout, look, noise, pitch)
    _nose(field, labels, layout, look, noise, dice)
    _centre(field, labels, layout, look, noise)
    _strap(field, labels, layout, look, noise, gap)
    if look.wet > 0:
        _wet(field, look, noise)
    return labels


def lay_ground(
    layout: Layout, kind: str, per_mm: float, seed: int, patch: str | None = None
) -> dict[str, Plane]:
    """What a plug lies on, as a field of surface planes."""
    x, y = layout.x, layout.y
    shape = x.shape
    cloud = fractal(shape, 12 * per_mm, "plug.ground", seed, 4, 0.5)
    fine = fractal(shape, max(2.5, 0.35 * per_mm), "plug.cloth", seed, 3, 0.7)
    weave = np.zeros(shape, np.float32)
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


def _tilted(layout: Layout, nu: Any, nv: Any, nz: Any) -> NDArray[np.float32]:
    """A direction from (u, v, towards the camera) to the picture's axes, made unit length."""
    out = np.stack([layout.cos * nu - layout.sin * nv, layout.sin * nu + layout.cos * nv, nz])
    return np.asarray(out / np.sqrt((out * out).sum(axis=0) + 1e-9), np.float32)


def _shell(
    field: dict[str, Plane],
    labels: dict[str, Mask],
    layout: Layout,
    look: PlugState,
    noise: dict[str, Plane],
    pitch: float,
) -> None:
    lift = np.zeros_like(layout.x)
    for _ in range(4):
        u, v = layout.local(lift)
        turn = np.arcsin(np.clip(v / MAJOR, -1, 1)) / np.float32(2 * np.pi)
        radius = _thread_radius(u, turn, pitch)
        lift = np.sqrt(np.maximum(radius * radius - v * v, 0))
    u0, v0 = layout.local(np.float32(0.0))
    side = np.where(v0 > 0, np.float32(0.25), np.float32(-0.25))
    outline = _thread_radius(u0, side, pitch)
    mask = (np.abs(v0) < outline) & (u0 < 0) & (u0 > SHELL_FROM)
    step = np.float32(0.03)
    slope = (_thread_radius(u + step, turn, pitch) - _thread_radius(u - step, turn, pitch)) / (2 * step)
    radius = np.maximum(radius, 1e-3)
    normal = _tilted(layout, -slope + 0.05 * noise["grain"], v / radius, lift / radius + 0.02)
    root = np.clip((MAJOR - radius) / (0.61 * pitch), 0, 1)
    grime = (
        np.clip(0.25 + 0.75 * root + 0.30 * noise["mid"] + 0.15 * noise["cloud"], 0, 1)
        * smoothstep(-15, -1, u)
        * 0.9
    )
    grime = np.clip(grime + 0.35 * root, 0, 0.95)
    steel = np.array([0.47, 0.455, 0.43]) * 1.0
    colour = [
        np.float32(steel[i]) * (1 + 0.08 * noise["mid"]) * (1 - grime) + np.float32(0.055) * grime
        for i in range(3)
    ]
    if look.rust > 0:
        spots = smoothstep(0.3, 1.2, noise["mid"] + 0.4 * noise["cloud"]) * look.rust
        colour = [c + (np.float32(r) - c) * spots for c, r in zip(colour, (0.22, 0.10, 0.045), strict=True)]
    gloss = 0.62 * (1 - grime) + 0.05
    rough = 0.40 + 0.2 * grime + 0.03 * noise["grain"]
    _solid(
        field,
        mask,
        lift,
        {"colour": colour, "normal": normal, "gloss": gloss, "rough": rough, "sky": 1 - 0.55 * root},
    )
    labels["thread"] = mask
    # The ground flange behind the thread, the seat of the sealing washer.
    u, v = layout.local(np.float32(0))
    for start, stop, r, tone in (
        (-20.3, SHELL_FROM, 9.4, 0.30),
        (-25.5, -20.3, 9.9, 0.36),
        (-48.0, -25.5, 9.2, 0.37),
    ):
        edge = np.minimum(stop - u, u - start)
        rounded = np.clip(1 - edge / 0.7, 0, 1)
        body = (np.abs(v) < r - 0.45 * rounded**2) & (u <= stop) & (u > start)
        z = np.sqrt(np.maximum(r * r - v * v, 0))
        across, lean = v / r, z / r
        if start < -40:  # Three of the six flats for the socket.
            turn = np.round(np.arcsin(np.clip(v / r, -1, 1)) / (np.pi / 3)) * (np.pi / 3)
            across, lean = 0.82 * np.sin(turn) + 0.18 * v / r, 0.82 * np.cos(turn) + 0.18 * z / r
        nudge = np.where(stop - u < u - start, 1.0, -1.0) * rounded
        flat = _tilted(layout, 0.9 * nudge + 0.015 * noise["grain"], across, lean + 0.02)
        metal = [
            np.float32(tone) * (1 + 0.05 * noise["mid"] - 0.12 * np.clip(noise["cloud"], 0, 2)) * w
            for w in (1.0, 0.97, 0.91)
        ]
        _solid(
            field,
            body,
            z,
            {
                "colour": metal,
                "normal": flat,
                "gloss": np.float32(0.5),
                "rough": 0.34 + 0.03 * noise["mid"],
                "sky": np.float32(0.9),
            },
        )


def _crusted(look: PlugState, noise: dict[str, Plane]) -> tuple[Plane, Colour]:
    lump = smoothstep(
        0.9 - 1.3 * look.crust,
        1.5 - 1.3 * look.crust,
        noise["mid"] + 0.5 * noise["grain"] + 0.4 * noise["cloud"],
    )
    return lump * (1.0 if look.crust > 0 else 0.0), lab_to_linear(look.crust_lab)


def _painted(base: Colour, look: PlugState, noise: dict[str, Plane], dirt: float = 1.0) -> list[Plane]:
    tone = np.clip(
        1 + look.blotch * (0.35 * noise["mid"] + 0.25 * noise["cloud"]) * dirt + 0.05 * noise["grain"],
        0.25,
        1.7,
    )
    lump, crust = _crusted(look, noise)
    out = [np.asarray(np.float32(c) * tone) for c in base]
    return [
        c + (np.float32(k) * (1 + 0.15 * noise["grain"]) - c) * lump for c, k in zip(out, crust, strict=True)
    ]


def _nose(
    field: dict[str, Plane],
    labels: dict[str, Mask],
    layout: Layout,
    look: PlugState,
    noise: dict[str, Plane],
    dice: Dice,
) -> None:
    """The ceramic nose: a blunt cone out of the shell, rounded at its end."""
    lift = np.zeros_like(layout.x)
    for _ in range(3):
        u, v = layout.local(lift)
        cone = 2.45 + (NOSE_TIP - u) * 0.24
        end = np.clip((NOSE_TIP - u) / 0.55, 0, 1)
        radius = (cone - 0.55) + 0.55 * np.sqrt(np.maximum(1 - (1 - end) ** 2, 0))
        lift = np.sqrt(np.maximum(radius * radius - v * v, 0))
    u, v = layout.local(np.float32(0))
    cone = 2.45 + (NOSE_TIP - u) * 0.24
    end = np.clip((NOSE_TIP - u) / 0.55, 0, 1)
    radius = (cone - 0.55) + 0.55 * np.sqrt(np.maximum(1 - (1 - end) ** 2, 0))
    lump, _ = _crusted(look, noise)
    radius = radius + 0.22 * lump * (look.crust > 0.3)
    mask = (np.abs(v) < radius) & (u < NOSE_TIP) & (u > -0.2)
    if look.chip > 0:
        piece = (v - 1.3 + 0.25 * noise["mid"]) * 0.75 + (u - 1.25 + 0.2 * noise["mid"])
        broken = smoothstep(0.35, 0.60, piece)
        mask &= ~(broken > 0.75)
    radius = np.maximum(radius, 1e-2)
    z = np.sqrt(np.maximum(radius * radius - v * v, 0))
    round_off = (1 - end) * 1.4 + 0.24
    bump = 0.05 * noise["grain"] + (0.25 * noise["mid"] * lump)
    normal = _tilted(layout, round_off + bump, v / radius + bump * 0.6, z / radius + 0.03)
    colour = _painted(lab_to_linear(look.nose_lab), look, noise, 0.6)
    deep = smoothstep(1.1, -0.3, u)
    colour = [c * (1 - 0.45 * deep) for c in colour]
    if look.chip > 0:
        edge = broken * (1 - smoothstep(0.7, 0.8, broken))
        colour = [
            c + (np.float32(w) - c) * np.clip(edge * 2.2, 0, 1)
            for c, w in zip(colour, (0.80, 0.79, 0.76), strict=True)
        ]
        crack = np.exp(-(((v - 0.5 - 0.5 * u + 0.16 * noise["mid"]) / 0.07) ** 2)) * (u < 1.9)
        colour = [c * (1 - 0.8 * crack) for c in colour]
    gloss = np.float32(0.10) + 0 * u
    rough = np.float32(0.42) + 0 * u
    for name, count in (("pepper specks", look.specks), ("beads", look.beads)):
        if not count:
            continue
        spots = np.zeros_like(u)
        for _ in range(count):
            su, sv = dice.between(-0.1, NOSE_TIP + 0.1), dice.between(-2.6, 2.6)
            reach = dice.between(0.035, 0.09) if name == "pepper specks" else dice.between(0.06, 0.16)
            spots = np.maximum(
                spots, smoothstep(reach * 1.25, reach * 0.8, np.sqrt((u - su) ** 2 + (v - sv) ** 2))
            )
        ink = (0.03, 0.028, 0.026) if name == "pepper specks" else (0.62, 0.62, 0.62)
        colour = [c + (np.float32(i) - c) * spots for c, i in zip(colour, ink, strict=True)]
        if name == "beads":
            gloss, rough = gloss + 0.75 * spots, rough - 0.22 * spots
        labels[name] = (spots > 0.5) & mask
    _solid(
        field,
        mask,
        z,
        {"colour": colour, "normal": normal, "gloss": gloss, "rough": rough, "sky": 1 - 0.45 * deep},
    )
    labels["nose"] = mask


def _centre(
    field: dict[str, Plane], labels: dict[str, Mask], layout: Layout, look: PlugState, noise: dict[str, Plane]
) -> None:
    """The centre electrode, worn round by ``wear``."""
    u, v = layout.local(np.float32(0))
    core = 1.25
    wear = max(0.05, look.wear)
    back = np.clip((FACE - u) / wear, 0, 1)
    radius = core - wear * 0.9 * (1 - np.sqrt(np.maximum(1 - (1 - back) ** 2, 0)))
    if look.wear > 0.6:
        radius = radius + 0.10 * noise["mid"]
    mask = (np.abs(v) < radius) & (u < FACE) & (u > NOSE_TIP - 0.4)
    radius = np.maximum(radius, 1e-2)
    z = np.sqrt(np.maximum(radius * radius - v * v, 0))
    normal = _tilted(layout, (1 - back) * 1.3 + 0.05 * noise["grain"], v / radius, z / radius + 0.03)
    tone = (look.shell[0] * 1.2 + 0.06, look.shell[1] * 1.15 + 0.055, look.shell[2] * 1.05 + 0.05)
    colour = _painted(tone, look, noise, 0.7)
    bare = smoothstep(FACE - 0.55, FACE - 0.1, u)
    colour = [c + (np.float32(0.36) - c) * bare * (0.5 if look.wet < 0.9 else 0.0) for c in colour]
    _solid(
        field,
        mask,
        z,
        {
            "colour": colour,
            "normal": normal,
            "gloss": 0.25 + 0.25 * bare,
            "rough": np.float32(0.42),
            "sky": np.float32(0.85),
        },
    )
    labels["centre electrode"] = mask


def _strap(
    field: dict[str, Plane],
    labels: dict[str, Mask],
    layout: Layout,
    look: PlugState,
    noise: dict[str, Plane],
    gap: float,
) -> None:
    """The ground strap: flat bar, welded to the shell's end, bent over the centre electrode."""
    path = _segments(gap, 0.0)
    u, v = layout.local(np.float32(STRAP_HALF_WIDE * 0.8))
    far, du, dv = _from_path(u, v, path)
    half = STRAP_THICK / 2
    if look.wear > 0.6:
        half = half + 0.16 * (noise["mid"] - 0.8) * smoothstep(-1.5, 1.2, v)
        far = far + 0 * u
    edge = np.clip((far - half + 0.30) / 0.30, 0, 1)
    mask = (far < half) & (u > -0.3)
    up = np.sqrt(np.maximum(1 - (edge * 0.94) ** 2, 0.02))
    brushed = 0.02 * noise["grain"]
    normal = _tilted(layout, du * edge + brushed, dv * edge + brushed, up)
    colour = _painted((look.shell[0] + 0.035, look.shell[1] + 0.03, look.shell[2] + 0.025), look, noise)
    if look.blued > 0:
        band = np.exp(-(((u - 2.6 + 0.25 * noise["mid"]) / 0.7) ** 2)) * look.blued
        straw = np.exp(-(((u - 1.2 + 0.25 * noise["mid"]) / 0.6) ** 2)) * look.blued
        colour = [
            c + (np.float32(b) - c) * band * 0.7 for c, b in zip(colour, (0.10, 0.11, 0.24), strict=True)
        ]
        colour = [
            c + (np.float32(b) - c) * straw * 0.6 for c, b in zip(colour, (0.34, 0.23, 0.10), strict=True)
        ]
    if look.term.startswith("Closed"):
        dent = smoothstep(0.55, 1.2, noise["mid"] + 0.4 * noise["grain"]) * smoothstep(-3.5, -1.0, v)
        colour = [c + (np.float32(0.5) - c) * dent * 0.85 for c in colour]
        normal = _tilted(
            layout, du * edge + 0.5 * dent * noise["grain"], dv * edge + 0.5 * dent * noise["mid"], up
        )
    lift = np.full(u.shape, STRAP_HALF_WIDE, np.float32)
    rough = 0.44 + 0.04 * noise["grain"]
    _solid(
        field,
        mask,
        lift + 5.6 * (v < -4.0),
        {
            "colour": colour,
            "normal": normal,
            "gloss": np.float32(0.30),
            "rough": rough,
            "sky": np.float32(1.0),
        },
    )
    labels["ground strap"] = mask


def _wet(field: dict[str, Plane], look: PlugState, noise: dict[str, Plane]) -> None:
    """A film of liquid over everything that is not the ground: darker, smoother, with bright small lights."""
    on = (field["depth"] > -5).astype(np.float32)
    film = np.clip(look.wet * (0.75 + 0.35 * noise["mid"] + 0.3 * noise["cloud"]), 0, 1) * on
    dark = 0.82 if look.wet > 0.9 else 0.4
    field["colour"] *= 1 - dark * film
    field["gloss"] += (0.17 - field["gloss"]) * film
    field["rough"] += (0.17 - field["rough"]) * film * 0.9


def light_plugs(field: dict[str, Plane], layout: Layout, seed: int) -> Plane:
    """A workshop lamp from one side, a window's worth of soft light from the other."""
    dice = Dice("plug.light", seed)
    swing = dice.between(-25, 25)
    spots = []
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

    lines = [[at(SHELL_FROM + 0.8, side * MAJOR), at(-1.4, side * MAJOR)] for side in (-1.0, 1.0)]
    return {
        "state": state,
        "term": look.term,
        "gap": {"mm": gap, "from_px": at(FACE, 0.0), "to_px": at(FACE + gap, 0.0)},
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


__all__ = ["STATES", "PlugState", "lab_to_linear", "plug_profile"]
