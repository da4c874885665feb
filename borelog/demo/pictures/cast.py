"""Which surface each pixel meets: the bore wall (a cylinder) or a floor with real relief (a height map)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from borelog.demo.pictures.grain import Mask, Plane, blur
from borelog.demo.pictures.optics import Lens, Pose

STEPS = 22
REFINE = 4


@dataclass(slots=True)
class Floor:
    """A round floor (crown or chamber roof) as square maps over [-half, half] mm in x and y.

    ``height`` is in mm towards the tip, above the plane z = ``depth``; colour is (n, n, 3).
    """

    half: float
    depth: float
    height: Plane
    colour: Plane
    gloss: Plane
    rough: Plane
    labels: dict[str, Mask]
    relief: Plane | None = None
    """Fine bumps in mm that tilt the light but are too small to hide anything."""

    @property
    def per_mm(self) -> float:
        return float(self.height.shape[0] / (2 * self.half))

    def grid(self) -> tuple[Plane, Plane]:
        """x and y in mm of the map's cells, (1, n) and (n, 1)."""
        return cells(self.half, self.height.shape[0])


def cells(half: float, size: int) -> tuple[Plane, Plane]:
    """x and y in mm of the cells of a square map."""
    line = ((np.arange(size, dtype=np.float32) + 0.5) / size * 2 - 1) * np.float32(half)
    return line[None, :], line[:, None]


@dataclass(slots=True)
class Hits:
    """Per pixel: the point met (3, H, W) in mm, and whether it is on the wall or the floor."""

    point: Plane
    ray: Plane
    on_wall: Mask
    on_floor: Mask
    lens: Lens
    pose: Pose


def look_up(field: Plane, half: float, x: Plane, y: Plane) -> Plane:
    """Values of a square map at (x, y) mm, shape of x (with channels, where the map has them)."""
    scale = np.float32(field.shape[0] / (2 * half))
    u = (x + np.float32(half)) * scale - np.float32(0.5)
    v = (y + np.float32(half)) * scale - np.float32(0.5)
    out: Any = cv2.remap(field, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, np.float32)


def cast(lens: Lens, pose: Pose, radius: float, floor: Floor | None, wall_end: float = 140.0) -> Hits:
    """Follow the ray of each pixel to the wall (x^2 + y^2 = radius^2) or the floor."""
    dx, dy = lens.directions()
    turn = pose.matrix.astype(np.float32)
    ray = np.stack([turn[i, 0] * dx + turn[i, 1] * dy + turn[i, 2] for i in range(3)])
    ray /= np.sqrt((ray * ray).sum(axis=0))
    x0, y0, z0 = (np.float32(v) for v in pose.at)
    a = np.maximum(ray[0] ** 2 + ray[1] ** 2, 1e-8)
    b = x0 * ray[0] + y0 * ray[1]
    to_wall = (-b + np.sqrt(np.maximum(b * b - a * (x0**2 + y0**2 - np.float32(radius) ** 2), 0))) / a
    reach = to_wall
    on_floor = np.zeros(dx.shape, np.bool_)
    if floor is not None:
        reach, on_floor = _march(floor, ray, (x0, y0, z0), to_wall)
    point = np.stack([x0 + reach * ray[0], y0 + reach * ray[1], z0 + reach * ray[2]])
    on_wall = ~on_floor & (np.abs(point[2]) < wall_end)
    return Hits(point, ray, on_wall, on_floor, lens, pose)


def _march(floor: Floor, ray: Plane, start: tuple[Any, Any, Any], to_wall: Plane) -> tuple[Plane, Mask]:
    """March through the slab that holds the relief, then halve in on the crossing."""
    x0, y0, z0 = start
    side = np.float32(1.0 if floor.depth > 0 else -1.0)
    down = np.maximum(ray[2] * side, 1e-4)
    gap = np.float32(abs(floor.depth)) - z0 * side
    top, bottom = float(floor.height.max()), float(floor.height.min())
    enter = np.clip((gap - np.float32(top)) / down, 0.5, 4000)
    leave = np.minimum((gap - np.float32(bottom)) / down, to_wall)
    facing = (ray[2] * side > 1e-4) & (enter < to_wall)
    enter = np.minimum(enter, leave)

    def above(t: Plane) -> Plane:
        height = look_up(floor.height, floor.half, x0 + t * ray[0], y0 + t * ray[1])
        return np.asarray(gap - t * down - height, np.float32)

    near, found = enter, np.zeros(enter.shape, np.bool_)
    far = leave
    span = (leave - enter) / np.float32(STEPS)
    for step in range(1, STEPS + 1):
        t = enter + span * np.float32(step)
        below = above(t) <= 1e-4
        fresh = below & ~found
        far = np.where(fresh, t, far)
        near = np.where(fresh, t - span, near)
        found |= below
        if step % 4 == 0 and bool(found.all()):
            break
    for _ in range(REFINE):
        middle = (near + far) * np.float32(0.5)
        under = above(middle) <= 0
        far = np.where(under, middle, far)
        near = np.where(under, near, middle)
    hit = (near + far) * np.float32(0.5)
    on_floor = facing & found
    return np.where(on_floor, hit, to_wall), on_floor


def floor_normals(floor: Floor) -> Plane:
    """Slopes dh/dx, dh/dy of relief and fine bumps together, (n, n, 2)."""
    height = floor.height if floor.relief is None else floor.height + floor.relief
    scale = floor.per_mm / 8.0
    return np.dstack(
        [
            cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3, scale=scale),
            cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3, scale=scale),
        ]
    )


def floor_openness(floor: Floor) -> Plane:
    """How much of the surroundings each cell can see, from how far it lies below its neighbourhood."""
    total = np.ones(floor.height.shape, np.float32)
    for reach, depth in ((0.8, 0.8), (2.5, 2.5)):
        sunk = np.maximum(blur(floor.height, reach * floor.per_mm) - floor.height, 0.0)
        total *= 1.0 / (1.0 + (sunk / np.float32(depth) * 1.6) ** 1.5)
    return total


def see_labels(floor: Floor, hits: Hits) -> dict[str, Mask]:
    """The floor's labels as seen in the picture."""
    out: dict[str, Mask] = {}
    for name, mask in floor.labels.items():
        seen = look_up(mask.astype(np.float32), floor.half, hits.point[0], hits.point[1])
        out[name] = (seen > 0.5) & hits.on_floor
    return out
