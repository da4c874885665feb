"""How often suggestions on one still are wrong, counted on drawn stills with their truth.

``python -m tests.benchmarks.suggestion_rates [STILLS]`` writes ``borelog/knowledge/data/suggestion_rates.csv``, which the
program reads to say it beside every suggestion. The stills are drawn from seeds and looks nothing else uses; the settings of
the finders are older than the table. Drawn stills flatter: carbon, dirt and light are tidier than in an engine.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from borelog.demo.pictures import bore_view, crack_scene, wall_view
from borelog.demo.pictures.crown import CrownLook
from borelog.demo.pictures.rendered import Rendered
from borelog.demo.pictures.wall import Wall, scored
from borelog.marks.shapes import Ellipse, Freehand, Polygon
from borelog.stills.suggest import AREAS, suggest

TABLE = Path(__file__).parents[2] / "borelog" / "knowledge" / "data" / "suggestion_rates.csv"
STILLS = 12
_FIRST_SEED = 7000
Bits = np.ndarray


def _crown(dice: np.random.Generator, **more: Any) -> CrownLook:
    return CrownLook(
        carbon=float(dice.uniform(0.2, 0.85)),
        thick=float(dice.uniform(0.1, 0.5)),
        tan=float(dice.uniform(0.1, 0.6)),
        **more,
    )


def _wall(seed: int, dice: np.random.Generator, scores: bool = True) -> Wall:
    # Every fourth wall has no score: what is suggested there is wrong.
    lines = scored(seed, int(dice.integers(3, 10))) if scores and seed % 4 else ()
    return Wall(
        lines=lines,
        oil=float(dice.uniform(0.0, 0.7)),
        soot=float(dice.uniform(0, 0.4)),
        fine_lines=float(dice.uniform(0.1, 0.7)),
        hone_deg=float(dice.uniform(28, 58)),
    )


def _wall_still(seed: int, dice: np.random.Generator) -> Rendered:
    return wall_view(
        seed,
        wall=_wall(seed, dice),
        at_deg=float(dice.uniform(30, 50)),
        distance=float(dice.uniform(18, 27)),
        tilt_deg=(float(dice.uniform(-12, 12)), float(dice.uniform(-10, 10))),
    )


def _bore_still(seed: int, dice: np.random.Generator) -> Rendered:
    return bore_view(
        seed,
        wall=_wall(seed, dice),
        crown=_crown(dice),
        off=(float(dice.uniform(-5, 5)), float(dice.uniform(-5, 5))),
        tilt_deg=(float(dice.uniform(-5, 5)), float(dice.uniform(-5, 5))),
        roll_deg=float(dice.uniform(0, 360)),
    )


def _crown_still(seed: int, dice: np.random.Generator) -> Rendered:
    pits = int(dice.integers(15, 40)) if seed % 4 else 0
    return bore_view(
        seed,
        focal=900.0,
        crown=_crown(dice, pits=pits),
        tip_z=float(dice.uniform(8, 20)),
        off=(float(dice.uniform(-6, 6)), float(dice.uniform(-6, 6))),
        roll_deg=float(dice.uniform(0, 360)),
    )


def _roof_still(seed: int, _: np.random.Generator) -> Rendered:
    return crack_scene(seed, crack=bool(seed % 2))


def _label(name: str) -> Callable[[Rendered], Bits]:
    def read(still: Rendered) -> Bits:
        return np.asarray(still.maps.get(f"label/{name}", np.zeros(still.image.shape[:2], np.bool_)))

    return read


def _carbon(still: Rendered) -> Bits:
    on = still.maps["on_floor"] & ~still.maps["label/bare metal"]
    return np.asarray(on & ~still.maps["label/ring gap"])


@dataclass(frozen=True)
class Set:
    """Stills of one view, and what is true on them by kind of suggestion."""

    view: str
    draw: Callable[[int, np.random.Generator], Rendered]
    truth: dict[str, Callable[[Rendered], Bits]]


def _no_truth(still: Rendered) -> Bits:
    return np.zeros(still.image.shape[:2], np.bool_)


SETS = (
    Set("wall", _wall_still, {"score": _label("score"), "oil": _label("oil film"), "crack": _no_truth}),
    Set("bore", _bore_still, {"score": _label("score"), "oil": _label("oil film")}),
    Set("crown", _crown_still, {"deposit": _carbon, "pit": _label("pits"), "crack": _no_truth}),
    Set("roof", _roof_still, {"crack": _label("crack")}),
)


def drawn(shape: Any, size: tuple[int, int]) -> Bits:
    """Where a suggestion lies, (H, W) bool: a line one pixel wide, an area filled."""
    plane = np.zeros(size, np.uint8)
    if isinstance(shape, Freehand):
        cv2.polylines(plane, [np.int32(shape.points)], False, 1, 1)  # type: ignore[arg-type]
    elif isinstance(shape, Ellipse):
        cv2.circle(plane, (round(shape.cx), round(shape.cy)), max(1, round(shape.rx)), 1, -1)
    elif isinstance(shape, Polygon):
        cv2.fillPoly(plane, [np.int32(shape.points)], 1)  # type: ignore[arg-type]
    return plane > 0


@dataclass
class Count:
    """What was counted over the stills of one view and kind."""

    stills: int = 0
    suggested: float = 0
    right: float = 0
    there: float = 0
    found: float = 0
    clean: int = 0
    on_clean: int = 0

    def add(self, shapes: list[Any], truth: Bits, area: bool) -> None:
        """One still more: areas count in pixels, lines and spots in pieces."""
        self.stills += 1
        clean = not truth.any()
        self.clean += clean
        self.on_clean += clean and bool(shapes)
        marks = [drawn(s, truth.shape) for s in shapes]
        together = np.any(marks, axis=0) if marks else np.zeros(truth.shape, np.bool_)
        if area:
            self.suggested += int(together.sum())
            self.right += int((together & truth).sum())
            self.there += int(truth.sum())
            self.found += int((together & truth).sum())
            return
        near = cv2.dilate(truth.astype(np.uint8), np.ones((11, 11), np.uint8)) > 0
        reach = cv2.dilate(together.astype(np.uint8), np.ones((13, 13), np.uint8)) > 0
        self.suggested += len(marks)
        self.right += sum(bool(near[m].mean() > 0.5) if m.any() else False for m in marks)
        _, pieces, stats, _ = cv2.connectedComponentsWithStats(truth.astype(np.uint8), connectivity=8)
        for k in range(1, len(stats)):
            if stats[k, cv2.CC_STAT_AREA] >= 30:
                self.there += 1
                self.found += bool(reach[pieces == k].mean() > 0.3)

    def row(self, kind: str, view: str) -> dict[str, str]:
        """The row of the table."""

        def share(part: float, whole: float) -> str:
            return f"{part / whole:.2f}" if whole else ""

        return {
            "kind": kind,
            "view": view,
            "counted": "area" if kind in AREAS else "marks",
            "stills": str(self.stills),
            "per_still": "" if kind in AREAS else f"{self.suggested / self.stills:.1f}",
            "right": share(self.right, self.suggested),
            "found": share(self.found, self.there),
            "clean": str(self.clean),
            "marked_clean": str(self.on_clean),
            "source": "counted on drawn stills with their truth",
        }


def counted(stills: int = STILLS, first: int = _FIRST_SEED) -> Iterator[dict[str, str]]:
    """The rows, one for each view and kind."""
    for one in SETS:
        counts = {kind: Count() for kind in one.truth}
        for seed in range(first, first + stills):
            still = one.draw(seed, np.random.default_rng(seed))
            image = np.ascontiguousarray(still.image[:, :, ::-1])
            for kind, truth in one.truth.items():
                items = suggest(image, one.view, (kind,)).items  # type: ignore[arg-type]
                counts[kind].add([i.shape for i in items], truth(still), kind in AREAS)
        yield from (count.row(kind, one.view) for kind, count in counts.items())


def main() -> None:
    """Count anew and write the table."""
    rows = []
    for row in counted(*(int(a) for a in sys.argv[1:2])):
        rows.append(row)
        print(", ".join(f"{k} {v}" for k, v in row.items() if k != "source"), flush=True)
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
