"""What a probe's lens does to straight lines, worked out from pictures of a chessboard and taken out again.

Pinhole with radial and tangential distortion (Brown 1966; Zhang, 'A flexible new technique for camera calibration',
2000), in OpenCV's order of coefficients.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.marks.shapes import Pair
from borelog.stills import StillError
from borelog.stills.intake import shown
from borelog.stills.planes import Picture, luma

FEWEST_VIEWS = 5
_BAD_VIEW = 3.0


@dataclass(frozen=True, slots=True)
class Lens:
    """One probe at one picture size.

    Focal lengths and principal point in pixels, counted as OpenCV does (the first pixel's centre is 0, not 0.5);
    ``rms`` is the reprojection error in pixels, ``u_focal`` the standard uncertainty of the focal length in pixels.
    """

    fx: float
    fy: float
    cx: float
    cy: float
    k1: float
    k2: float
    p1: float
    p2: float
    k3: float
    width: int
    height: int
    rms: float = 0.0
    views: int = 0
    u_focal: float = 0.0

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The 3 x 3 camera matrix."""
        return np.array([[self.fx, 0, self.cx], [0, self.fy, self.cy], [0, 0, 1.0]])

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """k1, k2, p1, p2, k3."""
        return np.array([self.k1, self.k2, self.p1, self.p2, self.k3])

    @property
    def in_words(self) -> str:
        """What a measure says it rests on."""
        return f"lens calibrated from {self.views} chessboard stills (error {self.rms:.2f} px)"

    def fits(self, width: int, height: int) -> bool:
        """Whether a still of this size can be from this lens: same shape, any size."""
        return abs(width * self.height - height * self.width) <= 0.01 * self.width * height

    def resized(self, width: int, height: int) -> Lens:
        """The same lens for stills of another size.

        Raises
        ------
        StillError
            When the shape of the picture differs.
        """
        if not self.fits(width, height):
            raise StillError(
                f"the lens was calibrated at {self.width} x {self.height}, this still is {width} x {height}: "
                "another crop or another probe; calibrate at this setting"
            )
        s = width / self.width
        return Lens(
            self.fx * s, self.fy * s, (self.cx + 0.5) * s - 0.5, (self.cy + 0.5) * s - 0.5,
            self.k1, self.k2, self.p1, self.p2, self.k3, width, height, self.rms * s, self.views, self.u_focal * s,
        )  # fmt: skip

    def straight(self, points: Sequence[Pair]) -> tuple[Pair, ...]:
        """Where points of the still would be without distortion; both in shape coordinates (pixels)."""
        if not points:
            return ()
        raw = np.asarray(points, np.float64).reshape(-1, 1, 2) - 0.5
        criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 50, 1e-8)
        flat = cv2.undistortPoints(raw, self.matrix, self.coefficients, None, None, self.matrix, criteria)
        return tuple((float(x) + 0.5, float(y) + 0.5) for x, y in flat.reshape(-1, 2))


@dataclass(frozen=True, slots=True)
class Calibration:
    """``errors`` is the reprojection error in pixels by name of still; ``refused`` says in words which stills fell out."""

    lens: Lens
    errors: tuple[tuple[str, float], ...]
    refused: tuple[str, ...]
    advice: tuple[str, ...] = ()


def find_corners(
    image: Picture, columns: int, rows: int, window: int | None = None
) -> NDArray[np.float32] | None:
    """Inner corners of a chessboard, (columns * rows, 2) float32 in OpenCV's pixels, or None.

    Parameters
    ----------
    image : ndarray
        Colour or grey, ``uint8``.
    columns, rows : int
        Inner corners across and down.
    window : int, optional
        Half the side of the window in which a corner is refined; by default a third of the closest corners' distance
        and at most 8: one that reaches the next corner pulls toward it.
    """
    grey = luma(image)
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE | cv2.CALIB_CB_FAST_CHECK
    found, corners = cv2.findChessboardCorners(grey, (columns, rows), None, flags)
    if found:
        span = np.linalg.norm(np.diff(corners.reshape(rows, columns, 2), axis=1), axis=2).min()
        half = window or int(np.clip(span / 3, 2, 8))
        criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 1e-3)
        corners = cv2.cornerSubPix(grey, corners, (half, half), (-1, -1), criteria)
    else:
        found, corners = cv2.findChessboardCornersSB(grey, (columns, rows), None, cv2.CALIB_CB_ACCURACY)
    return np.asarray(corners, np.float32).reshape(-1, 2) if found else None


