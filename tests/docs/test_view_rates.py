"""How often a proposed view is right stands on the page as it is counted."""

from __future__ import annotations

import re
from pathlib import Path

from tests.benchmarks.view_rates import SAMPLES, counted, told_apart

PAGE = Path(__file__).resolve().parents[2] / "docs" / "pictures.md"


def test_the_share_of_right_views_is_the_one_on_the_page() -> None:
    stills = told_apart(SAMPLES)
    found = counted(stills)
    right = sum(n for (view, proposed), n in found.items() if view == proposed)
    said = re.search(r"(\d+) of (\d+)\s+got the right view", PAGE.read_text(encoding="utf-8"))
    assert said
    assert len(stills) == int(said[2])
    assert abs(right - int(said[1])) <= 1  # another build of the decoder may tip one
    assert sum(found.values()) == len(stills)
