"""Codes out of pasted text."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.engine.engine import make_engine
from borelog.readings.codes import code_from_bytes, code_signs, families, parse_code, read_codes

I4 = make_engine("inline", 4)
PASTED = """\
Reader 3.1   battery 12.4V
Stored: P0303 misfire cyl 3, P0171
Pending: p0303 P0420
permanent P0524
junk P0G12 PO301 P30 boost2 B52 hello
"""


def test_pasted_text():
    read = read_codes(PASTED, I4)
    assert [c.code for c in read.codes] == ["P0303", "P0171", "P0420", "P0524"]
    assert read.codes[0].status == "stored pending"
    assert read.codes[3].status == "permanent"
    assert any("letter O" in t for t in read.not_codes)
    assert any("P0G12" in t for t in read.not_codes)


def test_signs():
    signs = code_signs(read_codes("P0303 P0171 P0016", I4), I4)
    assert signs["code_misfire", 3] == "this_cylinder"
    assert signs["code_misfire", 1] == "other_or_random"
    assert signs["code_fuel_trim", None] == "lean"
    assert signs["code_cam_crank", None] == "present"
    assert signs["code_knock", None] == "absent"
    none = code_signs(read_codes("no codes", I4), I4)
    assert {v for k, v in none.items() if k[0] == "code_misfire"} == {"none"}


def test_sensor_and_heater_codes_give_no_sign():
    quiet = code_signs(read_codes("", I4), I4)
    for code in ("P0325", "P0340", "P0030", "P0520", "P0201", "P0353", "P0420"):
        assert code_signs(read_codes(code, I4), I4) == quiet


def test_lean_and_rich_together_say_nothing():
    assert ("code_fuel_trim", None) not in code_signs(
        read_codes("P0171 P0175", make_engine("vee", 6)), make_engine("vee", 6)
    )


def test_foreign_cylinder_gives_no_sign_to_ours():
    signs = code_signs(read_codes("P0306", I4), I4)
    assert "this_cylinder" not in signs.values()


def test_untrusted_misfire_and_cut_out_are_asked():
    questions = " ".join(read_codes("P0315 P0301 P3401").questions)
    assert "not learned" in questions
    assert "cut-out" in questions


def test_families_do_not_overlap():
    codes = [f.code(i) for f in families() for i in range(f.count)]
    assert len(codes) == len(set(codes))
    assert all(parse_code(c).code == c for c in codes)


@given(st.integers(0, 0xFFFF))
def test_any_code_is_told_or_said_to_be_unknown(value):
    code = parse_code(code_from_bytes(value))
    assert code.words
    assert code.origin


@given(st.text(max_size=200))
def test_any_text_is_read(text):
    read = read_codes(text, I4)
    assert all("\x1b" not in t for t in (*read.not_codes, *read.questions))


@pytest.mark.parametrize(
    "text",
    ["P0301,P0302", "P0301/P0302", "P0301;P0302", "[P0301][P0302]", "P0301-00 P0302:7F", "P0301\tP0302"],
)
def test_separators(text):
    assert [c.code for c in read_codes(text).codes] == ["P0301", "P0302"]
