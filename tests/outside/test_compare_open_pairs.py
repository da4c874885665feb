"""Change between open picture pairs with hand-drawn truth, with the operating curve printed.

wear_pairs: BSData, ball-screw drive surface defects (CC BY-SA 4.0), pits drawn by hand. aligned_pairs: DeepPCB (MIT),
boxes of defects; their difference-to-regions step only. Read from the folder named by BORELOG_OPEN_DATA; not copied.
Targets: 85 % of the pits in at most 8 false regions a pair; F 0.80 at an overlap (IoU) over 0.33. The threshold is the
program's default, 3; the curve shows what others would give.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from borelog.stills.change import THRESHOLD, Region, with_threshold
from borelog.stills.compare import Comparison, compare

ROOT = Path(os.environ.get("BORELOG_OPEN_DATA", "/nonexistent"))
THRESHOLDS = (2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0)


def folder(name: str) -> Path:
    if not (ROOT / name).is_dir():
        pytest.skip(f"open pictures are not here: name the folder that holds {name} in BORELOG_OPEN_DATA")
    return ROOT / name


def box(region: Region) -> tuple[float, float, float, float]:
    b = region.box
    return b.x, b.y, b.x + b.width, b.y + b.height


def overlap(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    across = max(0.0, min(a[2], b[2]) - max(a[0], b[0])) * max(0.0, min(a[3], b[3]) - max(a[1], b[1]))
    both = (a[2] - a[0]) * (a[3] - a[1]) + (b[2] - b[0]) * (b[3] - b[1])
    return across / (both - across)


def touches(region: Region, pit: np.ndarray) -> bool:
    """Whether the region itself, not its margin, meets the drawn pit."""
    size = np.zeros((2000, 2000), np.uint8)
    drawn, marked = size.copy(), size.copy()
    cv2.fillPoly(drawn, [np.rint(pit).astype(np.int32)], 1)
    cv2.fillPoly(marked, [np.rint(np.array(region.outline.points)).astype(np.int32)], 1)
    return bool((drawn & marked).any())


@pytest.fixture(scope="module")
def wear() -> list[tuple[Comparison, list[np.ndarray]]]:
    out = []
    for truth in sorted(folder("wear_pairs").glob("*_pits.json")):
        stem = str(truth).removesuffix("_pits.json")
        pits = [np.array(p, np.float64) for p in json.loads(truth.read_text())["polygons"]]
        out.append((compare(cv2.imread(f"{stem}_before.jpg"), cv2.imread(f"{stem}_after.jpg")), pits))
    return out


def wear_at(pairs: list[tuple[Comparison, list[np.ndarray]]], threshold: float) -> tuple[int, int, float]:
    found = total = false = 0
    for comparison, pits in pairs:
        regions = with_threshold(comparison.change, threshold).regions
        hits = [[touches(r, pit) for r in regions] for pit in pits]
        total += len(pits)
        found += sum(any(h) for h in hits)
        false += sum(not any(h[k] for h in hits) for k in range(len(regions)))
    return found, total, false / len(pairs)


def test_pits_in_worn_metal(wear: list[tuple[Comparison, list[np.ndarray]]]) -> None:
    print("\nthreshold  pits found  false regions a pair (of the ten listed)")
    for threshold in THRESHOLDS:
        found, total, false = wear_at(wear, threshold)
        print(f"{threshold:9.1f}  {found:3d} of {total:3d}  {false:.1f}")
    found, total, false = wear_at(wear, THRESHOLD)
    assert found >= 0.85 * total
    assert false <= 8


@pytest.fixture(scope="module")
def boards() -> list[tuple[Comparison, np.ndarray]]:
    out = []
    for truth in sorted(folder("aligned_pairs").glob("*_boxes.txt")):
        stem = str(truth).removesuffix("_boxes.txt")
        boxes = np.loadtxt(truth, ndmin=2)[:, :4]
        out.append((compare(cv2.imread(f"{stem}_temp.jpg"), cv2.imread(f"{stem}_test.jpg")), boxes))
    return out


def boards_at(pairs: list[tuple[Comparison, np.ndarray]], threshold: float) -> tuple[float, float, float]:
    right = false = missed = 0
    for comparison, boxes in pairs:
        left = [tuple(b) for b in boxes]
        for region in with_threshold(comparison.change, threshold).regions:
            best = max(left, key=lambda b: overlap(box(region), b), default=None)
            if best is not None and overlap(box(region), best) > 0.33:
                left.remove(best)
                right += 1
            else:
                false += 1
        missed += len(left)
    precision, recall = right / max(right + false, 1), right / max(right + missed, 1)
    return precision, recall, 2 * precision * recall / max(precision + recall, 1e-9)


@pytest.mark.long
def test_defects_on_boards(boards: list[tuple[Comparison, np.ndarray]]) -> None:
    print("\nthreshold  precision  recall  F (overlap over 0.33)")
    for threshold in THRESHOLDS:
        print("{:9.1f}  {:.3f}  {:.3f}  {:.3f}".format(threshold, *boards_at(boards, threshold)))
    assert boards_at(boards, THRESHOLD)[2] >= 0.80
