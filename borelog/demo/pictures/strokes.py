"""Single-stroke letters, steady for a printed dial or shaky for a marker pen."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np

from borelog.demo.pictures.grain import Dice, Picture

Stroke = tuple[tuple[float, float], ...]

LETTERS: dict[str, tuple[Stroke, ...]] = {
    "0": (
        (
            (0.5, 0),
            (0.15, 0.15),
            (0.0, 0.5),
            (0.15, 0.85),
            (0.5, 1),
            (0.85, 0.85),
            (1, 0.5),
            (0.85, 0.15),
            (0.5, 0),
        ),
    ),
    "1": (((0.2, 0.22), (0.55, 0), (0.55, 1)),),
    "2": (((0.05, 0.22), (0.3, 0.02), (0.75, 0.04), (0.92, 0.28), (0.6, 0.6), (0.02, 1), (1, 1)),),
    "3": (
        (
            (0.05, 0.1),
            (0.5, 0),
            (0.9, 0.2),
            (0.75, 0.43),
            (0.4, 0.48),
            (0.85, 0.58),
            (0.95, 0.82),
            (0.5, 1),
            (0.03, 0.9),
        ),
    ),
    "4": (((0.7, 1), (0.7, 0), (0, 0.68), (1, 0.68)),),
    "5": (((0.9, 0), (0.15, 0), (0.08, 0.45), (0.55, 0.38), (0.95, 0.65), (0.7, 0.97), (0.05, 0.93)),),
    "6": (
        (
            (0.8, 0.02),
            (0.3, 0.25),
            (0.05, 0.7),
            (0.35, 1),
            (0.8, 0.92),
            (0.92, 0.66),
            (0.55, 0.48),
            (0.1, 0.66),
        ),
    ),
    "7": (((0.02, 0), (0.98, 0), (0.4, 1)),),
    "8": (
        (
            (0.5, 0.46),
            (0.12, 0.24),
            (0.5, 0),
            (0.88, 0.24),
            (0.5, 0.46),
            (0.05, 0.75),
            (0.5, 1),
            (0.95, 0.75),
            (0.5, 0.46),
        ),
    ),
    "9": (((0.92, 0.36), (0.5, 0.52), (0.08, 0.3), (0.4, 0), (0.85, 0.1), (0.92, 0.36), (0.75, 1)),),
    "C": (((0.95, 0.15), (0.55, 0), (0.1, 0.25), (0.02, 0.6), (0.35, 0.98), (0.95, 0.88)),),
    "Y": (((0, 0), (0.5, 0.5)), ((1, 0), (0.5, 0.5), (0.45, 1))),
    "L": (((0.1, 0), (0.1, 1), (0.9, 1)),),
    "k": (((0.1, 0), (0.1, 1)), ((0.8, 0.35), (0.1, 0.7), (0.85, 1))),
    "P": (((0.1, 1), (0.1, 0), (0.7, 0.02), (0.9, 0.27), (0.65, 0.5), (0.1, 0.5)),),
    "a": (((0.85, 0.4), (0.4, 0.36), (0.08, 0.68), (0.35, 1), (0.85, 0.75)), ((0.85, 0.38), (0.88, 1))),
    "p": (((0.12, 0.4), (0.12, 1.3)), ((0.12, 0.5), (0.6, 0.36), (0.9, 0.68), (0.55, 1), (0.12, 0.88))),
    "s": (((0.85, 0.45), (0.4, 0.36), (0.12, 0.52), (0.8, 0.8), (0.55, 1), (0.08, 0.92)),),
    "i": (((0.5, 0.4), (0.5, 1)), ((0.5, 0.2), (0.5, 0.24))),
    "x": (((0.1, 0.4), (0.9, 1)), ((0.9, 0.4), (0.1, 1))),
    " ": (),
}


def _rounded(points: Stroke, times: int = 3) -> list[tuple[float, float]]:
    """Corner cutting (Chaikin): a hand does not turn on the spot."""
    path = list(points)
    for _ in range(times):
        finer = [path[0]]
        for (ax, ay), (bx, by) in pairwise(path):
            finer += [
                (0.75 * ax + 0.25 * bx, 0.75 * ay + 0.25 * by),
                (0.25 * ax + 0.75 * bx, 0.25 * ay + 0.75 * by),
            ]
        path = [*finer, path[-1]]
    return path


def write(
    art: Picture,
    text: str,
    at: tuple[float, float],
    height: float,
    ink: int,
    thick: float,
    dice: Dice | None = None,
    centred: bool = False,
) -> None:
    """Write on a grey (H, W) uint8 picture in place; with dice as by hand, without as printed."""
    wide, step = height * 0.55, height * 0.80
    x, y = at
    if centred:
        x -= (len(text) * step - (step - wide)) / 2
        y -= height / 2
    for letter in text:
        lean = dice.between(-0.06, 0.06) if dice else 0.0
        drop = dice.between(-0.05, 0.05) * height if dice else 0.0
        for stroke in LETTERS[letter]:
            shaken = [
                (
                    px + (dice.between(-0.05, 0.05) if dice else 0),
                    py + (dice.between(-0.04, 0.04) if dice else 0),
                )
                for px, py in stroke
            ]
            path = [
                (x + px * wide + lean * height * (0.5 - py), y + drop + py * height)
                for px, py in _rounded(tuple(shaken))
            ]
            line = np.round(np.array(path) * 16).astype(np.int32)
            cv2.polylines(art, [line], False, ink, max(1, round(thick)), cv2.LINE_AA, 4)
        x += step * (1 + (dice.between(-0.06, 0.06) if dice else 0))
