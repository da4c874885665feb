"""Pairs of stills made by altering one picture at random, with marks of known place drawn into the second.

What happens between two visits is drawn within the limits a hand-held tip has: another exposure and gamma, the lamp
moved, sharper or softer, noise, JPEG, a turn and a zoom. The base pictures are not those any setting is judged on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

Picture = np.ndarray
SIZE = (960, 640)


@dataclass(frozen=True)
class Altered:
    """``before`` and ``after`` (H, W, 3) uint8; ``marks`` one (H, W) bool for each mark, in the frame of ``after``."""

    before: Picture
    after: Picture
    marks: tuple[np.ndarray, ...]


def bases() -> Iterator[tuple[str, Picture]]:
    """Photographs that come with scikit-image (CC0, in the wheel), as rough metal would be, and cloudy plates."""
    from skimage import data

    for name in ("brick", "gravel", "grass", "coins", "page", "moon"):
        image = np.asarray(getattr(data, name)())
        grey = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
        scale = max(SIZE[0] / grey.shape[1], SIZE[1] / grey.shape[0])
        big = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)[: SIZE[1], : SIZE[0]]
        yield name, tinted(big, len(name))
    for seed in range(4):
        dice = np.random.default_rng(900 + seed)
        plane = np.zeros(SIZE[::-1], np.float32)
        for sigma, weight in ((1.5, 6), (5, 16), (25, 28)):
            cloud = cv2.GaussianBlur(dice.normal(size=plane.shape).astype(np.float32), (0, 0), sigma)
            plane += weight * cloud / cloud.std()
        yield f"plate {seed}", tinted(np.clip(115 + plane, 8, 245).astype(np.uint8), seed)


def tinted(grey: Picture, seed: int) -> Picture:
    """A grey picture in the brown of carbon: the colour drifts slowly over it."""
    dice = np.random.default_rng(seed)
    drift = cv2.GaussianBlur(dice.normal(size=grey.shape).astype(np.float32), (0, 0), 60)
    drift = 0.12 * drift / drift.std()
    return (
        np.stack([grey * (0.88 - drift), grey * 1.0, grey * (1.04 + drift)], axis=2)
        .clip(0, 255)
        .astype(np.uint8)
    )


def marked(image: Picture, dice: np.random.Generator, count: int) -> tuple[Picture, tuple[np.ndarray, ...]]:
    """Pits, nicks, flat chips, stains and scratches at random places that keep apart."""
    out, marks, taken = image.astype(np.float32), [], np.zeros(image.shape[:2], np.uint8)
    height, width = taken.shape
    while len(marks) < count:
        kind = int(dice.integers(5))
        x, y = float(dice.uniform(90, width - 90)), float(dice.uniform(90, height - 90))
        drawn = np.zeros((height, width), np.float32)
        angle, reach = float(dice.uniform(0, np.pi)), float(dice.uniform(5, 14))
        if kind == 3:
            reach *= 2.2
        if kind == 4:
            half = np.array([np.cos(angle), np.sin(angle)]) * dice.uniform(20, 50)
            ends = [(round(x + s * half[0]), round(y + s * half[1])) for s in (-1, 1)]
            cv2.line(drawn, *ends, 1.0, int(dice.integers(2, 5)), cv2.LINE_AA)
        else:
            spokes = reach * dice.uniform(0.7, 1.25, 9)
            turns = np.linspace(0, 2 * np.pi, 10)[:-1]
            points = np.stack([x + spokes * np.cos(turns), y + spokes * np.sin(turns)], axis=1)
            cv2.fillPoly(drawn, [np.rint(points * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
        near = cv2.dilate((drawn > 0.5).astype(np.uint8), np.ones((61, 61), np.uint8))
        if (near & taken).any():
            continue
        taken |= near
        drawn = cv2.GaussianBlur(drawn, (0, 0), 5.0 if kind == 3 else 0.9)
        depth = float(dice.uniform(0.25, 0.6)) * (-1 if kind in (1,) else 1)
        out *= 1 - depth * drawn[:, :, None]
        marks.append(drawn > 0.5)
    return out.clip(0, 255).astype(np.uint8), tuple(marks)


def altered(image: Picture, seed: int, marks: int = 4, strength: float = 1.0) -> Altered:
    """One pair.

    Parameters
    ----------
    image : (H, W, 3) uint8
    seed : of everything
    marks : how many are drawn into the later picture; 0 for a control
    strength : 1 for what two visits differ by; 0 for none
    """
    dice = np.random.default_rng(seed)
    later, places = marked(image, dice, marks)
    before = _shot(image, dice, strength)
    after = _shot(later, dice, strength)
    height, width = image.shape[:2]
    turn, zoom = strength * dice.uniform(-7, 7), 1 + strength * dice.uniform(-0.05, 0.05)
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, zoom)
    matrix[:, 2] += strength * dice.uniform(-18, 18, 2)
    before = cv2.warpAffine(before, matrix, (width, height), borderMode=cv2.BORDER_REFLECT)
    return Altered(_pressed(before, dice), _pressed(after, dice), places)


def _shot(image: Picture, dice: np.random.Generator, strength: float) -> Picture:
    height, width = image.shape[:2]
    level = (image.astype(np.float32) + 1) / 256
    level **= float(1.25 ** (strength * dice.uniform(-1, 1)))
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    # The lamp moves with the tip: a broad spot somewhere in the frame, and the lens darkens towards the corners.
    cx, cy = dice.uniform(0.25, 0.75) * width, dice.uniform(0.25, 0.75) * height
    spot = np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * (dice.uniform(0.35, 0.7) * width) ** 2))
    light = 1 + strength * (dice.uniform(0.2, 0.6) * (spot - 0.6))
    level *= (light * (1 + strength * dice.uniform(-0.25, 0.25)))[:, :, None]
    level = cv2.GaussianBlur(level, (0, 0), 0.3 + strength * dice.uniform(0, 0.9))
    noise = dice.normal(0, 1, level.shape).astype(np.float32) * (strength * dice.uniform(1, 4) / 255)
    return ((level + noise) * 256 - 1).clip(0, 255).astype(np.uint8)


def _pressed(image: Picture, dice: np.random.Generator) -> Picture:
    _, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, int(dice.integers(70, 96))])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
