"""The parts of a spark plug end as solids of revolution and a bent bar, laid into a field of surface planes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.grain import Dice, Mask, Plane, fractal, smoothstep
from borelog.demo.pictures.plug_states import Colour, PlugState, lab_to_linear

MAJOR = 7.0
NOSE_TIP, FACE = 2.3, 3.5
STRAP_THICK, STRAP_HALF_WIDE = 1.35, 1.35
SHELL_FROM = -18.5


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
    for index, ((ua, va), (ub, vb)) in enumerate(pairwise(path)):
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
        _wet(field, layout, look, noise)
    return labels


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
    core = 1.25
    lift = np.full_like(layout.x, core)
    for _ in range(3):  # A round bar: what is seen of it stands before the axis, and perspective shows that.
        _, v = layout.local(lift)
        lift = np.sqrt(np.maximum(core * core - v * v, 0))
    u, v = layout.local(lift)
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
    half: Any = STRAP_THICK / 2
    side = _from_path(*layout.local(np.float32(-STRAP_HALF_WIDE)), path)
    u, v = layout.local(np.float32(STRAP_HALF_WIDE))
    far, du, dv = _from_path(u, v, path)
    if look.wear > 0.6:
        half = half + 0.16 * (noise["mid"] - 0.8) * smoothstep(-1.5, 1.2, v)
    edge = np.clip((far - half + 0.30) / 0.30, 0, 1)
    mask = (far < half) & (u > -0.3)
    # The bar is as wide as it is: away from the middle of the frame one of its narrow faces is seen beside the front.
    flank = (side[0] < half) & (u > -0.3) & ~mask
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
    _solid(
        field,
        flank,
        np.zeros_like(u) + 5.6 * (v < -4.0),
        {
            "colour": colour,
            "normal": _tilted(layout, side[1] + brushed, side[2] + brushed, np.full_like(u, 0.1)),
            "gloss": np.float32(0.30),
            "rough": rough,
            "sky": np.float32(0.7),
        },
    )
    labels["ground strap"] = mask | flank


def _wet(field: dict[str, Plane], layout: Layout, look: PlugState, noise: dict[str, Plane]) -> None:
    """A film of liquid over everything that is not the ground: darker, smoother, with bright small lights."""
    on = (field["depth"] > -5).astype(np.float32)
    near = smoothstep(-17.0, -5.0, layout.local(np.float32(0.0))[0])
    film = np.clip(look.wet * (0.85 + 0.2 * noise["mid"] + 0.15 * noise["cloud"]), 0, 1) * on * near
    dark = 0.82 if look.wet > 0.9 else 0.4
    field["colour"] *= 1 - dark * film
    field["gloss"] += (0.17 - field["gloss"]) * film
    field["rough"] += (0.17 - field["rough"]) * film * 0.9
