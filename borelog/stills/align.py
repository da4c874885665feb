"""Lay an earlier still over a later one of the same place, and say how well it lies.

First the small step: where the pictures nearly fit, a smooth bend is fitted to their optical flow. Otherwise features,
a homography, a cubic bend for what is not flat, and a calm dense flow. A result is accepted only on evidence;
otherwise four pairs of points are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import cv2
import numpy as np

from borelog.stills import StillError
from borelog.stills.flow import (
    AGREE_PX,
    Bend,
    agreement,
    calm_flow,
    coarse_flow,
    fit_bend,
    mismatch,
    sampled,
)
from borelog.stills.matching import Matched, match, tiles
from borelog.stills.planes import Bits, Cancelled, Grey, Picture, Progress, fitted, luma, picture, step
from borelog.stills.warping import (
    Field,
    Matrix,
    enlarged,
    grid,
    inside,
    known_turn,
    laid,
    plausible,
    project,
    read_at,
    scaling,
    turned,
)

Mode = Literal["fast", "thorough"]

LEAST_INLIERS, LEAST_INLIER_SHARE, LEAST_TILES = 25, 0.12, 6
LEAST_AGREEMENT = 0.6
_LONGEST = 960
_FARTHEST = 0.06
_GAIN = 0.97
_HOPELESS = 0.25
ASK = "mark four pairs of points that are the same spot in both pictures, spread over the frame"


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """How the earlier picture lies on the later one.

    Attributes
    ----------
    accepted : whether the evidence suffices; if not, ``why`` asks for four pairs of points
    method : 'as it stands', 'small step', 'features, fast', 'features, thorough' or 'points'
    why : one sentence: the evidence, or what is missing
    positions : (H, W, 2) float32, for every pixel of the later picture its place in the earlier one (pixel index)
    covered : (H, W) bool, where the earlier picture has content
    homography : (3, 3) float64 later to earlier in pixel indices, where one was used
    residual_px : median remaining flow in pixels of the later picture
    share : covered share of the frame, 0 to 1
    matches, inliers, tiles : evidence of the features (0 where none were used)
    agreement : share of textured pixels whose flow returns within 1.5 px
    """

    accepted: bool
    method: str
    why: str
    positions: Field
    covered: Bits
    homography: Matrix | None
    residual_px: float
    share: float
    matches: int = 0
    inliers: int = 0
    tiles: int = 0
    agreement: float = 0.0

    def to_earlier(self, x: float, y: float) -> tuple[float, float]:
        """Where a spot of the later picture is in the earlier one; pixel coordinates with centres at .5."""
        height, width = self.covered.shape
        left = min(max(int(np.floor(x - 0.5)), 0), width - 2)
        top = min(max(int(np.floor(y - 0.5)), 0), height - 2)
        u, v = x - 0.5 - left, y - 0.5 - top
        a, b = self.positions[top, left : left + 2].astype(np.float64)
        c, d = self.positions[top + 1, left : left + 2].astype(np.float64)
        at = (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * c + u * d)
        return float(at[0]) + 0.5, float(at[1]) + 0.5

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON, without the fields."""
        return {
            "accepted": self.accepted,
            "method": self.method,
            "why": self.why,
            "residual_px": None if np.isnan(self.residual_px) else round(self.residual_px, 2),
            "covered_share": round(self.share, 3),
            "matches": self.matches,
            "inliers": self.inliers,
            "tiles_of_16": self.tiles,
            "flow_agreement": round(self.agreement, 3),
            "homography": None
            if self.homography is None
            else [[float(v) for v in r] for r in self.homography],
        }


def warp(earlier: Picture, alignment: Alignment) -> Picture:
    """The earlier picture as it lies on the later one, (H, W, 3) uint8; black where it has no content."""
    over = laid(picture(earlier), alignment.positions)
    over[~alignment.covered] = 0
    return over


