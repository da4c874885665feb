"""Ellipses through points of which most may be wrong.

Random five-point conics scored by their Sampson distance (Fischler and Bolles, 1981; Sampson, 1982), then iteratively
reweighted least squares with the ellipse constraint of Halir and Flusser (1998).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Ellipse
from borelog.stills import StillError

Points = NDArray[np.float64]
Conic = NDArray[np.float64]
_TRIES = 1000
_STARTS = 4
_NO_ELLIPSE = "these points lie on no ellipse; mark points along one edge only"


@dataclass(frozen=True, slots=True)
class EllipseFit:
    """An ellipse and how well it is held.

    Attributes
    ----------
    shape : the ellipse in picture pixels, centres at .5
    residual_px : median distance of the points it kept
    inliers : share of the points that lie on it
    covered : share of the way round that has a point on it, in 36 sectors
    """

    shape: Ellipse
    residual_px: float
    inliers: float
    covered: float

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        s = self.shape
        return {
            "centre": [round(s.cx, 2), round(s.cy, 2)],
            "semi_axes": [round(s.rx, 2), round(s.ry, 2)],
            "angle_deg": round(s.angle, 2),
            "residual_px": round(self.residual_px, 3),
            "inlier_share": round(self.inliers, 3),
            "covered_share": round(self.covered, 3),
        }


def fit_ellipse(points: Any, tolerance_px: float = 2.5, seed: int = 0) -> EllipseFit:
    """Ellipse through points of which up to 60 % may be outliers.

    Parameters
    ----------
    points : (n, 2) picture pixels, n >= 6
    tolerance_px : how far a point may lie from the ellipse and still speak for it
    seed : of the random draws; the same points and seed give the same ellipse

    Raises
    ------
    StillError
        With too few points, or when no ellipse holds a quarter of them.
    """
    all_points = np.asarray(points, np.float64).reshape(-1, 2)
    if len(all_points) < 6 or not np.isfinite(all_points).all():
        raise StillError("an ellipse needs at least six points; mark more of its edge")
    middle, scale = all_points.mean(axis=0), float(np.abs(all_points - all_points.mean(axis=0)).max()) or 1.0
    p = (all_points - middle) / scale
    limit = tolerance_px / scale
    # The best five points need not lead to the best ellipse: several starts are seen through.
    ends = [_polished(p, start, limit) for start in _random_conics(p, limit, np.random.default_rng(seed))]
    if not ends:
        raise StillError(_NO_ELLIPSE)
    conic = max(ends, key=lambda c: _support(_distance(p, c), limit))
    away = _distance(p, conic)
    held = away < limit
    if held.sum() < max(6, 0.25 * len(p)):
        raise StillError(_NO_ELLIPSE)
    shape = _shape(conic, middle, scale)
    return EllipseFit(
        shape, float(np.median(away[held])) * scale, float(held.mean()), _covered(all_points[held], shape)
    )


def through(points: Any) -> Ellipse:
    """Least-squares ellipse through points none of which is wrong, (n, 2) picture pixels, n >= 6.

    Raises
    ------
    StillError
        When the points lie on no ellipse.
    """
    p = np.asarray(points, np.float64)
    middle = p.mean(axis=0)
    scale = float(np.abs(p - middle).max()) or 1.0
    conic: Conic | None = np.array([1.0, 0.0, 1.0, 0.0, 0.0, -0.7])
    for _ in range(2):
        conic = None if conic is None else _weighted((p - middle) / scale, conic, np.inf)
    if conic is None:
        raise StillError(_NO_ELLIPSE)
    return _shape(conic, middle, scale)


def _design(p: Points) -> NDArray[np.float64]:
    x, y = p[..., 0], p[..., 1]
    return np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=-1)


def _support(away: NDArray[np.float64], limit: float) -> float:
    """How many points a conic holds, nearer ones counting more."""
    return float(np.maximum(1 - (away / limit) ** 2, 0).sum())


def _polished(p: Points, conic: Conic, limit: float) -> Conic:
    for widen in (3.0, 2.0, 1.5, 1.0, 1.0, 1.0, 1.0):
        better = _weighted(p, conic, limit * widen)
        if better is None:
            break
        conic = better
    return conic


def _random_conics(p: Points, limit: float, dice: np.random.Generator) -> list[Conic]:
    """The best few of many conics through five random points each."""
    count = len(p)
    picks = dice.integers(0, count, (_TRIES, 5))
    rows = _design(p[picks])
    # The constant term is set to -1; a conic through the mean of all points is lost, and is no rim.
    gram = rows[:, :, :5]
    fine = np.abs(np.linalg.det(gram)) > 1e-12
    if not fine.any():
        return []
    solved = np.linalg.solve(gram[fine], np.ones((int(fine.sum()), 5, 1)))[..., 0]
    conics = np.concatenate([solved, -np.ones((len(solved), 1))], axis=1)
    a, b, c = conics[:, 0], conics[:, 1], conics[:, 2]
    spread = np.sqrt((a - c) ** 2 + b * b)
    # An ellipse, and not thinner than one in five.
    real = (4 * a * c - b * b > 0) & (np.abs(a + c) - spread > (np.abs(a + c) + spread) / 25)
    conics = conics[real]
    if not len(conics):
        return []
    sample = p if count <= 400 else p[dice.choice(count, 400, replace=False)]
    value = conics @ _design(sample).T
    gx = 2 * conics[:, :1] * sample[:, 0] + conics[:, 1:2] * sample[:, 1] + conics[:, 3:4]
    gy = 2 * conics[:, 2:3] * sample[:, 1] + conics[:, 1:2] * sample[:, 0] + conics[:, 4:5]
    square = value * value / np.maximum(gx * gx + gy * gy, 1e-18)
    score = np.maximum(1 - square / limit**2, 0).sum(axis=1)
    return list(conics[np.argsort(-score)[:_STARTS]])


def _gradient(p: Points, conic: Conic) -> NDArray[np.float64]:
    gx = 2 * conic[0] * p[:, 0] + conic[1] * p[:, 1] + conic[3]
    gy = 2 * conic[2] * p[:, 1] + conic[1] * p[:, 0] + conic[4]
    return np.asarray(np.hypot(gx, gy))


def _distance(p: Points, conic: Conic) -> NDArray[np.float64]:
    """Sampson distance of points (n, 2) to a conic, in the points' unit."""
    return np.asarray(np.abs(_design(p) @ conic) / np.maximum(_gradient(p, conic), 1e-9))


