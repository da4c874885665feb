"""Compare two stills: align, map the change, and compose what a person looks at or sends.

Side by side, wipe, blink, and a strip of one place over its dates. 'Different' is all that is ever said.
"""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np

from borelog.stills import StillError
from borelog.stills.align import Alignment, Mode, align, align_by_points, as_it_stands, warp
from borelog.stills.change import THRESHOLD, ChangeMap, Region, change_map
from borelog.stills.planes import Cancelled, Picture, Progress, picture, step
from borelog.text import one_line

Onto = Literal["later", "earlier"]
# Under 3 flashes a second (WCAG 2.2, 2.3.1): each frame stands at least 0.4 s.
BLINK_MS = 500
_LEAST_BLINK_MS = 400
_GAP = 6
_RING, _BACK, _INK = (82, 154, 230), (24, 24, 24), (235, 235, 235)


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Two stills on one grid and what differs between them.

    Attributes
    ----------
    earlier, later : (H, W, 3) uint8 on one grid: that of the later picture, or of the earlier one when asked
    alignment : how they were laid on each other, with its evidence
    change : map, regions (pixels of the picture that gave the grid) and numbers
    onto : whose grid it is
    """

    earlier: Picture
    later: Picture
    alignment: Alignment
    change: ChangeMap
    onto: Onto

    @property
    def regions(self) -> tuple[Region, ...]:
        """The ranked regions, at most ten."""
        return self.change.regions

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "grid": self.onto,
            "width_px": self.later.shape[1],
            "height_px": self.later.shape[0],
            "alignment": self.alignment.as_dict(),
            "change": self.change.as_dict(),
            "text": self.text(),
        }

    def text(self) -> str:
        """The result in a few lines."""
        a, c = self.alignment, self.change
        many = {0: "no region", 1: "1 region"}.get(c.found, f"{c.found} regions")
        lines = [
            ("aligned: " if a.accepted else "NOT aligned: ") + a.why,
            f"residual {a.residual_px:.1f} px, {a.share:.0%} of the frame covered"
            if not np.isnan(a.residual_px)
            else f"{a.share:.0%} of the frame covered",
            f"{many} different at threshold {c.threshold:g}"
            + (f", the {len(c.regions)} strongest listed" if c.found > len(c.regions) else ""),
            f"structural similarity {c.ssim:.3f}, mean change of brightness {c.mean_change:.1f} %",
            "dirt, oil, light and carbon that has moved differ as well",
        ]
        return "\n".join(lines)


def compare(
    earlier: Picture,
    later: Picture,
    *,
    mode: Mode = "thorough",
    threshold: float = THRESHOLD,
    mirror: bool = False,
    roll_deg: float | None = None,
    points: Sequence[tuple[tuple[float, float], tuple[float, float]]] | None = None,
    onto: Onto = "later",
    dense: bool = True,
    cancelled: Cancelled | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Align two stills of one place and map what differs.

    Parameters
    ----------
    earlier, later : (H, W, 3) or (H, W) uint8, of any two sizes, nearly aligned or not
    mode, mirror, roll_deg, dense, cancelled, progress
        See `borelog.stills.align.align`.
    threshold : see `borelog.stills.change.change_map`
    points : four or more pairs ((x, y) in earlier, (x, y) in later) a person marked; used instead of a search
    onto : whose pixels the regions are in

    Returns
    -------
    Comparison
        Where no alignment is accepted the pictures are compared as well as they can be laid, and
        ``alignment.accepted`` is False: regions then may be nothing but misfit.
    """
    earlier, later = picture(earlier), picture(later)
    moved, still = (earlier, later) if onto == "later" else (later, earlier)
    if points:
        pairs = [(p, q) if onto == "later" else (q, p) for p, q in points]
        found = align_by_points(moved, still, pairs)
    else:
        roll = roll_deg if roll_deg is None or onto == "later" else -roll_deg
        found = align(
            moved,
            still,
            mode,
            mirror=mirror,
            roll_deg=roll,
            dense=dense,
            cancelled=cancelled,
            progress=progress,
        )
    if found.share < 0.05:
        found = as_it_stands(moved, still)
    step(cancelled, progress, 0.95, "mapping the change")
    over = warp(moved, found)
    one, two = (over, still) if onto == "later" else (still, over)
    change = change_map(one, two, threshold, None if found.covered.all() else found.covered)
    step(cancelled, progress, 1.0, "done")
    return Comparison(one, two, found, change, onto)


def side_by_side(a: Picture, b: Picture, names: tuple[str, str] = ("", "")) -> Picture:
    """Two pictures beside each other at one height, a name over each when given."""
    return _row((a, b), names)


def strip(pictures: Sequence[Picture], names: Sequence[str], height: int = 240) -> Picture:
    """One place over its dates: pictures of one height in a row, a name (a date) over each."""
    if not pictures or len(names) != len(pictures):
        raise StillError("a strip needs at least one picture and a name for each")
    small = []
    for image in map(picture, pictures):
        width = max(16, round(image.shape[1] * height / image.shape[0]))
        small.append(np.asarray(cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA), np.uint8))
    return _row(small, names)


