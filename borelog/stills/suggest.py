"""Suggestions on one still: at most twelve marks a person may accept or throw away.

Spotting on one still is weak: comparing with another still of the same place is far better. Nothing suggested is never
'nothing wrong'. What is accepted keeps method, version and threshold; what is not accepted never leaves the screen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

import cv2
import msgspec
import numpy as np

from borelog.knowledge import tables
from borelog.marks.shapes import Ellipse, Freehand, Shape
from borelog.stills import StillError
from borelog.stills import lines as line_finder
from borelog.stills import patches as patch_finder
from borelog.stills.glare import glare_mask
from borelog.stills.lines import FoundLine, find_lines, find_scores
from borelog.stills.patches import FoundPatch, find_deposits, find_oil, find_pits
from borelog.stills.planes import Bits, Cancelled, Picture, Progress, picture, step
from borelog.stills.rim import rim_or_none
from borelog.stills.unroll import Unrolled

View = Literal["bore", "wall", "crown", "roof"]
MOST = 12
AREAS = ("oil", "deposit")
NOTHING = "nothing suggested; that does not mean there is nothing"
_STRIP_WIDTH = 1440


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of suggestion: its words, the finding it may become, how it is found, and what it is mistaken for."""

    id: str
    words: str
    finding: str
    method: str
    version: str
    threshold: float
    mistaken: str


KINDS: dict[str, Kind] = {
    k.id: k
    for k in (
        Kind(
            "score",
            "line along the bore",
            "bore_finelines",
            line_finder.METHOD,
            line_finder.VERSION,
            line_finder.SCORE_HIGH,
            "fine lines and streaks of light look alike; depth is not seen",
        ),
        Kind(
            "crack",
            "dark line, perhaps a crack",
            "bore_crack",
            line_finder.METHOD,
            line_finder.VERSION,
            line_finder.HIGH,
            "edges of valves and carbon, hone grooves and casting lines look alike",
        ),
        Kind(
            "pit",
            "dark spot, perhaps a pit",
            "",
            patch_finder.PIT_METHOD,
            patch_finder.VERSION,
            patch_finder.PIT_THRESHOLD,
            "dirt and carbon look alike; on photographs of worn metal 17 % were found at 8 wrong a picture",
        ),
        Kind(
            "oil",
            "warmer than the wall, perhaps oil",
            "",
            patch_finder.OIL_METHOD,
            patch_finder.VERSION,
            patch_finder.OIL_THRESHOLD,
            "a guess where the camera sets its own white or all the wall is wet",
        ),
        Kind(
            "deposit",
            "darker part, perhaps deposits",
            "",
            patch_finder.DEPOSIT_METHOD,
            patch_finder.DEPOSIT_VERSION,
            patch_finder.DEPOSIT_THRESHOLD,
            "shadow and soot look alike",
        ),
    )
}

# A line along the bore must be strong or long; the other finders' thresholds say enough.
_LEAST = {"score": 1.0, "crack": 0.0, "pit": 0.0, "oil": 0.0, "deposit": 0.0}

# Cracks and pits on carbon and on a hatched wall are mostly wrong, so they are off where those are.
DEFAULTS: dict[str, tuple[str, ...]] = {
    "bore": ("score", "oil"),
    "wall": ("score", "oil"),
    "crown": ("deposit",),
    "roof": ("crack", "deposit"),
}


