"""A spark plug in a photograph: scale from its thread, electrode gap, colour of the nose.

The outline of the thread lies in the plane of the gap; the bright threads in the middle are nearer to the camera and
would make the scale several per cent wrong, so only the outline is traced. Metric threads: ISO 261 (M14 x 1.25).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.knowledge import tables
from borelog.marks.shapes import Box, Line, Polygon, Shape, outline
from borelog.stills import StillError
from borelog.stills.ciede import ciede2000, lab_from_linear, linear
from borelog.stills.planes import Picture, picture

VERSION = "1"
UNCALIBRATED = "colour not calibrated: no white or grey patch in the frame, so no class is given"
NEAREST_MM = 150.0
"""Nearer than this the outline's own perspective spoils the scale: 2.2 % at 80 mm, 1.3 % at 150, 0.5 % at 400."""
_PATCHES = {"white": 0.75, "grey": 0.18}
_CERTAIN_DE, _MARGIN_DE = 15.0, 4.0


@dataclass(frozen=True, slots=True)
class ThreadScale:
    """Pixels per mm in the plane of the plug's axis.

    Attributes
    ----------
    px_per_mm, error : and its standard error
    pitch_px : of each outline traced
    pitches : how many pitches were used
    """

    px_per_mm: float
    error: float
    pitch_px: tuple[float, ...]
    pitches: float

    def text(self) -> str:
        """The result in words."""
        share = self.error / self.px_per_mm
        return f"{self.px_per_mm:.2f} +- {self.error:.2f} px per mm ({share:.1%}), over {self.pitches:.0f} pitches"

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "method": "pitch of the thread's outline",
            "version": VERSION,
            "px_per_mm": round(self.px_per_mm, 4),
            "error_px_per_mm": round(self.error, 4),
            "pitch_px": [round(p, 3) for p in self.pitch_px],
            "pitches": round(self.pitches, 1),
            "text": self.text(),
        }