def align(
    earlier: Picture,
    later: Picture,
    mode: Mode = "thorough",
    *,
    mirror: bool = False,
    roll_deg: float | None = None,
    dense: bool = True,
    cancelled: Cancelled | None = None,
    progress: Progress | None = None,
) -> Alignment:
    """Lay ``earlier`` over ``later``.

    Parameters
    ----------
    earlier, later : (H, W, 3) uint8, of any two sizes
    mode : 'thorough' (RootSIFT) or 'fast' (ORB), used where the small step does not do
    mirror : the earlier picture is known to be mirrored against the later one (side-view mirror on the probe)
    roll_deg : known turn of the earlier picture against the later one, degrees, clockwise on the screen; None: not known
    dense : end with a calm dense flow, for scenes that are not flat
    cancelled, progress : called between the steps

    Returns
    -------
    Alignment
        ``accepted`` is False where the evidence does not suffice; the best try is still in it.
    """
    earlier, later = picture(earlier), picture(later)
    step(cancelled, progress, 0.0, "looking for a small step")
    grey, scale_later = fitted(luma(later), _LONGEST)
    small_later = Grey(grey)
    known = known_turn(earlier.shape[:2], mirror, roll_deg)
    upright = turned(luma(earlier), known)
    small_earlier = Grey(fitted(upright, _LONGEST)[0])
    # From working pixels of the turned earlier picture back to its own pixels.
    back = np.linalg.inv(known.matrix) @ scaling(small_earlier.shape, upright.shape[:2])
    best = _small_step(small_earlier, small_later)
    if not best.accepted:
        step(cancelled, progress, 0.2, "matching features")
        far = _by_features(small_earlier, small_later, mode, roll_deg is not None, dense, cancelled, progress)
        best = far if far.accepted else _lesser_evil(best, far, small_earlier, small_later)
    step(cancelled, progress, 0.9, "laying the pictures on each other")
    result = _full_size(best, back, later.shape[:2], earlier.shape[:2], scale_later)
    step(cancelled, progress, 1.0, "done")
    return result


def align_by_points(
    earlier: Picture, later: Picture, pairs: Sequence[tuple[tuple[float, float], tuple[float, float]]]
) -> Alignment:
    """Lay ``earlier`` over ``later`` by pairs of points a person marked.

    Parameters
    ----------
    pairs : four or more ((x, y) in earlier, (x, y) in later), pixels, centres at .5

    Raises
    ------
    StillError
        With fewer than four pairs, or when three of four lie on one line.
    """
    earlier, later = picture(earlier), picture(later)
    if len(pairs) < 4:
        raise StillError(f"{len(pairs)} pairs of points are too few; {ASK}")
    at_earlier = np.array([p for p, _ in pairs], np.float64) - 0.5
    at_later = np.array([q for _, q in pairs], np.float64) - 0.5
    matrix, _ = cv2.findHomography(at_later, at_earlier, 0)
    if matrix is None or not plausible(np.asarray(matrix, np.float64), later.shape[:2]):
        raise StillError(
            f"these points do not fix the pictures on each other (on one line, or swapped); {ASK}"
        )
    homography = np.asarray(matrix, np.float64)
    positions = project(homography, grid(*later.shape[:2]))
    covered = inside(positions, earlier.shape[:2])
    back = cv2.perspectiveTransform(at_later[None], homography)[0]
    miss = np.linalg.norm(back - at_earlier, axis=1)
    grey = Grey(later)
    share, _ = agreement(grey, _laid(Grey(earlier), positions), covered & grey.textured)
    return Alignment(
        True,
        "points",
        f"laid by {len(pairs)} marked pairs"
        + (f", {miss.max():.1f} px apart at worst" if len(pairs) > 4 else ""),
        positions,
        covered,
        homography,
        float(np.median(miss)) if len(pairs) > 4 else float("nan"),
        float(covered.mean()),
        inliers=len(pairs),
        matches=len(pairs),
        tiles=tiles(at_later.astype(np.float32), later.shape[:2]),
        agreement=share,
    )


def as_it_stands(earlier: Picture, later: Picture) -> Alignment:
    """The earlier picture laid edge on edge over the later one, stretched to its size, without a claim to fit."""
    return _edge_on_edge(earlier.shape[:2], later.shape[:2])


def _edge_on_edge(source: tuple[int, int], shape: tuple[int, int]) -> Alignment:
    matrix = scaling(shape, source)
    return Alignment(
        False,
        "as it stands",
        f"not aligned: compared edge on edge; {ASK}",
        project(matrix, grid(*shape)),
        np.ones(shape, np.bool_),
        matrix,
        float("nan"),
        1.0,
    )


