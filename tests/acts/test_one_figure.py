"""What counts of the repeats of a reading is one figure, wherever it is judged, shown or handed over."""

from __future__ import annotations

import re

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench
from borelog.acts.judging import verdict_of
from borelog.acts.overview import compression_bars
from borelog.acts.ruled import rule_rows
from borelog.acts.sheet.recording import record_text
from borelog.logbook.described import engine_of
from borelog.logbook.measured import compression_test
from borelog.pack import telling
from borelog.pack.document import Document
from borelog.pack.gather import gather
from borelog.readings.rules import published_rules
from borelog.tui.views.standing import standing_of
from borelog.verdict.signs.figures import figures

SHEET = (
    "layout: inline 4\n{facts}\n[compression dry]\n1: 12.4 11.0 11.1 bar\n2: 12 bar\n3: 12 bar\n4: 12.1 bar\n"
)
MEAN = 11.5  # (12.4 + 11.0 + 11.1) / 3; middle value 11.1, the one in the middle of the line 11.0


def document(bench: Bench, facts: str = "") -> tuple[str, Document]:
    id_ = entering.open_inspection(bench, "x")
    record_text(bench, id_, SHEET.format(facts=facts))
    inspection = bench.inspection(id_)
    judged = verdict_of(bench, id_)
    rules = rule_rows(inspection)
    return id_, gather(inspection, engine_of(inspection), judged.verdict, rules=rules)


def test_judging_show_screens_and_pack_count_the_same_figure(bench: Bench) -> None:
    id_, told = document(bench)
    inspection = bench.inspection(id_)
    assert figures(inspection, "compression_dry", "bar")[1].value == pytest.approx(MEAN)
    session = compression_test(inspection)
    assert session is not None
    assert session.readings[0].mean_kpa == pytest.approx(100 * MEAN)
    assert any("11.5 bar" in line for line in compression_bars(inspection, 78))
    assert told.lines[0].figures.startswith("11.5 bar")
    assert told.readings[0].standard == pytest.approx(100 * MEAN)
    (group,) = (g for g in telling.reading_groups(told) if g.rows[0].test == "compression_dry")
    assert ">1150<" in group.chart
    assert "11.5 bar" in standing_of(inspection, 1).compression.text


def test_the_line_in_the_chart_is_a_rule_of_the_table_by_its_name(bench: Bench) -> None:
    _, told = document(bench)
    chart = telling.reading_groups(told)[0].chart
    first = published_rules()[0]
    assert f"┆ {first.label}" in chart
    row = next(r for r in told.rules if r.rule == first.label)
    assert row.least_kpa == pytest.approx(first.value / 100 * 1210)
    assert [r.least_kpa for r in told.rules if "25 psi" in r.rule] == [None]


def test_the_manuals_own_rule_takes_the_place_of_the_published_line(bench: Bench) -> None:
    _, told = document(bench, "spec_min: 950 kPa")
    chart = telling.reading_groups(told)[0].chart
    assert "┆ manual: none under 950 kPa" in chart
    assert len(re.findall("┆", chart)) == 1


def test_what_a_person_reads_is_no_surer_than_nineteen_in_twenty() -> None:
    shown = [telling.share(k / 1000) for k in range(1001)]
    assert max(float(s.split()[0]) for s in shown) == 0.95
    assert min(float(s.split()[0]) for s in shown) == 0.05
    assert (shown[999], shown[600], shown[1]) == ("0.95 or more", "0.60", "0.05 or less")
