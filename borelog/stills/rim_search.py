"""Where a rim may run round a tapped spot: ellipses of strong spots on a polar picture, to some ten pixels.

Many ellipses through five spots each are tried (Fischler and Bolles, 1981); a step or a dark line counts where it keeps
its sign over a sector. The filters along rays are those that `borelog.stills.rim` measures the rim with.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Ellipse
from borelog.stills.ellipse import through
from borelog.stills.glare import CLIPPED, above
from borelog.stills.planes import BLACK_LEVEL, Bits, Picture, Plane
from borelog.stills.quality import view_circle

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]
SEEN_POWER = 0.25
"""A line half out of the picture counts 0.84 of one that is whole and as clear."""
_RAYS = 180
_TRIES = 6000


@dataclass(frozen=True, slots=True, eq=False)
class _Polar:
    """Step and dark-line response on every ray from a tap; one column is ``scale`` pixels."""

    x: float
    y: float
    scale: float
    step: Plane
    dark: Plane
    seen: Bits
    least: float


def log_light(grey: Picture, sigma: float) -> Plane:
    soft = cv2.GaussianBlur(grey, (0, 0), sigma).astype(np.float32)
    return np.asarray(np.log(soft + np.float32(BLACK_LEVEL)), np.float32)


def clear_of(grey: Picture) -> Picture:
    """255 where there is picture: inside the view circle, and not where a reflex is burnt out.

    Where much is burnt out it is the crown itself, and its edge is still an edge.
    """
    clear = view_circle(grey)[1]
    burnt = above(grey, CLIPPED - 1)
    if 0 < cv2.countNonZero(burnt) < 0.15 * burnt.size:
        hidden = cv2.dilate(burnt, np.ones((13, 13), np.uint8))
        clear = np.asarray(cv2.bitwise_and(clear, cv2.bitwise_not(hidden)), np.uint8)
    return clear


def _shift(plane: Plane, by: int) -> Plane:
    """The value ``by`` columns further out; the last one is repeated."""
    out = np.empty_like(plane)
    if by > 0:
        out[:, :-by], out[:, -by:] = plane[:, by:], plane[:, -1:]
    else:
        out[:, -by:], out[:, :-by] = plane[:, :by], plane[:, :1]
    return out


def row_blur(plane: Plane, width: int) -> Plane:
    return np.asarray(cv2.blur(plane, (width, 1)), np.float32)


def round_blur(plane: Plane, rows: int) -> Plane:
    """Blurred over rows that close to a ring."""
    half = rows // 2
    wrapped = np.vstack([plane[-half:], plane, plane[:half]])
    return np.asarray(cv2.blur(wrapped, (1, rows))[half:-half], np.float32)


def kept(light: Plane, seen: Bits) -> Plane:
    """Rows whose unseen parts repeat the nearest seen value, so that the end of the view is no step."""
    column = np.arange(light.shape[1])
    before = np.maximum.accumulate(np.where(seen, column, -(10**6)), axis=1)
    after = np.minimum.accumulate(np.where(seen, column, 10**6)[:, ::-1], axis=1)[:, ::-1]
    nearest = np.where(column - before <= after - column, before, after)
    return np.asarray(np.take_along_axis(light, np.clip(nearest, 0, len(column) - 1), 1), np.float32)


def step_along(light: Plane, away: int, wide: int) -> Plane:
    """How much lighter it is outside a spot than inside it; the slow fall of light over ``wide`` px is taken out."""
    sharp = row_blur(light, 3) - row_blur(light, wide)
    return np.asarray(_shift(sharp, away) - _shift(sharp, -away), np.float32)


def dark_along(light: Plane, away: int, width: int) -> Plane:
    """How much darker a spot is than what lies ``away`` px before and behind it; the lesser of the two, signed."""
    side = row_blur(light, width + 2)
    lesser = np.minimum(_shift(side, -away), _shift(side, away))
    return np.asarray(lesser - row_blur(light, width), np.float32)


def _polar(grey: Picture, clear: Picture, x: float, y: float) -> _Polar:
    """The picture round a tap, at 360 rows: a rim is searched for there, not measured."""
    height, width = grey.shape
    scale = max(1.0, min(height, width) / 360)
    size = (round(width / scale), round(height / scale))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA) if scale > 1 else grey
    reach = int(np.hypot(max(x, width - x), max(y, height - y)) / scale) + 1
    turn = (np.arange(_RAYS) * 2 * np.pi / _RAYS)[:, None]
    px = (x / scale + np.cos(turn) * np.arange(reach)).astype(np.float32)
    py = (y / scale + np.sin(turn) * np.arange(reach)).astype(np.float32)
    light = log_light(np.asarray(small, np.uint8), 1.0)
    rays = cv2.remap(light, px - 0.5, py - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen = (px > 4) & (py > 4) & (px < size[0] - 4) & (py < size[1] - 4)
    seen &= cv2.remap(clear, px * scale - 0.5, py * scale - 0.5, cv2.INTER_NEAREST, borderValue=0) > 0
    light = kept(np.asarray(rays, np.float32), seen)
    dark = np.maximum(dark_along(light, 3, 3), dark_along(light, 7, 5))
    return _Polar(x, y, scale, step_along(light, 2, 41), dark, seen, min(height, width) / 6 / scale)


def waves_of(turn: Floats) -> Floats:
    """The five ways in which an ellipse differs from one near it, (5, n)."""
    return np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn), np.cos(2 * turn), np.sin(2 * turn)])


def _ellipses(spots: Whole, weight: Plane, dice: np.random.Generator) -> Floats:
    """Ellipses through five spots each, as (m, 6): five coefficients of a conic with constant -1, and its scale.

    ``spots`` and ``weight`` are (rays, n): places on each ray, and how strong they are.
    """
    rays = np.flatnonzero(weight.max(axis=1) > 0.1)
    if len(rays) < _RAYS // 6:
        return np.zeros((0, 6))
    # Five rays spread over all or a good part of the way round: a conic through neighbours is lost, and some of the rim
    # may be out of the picture.
    span = dice.uniform(0.5, 1, (_TRIES, 1)) * len(rays)
    first = dice.integers(0, len(rays), (_TRIES, 1))
    apart = (np.arange(5) / 5 + dice.uniform(-0.08, 0.08, (_TRIES, 5))) * span
    ray = rays[(first + apart.astype(int)) % len(rays)]
    sums = np.cumsum(weight[ray] ** 2, axis=2)
    pick = (dice.random((_TRIES, 5, 1)) * sums[..., -1:] > sums).sum(axis=2)
    radius = spots[ray, np.minimum(pick, spots.shape[1] - 1)].astype(np.float64)
    scale = radius.mean(axis=1, keepdims=True)
    turn = ray * 2 * np.pi / _RAYS
    px, py = radius / scale * np.cos(turn), radius / scale * np.sin(turn)
    rows = np.stack([px * px, px * py, py * py, px, py], axis=-1) + 1e-9 * np.eye(5)
    conics = np.linalg.solve(rows, np.ones((_TRIES, 5, 1)))[..., 0]
    return np.concatenate([conics, scale], axis=1)


def _radii(ellipses: Floats, turn: Floats) -> Floats:
    """How far each ellipse is from the tap in each direction, (m, n); 0 for what does not go round it."""
    a, b, c, d, e, scale = (v[:, None] for v in ellipses.T)
    cos, sin = np.cos(turn), np.sin(turn)
    square, straight = a * cos * cos + b * cos * sin + c * sin * sin, d * cos + e * sin
    with np.errstate(all="ignore"):
        radius = (np.sqrt(straight * straight + 4 * square) - straight) / (2 * square) * scale
    whole = (square > 0).all(axis=1) & np.isfinite(radius).all(axis=1)
    return np.where(whole[:, None], radius, 0.0)


def _evidence(step: Plane, dark: Plane, inside: Bits) -> tuple[Floats, Whole]:
    """Evidence of a rim, 0 to 2, in every 20 degrees of lines (m, 90), and how many rays of each are in the picture.

    Averaged with its sign first: texture has steps, too, but none that stays one way round.
    """
    shape = (len(inside), -1, 5)
    count = inside.reshape(shape).sum(axis=2)
    most = np.maximum(count, 1)
    steps = (step * inside).reshape(shape).sum(axis=2) / most
    darks = (dark * inside).reshape(shape).sum(axis=2) / most
    # How black a line is or how high a step says little.
    return np.minimum(np.abs(steps) / 0.12, 1) + np.clip(darks / 0.08, 0, 1), count


def looked_up(seen: Bits, rows: Whole, radius: Floats) -> tuple[Whole, Bits]:
    column = np.rint(radius).astype(int)
    inside = (column >= 0) & (column < seen.shape[1])
    column = np.clip(column, 0, seen.shape[1] - 1)
    return column, np.asarray(inside & seen[rows, column])


def _pooled(polar: _Polar, rows: Whole, radius: Floats, reach: int) -> Floats:
    """Evidence along lines (m, rays), each spot looked for within ``reach`` columns."""
    kernel = np.ones((1, reach), np.uint8)
    up, down = cv2.dilate(polar.step, kernel), cv2.erode(polar.step, kernel)
    step = np.where(up > -down, up, down)
    dark = np.asarray(cv2.dilate(polar.dark, kernel), np.float32)
    column, inside = looked_up(polar.seen, rows, radius)
    each, count = _evidence(step[rows, column], dark[rows, column], inside)
    share = inside.mean(axis=1)
    score = (each * count).sum(axis=1) / np.maximum(count.sum(axis=1), 1) * share**SEEN_POWER
    return np.where(share > 0.3, score, 0.0)


def _pulled(polar: _Polar, strength: Plane, rows: Whole, radius: Floats, waves: Floats) -> Floats:
    """Each line bent to the strongest spots near it; where it meets nothing steady it does not speak."""
    for reach in (8, 6, 5, 4):
        near = np.arange(-reach, reach + 1)
        start = np.rint(radius).astype(int)
        column = np.clip(start[..., None] + near, 0, strength.shape[1] - 1)
        value = strength[rows[None, :, None], column] * (1 - 0.5 * (near / reach) ** 2)
        best = value.argmax(axis=2)[..., None]
        there = np.take_along_axis(column, best, 2)[..., 0]
        steady = _evidence(polar.step[rows, there], polar.dark[rows, there], value.max(axis=2) > 0)[0]
        weight = np.repeat(steady**3, 5, axis=1) * np.take_along_axis(value, best, 2)[..., 0] + 1e-3
        gain = np.einsum("mi,ai,bi->mab", weight, waves, waves) + 1e-2 * np.eye(5)
        want = np.einsum("mi,ai,mi->ma", weight, waves, start + near[best[..., 0]] - radius)
        radius = radius + np.linalg.solve(gain, want[..., None])[..., 0] @ waves
    return radius


def guesses(grey: Picture, clear: Picture, x: float, y: float, seed: int, most: int = 6) -> list[Ellipse]:
    """The likeliest ellipses round a tap, to some ten pixels, best first.

    Parameters
    ----------
    grey, clear : (H, W) uint8; `clear` is 255 where there is picture
    x, y : the tap, picture pixels
    seed : of the random draws
    most : how many ellipses
    """
    polar = _polar(grey, clear, x, y)
    step, dark = round_blur(polar.step, 5), round_blur(polar.dark, 5)
    strength = np.minimum(np.abs(step) / 0.15, 1) + np.clip(dark / 0.10, 0, 1)
    strength = np.where(polar.seen, strength, 0).astype(np.float32)
    strength[:, : int(polar.least)] = 0
    peak = np.where(strength >= cv2.dilate(strength, np.ones((1, 9), np.uint8)), strength, np.float32(0))
    spots = np.argpartition(-peak, 5, axis=1)[:, :5]
    ellipses = _ellipses(spots, np.take_along_axis(peak, spots, 1), np.random.default_rng(seed))
    # First a look at every twelfth degree, then a close one at what is left.
    few, rows = np.arange(0, _RAYS, 6), np.arange(0, _RAYS, 2)
    radius = _radii(ellipses, few * 2 * np.pi / _RAYS)
    mean, low, high = radius.mean(axis=1), radius.min(axis=1), radius.max(axis=1)
    fit = (low > np.maximum(0.8 * polar.least, 0.4 * mean)) & (high < 1.9 * mean)
    ellipses, radius = ellipses[fit], radius[fit]
    if not len(ellipses):
        return []
    column, inside = looked_up(polar.seen, few, radius)
    share = inside.mean(axis=1)
    wide = cv2.dilate(strength, np.ones((1, 5), np.uint8))
    met = (wide[few, column] * inside).sum(axis=1) / np.maximum(inside.sum(axis=1), 1)
    quick = np.where(share > 0.3, met * share**SEEN_POWER, 0)
    turn = rows * 2 * np.pi / _RAYS
    radius = _radii(ellipses[np.argsort(-quick)[:400]], turn)
    radius = radius[np.argsort(-_pooled(polar, rows, radius, 5))[:40]]
    radius = _pulled(polar, strength, rows, radius, waves_of(turn))
    taken: list[Floats] = []
    for line in radius[np.argsort(-_pooled(polar, rows, radius, 3))]:
        if len(taken) < most and all(np.abs(line - other).max() > 5 for other in taken):
            taken.append(line)
    ways = np.stack([np.cos(turn), np.sin(turn)], axis=1) * polar.scale
    return [through((x, y) + line[:, None] * ways) for line in taken]
