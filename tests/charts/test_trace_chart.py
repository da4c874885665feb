"""A curve as SVG and as braille dots."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ElementTree

import pytest

from borelog.charts.trace import Flag, thinned, trace_svg, trace_text

XS = [i / 10 for i in range(720)]
YS = [math.sin(x) for x in XS]


def test_svg_is_well_formed_and_named():
    svg = trace_svg(XS, YS, [Flag(10, "1"), Flag(40, "<3>", "bad")], title="a & b", x_unit="s", y_unit="A")
    root = ElementTree.fromstring(svg)
    assert root.get("aria-label") == "a & b"
    assert "0 to 71.9 s" in svg
    assert "&lt;3&gt; ✕" in svg


def test_no_peak_is_lost_in_thinning():
    ys = [0.0] * 50_000
    ys[31_415] = 9.0
    assert max(high for _, _, high in thinned(range(50_000), ys, 100)) == 9.0
    svg = trace_svg(range(50_000), ys)
    assert len(svg) < 40_000


def test_text_has_the_size_asked_for():
    lines = trace_text(XS, YS, width=40, rows=5)
    assert [len(line) for line in lines] == [40] * 5
    assert all("\u2800" <= c <= "\u28ff" for line in lines for c in line)
    flagged = trace_text(XS, YS, [Flag(0, "1"), Flag(71.9, "12"), Flag(71.8, "13")], width=40)
    assert flagged[0].startswith("1–")
    assert len(flagged[0]) <= 40
    assert len(flagged) == 9


def test_a_flat_line_is_drawn():
    assert trace_text([0, 1], [5, 5], width=10, rows=2)
    assert "path" in trace_svg([0, 1], [5, 5])


@pytest.mark.parametrize(
    ("xs", "ys"), [([0], [1]), ([0, 1], [1]), ([0, 1], [1, math.nan]), ([0, math.inf], [1, 2])]
)
def test_refused(xs, ys):
    with pytest.raises(ValueError, match="curve"):
        trace_svg(xs, ys)
