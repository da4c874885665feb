"""How often the view proposed for a still is right: each sample still is proposed a view from all the others.

``python -m tests.benchmarks.view_rates [FOLDER]`` prints the counts. A still's own scene is left out with it (the same thing
drawn with another light, or before and after), for nobody files the same place twice before asking. Drawn stills flatter.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

from borelog.stills.intake import decode_file
from borelog.stills.seen import Seen, propose_views, see

SAMPLES = Path(__file__).parents[2] / "sample_images"


def told_apart(folder: Path) -> list[tuple[str, str, str, Seen]]:
    """(name, scene, view, what it looks like) of each sample still that has a view a person would file it to."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["stills"]
    out = []
    for name, said in sorted(truth.items()):
        if said.get("view") and not name.startswith(("frame_", "slate_")):
            scene = "pair" if "pair" in said else said["scene"].removesuffix("_relit").removesuffix("_again")
            out.append((name, scene, said["view"], see(decode_file(folder / name)[0])))
    return out


def counted(stills: list[tuple[str, str, str, Seen]]) -> Counter[tuple[str, str]]:
    """(view, what was proposed) over all stills, each left out in turn; '' where nothing was proposed."""
    found: Counter[tuple[str, str]] = Counter()
    for _, scene, view, seen in stills:
        ((proposed, _),) = propose_views([seen], [(s, v) for _, other, v, s in stills if other != scene])
        found[view, proposed] += 1
    return found


if __name__ == "__main__":
    stills = told_apart(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLES)
    found = counted(stills)
    right = sum(n for (view, proposed), n in found.items() if view == proposed)
    silent = sum(n for (_, proposed), n in found.items() if not proposed)
    print(
        f"{len(stills)} stills: {right} right, {len(stills) - right - silent} wrong, {silent} without a proposal"
    )
    for (view, proposed), n in sorted(found.items()):
        print(f"{view:16} -> {proposed or 'nothing':16} {n}")
