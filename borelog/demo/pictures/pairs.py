"""Two stills of one place, the second after something changed, the tip not quite where it was."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.bore import take
from borelog.demo.pictures.camera import camera
from borelog.demo.pictures.cast import Floor, Hits, cast, look_up, see_labels
from borelog.demo.pictures.chamber import FOUR, RoofLook, make_roof
from borelog.demo.pictures.crown import CrownLook, make_crown
from borelog.demo.pictures.grain import Dice, Mask
from borelog.demo.pictures.optics import Lens, Pose, look, plane_homography, project
from borelog.demo.pictures.rendered import Pair, PictureError, Rendered
from borelog.demo.pictures.wall import Wall

RADIUS, DEPTH = 40.5, 60.0
# A surface that stands back or forth by more than this is another surface: the wall seen where a piece of crown is gone.
_OTHER_MM = 0.3
# Burnt metal pales round the notch: where the log of what it reflects shifts by this (half as much again), it is new.
_OTHER_SHADE = 0.4


@dataclass(frozen=True, slots=True)
class Change:
    """What happened: both floors, the labels of what is new, where to look (mm), from how far, how wide."""

    before: Floor
    after: Floor
    labels: tuple[str, ...]
    aim: tuple[float, float]
    distance: float
    focal: float = 0.72


def _crown(dice: Dice, seed: int, aim: tuple[float, float] | None = None, **changed: Any) -> Change:
    base = CrownLook(carbon=dice.between(0.45, 0.75), thick=dice.between(0.2, 0.5), tan=0.35, oil=0.0)
    bitten = "bite_deg" in changed
    return Change(
        make_crown(base, RADIUS, DEPTH, seed),
        make_crown(replace(base, **changed), RADIUS, DEPTH, seed),
        ("pits", "dents", "loose flakes", "missing piece"),
        aim or ((0.0, 0.0) if bitten else (dice.between(-8, 8), dice.between(-8, 8))),
        dice.between(46, 52) if bitten else dice.between(38, 48),
        0.42 if bitten else 0.72,
    )


def _pitted(dice: Dice, seed: int) -> Change:
    count = dice.whole(24, 44)
    # The blasted side of the crown: `make_crown` strews pits towards y < 0.
    return _crown(dice, seed, (dice.between(-9, 9), dice.between(-29, -21)), pits=count)


def _valve(dice: Dice, seed: int) -> Change:
    base = RoofLook(carbon=0.5)
    turn, deep = dice.between(0, 360), dice.between(4, 7)
    burnt = replace(FOUR[3], notch_deg=turn, notch_mm=deep)
    reach = 0.6 * burnt.radius
    return Change(
        make_roof(base, RADIUS, DEPTH, seed),
        make_roof(replace(base, valves=(*FOUR[:3], burnt)), RADIUS, DEPTH, seed),
        ("notch",),
        (
            burnt.x + reach * math.cos(math.radians(turn)) + dice.between(-3, 3),
            burnt.y + reach * math.sin(math.radians(turn)) + dice.between(-3, 3),
        ),
        dice.between(30, 36),
    )


KINDS: dict[str, Callable[[Dice, int], Change]] = {
    "dents": lambda d, s: _crown(d, s, dents=d.whole(8, 14)),
    "pits": _pitted,
    "flakes": lambda d, s: _crown(d, s, flakes=d.whole(8, 14)),
    "bite": lambda d, s: _crown(d, s, bite_deg=d.between(0, 360), bite_mm=d.between(8, 13)),
    "notch": _valve,
    "same": lambda d, s: _crown(d, s),
}
"""What happened between the two stills; 'same' is the control, nothing but the tip moved."""


def _poses(dice: Dice, change: Change, move: float) -> tuple[Pose, Pose]:
    target, distance = change.aim, change.distance
    lean = (dice.between(-0.15, 0.15), dice.between(-0.15, 0.15))
    roll = dice.between(0, 360)
    made = []
    for step in (0.0, 1.0):
        shift = [step * move * dice.between(-1.6, 1.6) for _ in range(3)]
        at = (
            target[0] + lean[0] * distance + shift[0],
            target[1] + lean[1] * distance + shift[1],
            DEPTH - distance + shift[2],
        )
        aim = (
            target[0] + step * move * dice.between(-2, 2),
            target[1] + step * move * dice.between(-2, 2),
            DEPTH,
        )
        made.append(look(at, aim, roll + step * move * dice.between(-8, 8)))
    return made[0], made[1]


def _new(change: Change, now: Hits, was_mm: NDArray[Any]) -> Mask:
    """What is new, as seen from the first place: what was drawn, another surface, another reflectance."""
    seen = see_labels(change.after, now)
    away = np.linalg.norm(now.point.transpose(1, 2, 0) - was_mm, axis=2)
    light, dark = (np.log(f.colour + np.float32(0.02)) for f in (change.after, change.before))
    shift = np.ascontiguousarray(np.abs(light - dark).max(axis=2))
    other = look_up(shift, change.after.half, now.point[0], now.point[1]) > _OTHER_SHADE
    mask: Mask = np.asarray((away > _OTHER_MM) | (other & now.on_floor))
    for name in change.labels:
        mask |= seen.get(name, np.zeros_like(mask))
    return mask


def before_after_stills(
    seed: int = 0, kind: str = "dents", *, size: tuple[int, int] = (1280, 720), move: float = 1.0
) -> tuple[Rendered, Rendered, Mask, NDArray[np.float64], NDArray[np.float64]]:
    """Both stills with their own truth, the changed mask (frame of a), the matrix, and the exact flow.

    The flow is (H, W, 2): pixel of a to pixel of b, by the geometry of the drawn relief; not a number where the
    spot cannot land in b.
    """
    if kind not in KINDS:
        raise PictureError(f"There is no change '{kind}'; choose one of {', '.join(KINDS)}.")
    dice = Dice(f"pair.{kind}", seed)
    change = KINDS[kind](dice, seed)
    lens = Lens(size[0], size[1], change.focal * size[0], 0.0)
    pose_a, pose_b = _poses(dice, change, move)
    wall = Wall(RADIUS)
    made_by = camera("tip720")
    a = take(lens, pose_a, wall, change.before, made_by, seed)
    b = take(lens, pose_b, wall, change.after, made_by, seed, shot=1)
    mask = np.zeros((size[1], size[0]), np.bool_)
    if kind != "same":
        mask = _new(change, cast(lens, pose_a, RADIUS, change.after), a.maps["point_mm"])
    flow = project(lens, pose_b, a.maps["point_mm"])
    level = DEPTH if kind != "notch" else DEPTH - 3.2
    return a, b, mask, plane_homography(lens, pose_a, pose_b, level), flow


def before_after(
    seed: int = 0, kind: str = "dents", *, size: tuple[int, int] = (1280, 720), move: float = 1.0
) -> Pair:
    """Two stills of one place, before and after.

    Parameters
    ----------
    seed : of place, looks, movement and noise
    kind : a key of :data:`KINDS`
    move : 1 for a few mm, degrees of tilt and up to 8 degrees of roll between the stills; 0 for a fixed tip

    Returns
    -------
    Pair
        ``a``, ``b`` (H, W, 3) uint8 RGB; ``mask`` (H, W) bool in a's frame, what is new in b; ``homography`` 3x3,
        a to b, exact for the crown's plane and near for its relief (a few px). See :func:`before_after_stills`
        for the exact flow.
    """
    a, b, mask, homography, _ = before_after_stills(seed, kind, size=size, move=move)
    return Pair(a.image, b.image, mask, homography)
