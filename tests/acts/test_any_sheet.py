"""Whatever stands on a sheet is recorded or left out with a reason; what was recorded can be shown, and comes back the same."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from borelog.acts.entering import open_inspection
from borelog.acts.overview import compression_bars, other_readings, rows
from borelog.acts.ruled import rule_rows
from borelog.acts.sheet.printing import sheet_text
from borelog.acts.sheet.recording import record_text
from borelog.knowledge.procedures import procedures
from borelog.logbook.saying.all import remarks

LAYOUTS = ("inline 1", "inline 4", "inline 5", "V2", "V6", "V12", "flat 4", "VR6", "", "W12")
ORDERS = ("", "1-3-4-2", "i4", "v6-odd", "f4-air", "1-1-2", "A1 B1")
VALUES = (
    "0", "150", "~150", "12,5 bar", "1,100", "150 148", "<5", "-3", "abc", "", "n/a", "not possible: seized", "9e9",
    "60 first 20", "puffs 20 40 60", "first 20 last 60", "999999", "5 %", "60/80 psi exhaust", "40 x", "80/60", "100 %",
    "62 % next hole 2", "82.55 82.54 82.52", "82.55 82.54 82.52 82.53 82.53 82.51", "3.2 in", "150 (told by seller)", "nan",
    "1.2.3", "0.05", "47.98 47.97",
)  # fmt: skip
KEYS = (
    "1", "2", "3", "all", "rest", "1-2", "1,2", "12", "0", "engine", "reading", "bank 1", "1 thrust", "1 pin", "main 2",
    "2 piston", "1 top", "throttle", "supply", "tester orifice", "oil amount", "order of testing", "x y", "3 puffs",
)  # fmt: skip
FACTS = (
    "bore",
    "altitude",
    "spec min",
    "spec drop",
    "spec leak",
    "spec gap",
    "spec bore taper",
    "compression ratio",
)

lines = st.lists(st.tuples(st.sampled_from(KEYS), st.sampled_from(VALUES)), max_size=6)
sections = st.lists(
    st.tuples(st.sampled_from([p.label.lower() for p in procedures().values()]), lines), max_size=6
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(LAYOUTS),
    st.sampled_from(ORDERS),
    st.lists(st.tuples(st.sampled_from(FACTS), st.sampled_from(VALUES)), max_size=4),
    sections,
)
def test_any_sheet_is_taken_shown_and_comes_back(bench, layout, order, facts, said):
    text = [f"layout: {layout}", f"firing order: {order}", *(f"{k}: {v}" for k, v in facts)]
    for section, rows_ in said:
        text += [f"[{section}]", *(f"{k}: {v}" for k, v in rows_)]
    inspection = open_inspection(bench, "any")
    result = record_text(bench, inspection, "\n".join(text))
    assert all(t.words and "\n" not in t.words for t in result.troubles)
    record = bench.inspection(inspection)
    for remark in remarks(record):
        assert remark.words and remark.level in ("note", "watch", "ask")
        assert "nan" not in remark.words.split() and "None" not in remark.words
    rows(record), other_readings(record), compression_bars(record, 80), rule_rows(record)
    again = record_text(bench, inspection, sheet_text(record))
    assert again.changes == ()
    assert not [t for t in again.troubles if t.kind == "left out"]
