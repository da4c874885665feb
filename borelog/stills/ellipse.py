"""Ellipses through points of which most may be wrong, and the rim of a bore found from one tap.

Random five-point conics scored by their Sampson distance (Fischler and Bolles, 1981; Sampson, 1982), then iteratively
reweighted least squares with the ellipse constraint of Halir and Flusser (1998).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Ellipse
from borelog.stills import StillError
from borelog.stills.planes import Picture, Plane, luma, picture

Points = NDArray[np.float64]
Conic = NDArray[np.float64]
_TRIES = 1000
_RAYS = 360
Edge = Literal["bore", "crown"]
_RING_SHARE = 0.3
# Less of an ellipse than this is as likely an arc on the wall; half of one already leaves its axes to 1.7 px.
_LEAST_ROUND = 0.4
_NO_RIM = (
    "no dark line runs round this spot; tap nearer the middle of the crown, or mark six points on its edge"
)


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
    conic = _random_conics(p, limit, np.random.default_rng(seed))
    if conic is None:
        raise StillError("these points lie on no ellipse; mark points along one edge only")
    for widen in (3.0, 2.0, 1.5, 1.0, 1.0, 1.0, 1.0):
        better = _weighted(p, conic, limit * widen)
        if better is None:
            break
        conic = better
    away = _distance(p, conic)
    held = away < limit
    if held.sum() < max(6, 0.25 * len(p)):
        raise StillError("these points lie on no ellipse; mark points along one edge only")
    shape = _shape(conic, middle, scale)
    return EllipseFit(
        shape, float(np.median(away[held])) * scale, float(held.mean()), _covered(all_points[held], shape)
    )


def _design(p: Points) -> NDArray[np.float64]:
    x, y = p[..., 0], p[..., 1]
    return np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)], axis=-1)


def _random_conics(p: Points, limit: float, dice: np.random.Generator) -> Conic | None:
    """Best of many conics through five random points; the score counts near points, nearer ones more."""
    count = len(p)
    picks = dice.integers(0, count, (_TRIES, 5))
    rows = _design(p[picks])
    # The constant term is set to -1; a conic through the mean of all points is lost, and is no rim.
    gram = rows[:, :, :5]
    fine = np.abs(np.linalg.det(gram)) > 1e-12
    if not fine.any():
        return None
    solved = np.linalg.solve(gram[fine], np.ones((int(fine.sum()), 5, 1)))[..., 0]
    conics = np.concatenate([solved, -np.ones((len(solved), 1))], axis=1)
    a, b, c = conics[:, 0], conics[:, 1], conics[:, 2]
    spread = np.sqrt((a - c) ** 2 + b * b)
    # An ellipse, and not thinner than one in five.
    real = (4 * a * c - b * b > 0) & (np.abs(a + c) - spread > (np.abs(a + c) + spread) / 25)
    conics = conics[real]
    if not len(conics):
        return None
    sample = p if count <= 400 else p[dice.choice(count, 400, replace=False)]
    value = conics @ _design(sample).T
    gx = 2 * conics[:, :1] * sample[:, 0] + conics[:, 1:2] * sample[:, 1] + conics[:, 3:4]
    gy = 2 * conics[:, 2:3] * sample[:, 1] + conics[:, 1:2] * sample[:, 0] + conics[:, 4:5]
    square = value * value / np.maximum(gx * gx + gy * gy, 1e-18)
    score = np.maximum(1 - square / limit**2, 0).sum(axis=1)
    return np.asarray(conics[int(score.argmax())])


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


@dataclass(frozen=True, slots=True, eq=False)
class _Rays:
    """Rays from a tap: log light along each, smoothed round the tap, and where the rays are in the picture."""

    tap: tuple[float, float]
    light: Plane
    seen: NDArray[np.bool_]
    least: float


def _rays(image: Picture, x: float, y: float) -> _Rays:
    grey = luma(picture(image))
    height, width = grey.shape
    if not (0 <= x < width and 0 <= y < height):
        raise StillError("tap inside the picture, near the middle of the crown")
    reach = int(np.hypot(max(x, width - x), max(y, height - y)))
    polar = cv2.warpPolar(
        cv2.GaussianBlur(grey, (0, 0), 1.0),
        (reach, _RAYS),
        (x - 0.5, y - 0.5),
        reach,
        cv2.WARP_POLAR_LINEAR | cv2.INTER_LINEAR | cv2.WARP_FILL_OUTLIERS,
    ).astype(np.float32)
    light = np.log(_along_the_rim(polar) + 12)
    turn = np.arange(_RAYS)[:, None] * 2 * np.pi / _RAYS
    px, py = x + np.cos(turn) * np.arange(reach), y + np.sin(turn) * np.arange(reach)
    seen = (px >= 10) & (py >= 10) & (px < width - 10) & (py < height - 10)
    return _Rays((x, y), np.asarray(light, np.float32), seen, min(height, width) / 6)


def _waves(turn: NDArray[np.float64]) -> NDArray[np.float64]:
    """The five ways in which an ellipse seen from inside differs from a circle round the eye, (5, n)."""
    return np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)])


def _score(response: Plane, seen: NDArray[np.bool_], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean response along lines r(ray), (m, rays); 0 where less than 40 % of a line is in the picture."""
    column = np.rint(at).astype(int)
    good = (column >= 0) & (column < response.shape[1])
    column = np.clip(column, 0, response.shape[1] - 1)
    rows = np.arange(response.shape[0])
    inside = good & seen[rows, column]
    count = inside.sum(axis=-1)
    total = (response[rows, column] * inside).sum(axis=-1)
    return np.where(count >= 0.4 * response.shape[0], total / np.maximum(count, 1), 0.0)


