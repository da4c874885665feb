"""The rim of a bore found from one tap: the dark line in which crown and wall meet, as an ellipse.

The likeliest ellipses round the tap are laid straight and bent to the sharpest edge, most often the crown's. Beside that
edge the dark ring is looked for, and its middle is measured all the way round at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from borelog.marks.shapes import Ellipse
from borelog.stills import StillError
from borelog.stills.ellipse import EllipseFit, through
from borelog.stills.planes import Bits, Picture, Plane, luma, picture
from borelog.stills.rim_search import (
    SEEN_POWER,
    Floats,
    clear_of,
    dark_along,
    guesses,
    kept,
    log_light,
    looked_up,
    round_blur,
    row_blur,
    step_along,
    waves_of,
)

Edge = Literal["bore", "crown"]
_SECTORS = 72
_HALF = 28
"""Half width of the strip laid along an ellipse, px."""
_VALLEY = 0.004
"""Mean darkness (natural log) from which a ring is one; noise alone gives less than 0."""
# Less of an ellipse than this is as likely an arc on the wall; half of one already leaves its axes to 1.7 px.
_LEAST_ROUND = 0.4
# Of the sectors with a line or an edge near by, so many have it in place; in texture about two of three do by chance.
_LEAST_HELD = 0.8
_NO_RIM = (
    "no dark line runs round this spot; tap nearer the middle of the crown, or type six points on its edge"
)


@dataclass(frozen=True, slots=True, eq=False)
class _Strip:
    """Log light along the normals of an ellipse, (sectors, 2 * _HALF + 1), and where that is in the picture."""

    light: Plane
    seen: Bits
    at: Floats
    normal: Floats
    waves: Floats

    def moved(self, line: Floats) -> Ellipse:
        """The ellipse that a line of the strip is in the picture.

        Raises
        ------
        StillError
            Where the line is bent so far that it is none.
        """
        return through(self.at + self.normal * (line @ self.waves)[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A picture's luma and log light, and 255 where there is picture."""

    grey: Picture
    light: Plane
    clear: Picture


def find_rim(image: Picture, x: float, y: float, edge: Edge = "bore", seed: int = 0) -> EllipseFit:
    """The rim round a tapped spot on the crown.

    Parameters
    ----------
    image : (H, W, 3) uint8
    x, y : a tap inside the rim, picture pixels; a few tens of pixels off the middle do not matter
    edge : 'bore' for the outer line, where wall and crown meet (a circle of the bore's diameter); 'crown' for the
        inner one, the edge of the crown itself. Where only one line shows, both are that line.
    seed : of the random draws; the same picture, tap and seed give the same rim

    Returns
    -------
    EllipseFit
        Its points are sectors of five degrees that show a dark line or an edge.

    Raises
    ------
    StillError
        Where no dark line runs round the tap, or too little of the way round.
    """
    grey = luma(picture(image))
    height, width = grey.shape
    if not (0 <= x < width and 0 <= y < height):
        raise StillError("tap inside the picture, near the middle of the crown")
    view = _View(grey, log_light(grey, 0.8), clear_of(grey))
    try:
        return _found(view, x, y, edge, seed)
    except StillError:
        # A rim may hide from one throw of the dice, and seldom does from two.
        return _found(view, x, y, edge, seed + 1)


def rim_or_none(image: Picture, x: float, y: float) -> Ellipse | None:
    """The rim round a spot that nobody tapped, or None where none is found."""
    try:
        return find_rim(image, x, y).shape
    except StillError:
        return None


def _found(view: _View, x: float, y: float, edge: Edge, seed: int) -> EllipseFit:
    sharpest = _sharpest(view, guesses(view.grey, view.clear, x, y, seed))
    if sharpest is None:
        raise StillError(_NO_RIM)
    strip = _along(view, sharpest)
    ring = _ring(strip, round(0.04 * float(np.sqrt(sharpest.rx * sharpest.ry)) + 1))
    if ring is None:
        raise StillError(_NO_RIM)
    shape = strip.moved(ring)
    for better in (_settled, _settled, _centred, _centred):
        strip = _along(view, shape)
        line = better(strip)
        ring, shape = ring + line, strip.moved(line)
    # Seen from the ring, the edge lies as far back as the ring lies before it.
    fit = _held(_along(view, shape), shape, -ring)
    if fit.inliers < _LEAST_HELD:
        raise StillError(_NO_RIM)
    if fit.covered < _LEAST_ROUND:
        raise StillError(
            f"a dark line runs only {fit.covered:.0%} of the way round this spot, which may be a scratch; "
            "type six points on the rim"
        )
    inner = edge == "crown" and ring[0] > 1.5
    return EllipseFit(sharpest, fit.residual_px, fit.inliers, fit.covered) if inner else fit