def _row(pictures: Sequence[Picture], names: Sequence[str]) -> Picture:
    height = max(p.shape[0] for p in pictures)
    cells = []
    for image in map(picture, pictures):
        factor = height / image.shape[0]
        size = (round(image.shape[1] * factor), height)
        cells.append(image if factor == 1 else np.asarray(cv2.resize(image, size), np.uint8))
    band = max(20, height // 20) if any(names) else 0
    width = sum(c.shape[1] for c in cells) + _GAP * (len(cells) - 1)
    sheet = np.full((height + band, width, 3), _BACK, np.uint8)
    left = 0
    for cell, name in zip(cells, names, strict=True):
        sheet[band:, left : left + cell.shape[1]] = cell
        if name:
            room = sheet[:band, left : left + cell.shape[1]]
            scale = band / 32
            letters = max(4, int(cell.shape[1] / (18 * scale)))
            cv2.putText(
                room,
                one_line(name, letters),
                (4, int(band * 0.75)),
                cv2.FONT_HERSHEY_SIMPLEX,
                scale,
                _INK,
                max(1, round(scale * 1.6)),
                cv2.LINE_AA,
            )
        left += cell.shape[1] + _GAP
    return sheet


def blink_frames(a: Picture, b: Picture) -> tuple[Picture, Picture]:
    """The two frames of a blink with their light made alike, so that only what differs flickers."""
    a, b = picture(a), picture(b)
    _same_size(a, b)
    lit = np.array([np.mean(p[p.max(axis=2) > 0]) if p.any() else 1.0 for p in (a, b)])
    gain = float(np.clip(lit[1] / max(lit[0], 1.0), 0.5, 2.0))
    return np.asarray(cv2.convertScaleAbs(a, alpha=gain), np.uint8), b


def gif(frames: Sequence[Picture], ms: int = BLINK_MS, longest: int = 960) -> bytes:
    """The frames as an endless GIF, each shown for ``ms`` milliseconds (never under 400).

    Raises
    ------
    StillError
        With no frame at all.
    """
    from PIL import Image

    if not frames:
        raise StillError("there is no frame to write")
    images = []
    for frame in map(picture, frames):
        factor = min(1.0, longest / max(frame.shape[:2]))
        size = (round(frame.shape[1] * factor), round(frame.shape[0] * factor))
        small = cv2.resize(frame, size, interpolation=cv2.INTER_AREA)
        images.append(Image.fromarray(cv2.cvtColor(small, cv2.COLOR_BGR2RGB)))
    out = io.BytesIO()
    images[0].save(
        out,
        "GIF",
        save_all=True,
        append_images=images[1:],
        duration=max(ms, _LEAST_BLINK_MS),
        loop=0,
        disposal=1,
    )
    return out.getvalue()


def png(image: Picture) -> bytes:
    """The picture as PNG bytes."""
    fine, data = cv2.imencode(".png", image)
    if not fine:
        raise StillError("this picture cannot be written as PNG; take the file in again")
    return data.tobytes()


def ringed(image: Picture, regions: Sequence[Region]) -> Picture:
    """A copy of the picture with each region's box and rank drawn on it."""
    out = picture(image).copy()
    thick = max(1, round(min(out.shape[:2]) / 360))
    size = 0.5 * thick + 0.1
    for r in regions:
        x, y = round(r.box.x), round(r.box.y)
        end = (round(r.box.x + r.box.width), round(r.box.y + r.box.height))
        for colour, extra in (((0, 0, 0), 2), (_RING, 0)):
            cv2.rectangle(out, (x, y), end, colour, thick + extra)
        label = (x, y - 4 if y > 24 * thick else end[1] + round(26 * size))
        for colour, extra in (((0, 0, 0), 2), (_RING, 0)):
            cv2.putText(
                out, str(r.rank), label, cv2.FONT_HERSHEY_SIMPLEX, size, colour, thick + extra, cv2.LINE_AA
            )
    return out


def map_picture(change: ChangeMap) -> Picture:
    """The change map as a picture: black where nothing differs, white at twice the threshold and over."""
    scaled = np.clip(change.score * (127.5 / max(change.threshold, 1e-6)), 0, 255).astype(np.uint8)
    return np.repeat(scaled[:, :, None], 3, axis=2)


def files_of(
    comparison: Comparison, names: tuple[str, str] = ("earlier", "later"), blink: bool = True
) -> dict[str, bytes]:
    """The aligned pair, the map, the regions and the pictures for a chat, each as the bytes of its file by name."""
    c = comparison
    shown = side_by_side(c.earlier, ringed(c.later, c.regions), names)
    files = {
        "earlier.png": png(c.earlier),
        "later.png": png(c.later),
        "map.png": png(map_picture(c.change)),
        "regions.json": (json.dumps(c.as_dict(), indent=1, ensure_ascii=False) + "\n").encode(),
        "side-by-side.png": png(shown),
    }
    if blink:
        files["blink.gif"] = gif(blink_frames(c.earlier, c.later))
    return files


def _same_size(a: Picture, b: Picture) -> None:
    if a.shape != b.shape:
        raise StillError("the two pictures differ in size; use the aligned pair of a comparison")
