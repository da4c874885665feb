"""The tip of the scope: where each pixel looks, where a point in space lands, and the ring of lamps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.grain import Plane

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Lens:
    """A pinhole with one radial term, as wide cheap tips bend straight lines (r' = r (1 + k1 r^2))."""

    width: int = 1280
    height: int = 720
    focal: float = 760.0
    k1: float = -0.08
    centre: tuple[float, float] | None = None

    @property
    def middle(self) -> tuple[float, float]:
        return self.centre or (self.width / 2, self.height / 2)

    def enlarged(self, times: int) -> Lens:
        cx, cy = self.middle
        return Lens(
            self.width * times, self.height * times, self.focal * times, self.k1, (cx * times, cy * times)
        )

    def directions(self) -> tuple[Plane, Plane]:
        """Undistorted x/z and y/z of the ray through each pixel centre, two (H, W) float32 planes."""
        cx, cy = self.middle
        x = ((np.arange(self.width, dtype=np.float32) + 0.5 - cx) / self.focal)[None, :]
        y = ((np.arange(self.height, dtype=np.float32) + 0.5 - cy) / self.focal)[:, None]
        bent = np.sqrt(x * x + y * y)
        straight = bent.copy()
        for _ in range(8):
            straight = bent / (1.0 + self.k1 * straight * straight)
        scale = np.where(bent > 1e-6, straight / np.maximum(bent, 1e-6), 1.0).astype(np.float32)
        return np.asarray(x * scale, np.float32), np.asarray(y * scale, np.float32)

    def truth(self) -> dict[str, Any]:
        cx, cy = self.middle
        return {
            "focal_px": self.focal,
            "k1": self.k1,
            "centre_px": [cx, cy],
            "size_px": [self.width, self.height],
        }


@dataclass(frozen=True, slots=True)
class Pose:
    """Where the tip is (mm) and which way it looks. Columns of ``turn`` are the picture's right, down, forward."""

    at: tuple[float, float, float]
    turn: tuple[tuple[float, float, float], ...]

    @property
    def matrix(self) -> Vector:
        return np.array(self.turn, dtype=np.float64)

    def truth(self) -> dict[str, Any]:
        return {"at_mm": list(self.at), "right_down_forward_columns": [list(row) for row in self.turn]}


def look(at: tuple[float, float, float], target: tuple[float, float, float], roll_deg: float = 0.0) -> Pose:
    """A tip at ``at`` that looks at ``target``, turned about its own axis by ``roll_deg``."""
    forward = np.subtract(target, at).astype(np.float64)
    forward /= np.linalg.norm(forward)
    # Any helper direction that is not along the view will do; y is 'towards the exhaust' in every scene.
    helper = np.array([0.0, 1.0, 0.0]) if abs(forward[1]) < 0.95 else np.array([0.0, 0.0, -1.0])
    right = np.cross(helper, forward)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    roll = np.deg2rad(roll_deg)
    turned = np.stack(
        [np.cos(roll) * right + np.sin(roll) * down, -np.sin(roll) * right + np.cos(roll) * down, forward],
        axis=1,
    )
    return Pose(at, tuple((float(r[0]), float(r[1]), float(r[2])) for r in turned))


def project(lens: Lens, pose: Pose, points: NDArray[Any]) -> NDArray[np.float64]:
    """Pixel coordinates (pixel centres at .5) of points in mm.

    Parameters
    ----------
    points : (..., 3) mm

    Returns
    -------
    (..., 2) float64; not a number where a point lies behind the tip or past the lens' turning radius
    """
    local = (np.asarray(points, dtype=np.float64) - np.array(pose.at)) @ pose.matrix
    depth = np.where(local[..., 2] > 1e-6, local[..., 2], np.nan)
    x, y = local[..., 0] / depth, local[..., 1] / depth
    square = x * x + y * y
    if lens.k1 < 0:
        square = np.where(square < 1.0 / (-3.0 * lens.k1), square, np.nan)
    bend = 1.0 + lens.k1 * square
    cx, cy = lens.middle
    return np.stack([cx + lens.focal * x * bend, cy + lens.focal * y * bend], axis=-1)


def plane_homography(lens: Lens, a: Pose, b: Pose, z: float) -> NDArray[np.float64]:
    """The 3x3 matrix that takes picture a to picture b for points on the plane at height z; needs k1 = 0."""
    cx, cy = lens.middle
    camera = np.array([[lens.focal, 0, cx], [0, lens.focal, cy], [0, 0, 1.0]])
    plane_to = []
    for pose in (a, b):
        turn = pose.matrix.T
        offset = turn @ (np.array([0.0, 0.0, z]) - np.array(pose.at))
        plane_to.append(camera @ np.stack([turn[:, 0], turn[:, 1], offset], axis=1))
    matrix = plane_to[1] @ np.linalg.inv(plane_to[0])
    return np.asarray(matrix / matrix[2, 2], dtype=np.float64)


def lamp_ring(pose: Pose, count: int = 6, radius: float = 2.2, phase_deg: float = 15.0) -> Vector:
    """Positions in mm, (count, 3), of the lamps round the tip."""
    angle = np.deg2rad(phase_deg) + 2 * np.pi * np.arange(count) / count
    turn = pose.matrix
    offset = radius * (np.cos(angle)[:, None] * turn[:, 0] + np.sin(angle)[:, None] * turn[:, 1])
    return np.asarray(offset + np.array(pose.at), np.float64)
