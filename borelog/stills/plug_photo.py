"""A spark plug in a photograph: scale from its thread, colour of the nose; `borelog.stills.gap` has its gap.

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