def _round_line(rays: _Rays) -> NDArray[np.float64] | None:
    """The closed line round the tap along which darkness is met most often, as five waves; None where there is none.

    Every circle of a coarse grid is tried on a widely spread response, then the best few climb to the line itself.
    """
    every = 4
    turn = np.arange(0, _RAYS, every) * np.pi / 180
    waves = _waves(turn)
    # A line counts wherever it is dark at all: how black it is says little.
    dark = np.minimum(_dark_line(rays.light, 6, 3), 0.10) + np.minimum(_dark_line(rays.light, 14, 7), 0.10)
    dark = np.where(rays.seen, dark, np.float32(0))[::every]
    seen = rays.seen[::every]
    wide = np.asarray(cv2.blur(cv2.dilate(dark, np.ones((1, 15), np.uint8)), (15, 1)), np.float32)
    found: list[tuple[float, NDArray[np.float64]]] = []
    for radius in np.arange(rays.least, 0.95 * dark.shape[1], 12.0):
        offsets = np.linspace(-0.4, 0.4, 9) * radius
        dx, dy = (v.ravel()[:, None] for v in np.meshgrid(offsets, offsets))
        across = dx * np.sin(turn) - dy * np.cos(turn)
        at = dx * np.cos(turn) + dy * np.sin(turn) + np.sqrt(np.maximum(radius**2 - across**2, 0))
        score = _score(wide, seen, at)
        for top in np.argsort(-score)[:2]:
            start = np.linalg.lstsq(waves.T, at[top], rcond=None)[0]
            found.append((float(score[top]), start))
    found.sort(key=lambda f: -f[0])
    climbed = [_climb(dark, seen, waves, start) for _, start in found[:8]]
    best = max(climbed, key=lambda c: c[0])
    return best[1] if best[0] > 0.015 else None


def _climb(
    dark: Plane,
    seen: NDArray[np.bool_],
    waves: NDArray[np.float64],
    start: NDArray[np.float64],
    first: int = 25,
) -> tuple[float, NDArray[np.float64]]:
    """Bend a closed line wave by wave to where it meets most darkness, looking ever closer."""
    line, score = start.copy(), 0.0
    for width in [w for w in (25, 13, 7, 3) if w <= first]:
        near = np.asarray(cv2.blur(dark, (width, 1)), np.float32)
        step = width / 2
        score = float(_score(near, seen, line @ waves))
        while step >= max(0.5, width / 8):
            tries = line + np.concatenate([np.eye(5), -np.eye(5)]) * step
            scores = _score(near, seen, tries @ waves)
            top = int(scores.argmax())
            if scores[top] > score:
                line, score = tries[top], float(scores[top])
            else:
                step /= 2
    return score, line


def _spots(rays: _Rays, response: Plane, line: NDArray[np.float64], limit: float) -> Points:
    """On every ray the darkest spot within ``limit`` px of the line, where there is one, (n, 2) picture pixels."""
    turn = np.arange(_RAYS) * 2 * np.pi / _RAYS
    meets = line @ _waves(turn)
    window = np.abs(np.arange(response.shape[1])[None, :] - meets[:, None]) <= limit
    inside = np.where(window & rays.seen, response, np.float32(0))
    rows = np.arange(_RAYS)
    best = inside.argmax(axis=1)
    good = inside[rows, best] > 0.004
    at = best + _peak_offset(response, rows, best)
    x, y = rays.tap
    return np.asarray(np.stack([x + np.cos(turn) * at, y + np.sin(turn) * at], axis=1)[good])


def _along_the_rim(polar: Plane) -> Plane:
    """The polar picture blurred round the tap over about 25 px of arc, however near the tap that is."""
    out = polar.copy()
    for start, rays in ((0, 61), (48, 31), (96, 15), (192, 9), (384, 5)):
        band = polar[:, start:]
        if band.shape[1]:
            wrapped = np.vstack([band[-rays:], band, band[:rays]])
            out[:, start:] = cv2.blur(wrapped, (1, rays))[rays:-rays]
    return out


