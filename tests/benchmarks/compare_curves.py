"""What comparing finds at each threshold, on pairs no setting was chosen on: ``python -m tests.benchmarks.compare_curves``.

Two sets: pictures altered at random with marks drawn in (`tests.stills.altered`), and drawn before/after pairs of crowns and
valves with the mask of what is new. For the second the average precision of the map's pixels is given as well: pooled over
all pairs (pixels of all maps ranked together), and as the mean over pairs. The tables stand in docs/pictures.md.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import cv2
import numpy as np

from borelog.demo.pictures import before_after
from borelog.demo.pictures.pairs import KINDS
from borelog.stills.change import with_threshold
from borelog.stills.compare import Comparison, compare
from tests.stills.altered import altered, bases

THRESHOLDS = (2.0, 2.5, 3.0, 3.5, 4.0, 5.0)
Found = tuple[Comparison, list[np.ndarray]]


def average_precision(score: np.ndarray, truth: np.ndarray) -> float:
    """Area under precision over recall, pixels ranked by score, ties taken together."""
    order = np.argsort(-score, kind="stable")
    score, truth = score[order], truth[order]
    last = np.append(score[1:] != score[:-1], True)
    right, taken = np.cumsum(truth)[last], np.flatnonzero(last) + 1
    recall = right / max(int(truth.sum()), 1)
    return float(np.sum(np.diff(recall, prepend=0.0) * right / taken))


def altered_pairs(each: int, first: int) -> Iterator[Found]:
    """Compared pairs of every base picture, and the marks in the later one."""
    for k, (_, image) in enumerate(bases()):
        for seed in range(each):
            pair = altered(image, first + 100 * k + seed)
            yield compare(pair.before, pair.after), list(pair.marks)


def drawn_pairs(seeds: range) -> Iterator[tuple[str, Found]]:
    """Compared pairs on the grid of the earlier still, and the connected pieces of what is new and in both."""
    for seed in seeds:
        for kind in KINDS:
            pair = before_after(seed, kind)
            a, b = (np.ascontiguousarray(p[:, :, ::-1]) for p in (pair.a, pair.b))
            found = compare(a, b, onto="earlier")
            seen = cv2.erode(
                found.alignment.covered.astype(np.uint8), np.ones((9, 9), np.uint8), borderValue=1
            )
            _, pieces, stats, _ = cv2.connectedComponentsWithStats(pair.mask.astype(np.uint8) & seen)
            yield (
                kind,
                (found, [pieces == k for k in range(1, len(stats)) if stats[k, cv2.CC_STAT_AREA] >= 30]),
            )


def at_threshold(pairs: list[Found], threshold: float) -> tuple[float, float]:
    """Share of the marks a listed region meets, and listed regions a pair that meet none."""
    seen = marks = false = 0
    for found, places in pairs:
        near = [cv2.dilate(m.astype(np.uint8), np.ones((7, 7), np.uint8)) for m in places]
        met: set[int] = set()
        for region in with_threshold(found.change, threshold).regions:
            plane = np.zeros(found.later.shape[:2], np.uint8)
            cv2.fillPoly(plane, [np.rint(np.array(region.outline.points)).astype(np.int32)], 1)
            which = {k for k, n in enumerate(near) if (plane & n).any()}
            met |= which
            false += not which
        seen, marks = seen + len(met), marks + len(places)
    return seen / max(marks, 1), false / len(pairs)


def curve(name: str, pairs: list[Found]) -> None:
    """One table for the page."""
    laid = sum(found.alignment.accepted for found, _ in pairs)
    print(f"\n{name}: {len(pairs)} pairs, {laid} laid, {sum(len(m) for _, m in pairs)} marks")
    print("| threshold | marks met | regions that meet none, a pair |\n|---|---|---|")
    for threshold in THRESHOLDS:
        print("| {:g} | {:.0%} | {:.1f} |".format(threshold, *at_threshold(pairs, threshold)))


def main() -> None:
    """Print both tables."""
    each, seeds = (int(a) for a in (sys.argv[1:] or ("3", "4")))
    curve("altered pictures", list(altered_pairs(each, 50_000)))
    drawn = list(drawn_pairs(range(400, 400 + seeds)))
    curve("drawn crowns and valves", [found for _, found in drawn])
    scores, truths, single = [], [], []
    for kind, (found, pieces) in drawn:
        truth = np.any(pieces, axis=0) if pieces else np.zeros(found.later.shape[:2], np.bool_)
        keep = found.alignment.covered
        scores.append(found.change.score[keep][::3])
        truths.append(truth[keep][::3])
        if truth.any():
            single.append((kind, average_precision(scores[-1], truths[-1])))
    pooled = average_precision(np.concatenate(scores), np.concatenate(truths))
    print(f"\naverage precision: pooled {pooled:.2f}, mean over pairs {np.mean([s for _, s in single]):.2f}")
    for kind in KINDS:
        own = [s for k, s in single if k == kind]
        print(f"  {kind}: {np.mean(own):.2f} over {len(own)}" if own else f"  {kind}: nothing new")


if __name__ == "__main__":
    main()