def _laid(image: Grey, positions: Field) -> Grey:
    return Grey(laid(image.plane, positions))


class _Lie:
    """One way in which a picture may lie: its positions, and what is seen through them, worked out once."""

    def __init__(self, image: Grey, positions: Field) -> None:
        self.image, self.positions = image, positions

    @cached_property
    def over(self) -> Grey:
        return _laid(self.image, self.positions)

    @cached_property
    def covered(self) -> Bits:
        return inside(self.positions, self.image.shape)


def _small_step(earlier: Grey, later: Grey) -> Alignment:
    """A smooth bend over a picture that already nearly fits; working size."""
    shape = later.shape
    base = _edge_on_edge(earlier.shape, shape)
    ratio = (earlier.shape[1] / earlier.shape[0]) / (shape[1] / shape[0])
    if not 0.98 < ratio < 1.02:
        return replace(base, why=f"the pictures differ in shape; {ASK}")
    same = earlier if earlier.shape == shape else _laid(earlier, base.positions)
    texture = later.textured
    points, moves = sampled(coarse_flow(later.levelled, same.levelled), texture)
    first = fit_bend(points, moves, shape, 1)
    if first is not None and first.inliers < _HOPELESS:
        return replace(base, why=f"the pictures do not nearly fit; {ASK}")
    bend, to_same = _least_bend(same, later, points, moves)
    covered = inside(to_same, shape)
    share, residual = agreement(later, _laid(same, to_same), covered & texture)
    spread = tiles(points, shape)
    # A shift cannot run away where nothing holds it; a bend can, and needs support over the frame.
    needed = 2 if bend is None or bend.degree == 0 else LEAST_TILES
    good = share >= LEAST_AGREEMENT and residual < AGREE_PX and spread >= needed
    said = "they lie on each other as they are"
    if bend is not None:
        said = f"a smooth bend of degree {bend.degree} was enough"
    found = f"flow there and back agrees on {share:.0%} of the textured pixels"
    return replace(
        base,
        accepted=good,
        method="small step",
        why=f"{said}; {found}" if good else f"{found}, which is not enough; {ASK}",
        positions=project(scaling(shape, earlier.shape), to_same),
        covered=covered,
        homography=base.homography if bend is None else None,
        residual_px=residual,
        share=float(covered.mean()),
        tiles=spread,
        agreement=share,
    )


def _least_bend(same: Grey, later: Grey, points: Field, moves: Field) -> tuple[Bend | None, Field]:
    """The bend of lowest degree that lowers the mismatch, and where it sends every pixel."""
    shape = later.shape
    plain = grid(*shape)
    best, chosen, where = mismatch(later, same), None, plain
    for degree in (0, 1, 2, 3):
        bend = fit_bend(points, moves, shape, degree)
        if bend is None:
            break
        moved = bend.field(*shape)
        # One that shoots off where nothing holds it is no small step.
        if np.abs(moved).max() > _FARTHEST * float(np.hypot(*shape)):
            continue
        cost = mismatch(later, _laid(same, plain + moved))
        if cost < _GAIN * best:
            best, chosen, where = cost, bend, plain + moved
    return chosen, where


def _lesser_evil(near: Alignment, far: Alignment, earlier: Grey, later: Grey) -> Alignment:
    """Of two tries neither of which is accepted, the one whose pictures lie better on each other."""
    if far.inliers < LEAST_INLIERS or far.share < 0.3:
        return near if near.method == "small step" else replace(near, why=far.why)
    costs = [mismatch(later, _laid(earlier, t.positions), t.covered) for t in (near, far)]
    return far if costs[1] < costs[0] else replace(near, why=far.why)


