"""The two groove directions of one squared-up patch of honed wall, from its spectrum.

Groove families are ridges of power in the spectrum of a patch, at right angles to the grooves (Beyerer and Puente
Leon, Optical Engineering 36(1), 1997). Gradient tensors are biased where two families cross, so they are not used.

A ridge is followed at the spectrum's own resolution, a frequency or so wide at every radius, and its direction is
that of the most power, not the mean over a wedge: light that changes over the view smears a ridge to one side, more at
low frequencies, and a mean goes with the smear. What no reading of directions can undo is that a lamp beside the lens
darkens the near flank of every groove: seen lines lie nearer the bright spot than the grooves, so that a lit wall
shows its angle up to a few tenths of a degree low, the coarser the grooves in the view the more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills import StillError
from borelog.stills.planes import Picture, luma

LEAST_SIDE = 192
_BAND = (0.03, 0.30)
_BIN = 0.5
_BINS = round(180 / _BIN)
_SMOOTH = ((-2, 1), (-1, 4), (0, 6), (1, 4), (2, 1))
_RINGS, _CLIP = 24, 40.0
_APART = 12.0
_FIRST_OUT, _SECOND_OUT = 8.0, 6.0
"""How far a peak stands out of the profile, in its robust deviations."""
_SHOULDER, _SHARP = 4.0, 0.6
"""A ridge has fallen to this share of its height so many degrees aside; views down the bore and textures have not."""
_SECOND_TO_FIRST = 0.2
"""Least depth of the second family in depths of the first: at a sixth none of 16 drawn patches of 512 px is read, at a third
all are; of 134 lit walls with two like families none is lost."""
_LIT = (8.0, 247.0)
_LEAST_LIT = 0.3
_NONE = (float("nan"), float("nan"))


@dataclass(frozen=True, slots=True, eq=False)
class _Spectrum:
    window: NDArray[np.float32]
    columns: int
    rows: NDArray[np.intp]
    where: NDArray[np.intp]
    angle: NDArray[np.float32]
    radius: NDArray[np.float32]
    bins: NDArray[np.intp]
    many: NDArray[np.float64]
    ring: NDArray[np.intp]
    rings: tuple[NDArray[np.intp], ...]


def even_side(most: int) -> int:
    """The largest even side up to ``most`` whose transform is quick: no prime factor over 5."""
    for side in range(most // 2 * 2, 1, -2):
        rest = side
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return side
    return 2


@lru_cache(maxsize=4)
def _grid(side: int) -> _Spectrum:
    """Window, and angle and radius of every frequency inside the band, for a patch of one size."""
    taper = np.hanning(side).astype(np.float32)
    columns, along = int(_BAND[1] * side), np.fft.fftfreq(side)
    rows = np.flatnonzero(np.abs(along) <= _BAND[1])
    fy, fx = np.meshgrid(along[rows], np.arange(1, columns + 1) / side, indexing="ij")
    radius = np.hypot(fx, fy)
    # The axes carry JPEG blocks and the taper's own cross.
    inside = (radius >= _BAND[0]) & (radius <= _BAND[1]) & (fx > 1.5 / side) & (np.abs(fy) > 1.5 / side)
    where = np.flatnonzero(inside)
    # A groove runs at right angles to its frequency; y grows downwards, so this is positive upwards.
    angle = (np.degrees(np.arctan2(-fy.ravel()[where], fx.ravel()[where])) + 90 + 90) % 180 - 90
    bins = ((angle + 90) / _BIN).astype(np.intp) % _BINS
    flat = radius.ravel()[where]
    ring = np.minimum((flat - _BAND[0]) / (_BAND[1] - _BAND[0]) * _RINGS, _RINGS - 1).astype(np.intp)
    return _Spectrum(
        np.outer(taper, taper),
        columns,
        rows,
        where,
        angle.astype(np.float32),
        (flat * side).astype(np.float32),
        bins,
        np.maximum(_softened(np.bincount(bins, minlength=_BINS)), 1e-3),
        ring,
        tuple(np.flatnonzero(ring == k) for k in range(_RINGS)),
    )


def _softened(sums: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(np.sum([np.roll(sums, k) * w for k, w in _SMOOTH], axis=0) / 16)


def _flattened(grey: NDArray[np.float32]) -> tuple[NDArray[np.float32], float]:
    """Contrast against the light round about, and the share of the patch that is lit.

    What is black or blown out is faded to nothing: the straight edge of a laid-flat picture would pass for grooves.
    """
    side = grey.shape[0]
    small: Any = cv2.resize(grey, (side // 8, side // 8), interpolation=cv2.INTER_AREA)
    unlit = (small < _LIT[0]) | (small > _LIT[1])
    lit = keep = None
    if unlit.any():
        border = cv2.dilate(unlit.astype(np.uint8), np.ones((3, 3), np.uint8))
        lit = 1 - border.astype(np.float32)
        keep = np.clip(2 * cv2.GaussianBlur(lit, (0, 0), 2.0) - 1, 0, 1) * lit
        small = cv2.GaussianBlur(small * lit, (0, 0), 3.0) / np.maximum(
            cv2.GaussianBlur(lit, (0, 0), 3.0), 1e-3
        )
    else:
        small = cv2.GaussianBlur(small, (0, 0), 3.0)
    light: Any = cv2.resize(small, (side, side), interpolation=cv2.INTER_LINEAR)
    flat = (grey - light) / (light + 12)
    if keep is None:
        return flat, 1.0
    return flat * cv2.resize(keep, (side, side), interpolation=cv2.INTER_LINEAR), float(keep.mean())


def patch_families(patch: Picture) -> tuple[tuple[float, float], str]:
    """The two groove directions of one square patch, or why they cannot be read.

    Parameters
    ----------
    patch : (n, n) or (n, n, 3) uint8, n >= 192, the wall seen squarely

    Returns
    -------
    ((float, float), str)
        Directions in degrees against x, positive upwards, in (-90, 90], strongest first, nan where nothing is lit;
        the words are empty where both could be read.
    """
    grey = luma(patch)
    if grey.shape[0] != grey.shape[1] or grey.shape[0] < LEAST_SIDE:
        raise StillError(
            f"a hone patch must be square and at least {LEAST_SIDE} pixels; take a closer picture"
        )
    side = even_side(grey.shape[0])
    edge = (grey.shape[0] - side) // 2
    flat, lit = _flattened(grey[edge : edge + side, edge : edge + side].astype(np.float32))
    if lit < _LEAST_LIT:
        return _NONE, "too dark or too bright"
    spectrum = _grid(side)
    # Packed: after the zero column real and imaginary parts of each frequency side by side.
    waves = cv2.dft(flat * spectrum.window)[spectrum.rows, 1 : 2 * spectrum.columns + 1]
    power = (waves[:, ::2] ** 2 + waves[:, 1::2] ** 2).ravel()[spectrum.where]
    # Every ring of frequencies votes alike, and over a level strong ones count by their root: a few coarse grooves of
    # one stroke hold most of the plain power, and a grating all of it in a few frequencies.
    # An even patch has nothing but rounding: less than a tenth of a grey level is no power.
    least = 1e-8 * side * side
    typical = np.array([max(float(np.median(power[r])), least) for r in spectrum.rings], np.float32)
    votes = power / typical[spectrum.ring]
    strong = np.where(votes > _CLIP, np.sqrt(_CLIP * votes), votes)
    total = _softened(np.bincount(spectrum.bins, strong, _BINS))
    floor = float(np.median(total / spectrum.many))
    # Bins beside the axes hold few frequencies: alone they would stand out of any noise.
    few = float(np.median(spectrum.many)) / 4
    smooth = (total + few * floor) / (spectrum.many + few)
    spread = max(1.4826 * float(np.median(np.abs(smooth - floor))), 0.02)
    first = int(smooth.argmax())
    second = int(np.where(_turn(first) >= _APART, smooth, -1).argmax())
    found = [_refined(spectrum, votes, strong, -90 + _BIN * (k + 0.5)) for k in (first, second)]
    families = (found[0][0], found[1][0])
    if not _stands(smooth - floor, first, _FIRST_OUT * spread):
        return families, "no grooves stand out"
    weak = found[1][1] < _SECOND_TO_FIRST * found[0][1]
    if weak or not _stands(smooth - floor, second, _SECOND_OUT * spread):
        return families, "the second groove family is too weak"
    return families, ""


def _turn(at: int) -> NDArray[np.float64]:
    """Degrees from bin ``at`` to every bin of a half circle."""
    return np.asarray(np.abs((np.arange(_BINS) - at + _BINS / 2) % _BINS - _BINS / 2) * _BIN)


def _stands(over: NDArray[np.float64], at: int, least: float) -> bool:
    """Whether a peak is high enough, is the highest about, and is as narrow as a family of straight grooves."""
    turn = _turn(at)
    return bool(
        over[at] >= max(least, float(over[turn <= _SHOULDER / 2].max()))
        and over[turn == _SHOULDER].max() <= _SHARP * over[at]
    )


def _refined(
    spectrum: _Spectrum, votes: NDArray[np.float32], strong: NDArray[np.float32], start: float
) -> tuple[float, float]:
    """Direction of one ridge to a few hundredths of a degree, and its depth by rings, each by its root."""
    away = (spectrum.angle - np.float32(start) + 90) % 180 - 90
    near = np.flatnonzero(np.abs(away) < 4.0)
    turn, radius, ring = np.radians(away[near]), spectrum.radius[near], spectrum.ring[near]
    heavy = np.maximum(strong[near] - 3, 0)
    off = 0.0
    for reach, steps in ((1.6, 17), (0.3, 7)):
        tries = np.radians(np.linspace(off - reach, off + reach, steps)).astype(np.float32)
        aside = (turn - tries[:, None]) * radius
        sums = np.exp(-0.5 * aside * aside) @ heavy
        top = int(np.clip(sums.argmax(), 1, steps - 2))
        # The vertex of the parabola through the three highest.
        bend = float(sums[top - 1] - 2 * sums[top] + sums[top + 1])
        shift = 0.5 * float(sums[top - 1] - sums[top + 1]) / bend if bend < 0 else 0.0
        off = float(np.degrees(tries[top])) + min(max(shift, -1.0), 1.0) * 2 * reach / (steps - 1)
    on = np.abs(turn - np.float32(np.radians(off))) * radius < 1.5
    held = np.bincount(ring[on], votes[near][on], _RINGS)
    # Noise alone has a mean of 1 / ln 2 of its median.
    over = held / np.maximum(np.bincount(ring[on], minlength=_RINGS), 1) - 1 / np.log(2)
    return (start + off + 90) % 180 - 90, float(np.sqrt(np.maximum(over, 0)).sum())