def _strip(image: Picture, line: Line, half: float, along: int, across: int) -> NDArray[np.float32]:
    """A straightened band along a line: (across, along, 3) float32; row 0 is ``half`` px to the left of the line."""
    t = (np.arange(along) + 0.5) / along
    s = (np.arange(across) + 0.5) / across * 2 * half - half
    length = float(np.hypot(line.x2 - line.x1, line.y2 - line.y1))
    ux, uy = (line.x2 - line.x1) / length, (line.y2 - line.y1) / length
    x = line.x1 + t[None, :] * (line.x2 - line.x1) + s[:, None] * uy
    y = line.y1 + t[None, :] * (line.y2 - line.y1) - s[:, None] * ux
    band = cv2.remap(
        image,
        np.asarray(x - 0.5, np.float32),
        np.asarray(y - 0.5, np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(band, np.float32)


def trace_outline(image: Picture, line: Line) -> NDArray[np.float64]:
    """Where the outline of the thread runs, in px to the left of a line drawn along it, once per px of its length.

    The side that is more even is the ground; the outline is where the colour stops being the ground's.
    """
    length = float(np.hypot(line.x2 - line.x1, line.y2 - line.y1))
    if length < 40:
        raise StillError("draw the line along the thread's outline over at least six turns")
    half = float(np.clip(length / 8, 10, 60))
    across = round(4 * half)
    band = cv2.GaussianBlur(_strip(picture(image), line, half, round(length), across), (0, 0), 1.0)
    space = np.asarray(
        cv2.cvtColor(np.clip(band / 255, 0, 1).astype(np.float32), cv2.COLOR_BGR2Lab), np.float64
    )
    edge = across // 4
    ends = [space[:edge], space[-edge:]]
    # Along the outline the plug's side goes light and dark with every turn, the ground does not.
    uneven = [float(np.abs(np.diff(np.median(e, axis=0), axis=0)).sum()) for e in ends]
    flip = uneven[0] > uneven[1]
    if flip:
        space = space[::-1]
    ground = np.stack([_smooth(np.median(space[:edge, :, k], axis=0), 41) for k in range(3)], axis=1)
    away = np.linalg.norm(space - ground[None], axis=2)
    noise = float(np.median(away[:edge]))
    inner = float(np.median(away[-edge:].max(axis=0)))
    if inner < 3 * noise + 3:
        raise StillError(
            "the plug does not stand out from the ground here; lay it on a plain cloth of another colour"
        )
    level = max(2.5 * noise, 0.4 * inner)
    over = away > level
    # Three rows in a row, so that a thread of the cloth is not taken for the outline.
    run = over[:-2] & over[1:-1] & over[2:]
    first = run.argmax(axis=0)
    found = run.any(axis=0) & (first > 0)
    columns = np.arange(away.shape[1])
    before, after = away[np.maximum(first - 1, 0), columns], away[first, columns]
    part = np.clip((level - before) / np.maximum(after - before, 1e-6), 0, 1)
    row = first - 1 + part + 0.5
    place = row / across * 2 * half - half
    place = np.where(found, -place if flip else place, np.nan)
    if np.isnan(place).mean() > 0.3:
        raise StillError(
            "the outline cannot be followed along this line; draw it nearer to the thread's edge"
        )
    good = np.flatnonzero(~np.isnan(place))
    return np.interp(columns, good, place[good])


def _smooth(values: NDArray[np.float64], window: int) -> NDArray[np.float64]:
    wide = np.pad(values, window // 2, mode="edge")
    return np.convolve(wide, np.ones(window) / window, "valid")[: len(values)]


def period_of(trace: NDArray[np.float64]) -> tuple[float, float]:
    """Period of a trace in samples and its standard error: two harmonics by least squares.

    Raises
    ------
    StillError
        When no period stands out.
    """
    n = len(trace)
    t = np.arange(n) - (n - 1) / 2
    rest = trace - np.polyval(np.polyfit(t, trace, 2), t)
    limit = 4 * 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 1e-6
    rest = np.clip(rest, -limit, limit)
    power = np.abs(np.fft.rfft(rest * np.hanning(n), 8 * n)) ** 2
    frequency = np.fft.rfftfreq(8 * n)
    usable = (frequency > 4.0 / n) & (frequency < 1 / 6)
    if not usable.any():
        raise StillError("too few turns of thread; draw the line over at least six")
    at = np.where(usable, power, 0).argmax()
    if power[at] < 12 * float(np.median(power[usable])):
        raise StillError(
            "no turns of thread stand out along this line; draw it along the outline, not the shading"
        )
    start = float(frequency[at])

    def misfit(f: float) -> tuple[float, NDArray[np.float64]]:
        w = 2 * np.pi * f * t
        basis = np.stack([np.cos(w), np.sin(w), np.cos(2 * w), np.sin(2 * w), np.ones(n), t], axis=1)
        weights = np.linalg.lstsq(basis, rest, rcond=None)[0]
        left = rest - basis @ weights
        return float(left @ left), weights

    best = start
    for reach in (0.6 / n, 0.1 / n, 0.02 / n):
        tries = best + np.linspace(-reach, reach, 21)
        best = float(tries[int(np.argmin([misfit(float(f))[0] for f in tries]))])
    square, weights = misfit(best)
    amplitude = float(np.hypot(weights[0], weights[1]))
    sigma = np.sqrt(square / max(n - 7, 1))
    # Rife and Boorstyn (1974): standard error of a frequency; neighbouring samples share their blur, hence the factor.
    error_f = np.sqrt(6.0) * sigma * 2.0 / (np.pi * max(amplitude, 1e-6) * n**1.5)
    return 1 / best, float(error_f / best**2)


def thread_scale(image: Picture, outlines: tuple[Line, ...], pitch_mm: float = 1.25) -> ThreadScale:
    """Pixels per mm from the pitch of the thread's outline.

    Parameters
    ----------
    image : (H, W, 3) uint8, the plug in profile, from 150 mm or farther
    outlines : one or two lines drawn along the thread's outline, a few pixels off do not matter
    pitch_mm : 1.25 for M14 and M12, 1.0 for M10

    Returns
    -------
    ThreadScale
    """
    if not outlines or pitch_mm <= 0:
        raise StillError("draw a line along the thread's outline, best one on each side")
    periods, errors, turns = [], [], 0.0
    for line in outlines:
        trace = trace_outline(image, line)
        period, error = period_of(trace)
        periods.append(period)
        errors.append(error)
        turns += len(trace) / period
    if len(periods) > 1 and max(periods) > 1.06 * min(periods):
        raise StillError(
            "the two outlines do not agree; draw both along the thread, or turn the plug into profile"
        )
    pitch = float(np.mean(periods))
    random = float(np.sqrt(np.sum(np.square(errors)))) / len(errors)
    if len(periods) > 1:
        random = max(random, float(np.ptp(periods)) / 4)
    scale = pitch / pitch_mm
    # Perspective of the outline at about 150 mm, common to all measurements from one photograph.
    return ThreadScale(scale, scale * float(np.hypot(random / pitch, 0.007)), tuple(periods), turns)


@dataclass(frozen=True, slots=True)
class Gap:
    """An electrode gap with both its edges.

    Attributes
    ----------
    px, mm : width; mm is nan without a scale
    error_mm : about 95 %
    edges : the two edges, in picture pixels; drag them and measure again with `gap_between`
    """

    px: float
    mm: float
    error_mm: float
    edges: Line

    def text(self) -> str:
        """The result in words."""
        if np.isnan(self.mm):
            return f"gap {self.px:.1f} px; no scale"
        return f"gap {self.mm:.2f} +- {self.error_mm:.2f} mm; a worn tip or a plug turned out of profile spoils it"

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        e = self.edges
        return {
            "method": "two half-height crossings",
            "version": VERSION,
            "gap_px": round(self.px, 2),
            "gap_mm": None if np.isnan(self.mm) else round(self.mm, 4),
            "error_mm": None if np.isnan(self.mm) else round(self.error_mm, 4),
            "edges": [[round(e.x1, 2), round(e.y1, 2)], [round(e.x2, 2), round(e.y2, 2)]],
            "text": self.text(),
        }


def gap_between(edges: Line, scale: ThreadScale | None, edge_px: float = 0.7) -> Gap:
    """The gap between two edges as they are set, each good to ``edge_px``."""
    width = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    if scale is None:
        return Gap(width, float("nan"), float("nan"), edges)
    mm = width / scale.px_per_mm
    error = np.hypot(2 * edge_px * np.sqrt(2) / scale.px_per_mm, 2 * mm * scale.error / scale.px_per_mm)
    return Gap(width, mm, float(error), edges)


def measure_gap(image: Picture, rough: Line, scale: ThreadScale | None = None) -> Gap:
    """The electrode gap near a line drawn from one electrode to the other.

    Parameters
    ----------
    image : (H, W, 3) uint8
    rough : from about one edge to about the other, square to them
    scale : from `thread_scale`

    Raises
    ------
    StillError
        When the edges cannot be found, or the gap is closed.
    """
    length = float(np.hypot(rough.x2 - rough.x1, rough.y2 - rough.y1))
    if length < 3:
        raise StillError("the gap is closed or under three pixels; take a closer photograph")
    reach = float(np.clip(0.5 * length, 5, 30))
    ux, uy = (rough.x2 - rough.x1) / length, (rough.y2 - rough.y1) / length
    whole = Line(rough.x1 - reach * ux, rough.y1 - reach * uy, rough.x2 + reach * ux, rough.y2 + reach * uy)
    fine = 4
    samples = round((length + 2 * reach) * fine)
    half = float(np.clip(0.2 * length, 2, 8))
    band = _strip(picture(image), whole, half, samples, max(5, round(4 * half)))
    profile = np.median(band, axis=0)
    at = (np.arange(samples) + 0.5) / fine - reach
    middle = np.median(profile[(at > 0.3 * length) & (at < 0.7 * length)], axis=0)
    edges, errors = [], []
    for sign, spot in ((-1, 0.0), (1, length)):
        side = (at - spot) * sign
        metal = np.median(profile[(side > 0.35 * reach) & (side < 0.95 * reach)], axis=0)
        direction = metal - middle
        height = float(np.linalg.norm(direction))
        if height < 8:
            raise StillError("an edge of the gap does not stand out; put the edges by hand")
        rise = (profile - middle) @ direction / height**2
        near = np.flatnonzero((side > -0.4 * length) & (side < 0.9 * reach))
        crossing = [
            k for k in near[:-1] if (rise[k] - 0.5) * (rise[k + 1] - 0.5) <= 0 and rise[k] != rise[k + 1]
        ]
        if not crossing:
            raise StillError("an edge of the gap does not stand out; put the edges by hand")
        k = min(crossing, key=lambda c: abs(at[c] - spot))
        edges.append(at[k] + (0.5 - rise[k]) / (rise[k + 1] - rise[k]) / fine)
        slope = abs(float(rise[min(k + 2, samples - 1)] - rise[max(k - 2, 0)])) * fine / 4
        rough_edge = float(np.std(rise[(side > 0.35 * reach) & (side < 0.95 * reach)]))
        errors.append(float(np.hypot(0.25, min(rough_edge / max(slope, 1e-3), 2.0))))
    found = Line(
        rough.x1 + edges[0] * ux, rough.y1 + edges[0] * uy, rough.x1 + edges[1] * ux, rough.y1 + edges[1] * uy
    )
    if edges[1] - edges[0] < 2:
        raise StillError("the gap is closed or under two pixels; take a closer photograph")
    return gap_between(found, scale, float(np.hypot(*errors)) / np.sqrt(2))


@dataclass(frozen=True, slots=True)
class NoseColour:
    """Colour of a plug's nose.

    Attributes
    ----------
    calibrated : whether a white or grey patch was in the frame
    lab : CIELAB (D65) of the nose; nan when not calibrated
    nearest : words of the nearest class, empty when not calibrated or nothing is near
    term : id of the finding it may be, empty when it must be asked
    delta_e : CIEDE2000 to the nearest class
    ask : what only a look or a finger can tell
    """

    calibrated: bool
    lab: tuple[float, float, float]
    nearest: str
    term: str
    delta_e: float
    ask: str

    def text(self) -> str:
        """The result in words."""
        if not self.calibrated:
            return UNCALIBRATED
        seen = f"L* {self.lab[0]:.0f}, a* {self.lab[1]:.0f}, b* {self.lab[2]:.0f}"
        head = (
            f"{self.nearest} ({seen}, {self.delta_e:.1f} from the class)"
            if self.nearest
            else f"no class is near ({seen})"
        )
        return f"{head}; {self.ask}" if self.ask else head

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "method": "grey patch, CIELAB D65, nearest class by CIEDE2000",
            "version": VERSION,
            "calibrated": self.calibrated,
            "lab": [round(v, 1) for v in self.lab] if self.calibrated else None,
            "nearest": self.nearest,
            "term": self.term,
            "delta_e": round(self.delta_e, 1) if self.calibrated else None,
            "ask": self.ask,
            "text": self.text(),
        }


def colour_classes() -> tuple[dict[str, str], ...]:
    """The classes a nose is compared with; set by hand and marked so."""
    return tables.rows("plug_colours.csv", "id", "words", "L", "a", "b", "term", "ask", "source")


def _light(image: Picture, area: Shape) -> tuple[NDArray[np.float64], float]:
    """Mean linear red, green, blue of an area without its darkest and brightest tenth, and the share that is clipped."""
    mask = np.zeros(image.shape[:2], np.uint8)
    points = np.array(outline(area)) - 0.5
    cv2.fillPoly(mask, [np.rint(points).astype(np.int32)], 1)
    inside = image[mask > 0]
    if len(inside) < 12:
        raise StillError("the marked area is too small; mark at least a dozen pixels")
    clipped = float((inside.max(axis=1) >= 253).mean())
    order = np.argsort(inside.sum(axis=1, dtype=np.int64))
    kept = inside[order[len(order) // 10 : max(len(order) - len(order) // 10, 1)]]
    return linear(kept[:, ::-1] / 255.0).mean(axis=0), clipped


def nose_colour(
    image: Picture, nose: Polygon | Box | Shape, patch: Shape | None = None, patch_kind: str = "white"
) -> NoseColour:
    """Colour of the nose against a patch in the frame, and the nearest class.

    Parameters
    ----------
    image : (H, W, 3) uint8
    nose : area of ceramic, away from glints
    patch : area of the white or grey card in the same light; None: not calibrated
    patch_kind : 'white' (75 % reflectance) or 'grey' (18 %)
    """
    image = picture(image)
    if patch is None:
        nan = float("nan")
        return NoseColour(False, (nan, nan, nan), "", "", nan, "")
    if patch_kind not in _PATCHES:
        raise StillError(f"a patch is {' or '.join(_PATCHES)}; say which")
    light, _ = _light(image, nose)
    card, clipped = _light(image, patch)
    if clipped > 0.05 or card.min() < 0.004:
        raise StillError("the patch is over- or underexposed; photograph it again, darker or brighter")
    found = lab_from_linear(light * _PATCHES[patch_kind] / card)
    classes = colour_classes()
    anchors = np.array([[float(c[k]) for k in ("L", "a", "b")] for c in classes])
    away = ciede2000(found, anchors)
    order = np.argsort(away)
    first, second = classes[int(order[0])], classes[int(order[1])]
    near = float(away[order[0]])
    lab = (float(found[0]), float(found[1]), float(found[2]))
    if near > _CERTAIN_DE:
        return NoseColour(True, lab, "", "", near, "")
    ask = first["ask"]
    # Soot and oil are 6 apart: gloss tells them, not colour.
    dark = {first["id"], second["id"]} == {"dry_soot", "wet_oil"} or first["id"] in ("dry_soot", "wet_oil")
    close = float(away[order[1]]) - near < _MARGIN_DE and first["words"] != second["words"]
    if close:
        ask = "; ".join(w for w in (f"nearly as near: {second['words']}", ask) if w)
    return NoseColour(True, lab, first["words"], "" if dark or close else first["term"], near, ask)
