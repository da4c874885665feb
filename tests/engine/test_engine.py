"""Layouts, numbering, firing orders, neighbours and the plan."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.engine.engine import Engine, EngineError, make_engine, parse_layout
from borelog.engine.numbering import NumberingError, numberings
from borelog.engine.orders import all_presets, firing_angles, presets, turning_plan
from borelog.engine.plan import plan_grid, where_is_one


@pytest.mark.parametrize(
    ("text", "layout", "count"),
    [
        ("inline 4", "inline", 4), ("I4", "inline", 4), ("straight-six 6", None, None),
        ("straight 6", "inline", 6), ("in-line 3", "inline", 3),
        ("V8", "vee", 8), ("v-12", "vee", 12), ("8 cylinder V", "vee", 8), ("flat 6", "flat", 6),
        ("boxer 4", "flat", 4), ("VR6", "staggered", 6),
        ("B4", "flat", 4), ("staggered 5", "staggered", 5),
    ],
)  # fmt: skip
def test_layout_words(text, layout, count):
    if layout is None:
        with pytest.raises(EngineError, match="no layout"):
            parse_layout(text)
    else:
        assert parse_layout(text) == (layout, count)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("V7", "uneven banks"),
        ("inline 9", "1 to 8"),
        ("V18", "2 to 16"),
        ("flat 14", "2 to 12"),
        ("W16", "no layout"),
        ("", "no layout"),
        ("V", "no layout"),
        ("inline 0", "1 to 8"),
        ("V-8-8", "no layout"),
    ],
)
def test_impossible_layouts(text, says):
    with pytest.raises(EngineError, match=says):
        parse_layout(text)


@pytest.mark.parametrize("count", range(2, 9))
def test_inline_neighbours_are_one_chain(count):
    engine = make_engine("inline", count)
    assert engine.neighbours == {(i, i + 1) for i in range(1, count)}
    assert engine.chains == (tuple(range(1, count + 1)),)


@pytest.mark.parametrize("count", range(4, 17, 2))
@pytest.mark.parametrize(
    "numbering", ["per bank", "alternating", "sae j824 a", "sae j824 b", "din 73021", "iso 1204", "gb"]
)
@pytest.mark.parametrize("layout", ["vee", "flat"])
def test_two_banks(count, numbering, layout):
    if layout == "flat" and count > 12:
        return
    engine = make_engine(layout, count, numbering)
    assert sorted(c for b in engine.banks for c in b) == list(range(1, count + 1))
    assert 1 in engine.banks[0]
    assert set(engine.sides) == {"left", "right"}
    assert len(engine.neighbours) == count - 2
    for a, b in engine.neighbours:
        assert a < b
        assert engine.bank_of(a) == engine.bank_of(b)
    if "j824 b" in numbering or "1204" in numbering:
        assert [engine.cylinder_named(engine.label(c)) for c in engine.cylinders] == list(engine.cylinders)


def test_alternating_puts_odd_and_even_on_two_banks():
    assert make_engine("vee", 6, "alternating").banks == ((1, 3, 5), (2, 4, 6))
    assert make_engine("vee", 6, "alternating").neighbours == {(1, 3), (3, 5), (2, 4), (4, 6)}


def test_custom_numbering():
    engine = make_engine("vee", 4, "custom", banks=((2, 4), (1, 3)), first_bank="left")
    assert engine.banks == ((1, 3), (2, 4))
    assert engine.sides == ("right", "left")
    assert make_engine("vee", 4, banks=((1, 2), (3, 4))).numbering == "custom"
    with pytest.raises(NumberingError, match="every number"):
        make_engine("vee", 4, "custom", banks=((1, 2), (3, 3)))
    with pytest.raises(NumberingError, match="only be listed"):
        make_engine("vee", 4, "per bank", banks=((1, 2), (3, 4)))
    with pytest.raises(NumberingError, match="every number"):
        make_engine("inline", 4, "custom")


def test_timing_drive_at_the_gearbox_end_turns_the_plan():
    free, output = make_engine("vee", 6, "din 73021"), make_engine("vee", 6, "din 73021", timing_at="output")
    assert free.banks[0] == (1, 2, 3)
    assert output.banks[0] == (3, 2, 1)
    assert free.sides[0] != output.sides[0]
    assert make_engine("inline", 4, "gearbox end", timing_at="output").banks[0] == (4, 3, 2, 1)
    assert "gearbox" in plan_grid(output).top


def test_staggered_rows_have_one_head_and_a_chain_along_it():
    engine = make_engine("staggered", 6)
    assert engine.chains == ((1, 2, 3, 4, 5, 6),)
    assert (1, 3) not in engine.neighbours
    grid = plan_grid(engine)
    assert (grid.rows, grid.columns) == (6, 2)
    assert [c.column for c in grid.cells] == [0, 1, 0, 1, 0, 1]
    own = make_engine("staggered", 6, neighbours=[(1, 2), (1, 3)])
    assert own.neighbours == {(1, 2), (1, 3)}


def test_separate_heads_share_no_bridge():
    engine = make_engine("flat", 4, heads="each")
    assert engine.neighbours == frozenset()
    assert engine.chains == ((1,), (2,), (3,), (4,))
    assert make_engine("inline", 6, heads=[(1, 2, 3), (4, 5, 6)]).neighbours == {
        (1, 2),
        (2, 3),
        (4, 5),
        (5, 6),
    }
    with pytest.raises(EngineError, match="every cylinder once"):
        make_engine("inline", 4, heads=[(1, 2)])
    with pytest.raises(EngineError, match="do not lie under one head"):
        make_engine("vee", 4, neighbours=[(1, 3)])


@pytest.mark.parametrize("typed", ["1-3-4-2", "1342", "1,3,4,2", "1 3 4 2", "3-4-2-1", "1–3–4–2"])
def test_orders_as_typed(typed):
    assert make_engine("inline", 4, firing_order=typed).firing_order == (1, 3, 4, 2)


def test_orders_by_label():
    engine = make_engine("flat", 4, "iso 1204", firing_order="A1 B1 A2 B2")
    assert engine.firing_order == (1, 3, 2, 4)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("1-3-4", "leaves out cylinder 2"),
        ("1-3-4-2-2", "twice"),
        ("1-3-4-5", "names cylinder 5"),
        ("1-3-4-x", "no cylinder"),
        ("1-1-1-1", "twice"),
        ("13", "leaves out"),
    ],
)
def test_impossible_orders(typed, says):
    with pytest.raises(EngineError, match=says):
        make_engine("inline", 4, firing_order=typed)


def test_intervals():
    engine = make_engine("vee", 2, firing_order="12", intervals="270-450")
    assert engine.intervals == (270, 450)
    assert engine.companions == ()
    for bad in ("270 270", "270", "a b", "0 720", "nan nan", "inf -inf"):
        with pytest.raises(EngineError, match="interval"):
            make_engine("vee", 2, firing_order="12", intervals=bad)


@pytest.mark.parametrize(
    "fact",
    [{"bore_mm": 0.0}, {"stroke_mm": -3.0}, {"compression_ratio": 0.0}, {"altitude_m": 1e8}, {"air_pressure_kpa": 10.13},
     {"intake_closing_deg": 200.0}, {"rod_mm": float("nan")}],
)  # fmt: skip
def test_facts_that_no_engine_has_are_refused(fact):
    with pytest.raises(EngineError, match="lies between"):
        make_engine("inline", 4, **fact)


def test_facts():
    engine = make_engine("inline", 4, bore_mm=86.0, compression_ratio=10.5, intake_side="left")
    assert engine.bore_mm == 86.0
    assert plan_grid(engine).intake == "intake side: left"
    with pytest.raises(EngineError, match="no fact"):
        make_engine("inline", 4, colour="red")


def test_unknown_cylinder_says_which_there_are():
    engine = make_engine("inline", 4)
    with pytest.raises(EngineError, match="it has 1 to 4"):
        engine.bank_of(5)
    with pytest.raises(EngineError, match="no cylinder"):
        engine.cylinder_named("0")
    assert engine.cylinder_named("cyl 3") == 3


def test_presets_make_engines():
    assert len(all_presets()) >= 20
    for p in all_presets():
        engine = make_engine(p.layout, p.count, firing_order=p.order, intervals=p.intervals, heads=p.heads)
        assert engine.firing_order == p.order
        assert p.source
        assert sum(p.intervals) == pytest.approx(720)
    assert presets("inline", 4)[0].order == (1, 3, 4, 2)
    assert presets("inline", 7) == ()


def test_every_numbering_names_its_source():
    assert {"sae j824 a", "din 73021", "iso 1204", "per bank", "alternating", "custom"} <= set(numberings())
    assert all(n.source and n.words for n in numberings().values())


def test_turning_plan():
    engine = make_engine("inline", 4, firing_order="1342")
    plan = turning_plan(engine, start=4)
    assert [t.cylinder for t in plan] == [4, 2, 1, 3]
    assert [t.total for t in plan] == [0, 180, 360, 540]
    some = turning_plan(engine, start=1, only=(4, 2))
    assert [(t.cylinder, t.degrees) for t in some] == [(4, 360), (2, 180)]
    with pytest.raises(EngineError, match="not known"):
        turning_plan(make_engine("inline", 4))
    with pytest.raises(EngineError, match="no cylinder 9"):
        turning_plan(engine, start=9)


def test_plan_arrows():
    grid = plan_grid(make_engine("vee", 6))
    assert grid.step(1, 1, 0) == 2
    assert grid.step(1, 0, 1) == 4
    assert grid.step(3, 1, 0) == 3
    assert grid.step(4, 0, -1) == 1
    assert grid.at(0, 0) == 1
    assert grid.at(9, 0) is None


def test_where_one_is():
    assert "nearest the timing drive" in where_is_one(make_engine("inline", 4))
    assert "nearest the other end" in where_is_one(make_engine("inline", 4, "iso 1204"))


@st.composite
def engines(draw) -> Engine:
    layout = draw(st.sampled_from(["inline", "vee", "flat"]))
    count = draw(st.integers(2, 8)) if layout == "inline" else 2 * draw(st.integers(1, 6))
    numbering = draw(st.sampled_from([n for n in numberings() if n != "custom"]))
    order = draw(st.permutations(range(1, count + 1)))
    return make_engine(layout, count, numbering, order, timing_at=draw(st.sampled_from(["free", "output"])))


@given(engines())
def test_any_permutation_fires(engine):
    assert sorted(engine.firing_order) == list(engine.cylinders)
    assert engine.firing_order[0] == 1
    angles = firing_angles(engine)
    for a, b in engine.companions:
        assert abs(angles[b] - angles[a]) == pytest.approx(360)
    assert len(engine.companions) == (engine.count // 2 if engine.count % 2 == 0 else 0)
    total = sum(t.degrees for t in turning_plan(engine))
    assert total == pytest.approx(720 - engine.intervals[-1])


@given(engines())
def test_plan_shows_every_cylinder_once(engine):
    grid = plan_grid(engine)
    assert sorted(c.cylinder for c in grid.cells) == list(engine.cylinders)
    assert len({(c.row, c.column) for c in grid.cells}) == engine.count
    rows = {c.cylinder: c.row for c in grid.cells}
    assert all(abs(rows[a] - rows[b]) == 1 for a, b in grid.bridges)
