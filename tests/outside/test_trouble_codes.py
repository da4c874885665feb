"""Trouble codes against SAE J2012 / ISO 15031-6 facts and an MIT-licensed list of code texts (3704 P0 rows)."""

from __future__ import annotations

import pytest

from borelog.engine.engine import make_engine
from borelog.readings.codes import code_from_bytes, code_to_bytes, origin, parse_code, read_codes
from borelog.readings.errors import ReadingError

# code -> (word that the listed meaning holds, cylinder) for one cylinder family each; the open list of code texts
CYLINDERS = [
    ("P0301", "misfire", 1), ("P0304", "misfire", 4), ("P0309", "misfire", 9), ("P0310", "misfire", 10),
    ("P0312", "misfire", 12),
    ("P0201", "injector", 1), ("P0208", "injector", 8), ("P0210", "injector", 10), ("P0212", "injector", 12),
    ("P0261", "low", 1), ("P0262", "high", 1), ("P0263", "contribution", 1), ("P0264", "low", 2),
    ("P0266", "contribution", 2),
    ("P0269", "contribution", 3), ("P0279", "low", 7), ("P0294", "low", 12), ("P0295", "high", 12),
    ("P0296", "contribution", 12),
    ("P2336", "knock", 1), ("P2339", "knock", 4), ("P2340", "knock", 5), ("P2347", "knock", 12),
    ("P219C", "imbalance", 1), ("P219F", "imbalance", 4), ("P21A0", "imbalance", 5),
    ("P21A7", "imbalance", 12),
    ("P039A", "pressure", 1), ("P03A4", "pressure", 2), ("P03AE", "pressure", 3), ("P03B8", "pressure", 4),
    ("P03C2", "pressure", 5), ("P03CC", "pressure", 6), ("P03D6", "pressure", 7), ("P03E0", "pressure", 8),
    ("P234D", "pressure", 9), ("P2357", "pressure", 10), ("P2361", "pressure", 11), ("P236B", "pressure", 12),
    ("P3401", "cut-out", 1), ("P3409", "cut-out", 2), ("P3425", "cut-out", 4),
]  # fmt: skip


@pytest.mark.parametrize(("code", "word", "cylinder"), CYLINDERS)
def test_families_name_their_cylinder(code, word, cylinder):
    found = parse_code(code)
    assert found.cylinder == cylinder
    assert word in found.meaning


# code -> (bank, mechanical weight)
BANKS = [
    ("P0171", 1, True), ("P0174", 2, True), ("P0172", 1, True), ("P0175", 2, True), ("P0016", 1, True),
    ("P0017", 1, True),
    ("P0018", 2, True), ("P0019", 2, True), ("P0008", 1, True), ("P0009", 2, True), ("P0340", 1, False),
    ("P0345", 2, False),
    ("P0030", 1, False), ("P0037", 1, False), ("P0050", 2, False), ("P0058", 2, False),
    ("P0420", 1, False), ("P0430", 2, False),
    ("P0365", 1, False), ("P0394", 2, False), ("P0026", 1, False), ("P0029", 2, False),
]  # fmt: skip


@pytest.mark.parametrize(("code", "bank", "mechanical"), BANKS)
def test_bank_codes(code, bank, mechanical):
    found = parse_code(code)
    assert found.bank == bank
    assert found.mechanical is mechanical


@pytest.mark.parametrize(
    ("code", "letter"), [("P0351", "A"), ("P0353", "C"), ("P0362", "L"), ("P2300", "A"), ("P2335", "L")]
)
def test_coil_letters_are_not_cylinders(code, letter):
    found = parse_code(code)
    assert found.coil == letter
    assert found.cylinder is None
    assert not found.mechanical
    assert any("coil letter is not a cylinder" in q for q in read_codes(code).questions)


# sensors, circuits and fluids as named in the list: code -> mechanical weight
@pytest.mark.parametrize(
    ("code", "mechanical"),
    [
        ("P0300", True), ("P0313", False), ("P0314", True), ("P0316", True), ("P0325", False),
        ("P0334", False), ("P0335", False),
        ("P0389", False), ("P0217", True), ("P0520", False), ("P0523", False), ("P0524", True),
        ("P0087", False), ("P0219", True),
        ("P0395", False), ("P0128", False),
    ],
)  # fmt: skip
def test_weight_of_engine_codes(code, mechanical):
    assert parse_code(code).mechanical is mechanical


# SAE J2012: who defines a code
@pytest.mark.parametrize(
    ("code", "who"),
    [
        ("P0301", "ISO/SAE"), ("P1301", "maker"), ("P219C", "ISO/SAE"), ("P3401", "shared, here ISO/SAE"),
        ("P3001", "shared, here maker"),
        ("B0001", "ISO/SAE"), ("B1001", "maker"), ("C2001", "maker"), ("C3001", "reserved"),
        ("U0100", "ISO/SAE"), ("U3000", "shared"),
    ],
)  # fmt: skip
def test_origin(code, who):
    assert origin(code) == who


# ISO 15031-5: two-byte form
@pytest.mark.parametrize(
    ("value", "code"),
    [(0x0301, "P0301"), (0x4123, "C0123"), (0x8123, "B0123"), (0xC123, "U0123"), (0x219C, "P219C")],
)
def test_two_bytes(value, code):
    assert code_from_bytes(value) == code
    assert code_to_bytes(code) == value


def test_every_two_byte_value_comes_back():
    assert all(code_to_bytes(code_from_bytes(v)) == v for v in range(0, 0x10000, 7))


@pytest.mark.parametrize("text", ["P0G01", "P4301", "P301", "X0301", "P03011", "03014"])
def test_refused(text):
    with pytest.raises(ReadingError):
        parse_code(text)


def test_lower_case_is_taken():
    assert parse_code("p219c").code == "P219C"


def test_bank_2_on_an_inline_engine_asks():
    engine = make_engine("inline", 4)
    assert any("bank 2" in q for q in read_codes("P0174", engine).questions)
    assert not read_codes("P0174", make_engine("vee", 6)).questions


def test_cylinder_the_engine_does_not_have_asks():
    assert any("cylinder 6" in q for q in read_codes("P0306", make_engine("inline", 4)).questions)


def test_high_voltage_caution():
    assert any("high voltage" in q for q in read_codes("P0A80").questions)