def calibrate(
    stills: Iterable[tuple[str, Picture]],
    columns: int,
    rows: int,
    square_mm: float = 1.0,
    *,
    window: int | None = None,
    third_radial: bool = False,
    drop_bad: bool = True,
) -> Calibration:
    """The lens from stills of one flat chessboard, held at different tilts.

    Parameters
    ----------
    stills : iterable of (name, picture)
        All of one size.
    columns, rows : int
        Inner corners across and down; they must differ by one or be told apart by the print, as usual.
    square_mm : float
        Side of a square; only the unit of the poses, the lens does not depend on it.
    window : int, optional
        As for `find_corners`.
    third_radial : bool
        Also fit k3. A dozen views of a small board do not carry it, and it bends the border when they do not.

    drop_bad : bool
        Leave out stills whose error is more than a pixel and three times the median, and solve again.

    Raises
    ------
    StillError
        With fewer than five stills in which the whole board is found.
    """
    if columns < 3 or rows < 3:
        raise StillError("a chessboard has at least 3 x 3 inner corners; count where four squares meet")
    grid = np.zeros((rows * columns, 3), np.float32)
    grid[:, :2] = np.mgrid[0:columns, 0:rows].T.reshape(-1, 2) * square_mm
    names: list[str] = []
    seen: list[NDArray[np.float32]] = []
    refused: list[str] = []
    size: tuple[int, int] | None = None
    for name, image in stills:
        here = (image.shape[1], image.shape[0])
        size = size or here
        if here != size:
            refused.append(f"{shown(name)}: {here[0]} x {here[1]} pixels, the others {size[0]} x {size[1]}")
            continue
        corners = find_corners(image, columns, rows, window)
        if corners is None:
            refused.append(
                f"{shown(name)}: no board with {columns} x {rows} inner corners found; show all of it, evenly lit"
            )
            continue
        names.append(name)
        seen.append(corners)
    if size is None or len(seen) < FEWEST_VIEWS:
        raise StillError(
            f"the board was found in {len(seen)} stills, at least {FEWEST_VIEWS} are needed (15 are good); "
            "take more, tilted to all sides and out to the corners"
        )
    lens, errors = _solve(grid, seen, size, third_radial)
    limit = max(1.0, _BAD_VIEW * float(np.median(errors)))
    good = [i for i, e in enumerate(errors) if e <= limit]
    if drop_bad and len(good) < len(seen) and len(good) >= FEWEST_VIEWS:
        refused += [
            f"{shown(names[i])}: fits badly ({errors[i]:.1f} px), left out"
            for i in range(len(seen))
            if i not in good
        ]
        names, seen = [names[i] for i in good], [seen[i] for i in good]
        lens, errors = _solve(grid, seen, size, third_radial)
    return Calibration(lens, tuple(zip(names, errors, strict=True)), tuple(refused), _advice(lens, seen))


def _solve(
    grid: NDArray[np.float32], seen: Sequence[NDArray[np.float32]], size: tuple[int, int], third_radial: bool
) -> tuple[Lens, list[float]]:
    flags = 0 if third_radial else cv2.CALIB_FIX_K3
    boards = [grid] * len(seen)
    result = cv2.calibrateCameraExtended(boards, list(seen), size, None, None, flags=flags)  # type: ignore[call-overload]
    rms, matrix, coefficients, _, _, deviations, _, per_view = result
    k1, k2, p1, p2, k3 = (float(v) for v in np.ravel(coefficients)[:5])
    u = float(np.hypot(*np.ravel(deviations)[:2]) / np.sqrt(2))
    fx, fy, cx, cy = (float(matrix[i, j]) for i, j in ((0, 0), (1, 1), (0, 2), (1, 2)))
    lens = Lens(fx, fy, cx, cy, k1, k2, p1, p2, k3, *size, float(rms), len(seen), u)
    return lens, [float(e) for e in np.ravel(per_view)]


def _advice(lens: Lens, seen: Sequence[NDArray[np.float32]]) -> tuple[str, ...]:
    points = np.concatenate(seen)
    hull = cv2.contourArea(cv2.convexHull(points))
    share = hull / (lens.width * lens.height)
    out = []
    if share < 0.5:
        out.append(f"the board covers {share:.0%} of the picture; take some with it in the corners")
    if lens.u_focal > 0.01 * lens.fx:
        out.append("the focal length is known to more than 1 % only; tilt the board more, to all four sides")
    if lens.rms > 1.0:
        out.append("the corners fit to more than a pixel; is the board flat and the picture sharp?")
    if len(seen) < 10:
        out.append(f"{len(seen)} stills carry it; 15 make it steadier")
    return tuple(out)
