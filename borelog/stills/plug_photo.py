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
from borelog.stills.thread import Thread, from_thread

VERSION = "1"
UNCALIBRATED = "colour not calibrated: no white or grey patch in the frame, so no class is given"
_STRAP_HALF_MM = 1.35
_PATCHES = {"white": 0.75, "grey": 0.18}
_CERTAIN_DE, _MARGIN_DE = 15.0, 4.0


@dataclass(frozen=True, slots=True)
class PlugScale:
    """Pixels per mm in the plane of the plug's axis.

    Attributes
    ----------
    px_per_mm, error : and its standard error
    pitch_px : of the outline
    turns : how many turns were used
    """

    px_per_mm: float
    error: float
    pitch_px: float
    turns: float

    def text(self) -> str:
        """The result in words."""
        share = self.error / self.px_per_mm
        return (
            f"{self.px_per_mm:.2f} +- {self.error:.2f} px per mm ({share:.1%}), over {self.turns:.0f} turns"
        )

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "method": "pitch of the thread's outline",
            "version": VERSION,
            "px_per_mm": round(self.px_per_mm, 4),
            "error_px_per_mm": round(self.error, 4),
            "pitch_px": round(self.pitch_px, 3),
            "turns": round(self.turns, 1),
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


def thread_scale(
    image: Picture, outlines: tuple[Line, ...], pitch_mm: float = 1.25, distance_mm: float | None = None
) -> PlugScale:
    """Pixels per mm in the plane of the plug's axis, from the pitch of the thread's outline.

    Parameters
    ----------
    image : (H, W, 3) uint8, the plug in profile, from 150 mm or farther
    outlines : two lines, one drawn along either side of the thread; some pixels off do not matter
    pitch_mm : 1.25 for M14 and M12, 1.0 for M10
    distance_mm : camera to plug; 150 mm are assumed for the error when it is not given

    Raises
    ------
    StillError
        When no steady thread shows in the outline.
    """
    if len(outlines) != 2 or pitch_mm <= 0:
        raise StillError("draw a line along the thread's outline on each side of the plug")
    one, two = outlines
    ends = [(one.x1, one.y1, one.x2, one.y2), (two.x1, two.y1, two.x2, two.y2)]
    a, b = np.array(ends[0]).reshape(2, 2), np.array(ends[1]).reshape(2, 2)
    if np.linalg.norm(a[0] - b[0]) > np.linalg.norm(a[0] - b[1]):
        b = b[::-1]
    first, second = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    along = (second - first) / max(float(np.linalg.norm(second - first)), 1e-9)
    apart = float(abs(np.cross(np.append(along, 0), np.append(b[0] - a[0], 0))[2]))
    # Plain ground beyond the crests: an eighth of the width is about 1.7 mm on a 14 mm thread.
    found = from_thread(
        picture(image),
        (float(first[0]), float(first[1])),
        (float(second[0]), float(second[1])),
        Thread(f"thread of {pitch_mm:g} mm pitch", 0.0, pitch_mm),
        half_width=apart * 0.5 * 1.2,
        distance_mm=distance_mm,
    )
    scale = found.period_px / pitch_mm
    return PlugScale(scale, scale * found.scale.u_rel, found.period_px, found.turns)


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
        return (
            f"gap {self.mm:.2f} +- {self.error_mm:.2f} mm; a worn tip, a plug turned out of profile or a gap far from "
            "the middle of the frame spoils it"
        )

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


def gap_between(edges: Line, scale: PlugScale | None, edge_px: float = 0.7) -> Gap:
    """The gap between two edges as they are set, each good to ``edge_px``."""
    width = float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1))
    if scale is None:
        return Gap(width, float("nan"), float("nan"), edges)
    mm = width / scale.px_per_mm
    error = np.hypot(2 * edge_px * np.sqrt(2) / scale.px_per_mm, 2 * mm * scale.error / scale.px_per_mm)
    return Gap(width, mm, float(error), edges)


