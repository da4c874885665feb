"""How near lamps light rough metal: inverse square, a soft lobe, gloss, and one bounce of the surroundings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.grain import Plane, blur, fractal

BLOCK = 48
"""Rows done at a time: the dozen planes of a block then stay in the processor's cache."""


@dataclass(slots=True)
class Surface:
    """What each pixel sees, planes of (H, W) float32; ``point``, ``normal``, ``colour`` are (3, H, W)."""

    point: Plane
    normal: Plane
    colour: Plane
    gloss: Plane
    rough: Plane
    open_sky: Plane
    """1 in the open, near 0 at the bottom of a crevice: holds back bounced light."""
    grain_axis: Plane | None = None
    """(3, H, W) direction of brushing; None where the metal is the same all ways."""
    rough_along: Plane | None = None


@dataclass(frozen=True, slots=True)
class Lamps:
    """The light: lamp places (n, 3) in mm, power at 1 mm, lobe and the bounced share."""

    at: NDArray[np.float64]
    forward: NDArray[np.float64]
    power: float = 600.0
    lobe: float = 1.5
    bounce: float = 0.10
    mirror: float = 0.9
    """Strength of what polished metal shows of its dim surroundings."""
    seed: int = 0
    weights: tuple[float, ...] = field(default=())


def _surroundings(seed: int) -> Plane:
    """What a mirror would show in each direction: dark far bore, brighter lit walls, soot clouds."""
    cloud = fractal((64, 128), 32.0, "light.surroundings", seed, octaves=4, gain=0.55)
    return np.asarray(blur(np.clip(0.5 + 0.35 * cloud, 0.03, 1.6), 1.5), np.float32)


def shade(surface: Surface, eye: NDArray[np.float64], lamps: Lamps) -> Plane:
    """Light that leaves each pixel towards the eye.

    Parameters
    ----------
    surface : what is seen
    eye : (3,) mm
    lamps : the ring

    Returns
    -------
    (H, W, 3) float32, linear, no upper bound
    """
    height, width = surface.gloss.shape
    out = np.empty((height, width, 3), np.float32)
    around = _surroundings(lamps.seed)
    for top in range(0, height, BLOCK):
        rows = slice(top, min(height, top + BLOCK))
        out[rows] = _shade_block(surface, rows, eye, lamps, around)
    return out


def _dot(a: Any, b: Any) -> Plane:
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2], np.float32)


def _shade_block(
    surface: Surface, rows: slice, eye: NDArray[np.float64], lamps: Lamps, around: Plane
) -> Plane:
    point, normal = surface.point[:, rows], surface.normal[:, rows]
    colour, gloss, rough = surface.colour[:, rows], surface.gloss[rows], surface.rough[rows]
    to_eye = eye.astype(np.float32)[:, None, None] - point
    distance = np.sqrt(_dot(to_eye, to_eye))
    to_eye /= np.maximum(distance, 1e-3)
    facing = _dot(normal, to_eye)
    across = rough * rough
    axis = along = None
    if surface.grain_axis is not None and surface.rough_along is not None:
        axis = surface.grain_axis[:, rows]
        along = surface.rough_along[rows] ** 2
    diffuse = np.zeros(gloss.shape, np.float32)
    mirror = np.zeros(gloss.shape, np.float32)
    arriving = np.zeros(gloss.shape, np.float32)
    forward = lamps.forward.astype(np.float32)
    share = lamps.power / len(lamps.at)
    weights = lamps.weights or (1.0,) * len(lamps.at)
    for lamp, weight in zip(lamps.at.astype(np.float32), weights, strict=True):
        to_lamp = lamp[:, None, None] - point
        square = _dot(to_lamp, to_lamp)
        reach = np.sqrt(square)
        to_lamp /= np.maximum(reach, 1e-3)
        beam = np.clip(-_dot(to_lamp, forward), 0.02, 1.0)
        strength = np.float32(share * weight) * beam**lamps.lobe / np.maximum(square, 4.0)
        arriving += strength
        lit = strength * np.clip(_dot(normal, to_lamp), 0.0, 1.0)
        diffuse += lit
        half = to_lamp + to_eye
        half /= np.sqrt(np.maximum(_dot(half, half), 1e-6))
        upright = np.clip(_dot(normal, half), 0.03, 1.0)
        flat = upright * upright
        if axis is not None and along is not None:
            lean = _dot(half, axis) ** 2
            spread = np.maximum(1.0 - flat - lean, 0.0) / across + lean / along
            width = np.sqrt(across * along)
        else:
            spread = (1.0 - flat) / across
            width = across
        peak = np.exp(-np.minimum(spread / flat, 30.0)) / (width * flat * flat * 4.0 + 1e-4)
        mirror += lit * peak / np.maximum(facing, 0.12)
    bounced = lamps.bounce * (arriving * 0.6 + 0.02) * surface.open_sky[rows]
    # A mirror's picture of its surroundings, sharp for polish and washed out for rough metal.
    turned = 2.0 * facing * normal - to_eye
    u = (np.arctan2(turned[1], turned[0]) * np.float32(128 / (2 * np.pi))).astype(np.float32)
    v = ((turned[2] + 1.0) * np.float32(31.5)).astype(np.float32)
    seen: Any = cv2.remap(around, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    seen = np.asarray(seen, np.float32).reshape(gloss.shape)
    seen = seen + (0.5 - seen) * np.clip(rough * 1.6, 0.0, 1.0)
    ambient_mirror = lamps.mirror * seen * (bounced * 3.5 + arriving * 0.02 * surface.open_sky[rows])
    # Grazing views reflect more, whatever the surface (Schlick).
    edge = gloss + (1.0 - gloss) * np.clip(1.0 - facing, 0.0, 1.0) ** 5 * (1.0 - rough) * 0.6
    tint = 0.35 + 0.65 * colour / np.maximum(colour.max(axis=0), 1e-3)
    body = colour * ((1.0 - 0.75 * gloss) * (diffuse + bounced))
    shine = tint * (edge * (mirror * 0.32 + ambient_mirror))
    return np.asarray((body + shine).transpose(1, 2, 0), np.float32)