def _weighted(p: Points, conic: Conic, limit: float) -> Conic | None:
    """One round of least squares: near points only, weighted towards true distance; None where it fails."""
    away = _distance(p, conic)
    near = away < limit
    if near.sum() < 6:
        return None
    # Tukey's biweight on the distance; the gradient turns an algebraic residual into a distance.
    weight = (1 - (away[near] / limit) ** 2) / np.maximum(_gradient(p[near], conic), 1e-9)
    rows = _design(p[near]) * weight[:, None]
    quadratic, linear = rows[:, :3], rows[:, 3:]
    s1, s2, s3 = quadratic.T @ quadratic, quadratic.T @ linear, linear.T @ linear
    try:
        t = -np.linalg.solve(s3, s2.T)
        m = s1 + s2 @ t
        reduced = np.stack([m[2] / 2, -m[1], m[0] / 2])
        values, vectors = np.linalg.eig(reduced)
    except np.linalg.LinAlgError:
        return None
    vectors = np.real(vectors)
    kind = 4 * vectors[0] * vectors[2] - vectors[1] ** 2
    usable = np.flatnonzero((kind > 0) & np.isfinite(np.real(values)))
    if not len(usable):
        return None
    head = vectors[:, usable[0]]
    return np.concatenate([head, t @ head])


def _shape(conic: Conic, middle: Points, scale: float) -> Ellipse:
    a, b, c, d, e, f = conic
    inner = np.array([[a, b / 2], [b / 2, c]])
    centre = np.linalg.solve(inner, [-d / 2, -e / 2])
    level = -(f + (d * centre[0] + e * centre[1]) / 2)
    values, vectors = np.linalg.eigh(inner / level)
    axes = 1 / np.sqrt(np.maximum(values, 1e-12)) * scale
    angle = float(np.degrees(np.arctan2(vectors[1, 0], vectors[0, 0]))) % 180
    x, y = centre * scale + middle
    return Ellipse(float(x), float(y), float(axes[0]), float(axes[1]), angle)


def around(shape: Ellipse, points: Any) -> NDArray[np.float64]:
    """Angle of each point round the ellipse in radians, measured where the ellipse is made a circle."""
    p = np.asarray(points, np.float64) - (shape.cx, shape.cy)
    c, s = np.cos(np.radians(shape.angle)), np.sin(np.radians(shape.angle))
    return np.asarray(
        np.arctan2((p[:, 1] * c - p[:, 0] * s) / shape.ry, (p[:, 0] * c + p[:, 1] * s) / shape.rx)
    )


def _covered(points: Points, shape: Ellipse) -> float:
    sector = ((around(shape, points) + np.pi) / (2 * np.pi) * 36).astype(int) % 36
    return len(np.unique(sector)) / 36