def measure_gap(
    image: Picture, rough: Line, scale: PlugScale | None = None, distance_mm: float | None = None
) -> Gap:
    """The electrode gap near a line drawn from one electrode to the other.

    Parameters
    ----------
    image : (H, W, 3) uint8
    rough : from about one edge to about the other; some pixels and degrees off do not matter
    scale : from `thread_scale`
    distance_mm : camera to plug; 150 mm are assumed for the error when it is not given

    Raises
    ------
    StillError
        When the edges cannot be found, or the gap is closed.
    """
    image = picture(image)
    length = float(np.hypot(rough.x2 - rough.x1, rough.y2 - rough.y1))
    if length < 3:
        raise StillError("the gap is closed or under three pixels; take a closer photograph")
    middle = ((rough.x1 + rough.x2) / 2, (rough.y1 + rough.y2) / 2)
    drawn = np.arctan2(rough.y2 - rough.y1, rough.x2 - rough.x1)
    tries: list[tuple[float, Line, float]] = []
    # The faces are parallel, so the shortest way across is the gap; the clicks only say about where.
    for turn in np.radians(np.arange(-20, 21, 2.5)):
        ux, uy = np.cos(drawn + turn) * length / 2, np.sin(drawn + turn) * length / 2
        found = _crossings(image, Line(middle[0] - ux, middle[1] - uy, middle[0] + ux, middle[1] + uy))
        if found is not None:
            edges, edge_px = found
            tries.append((float(np.hypot(edges.x2 - edges.x1, edges.y2 - edges.y1)), edges, edge_px))
    if len(tries) < 3:
        raise StillError("an edge of the gap does not stand out; put the edges by hand")
    tries.sort(key=lambda t: t[0])
    # The shortest of many noisy widths is too short; the lower quarter is not.
    width, edges, edge_px = tries[len(tries) // 4]
    if width < 2:
        raise StillError("the gap is closed or under two pixels; take a closer photograph")
    if scale is not None:
        # The strap is about 2.7 mm wide, so its near and far edge do not lie in the plane of the scale.
        aside = float(np.hypot(middle[0] - image.shape[1] / 2, middle[1] - image.shape[0] / 2))
        edge_px = float(np.hypot(edge_px, aside * _STRAP_HALF_MM / (distance_mm or 150.0) / 2))
    return gap_between(edges, scale, edge_px)


def _crossings(image: Picture, line: Line) -> tuple[Line, float] | None:
    """Where the middle brightness of a band along a line crosses half height towards both ends, and the edges' error."""
    length = float(np.hypot(line.x2 - line.x1, line.y2 - line.y1))
    reach = float(np.clip(0.5 * length, 5, 30))
    ux, uy = (line.x2 - line.x1) / length, (line.y2 - line.y1) / length
    whole = Line(line.x1 - reach * ux, line.y1 - reach * uy, line.x2 + reach * ux, line.y2 + reach * uy)
    fine = 4
    samples = round((length + 2 * reach) * fine)
    half = float(np.clip(0.25 * length, 3, 8))
    profile = np.median(_strip(image, whole, half, samples, max(5, round(4 * half))), axis=0)
    at = (np.arange(samples) + 0.5) / fine - reach
    middle = np.median(profile[(at > 0.3 * length) & (at < 0.7 * length)], axis=0)
    ends, errors = [], []
    for sign, spot in ((-1, 0.0), (1, length)):
        side = (at - spot) * sign
        body = (side > 0.35 * reach) & (side < 0.95 * reach)
        direction = np.median(profile[body], axis=0) - middle
        height = float(np.linalg.norm(direction))
        if height < 8:
            return None
        rise = (profile - middle) @ direction / height**2
        near = np.flatnonzero((side > -0.4 * length) & (side < 0.9 * reach))[:-1]
        crossing = near[((rise[near] - 0.5) * (rise[near + 1] - 0.5) <= 0) & (rise[near] != rise[near + 1])]
        if not len(crossing):
            return None
        k = int(crossing[np.abs(at[crossing] - spot).argmin()])
        ends.append(float(at[k] + (0.5 - rise[k]) / (rise[k + 1] - rise[k]) / fine))
        slope = abs(float(rise[min(k + 2, samples - 1)] - rise[max(k - 2, 0)])) * fine / 4
        errors.append(float(np.hypot(0.6, min(float(np.std(rise[body])) / max(slope, 1e-3), 2.0))))
    if ends[1] <= ends[0]:
        return None
    edges = Line(
        line.x1 + ends[0] * ux, line.y1 + ends[0] * uy, line.x1 + ends[1] * ux, line.y1 + ends[1] * uy
    )
    return edges, float(np.hypot(errors[0], errors[1]) / np.sqrt(2))


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