def how_often_wrong(kind: str, view: View) -> str:
    """How often a kind is wrong in a view, counted on drawn stills (``suggestion_rates.csv``), and what fools it."""
    about = KINDS[kind]
    rows = tables.rows(
        "suggestion_rates.csv", "kind", "view", "stills", "right", "found", "clean", "marked_clean"
    )
    row = next((r for r in rows if (r["kind"], r["view"]) == (kind, view)), None)
    if row is None:
        return f"how often it is wrong in this view was not counted; {about.mistaken}"
    stills = f"{row['stills']} drawn stills"
    what = "of the marked area" if kind in AREAS else "of the marks"
    said = []
    if row["right"]:
        said.append(f"{1 - float(row['right']):.0%} {what} wrong")
    if row["found"]:
        said.append(f"{1 - float(row['found']):.0%} of what is there missed")
    if int(row["clean"]):
        said.append(f"{row['marked_clean']} of {row['clean']} stills without any marked all the same")
    return f"{', '.join(said)} ({stills}; real ones are harder); {about.mistaken}"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One mark a person may accept.

    Attributes
    ----------
    rank : 1 is the most worth a look
    kind : key of `KINDS`
    shape : in picture pixels
    strength : over its threshold; 2 is twice as strong as needed
    """

    rank: int
    kind: str
    shape: Shape
    strength: float

    def as_dict(self) -> dict[str, Any]:
        """What is stored when it is accepted: the mark with method, version and threshold."""
        about = KINDS[self.kind]
        return {
            "rank": self.rank,
            "kind": self.kind,
            "words": about.words,
            "finding": about.finding,
            "shape": msgspec.to_builtins(self.shape),
            "strength": round(self.strength, 2),
            "method": about.method,
            "version": about.version,
            "threshold": about.threshold,
        }


@dataclass(frozen=True, slots=True)
class Suggestions:
    """At most twelve suggestions, how many there were, and what was looked for."""

    items: tuple[Suggestion, ...]
    found: int
    looked_for: tuple[str, ...]
    wrong: tuple[tuple[str, str], ...] = field(default=())

    def text(self) -> str:
        """The result in a few lines, with how often each kind is wrong."""
        words = ", ".join(KINDS[k].words for k in self.looked_for)
        head = f"looked for: {words}"
        if not self.items:
            return f"{head}\n{NOTHING}"
        rows = [f"{s.rank}. {KINDS[s.kind].words} (strength {s.strength:.1f})" for s in self.items]
        more = (
            [f"{self.found - len(self.items)} weaker ones are not shown"]
            if self.found > len(self.items)
            else []
        )
        rates = [f"{KINDS[k].words}: {rate}" for k, rate in self.wrong]
        return "\n".join([head, *rows, *more, "how often wrong:", *rates])

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {
            "suggestions": [s.as_dict() for s in self.items],
            "found": self.found,
            "looked_for": list(self.looked_for),
            "how_often_wrong": dict(self.wrong),
            "text": self.text(),
        }


def suggest(
    image: Picture,
    view: View = "bore",
    kinds: tuple[str, ...] | None = None,
    *,
    centre: tuple[float, float] | None = None,
    rim: Ellipse | None = None,
    flat: Unrolled | None = None,
    leave_out: Bits | None = None,
    cancelled: Cancelled | None = None,
    progress: Progress | None = None,
) -> Suggestions:
    """Suggestions on one still, ranked, at most twelve.

    Parameters
    ----------
    image : (H, W, 3) uint8
    view : 'bore' down the bore, 'wall' square at it, 'crown', 'roof'; sets what is looked for
    kinds : keys of `KINDS` to look for instead
    centre : where lines along the bore run together in a view down it; else the rim's centre
    rim : the crown's rim in a view down the bore; else looked for round the centre. Scores and oil are looked for
        outside it, the crown has neither.
    flat : the wall laid flat, better than a centre
    leave_out : (H, W) bool, not to be looked at; glare is left out in any case
    cancelled, progress : called between the kinds
    """
    image = picture(image)
    if view not in DEFAULTS:
        raise StillError(f"no view is called {view!r}; say one of {', '.join(DEFAULTS)}")
    wanted = DEFAULTS[view] if kinds is None else tuple(dict.fromkeys(kinds))
    strange = [k for k in wanted if k not in KINDS]
    if strange:
        raise StillError(f"nothing called {strange[0]!r} can be suggested; say some of {', '.join(KINDS)}")
    blind = glare_mask(image) > 0
    if leave_out is not None:
        blind |= leave_out
    wall_only = blind
    if view == "bore" and flat is None:
        step(cancelled, progress, 0.0, "looking for the rim")
        height, width = image.shape[:2]
        middle = centre or (width / 2, height / 2)
        rim = rim or rim_or_none(image, *middle)
        wall_only = blind | _inside(rim, middle, (height, width))
        centre = centre or ((rim.cx, rim.cy) if rim else middle)
    finders: dict[str, Callable[[], list[tuple[Shape, float]]]] = {
        "score": lambda: _scores(image, view, centre, flat, wall_only),
        "crack": lambda: [(f.path, _crack_rank(f)) for f in find_lines(image, leave_out=blind)],
        "pit": lambda: _patches(find_pits(image, leave_out=blind), patch_finder.PIT_THRESHOLD),
        "oil": lambda: _patches(find_oil(image, leave_out=wall_only), patch_finder.OIL_THRESHOLD),
        "deposit": lambda: _patches(find_deposits(image, leave_out=blind), patch_finder.DEPOSIT_THRESHOLD),
    }
    found: list[tuple[float, str, Shape]] = []
    for k, kind in enumerate(wanted):
        step(cancelled, progress, k / len(wanted), f"looking for: {KINDS[kind].words}")
        found += [(strength, kind, shape) for shape, strength in finders[kind]() if strength >= _LEAST[kind]]
    step(cancelled, progress, 1.0, "done")
    # Rank within each kind first: the strengths of two kinds do not compare.
    order = sorted(found, key=lambda f: -f[0])
    place: dict[str, int] = dict.fromkeys(wanted, 0)
    ranked = []
    for strength, kind, shape in order:
        ranked.append((place[kind], -strength, kind, shape))
        place[kind] += 1
    ranked.sort(key=lambda r: r[:2])
    items = tuple(Suggestion(k, r[2], r[3], -r[1]) for k, r in enumerate(ranked[:MOST], 1))
    shown = tuple((k, how_often_wrong(k, view)) for k in wanted)
    return Suggestions(items, len(found), wanted, shown)


def _patches(found: tuple[FoundPatch, ...], threshold: float) -> list[tuple[Shape, float]]:
    return [(f.shape, f.strength / threshold) for f in found]


def _crack_rank(line: FoundLine) -> float:
    """Strength over threshold; an edge that runs as a smooth arc is less likely a crack than a line that wanders."""
    smooth = np.clip(line.wander / (0.008 * max(line.length_px, 1.0)), 0.2, 1.0)
    return float(line.strength / line_finder.HIGH * smooth)


def _inside(rim: Ellipse | None, middle: tuple[float, float], shape: tuple[int, int]) -> Bits:
    """The crown in a view down the bore, and the shade at its edge; a third of the height round where there is no rim."""
    mask = np.zeros(shape, np.uint8)
    cx, cy, rx, ry, angle = (*middle, shape[0] / 3, shape[0] / 3, 0.0)
    if rim is not None:
        cx, cy, rx, ry, angle = rim.cx, rim.cy, rim.rx * 1.06, rim.ry * 1.06, rim.angle
    cv2.ellipse(mask, (round(cx), round(cy)), (round(rx), round(ry)), angle, 0, 360, 1, -1)
    return mask > 0


def _score_rank(line: FoundLine) -> float:
    """Strength over threshold, long lines before short ones: twice the length counts as the strength does."""
    return float(
        line.strength / line_finder.SCORE_HIGH * np.sqrt(line.length_px / line_finder.SCORE_LENGTH) / 2
    )


def _scores(
    image: Picture, view: str, centre: tuple[float, float] | None, flat: Unrolled | None, blind: Bits
) -> list[tuple[Shape, float]]:
    if flat is not None:
        found = find_scores(flat.image, flat.seen)
        moved = [
            (tuple(p for p in (flat.to_still(x, y) for x, y in f.path.points) if np.isfinite(p).all()), f)
            for f in found
        ]
        return [(Freehand(points), _score_rank(f)) for points, f in moved if len(points) > 1]
    if view == "wall":
        return [(f.path, _score_rank(f)) for f in find_scores(image, ~blind)]
    height, width = image.shape[:2]
    x, y = centre or (width / 2, height / 2)
    reach = int(np.hypot(max(x, width - x), max(y, height - y)))
    polar = cv2.warpPolar(
        image,
        (reach, _STRIP_WIDTH),
        (x - 0.5, y - 0.5),
        reach,
        cv2.WARP_POLAR_LINEAR | cv2.INTER_LINEAR | cv2.WARP_FILL_OUTLIERS,
    )
    inner = int(0.15 * min(height, width))
    strip = np.ascontiguousarray(np.asarray(polar, np.uint8).transpose(1, 0, 2)[inner:])
    turn = 2 * np.pi * (np.arange(_STRIP_WIDTH) + 0.5) / _STRIP_WIDTH
    out = (np.arange(inner, reach) + 0.5)[:, None]
    px, py = x + out * np.cos(turn), y + out * np.sin(turn)
    seen = (px > 2) & (py > 2) & (px < width - 2) & (py < height - 2)
    columns = np.clip(px.astype(int), 0, width - 1), np.clip(py.astype(int), 0, height - 1)
    seen &= ~blind[columns[1], columns[0]]
    result: list[tuple[Shape, float]] = []
    for f in find_scores(strip, seen):
        points = []
        for column, row in f.path.points:
            angle, away = 2 * np.pi * column / _STRIP_WIDTH, row + inner
            points.append((float(x + away * np.cos(angle)), float(y + away * np.sin(angle))))
        result.append((Freehand(tuple(points)), _score_rank(f)))
    return result