def _by_features(
    earlier: Grey,
    later: Grey,
    mode: Mode,
    upright: bool,
    dense: bool,
    cancelled: Cancelled | None,
    progress: Progress | None,
) -> Alignment:
    """Features, homography, cubic bend, calm flow; working size."""
    shape, source = later.shape, earlier.shape
    base = replace(_edge_on_edge(source, shape), method=f"features, {mode}")
    found = match(later.plane, earlier.plane, mode == "thorough")
    if mode == "thorough" and not _follows(found, shape):
        step(cancelled, progress, 0.3, "matching features again, as if seen aslant")
        found = max(found, match(later.plane, earlier.plane, slants=True), key=lambda m: m.inliers.sum())
    matrix = found.homography
    held = int(found.inliers.sum())
    base = replace(base, matches=len(found.a), inliers=held)
    if matrix is None or not plausible(matrix, shape):
        return replace(base, why=f"{len(found.a)} matched points follow no common movement; {ASK}")
    if upright and abs(np.degrees(np.arctan2(matrix[1, 0], matrix[0, 0]))) > 30:
        return replace(base, why=f"the features contradict the known roll; {ASK}")
    lie = _Lie(earlier, project(matrix, grid(*shape)))
    step(cancelled, progress, 0.6, "bending")
    lie = _bent(found, matrix, lie, later)
    if dense:
        step(cancelled, progress, 0.7, "following the flow")
        lie = _flowed(lie, later)
    share, residual = agreement(later, lie.over, lie.covered & later.textured)
    spread = tiles(found.a[found.inliers], shape)
    wanting = _wanting(held, len(found.a), spread, share)
    seen = (
        f"{held} of {len(found.a)} matched points agree, in {spread} of 16 tiles; flow agrees on {share:.0%}"
    )
    return replace(
        base,
        accepted=not wanting,
        why=f"{seen}; {wanting}; {ASK}" if wanting else seen,
        positions=lie.positions,
        covered=lie.covered,
        homography=matrix,
        residual_px=residual,
        share=float(lie.covered.mean()),
        tiles=spread,
        agreement=share,
    )


def _follows(found: Matched, shape: tuple[int, int]) -> bool:
    """Whether enough points follow one movement for the rest of the way to be worth it."""
    held = int(found.inliers.sum())
    if found.homography is None or not plausible(found.homography, shape):
        return False
    return held >= LEAST_INLIERS and held >= LEAST_INLIER_SHARE * len(found.a)


def _wanting(held: int, matches: int, spread: int, share: float) -> str:
    """What the evidence lacks, in words; empty where it suffices."""
    rules = (
        (held >= LEAST_INLIERS and held >= LEAST_INLIER_SHARE * matches, "too few points agree"),
        (spread >= LEAST_TILES, "they cover too little of the frame"),
        (share >= LEAST_AGREEMENT, "the flow does not agree there and back"),
    )
    return next((words for fine, words in rules if not fine), "")


def _bent(found: Matched, matrix: Matrix, lie: _Lie, later: Grey) -> _Lie:
    """The homography's lie, bent by what the points of a rigid but not flat scene still miss."""
    shape = later.shape
    a = found.a[found.bendable]
    flat = cv2.perspectiveTransform(a[None].astype(np.float64), matrix)[0] if len(a) else np.zeros((0, 2))
    bend = fit_bend(a, found.b[found.bendable] - flat, shape, 3)
    if bend is None:
        return lie
    moved = bend.field(*shape)
    if np.abs(moved).max() > 2 * _FARTHEST * float(np.hypot(*shape)):
        return lie
    return _better(lie, _Lie(lie.image, lie.positions + moved), later)


def _flowed(lie: _Lie, later: Grey) -> _Lie:
    flow = calm_flow(later, lie.over, lie.covered & later.textured)
    moved = np.asarray(read_at(lie.positions, grid(*later.shape) + flow), np.float32)
    return _better(lie, _Lie(lie.image, moved), later)


def _better(old: _Lie, new: _Lie, later: Grey) -> _Lie:
    seen = old.covered & new.covered
    return new if mismatch(later, new.over, seen) < _GAIN * mismatch(later, old.over, seen) else old


def _full_size(
    best: Alignment, back: Matrix, shape: tuple[int, int], source: tuple[int, int], scale: float
) -> Alignment:
    """From working pixels to the pixels of the two originals."""
    small = (best.positions.shape[0], best.positions.shape[1])
    positions = project(back, enlarged(best.positions, shape))
    covered = inside(positions, source)
    matrix = None if best.homography is None else back @ best.homography @ scaling(shape, small)
    return replace(
        best,
        positions=positions,
        covered=covered,
        homography=None if matrix is None else matrix / matrix[2, 2],
        residual_px=best.residual_px / scale,
        share=float(covered.mean()),
    )
