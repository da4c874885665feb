"""The fault tables: what ships is whole, what is broken is named by file and line, and an own table lies over it."""

from __future__ import annotations

from pathlib import Path

import pytest

from borelog.knowledge.faults import COLUMNS, FaultTables, _shipped, build, load, shipped
from borelog.knowledge.tables import TableError


@pytest.fixture(scope="module")
def tables() -> FaultTables:
    return shipped()


def test_the_shipped_tables_hold_what_the_model_names(tables: FaultTables) -> None:
    assert len(tables.of_scope("channel")) <= 8
    assert {"worn_all", "washed_all", "timing_off", "overheated", "bottom_end"} <= set(
        tables.of_scope("engine")
    )
    added = {
        "valve_not_opening",
        "sticking_valve",
        "guides_seals",
        "stuck_oil_rings",
        "plug_thread_leak",
        "wiring_driver",
    }
    assert added <= set(tables.of_scope("cylinder"))
    assert {t for i in tables.items.values() if (t := i.test)} == {
        "compression_dry",
        "compression_wet",
        "leak_down",
    }
    assert len(tables.items) >= 63


def test_every_row_says_why_and_where_from(tables: FaultTables) -> None:
    assert [k for k, r in tables.rows.items() if not r.why or not r.source] == []


def test_every_fault_can_be_seen_and_has_a_bill(tables: FaultTables) -> None:
    for fault in (*tables.of_scope("cylinder"), *tables.of_scope("engine")):
        if fault != "no_engine_fault":
            assert any(cause == fault for cause, _ in tables.rows), fault
        assert tables.bill(fault)


def test_merged_rows_carry_how_far_the_two_opinions_lay_apart(tables: FaultTables) -> None:
    """The notes on the two opinions give a median total variation of 0.07 over the pairs both link."""
    apart = sorted(r.disagreement for r in tables.rows.values() if r.disagreement is not None)
    assert len(apart) > 300
    assert apart[len(apart) // 2] < 0.15


def test_masks_name_the_oil_and_height_items_and_what_compares_with_the_rest(tables: FaultTables) -> None:
    assert {m[0] for m in tables.masks if m[1] not in ("worn_all", "washed_all")} == {
        "wet_gain",
        "leak_wet_change",
        "leak_mid_stroke",
    }
    compared = {m[0] for m in tables.masks if m[1] in ("worn_all", "washed_all")}
    assert compared == {"comp_rel", "crank_current", "plug_vs_others"}


def test_words_are_short_and_plain(tables: FaultTables) -> None:
    for item in tables.items.values():
        assert 3 < len(item.question) <= 130
        assert all(0 < len(w) <= 70 for w in item.wording.values())


BREAKS = {
    "unknown cause": (
        "cause,item,state,probability,why\nworn_ring,wet_gain,big_over_25,1,x\n",
        "line 2: cause 'worn_ring' is not known; did you mean",
    ),
    "unknown item": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gian,big_over_25,1,x\n",
        "line 2: item 'wet_gian' is not known; did you mean 'wet_gain'",
    ),
    "unknown state": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gain,huge,1,x\n",
        "line 2: state 'huge' is not known",
    ),
    "not a number": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gain,big_over_25,often,x\n",
        "line 2: probability is 'often'",
    ),
    "above one": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gain,big_over_25,1.5,x\n",
        "line 2: probability is '1.5'",
    ),
    "not finite": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gain,big_over_25,nan,x\n",
        "line 2: probability is 'nan'",
    ),
    "missing state": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gain,big_over_25,0.7,x\nworn_rings_bore,wet_gain,some_10_25,0.3,x\n",
        "line 3: worn_rings_bore, wet_gain: state 'none_under_10' is missing",
    ),
    "does not add up": (
        "cause,item,state,probability,why\nworn_rings_bore,crown_pitting,none,0.7,x\nworn_rings_bore,crown_pitting,seen,0.7,x\n",
        "line 3: worn_rings_bore, crown_pitting: the states add to 1.400",
    ),
    "twice": (
        "cause,item,state,probability,why\nworn_rings_bore,crown_pitting,none,0.7,x\nworn_rings_bore,crown_pitting,none,0.3,x\n",
        "line 3: 'none' stands twice",
    ),
    "precedence": (
        "cause,item,state,probability,why\nsound,crown_pitting,none,0.3,x\nsound,crown_pitting,seen,0.7,x\n",
        "line 3: crown_pitting: precedence",
    ),
    "zero in the sound row": (
        "cause,item,state,probability,why\nsound,crown_pitting,none,1,x\nsound,crown_pitting,seen,0,x\n",
        "line 3: crown_pitting: the sound row may not hold a 0",
    ),
    "wrong scope": (
        "cause,item,state,probability,why\nworn_rings_bore,oil_state,normal,1,x\n",
        "line 2: worn_rings_bore cannot speak for oil_state",
    ),
    "missing column": (
        "cause,item,state,why\nworn_rings_bore,wet_gain,big_over_25,x\n",
        "line 1: column 'probability' is missing",
    ),
    "missing field": (
        "cause,item,state,probability,why\nworn_rings_bore,wet_gain\n",
        "line 2: needs exactly 5 fields",
    ),
    "empty": ("cause,item,state,probability,why\n", "line 1: no row under the header"),
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_broken_own_table_is_named_and_the_shipped_one_stands(
    name: str, tmp_path: Path, tables: FaultTables
) -> None:
    text, words = BREAKS[name]
    own = tmp_path / "my rows.csv"
    own.write_text(text, encoding="utf-8")
    laid = load(own)
    assert laid.rows == tables.rows
    assert len(laid.notices) == 1
    assert "my rows.csv" in laid.notices[0]
    assert words in laid.notices[0]
    assert "the shipped one stands" in laid.notices[0]


