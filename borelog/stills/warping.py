"""Fields of positions: for every pixel of one picture, its place in another; all in pixel indices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills.planes import Bits, Picture

Matrix = NDArray[np.float64]
Field = NDArray[np.float32]
Shape2 = tuple[int, int]


@dataclass(frozen=True, slots=True, eq=False)
class KnownTurn:
    """What is known of the probe before anything is looked for: a 3x3 matrix and the (height, width) it leads to."""

    matrix: Matrix
    size: Shape2


def known_turn(shape: Shape2, mirror: bool, roll_deg: float | None) -> KnownTurn:
    """Mirror, then roll (degrees, counter-clockwise on the screen undoes a clockwise turn) about the middle."""
    height, width = shape
    matrix = np.eye(3)
    if mirror:
        matrix = np.array([[-1.0, 0, width - 1], [0, 1, 0], [0, 0, 1]])
    if not roll_deg:
        return KnownTurn(matrix, shape)
    turn = np.vstack([cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), roll_deg, 1.0), [0, 0, 1]])
    cos, sin = abs(turn[0, 0]), abs(turn[0, 1])
    # A quarter turn must not cut the ends of a wide picture off.
    size = (round(width * sin + height * cos), round(width * cos + height * sin))
    shift = np.array([[1, 0, (size[1] - width) / 2], [0, 1, (size[0] - height) / 2], [0, 0, 1]])
    return KnownTurn(shift @ turn @ matrix, size)


def turned(image: Picture, turn: KnownTurn) -> Picture:
    """The picture after a known mirror and roll."""
    if np.array_equal(turn.matrix, np.eye(3)):
        return image
    height, width = turn.size
    return np.asarray(cv2.warpPerspective(image, turn.matrix, (width, height)), np.uint8)


def scaling(source: Shape2, target: Shape2) -> Matrix:
    """Edge on edge from a picture of (height, width) ``source`` to one of ``target``."""
    fx, fy = target[1] / source[1], target[0] / source[0]
    return np.array([[fx, 0, 0.5 * fx - 0.5], [0, fy, 0.5 * fy - 0.5], [0, 0, 1]])


def grid(height: int, width: int) -> Field:
    """Every pixel at its own place, (H, W, 2)."""
    out = np.empty((height, width, 2), np.float32)
    out[:, :, 0] = np.arange(width, dtype=np.float32)[None, :]
    out[:, :, 1] = np.arange(height, dtype=np.float32)[:, None]
    return out


def project(matrix: Matrix, at: Field) -> Field:
    """A field of positions sent through a 3x3 matrix."""
    m = (matrix / matrix[2, 2]).astype(np.float32)
    if not m[2, :2].any():
        return np.asarray(cv2.transform(at, m[:2]), np.float32)
    three = cv2.transform(at, matrix.astype(np.float64) / matrix[2, 2])
    depth = three[:, :, 2]
    depth[np.abs(depth) < 1e-9] = 1e-9
    out = np.empty(at.shape, np.float32)
    for axis in (0, 1):
        out[:, :, axis] = three[:, :, axis] / depth
    return out


def inside(positions: Field, shape: Shape2) -> Bits:
    """Where positions lie within a picture of (height, width)."""
    return cv2.inRange(positions, (-0.5, -0.5), (shape[1] - 0.5, shape[0] - 0.5)) > 0


def read_at(plane: NDArray[Any], positions: Field) -> NDArray[Any]:
    """A picture or field read at every position; its edge pixels go on outside."""
    both_in_one: Any = None
    return np.asarray(
        cv2.remap(plane, positions, both_in_one, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    )


def laid(image: Picture, positions: Field) -> Picture:
    """The picture as it lies at the positions; its edge pixels go on outside."""
    return np.asarray(read_at(image, positions), np.uint8)


def plausible(matrix: Matrix, shape: Shape2) -> bool:
    """Whether a homography is one a hand-held camera can make: not folded over, area within 1/20 to 20 times."""
    height, width = shape
    corners = np.array([[[0, 0], [width, 0], [width, height], [0, height]]], np.float64)
    depth = corners[0] @ matrix[2, :2] + matrix[2, 2]
    if (depth * depth[0] <= 0).any():
        return False
    moved = np.asarray(cv2.perspectiveTransform(corners, matrix)[0], np.float32).reshape(-1, 1, 2)
    grown = cv2.contourArea(moved) / (width * height)
    return bool(cv2.isContourConvex(moved) and 0.05 < grown < 20)


def enlarged(positions: Field, shape: Shape2) -> Field:
    """A field of positions for a larger picture of (height, width): what it adds to the plain grid is interpolated."""
    small = (positions.shape[0], positions.shape[1])
    if small == shape:
        return positions
    moves = cv2.resize(positions - grid(*small), (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(moves + project(scaling(shape, small), grid(*shape)), np.float32)
