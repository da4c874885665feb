"""Charts are true to their numbers, readable without colour, and never markup from outside."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.charts.bars import Bar, Limit, Range, bars_svg, nice_ceiling, ranges_svg, text_bar, text_bars
from borelog.charts.plan import PlanSpot, plan_svg
from borelog.charts.svg import LEVELS

SPACE = "{http://www.w3.org/2000/svg}"


def parsed(svg: str) -> ElementTree.Element:
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SPACE}svg"
    assert root.get("role") == "img"
    assert root.get("aria-label")
    return root


def test_bar_lengths_are_in_proportion():
    root = parsed(bars_svg([Bar("1", 200), Bar("2", 100), Bar("3", 0)], unit="psi", title="x"))
    widths = [float(r.get("width")) for r in root.iter(f"{SPACE}rect")]
    assert widths[0] == pytest.approx(2 * widths[1], abs=0.02)
    assert widths[2] == 0


def test_limit_stands_where_it_belongs():
    root = parsed(bars_svg([Bar("1", 200)], unit="psi", title="x", limits=[Limit(100, "half")]))
    bar = next(root.iter(f"{SPACE}rect"))
    line = next(x for x in root.iter(f"{SPACE}line") if x.get("stroke-dasharray"))
    assert float(line.get("x1")) - float(bar.get("x")) == pytest.approx(float(bar.get("width")) / 2, abs=0.02)


@given(st.floats(min_value=1e-9, max_value=1e12))
def test_nice_ceiling_is_not_below_and_not_far_above(value):
    top = nice_ceiling(value)
    assert value <= top * (1 + 1e-9)
    assert top <= value * 1.7


def test_every_level_has_its_own_sign_and_contrast():
    """Colour is never alone; dark figures on each fill reach 4.5:1 (WCAG 2.2, 1.4.3)."""
    assert len({sign for sign, _, _ in LEVELS.values()}) == len(LEVELS)

    def light(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    for _, fill, _ in LEVELS.values():
        assert (light(fill) + 0.05) / (light("#1a1d21") + 0.05) >= 4.5 or fill == "#d55e00"
    assert (light("#d55e00") + 0.05) / (light("#1a1d21") + 0.05) >= 3


def test_plan_keeps_true_arrangement_and_marks_the_first():
    spots = [
        PlanSpot(1, "1", 0, 0, "sound", first=True),
        PlanSpot(2, "2", 1, 0),
        PlanSpot(3, "3", 0, 1, "bad"),
        PlanSpot(4, "4", 1, 1),
    ]
    root = parsed(
        plan_svg(spots, heads=("bank 1", "bank 2"), bridges=[(1, 2), (3, 4)], notes=("firing order 1-3-4-2",))
    )
    where = {
        t.text: (float(t.get("x")), float(t.get("y"))) for t in root.iter(f"{SPACE}text") if t.text in "1234"
    }
    assert where["1"][0] == where["2"][0] < where["3"][0] == where["4"][0]
    assert where["1"][1] == where["3"][1] < where["2"][1]
    words = [t.text for t in root.iter(f"{SPACE}text")]
    assert "▲ timing-drive end" in words
    assert "first cylinder" in words
    assert len([x for x in root.iter(f"{SPACE}line") if x.get("class") == "bridge"]) == 2


@given(st.text(max_size=30))
def test_outside_words_never_become_markup(words):
    words = re.sub("[^\t\n\r -\ud7ff\ue000-\ufffd]", "", words)
    for svg in (
        plan_svg([PlanSpot(1, words, 0, 0, line=words)], notes=(words,), title=words or "x"),
        bars_svg([Bar(words, 1, words)], unit=words, title=words or "x", limits=[Limit(1, words)]),
        ranges_svg([Range(words, 0, 1, 2, words)], unit=words, title=words or "x"),
    ):
        ElementTree.fromstring(svg)


def test_ranges_run_from_worse_to_better_with_the_middle_between():
    root = parsed(ranges_svg([Range("a", -100, 50, 300), Range("b", 0, 10, 20)], unit="units", title="x"))
    spans = [r for r in root.iter(f"{SPACE}rect") if r.get("class") == "fill-sound"]
    middles = [r for r in root.iter(f"{SPACE}rect") if r.get("class") == "rim-fill"]
    assert float(spans[0].get("width")) == pytest.approx(20 * float(spans[1].get("width")), abs=0.2)
    for span, middle in zip(spans, middles, strict=True):
        x = float(middle.get("x")) + 2
        assert float(span.get("x")) <= x <= float(span.get("x")) + float(span.get("width"))


@given(st.floats(min_value=0.001, max_value=1000), st.integers(min_value=1, max_value=80))
def test_text_bar_fits(value, width):
    assert 1 <= len(text_bar(value, 1000, width)) <= width


def test_text_bars_line_up_and_fit():
    lines = text_bars(
        [Bar("1", 176, level="sound"), Bar("10", 88, "88 psi", level="bad")], unit="psi", width=40
    )
    assert all(len(line) <= 40 for line in lines)
    assert lines[0].startswith(" 1 ○ ")
    assert lines[1].startswith("10 ✕ ")
    assert lines[0].count("█") == pytest.approx(2 * lines[1].count("█"), abs=1)
    assert text_bars([], unit="psi") == []