def test_an_own_table_that_is_no_text_is_named(tmp_path: Path, tables: FaultTables) -> None:
    own = tmp_path / "rows.csv"
    own.write_bytes(b"\xff\xfe\x00cause")
    laid = load(own)
    assert laid.digest == tables.digest
    assert "save it as UTF-8" in laid.notices[0]


def test_an_own_row_takes_the_place_of_the_shipped_one(tmp_path: Path, tables: FaultTables) -> None:
    own = tmp_path / "rows.csv"
    own.write_text(
        "cause,item,state,probability,why\n"
        "worn_rings_bore,crown_pitting,none,0.6,as seen here\n"
        "worn_rings_bore,crown_pitting,seen,0.4,as seen here\n",
        encoding="utf-8",
    )
    laid = load(own)
    assert laid.notices == ()
    assert laid.rows["worn_rings_bore", "crown_pitting"].probabilities == pytest.approx((0.6, 0.4))
    assert laid.rows["worn_rings_bore", "crown_pitting"].why == "as seen here"
    assert laid.rows["exh_valve_leak", "leak_pct"] == tables.rows["exh_valve_leak", "leak_pct"]
    assert laid.digest != tables.digest


def test_a_folder_lays_each_table_over_its_own_and_a_broken_one_stops_only_itself(
    tmp_path: Path, tables: FaultTables
) -> None:
    (tmp_path / "priors.csv").write_text(
        "name,value,why\ntroubled_cylinders,1.6,busy shop\n", encoding="utf-8"
    )
    (tmp_path / "misread.csv").write_text("how,chance,wording,why\ntold,2,told,x\n", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("nothing to do with it", encoding="utf-8")
    laid = load(tmp_path)
    assert laid.priors["troubled_cylinders"] == 1.6
    assert laid.misread == tables.misread
    assert len(laid.notices) == 1
    assert "misread.csv, line 2: chance is '2'" in laid.notices[0]


def test_no_own_table_no_notice(tmp_path: Path, tables: FaultTables) -> None:
    assert load(None) is tables
    assert load(tmp_path / "not there") is tables


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("faults.csv", {"usual_call": "pray"}, "usual_call 'pray' is not known"),
        ("faults.csv", {"scope": "galaxy"}, "scope 'galaxy' is not known"),
        ("items.csv", {"test": "smell"}, "test 'smell' is not known"),
        ("items.csv", {"group": "crown"}, "mixes scopes or tests"),
        ("channels.csv", {"strength": "1"}, "strength is '1'"),
        ("channels.csv", {"source": "heat_death"}, "source 'heat_death' is not known"),
        ("moves.csv", {"when": "rain"}, "when 'rain' is neither"),
        ("moves.csv", {"kind": "odds", "when": "overheat"}, "only an engine state may set odds"),
        ("pairs.csv", {"second": "foreign_object"}, "a pair is two different faults"),
        ("masks.csv", {"hidden": "exh_valve_leak"}, "hides a fault of the cylinder"),
        ("validity.csv", {"variable": "mood"}, "variable 'mood' is not known"),
        ("next_tests.csv", {"items": "comp_rel"}, "is not a engine item"),
        ("next_tests.csv", {"how": "by ear"}, "how 'by ear' is not in misread.csv"),
        ("test_order.csv", {"then": "no_such"}, "then 'no_such' is not known"),
    ],
)
def test_every_table_is_checked(name: str, change: dict[str, str], words: str) -> None:
    raw = _shipped()
    first = {**raw[name][0], **change}
    with pytest.raises(TableError, match=words) as caught:
        build({**raw, name: [first, *raw[name][1:]]})
    assert f"{name}, line " in str(caught.value)


@pytest.mark.parametrize("row", [("sound", "leak_pct"), ("spoiled", "leak_pct")])
def test_a_missing_row_is_named(row: tuple[str, str]) -> None:
    raw = _shipped()
    left = [r for r in raw["rows.csv"] if (r["cause"], r["item"]) != row]
    with pytest.raises(TableError, match=f"the {row[0]} row of 'leak_pct' is missing"):
        build({**raw, "rows.csv": left})


def test_all_columns_are_those_of_the_files() -> None:
    assert set(_shipped()) == set(COLUMNS)