def _along(view: _View, shape: Ellipse) -> _Strip:
    """The picture along an ellipse laid straight, averaged over five degrees of it."""
    turn = np.arange(5 * _SECTORS) * 2 * np.pi / (5 * _SECTORS)
    lean = np.radians(shape.angle)
    axes = np.array([[np.cos(lean), np.sin(lean)], [-np.sin(lean), np.cos(lean)]])
    cos, sin = np.cos(turn), np.sin(turn)
    at = np.stack([shape.rx * cos, shape.ry * sin], axis=1) @ axes + (shape.cx, shape.cy)
    normal = np.stack([shape.ry * cos, shape.rx * sin], axis=1)
    normal = normal / np.linalg.norm(normal, axis=1, keepdims=True) @ axes
    across = np.arange(-_HALF, _HALF + 1)
    px = (at[:, :1] + normal[:, :1] * across).astype(np.float32)
    py = (at[:, 1:] + normal[:, 1:] * across).astype(np.float32)
    strip = cv2.remap(view.light, px - 0.5, py - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = view.light.shape
    seen = (px > 6) & (py > 6) & (px < width - 6) & (py < height - 6)
    seen &= cv2.remap(view.clear, px - 0.5, py - 0.5, cv2.INTER_NEAREST, borderValue=0) > 0
    soft = round_blur(kept(np.asarray(strip, np.float32), seen), 5)
    return _Strip(soft[::5], seen[::5], at[::5], normal[::5], waves_of(turn[::5]))


def _met(response: Plane, seen: Bits, at: Floats) -> Floats:
    """Mean response along lines of a strip, (m, sectors); 0 where less than 30 % of a line is in the picture."""
    column, inside = looked_up(seen, np.arange(len(seen)), at + _HALF)
    count = inside.sum(axis=-1)
    total = (response[np.arange(len(response)), column] * inside).sum(axis=-1)
    return np.where(count >= 0.3 * len(response), total / np.maximum(count, 1), 0.0)


def _climb(response: Plane, strip: _Strip, start: Floats, widths: tuple[int, ...]) -> tuple[float, Floats]:
    """Bend a line of the strip wave by wave to where it meets most, looking ever closer."""
    line, score = start, 0.0
    for width in widths:
        near = row_blur(response, width)
        step = width / 2
        score = float(_met(near, strip.seen, line @ strip.waves))
        while step >= max(0.35, width / 8):
            tries = line + np.concatenate([np.eye(5), -np.eye(5)]) * step
            scores = _met(near, strip.seen, tries @ strip.waves)
            top = int(scores.argmax())
            if scores[top] > score:
                line, score = tries[top], float(scores[top])
            else:
                step /= 2
    return score, line


def _sharpest(view: _View, starts: list[Ellipse]) -> Ellipse | None:
    """The closed line near the guesses along which the picture is steepest, most often the edge of the crown."""
    bent = [_bent(view, start) for start in starts]
    return max(bent, key=lambda b: b[0])[1] if bent else None


def _bent(view: _View, shape: Ellipse) -> tuple[float, Ellipse]:
    score = 0.0
    for widths in ((25, 13, 7), (7, 3), (5, 3)):
        strip = _along(view, shape)
        response = np.minimum(np.abs(step_along(strip.light, 2, 25)) / 0.2, 1)
        if widths[0] > 7:
            response = response + np.clip(_darkness(strip) / 0.1, 0, 1)
        score, line = _climb(np.asarray(response, np.float32), strip, np.zeros(5), widths)
        shape = strip.moved(line)
    share = float(looked_up(strip.seen, np.arange(_SECTORS), line @ strip.waves + _HALF)[1].mean())
    return score * share**SEEN_POWER, shape


def _darkness(strip: _Strip) -> Plane:
    """Signed: below 0 where a spot is no valley, so that noise does not add up to a ring."""
    dark = np.maximum(dark_along(strip.light, 6, 3), dark_along(strip.light, 4, 3))
    return np.asarray(np.clip(dark, -0.05, 0.1), np.float32)


def _ring(strip: _Strip, reach: int) -> Floats | None:
    """The outermost dark ring within ``reach`` px of an edge.

    It may lie nearer the edge on one side than on the other, as the crown's edge and the wall's foot do where the tip is
    off the axis.
    """
    # An edge is straight here and a ring nearly so: averaged over 15 degrees a faint one beside a black one is seen.
    light = round_blur(strip.light, 3)
    dark = np.maximum(np.maximum(dark_along(light, 6, 3), dark_along(light, 4, 3)), dark_along(light, 3, 3))
    dark = np.asarray(np.clip(dark, -0.04, 0.1), np.float32)
    lean = [(0.0, 0.0)] + [
        (size * np.cos(k * np.pi / 4), size * np.sin(k * np.pi / 4)) for size in (1.5, 3.0) for k in range(8)
    ]
    tries = np.zeros((2 * reach + 1, len(lean), 5))
    tries[..., 0], tries[..., 1:3] = np.arange(-reach, reach + 1)[:, None], lean
    met = _met(row_blur(dark, 3), strip.seen, tries.reshape(-1, 5) @ strip.waves).reshape(tries.shape[:2])
    best = met.max(axis=1)
    tops = [k for k in range(1, len(best) - 1) if best[k] == best[max(0, k - 2) : k + 3].max()]
    tops.sort(key=lambda k: -best[k])
    found = [_climb(dark, strip, tries[k, met[k].argmax()], (5, 3)) for k in tops[:5]]
    most = max((score for score, _ in found), default=0.0)
    rings = [line for score, line in found if score > max(_VALLEY, 0.12 * most)]
    return max(rings, key=lambda line: float(line[0]), default=None)


def _settled(strip: _Strip) -> Floats:
    """The line at the strip's middle moved to the dark near it: mean shift, all the way round at once."""
    dark = np.maximum(dark_along(strip.light, 6, 3), dark_along(strip.light, 4, 3))
    dark = np.where(strip.seen, np.maximum(dark, 0), np.float32(0))
    # Every sector in its own measure: a contrast that is cut off has a middle only where both banks are alike.
    most = np.maximum(dark[:, _HALF - 3 : _HALF + 4].max(axis=1, keepdims=True), 1e-6)
    dark = np.minimum(most, 0.1) * dark / most
    line, waves = np.zeros(5), strip.waves
    for width in (3.0, 2.5, 2.0, 1.5, 1.5, 1.5, 1.5, 1.5):
        off = np.arange(-_HALF, _HALF + 1) - (line @ waves)[:, None]
        weight = dark * np.exp(-0.5 * (off / width) ** 2)
        gain = (waves * weight.sum(axis=1)) @ waves.T
        if not gain[0, 0] > 0:
            break
        want = waves @ (weight * off).sum(axis=1)
        line = line + 1.5 * np.linalg.solve(gain + 2e-4 * gain[0, 0] * np.eye(5), want)
    return line


def _centred(strip: _Strip) -> Floats:
    """The line at the strip's middle moved half way between the sides of the dark band, where it has sides.

    Blur draws the darkest spot of a band towards the darker of its two sides. Half way between where each side has come
    up by half is the middle of it. A shallow trough has no sides, and the line stays in it.
    """
    level = round_blur(np.exp(strip.light), 3)
    rows, steps = np.arange(len(level)), np.arange(1, 6)
    lowest = _HALF - 3 + level[:, _HALF - 3 : _HALF + 4].argmin(axis=1)
    low = level[rows, lowest]
    middle, depth = (lowest - _HALF).astype(np.float64), np.ones(len(level))
    for side in (-1, 1):
        way = level[rows[:, None], lowest[:, None] + side * steps]
        half = (way[:, -1] + low) / 2
        first = (way >= half[:, None]).argmax(axis=1)
        upper, lower = way[rows, first], np.where(first > 0, way[rows, np.maximum(first - 1, 0)], low)
        middle += side * (first + 1 - (upper - half) / np.maximum(upper - lower, 1e-6)) / 2
        depth = np.minimum(depth, np.log(np.maximum(way[:, -1], low) / low))
    trust = np.where(strip.seen[:, _HALF], np.clip((depth - 0.08) / 0.12, 0, 1), 0)
    line, waves = np.zeros(5), strip.waves
    for _ in range(6):
        weight = trust / (1 + ((middle - line @ waves) / 1.5) ** 2) ** 2
        line = np.linalg.solve((waves * weight) @ waves.T + 0.02 * waves @ waves.T, waves @ (weight * middle))
    return line


def _held(strip: _Strip, shape: Ellipse, edge: Floats) -> EllipseFit:
    """How well a ring at the strip's middle and the edge beside it are held, sector by sector.

    A sector speaks where there is a dark spot within 6 px of the ring, or a step within 6 px of the edge; it is held
    where the darkest or the steepest lies within 2 px.
    """
    dark, rows = row_blur(_darkness(strip), 3), np.arange(_SECTORS)
    steep = np.abs(step_along(strip.light, 2, 25))
    speaks, on = np.zeros(_SECTORS, np.bool_), np.zeros(_SECTORS, np.bool_)
    away = np.full(_SECTORS, np.nan)
    for response, least, line in ((steep, 0.04, edge @ strip.waves), (dark, _VALLEY, np.zeros(_SECTORS))):
        column, inside = looked_up(strip.seen, rows, line + _HALF)
        near = np.clip(column, 6, 2 * _HALF - 6)[:, None] + np.arange(-6, 7)
        value = response[rows[:, None], near]
        here = inside & (value.max(axis=1) > least)
        away = np.abs(near[rows, value.argmax(axis=1)] - column)
        speaks |= here
        on |= here & (away <= 2)
    held = here & (away <= 2)
    residual = float(away[held].mean()) if held.any() else 0.0
    return EllipseFit(shape, residual, float(on.sum() / max(1, speaks.sum())), float(on.mean()))