def _dark_line(light: Plane, away: int, width: int) -> Plane:
    """How much darker each spot is than what lies ``away`` px before and behind it on its ray; the lesser of the two."""
    smooth = np.asarray(cv2.blur(light, (width, 1)), np.float32)
    side = np.asarray(cv2.blur(light, (width + 2, 1)), np.float32)
    before, behind = np.roll(side, away, axis=1), np.roll(side, -away, axis=1)
    return np.asarray(np.maximum(np.minimum(before - smooth, behind - smooth), 0), np.float32)


def _peak_offset(response: Plane, rows: NDArray[Any], best: NDArray[Any]) -> NDArray[np.float64]:
    last = response.shape[1] - 1
    a = response[rows, np.maximum(best - 1, 0)]
    b, c = response[rows, best], response[rows, np.minimum(best + 1, last)]
    bend = a - 2 * b + c
    return np.where(
        np.abs(bend) > 1e-9, np.clip(0.5 * (a - c) / np.where(bend == 0, 1, bend), -0.5, 0.5), 0.0
    )


def rough_rim(image: Picture, x: float, y: float) -> Ellipse | None:
    """The rim round a tapped spot to some ten pixels, found quickly; None where no dark line runs round it."""
    rays = _rays(image, x, y)
    line = _round_line(rays)
    if line is None:
        return None
    turn = np.arange(0, _RAYS, 4) * np.pi / 180
    at = line @ _waves(turn)
    return fit_ellipse(
        np.stack([x + at * np.cos(turn), y + at * np.sin(turn)], axis=1), 0.05 * float(line[0])
    ).shape


def find_rim(image: Picture, x: float, y: float, edge: Edge = "bore", seed: int = 0) -> EllipseFit:
    """The rim round a tapped spot on the crown: dark lines run all round it, at the crown's edge and at the wall.

    Parameters
    ----------
    image : (H, W, 3) uint8
    x, y : a tap inside the rim, picture pixels; a few tens of pixels off the middle do not matter
    edge : 'bore' for the outer line, where wall and crown meet (a circle of the bore's diameter); 'crown' for the
        inner one, the edge of the crown itself. Where only one line shows, both are that line.

    Raises
    ------
    StillError
        Where no dark line runs round the tap, or too little of the way round.
    """
    rays = _rays(image, x, y)
    line = _round_line(rays)
    if line is None:
        raise StillError(_NO_RIM)
    fine = np.where(rays.seen, np.minimum(_dark_line(rays.light, 6, 3), 0.15), np.float32(0))
    # A line wider than the filter has a flat top; blurred, its top is its middle.
    peaked = np.asarray(cv2.blur(fine, (7, 1)), np.float32)
    spots = _spots(rays, peaked, _ring(rays, fine, line, edge), 4.0)
    if len(spots) < 40:
        raise StillError(_NO_RIM)
    found = fit_ellipse(spots, 2.0, seed)
    if found.covered < _LEAST_ROUND:
        raise StillError(
            f"a dark line runs only {found.covered:.0%} of the way round this spot, which may be a scratch; "
            "mark six points on the rim"
        )
    return found


def _ring(rays: _Rays, fine: Plane, line: NDArray[np.float64], edge: Edge) -> NDArray[np.float64]:
    """The wanted one of the two rings near the line.

    The crown's edge and the foot of the wall are two dark rings a few pixels apart. A line that hops from one to the
    other is held worse by the pair than a line that stays on one, so the pair is looked for, at every spacing.
    """
    waves = _waves(np.arange(_RAYS) * 2 * np.pi / _RAYS)
    inner = np.asarray(cv2.dilate(fine, np.ones((1, 5), np.uint8)), np.float32)
    best: tuple[float, int, NDArray[np.float64]] = (0.0, 0, line)
    slants = [np.zeros(5)] + [sign * 8.0 * np.eye(5)[k] for k in (1, 2, 3, 4) for sign in (1, -1)]
    rounds = (
        [
            (apart, offset * np.eye(5)[0])
            for apart in range(4, 17, 3)
            for offset in (-12.0, -6.0, 0.0, 6.0, 12.0)
        ],
        [(apart, slant) for apart in (-2, 0, 2) for slant in slants],
    )
    # First where the pair lies, then whether it leans: a line may lie on the outer ring on one side only. Nearer than
    # 6 px a line would pair with its own flank.
    for number, tries in enumerate(rounds):
        spacing, start = best[1] * number, best[2]
        for apart, shift in tries:
            gap = max(6, spacing + apart)
            pair = (fine + np.roll(inner, gap, axis=1))[::3]
            score, ring = _climb(pair, rays.seen[::3], waves[:, ::3], start + shift, first=13)
            if score > best[0]:
                best = (score, gap, ring)
    outer = _climb(fine, rays.seen, waves, best[2], first=3)
    below = best[2].copy()
    below[0] -= best[1]
    lower = _climb(fine, rays.seen, waves, below, first=7)
    if edge == "bore":
        return outer[1] if outer[0] > _RING_SHARE * lower[0] else lower[1]
    return lower[1] if lower[0] > _RING_SHARE * outer[0] else outer[1]
