"""The page of a cranking trace says how far each share can be told, on a phone's columns too."""

from __future__ import annotations

from typing import Any

import pytest

from borelog.acts.tracing import Traced
from borelog.tui.views.trace import trace_lines
from borelog.tui.views.words import said, width


def hump(cylinder: int, relative: float, low: float, high: float) -> dict[str, Any]:
    return {
        "position": cylinder, "cylinder": cylinder, "relative": relative, "scatter": 0.02, "u": 0.05,
        "low": low, "high": high, "about": high - low > 0.2,
    }  # fmt: skip


VALUES: dict[str, Any] = {
    "rpm": 200.0, "rpm_change": -0.02, "amps": 160.0, "volts_low": None, "questions": (), "notes": (),
    "humps": [hump(1, 1.0, 0.97, 1.02), hump(4, 0.51, 0.41, 0.66)],
}  # fmt: skip


@pytest.mark.parametrize("room", [34, 60, 92])
def test_a_rough_share_is_shown_with_its_span(room: int) -> None:
    lines = trace_lines(Traced("", VALUES), True, room)
    assert all(width(line) <= room for line in lines)
    sure, rough = (said(line) for line in lines[:2])
    assert "41 to 66" in rough and "~ 51 %" in rough
    assert "~" not in sure
    if room > 76:
        assert "span 97 to 102, scatter 2" in sure and "about, span 41 to 66" in rough
