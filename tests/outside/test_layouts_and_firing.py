"""Numbering standards, published firing orders and engine geometry."""

from __future__ import annotations

import pytest

from borelog.engine import geometry
from borelog.engine.engine import make_engine
from borelog.engine.orders import all_presets, firing_angles, turning_plan
from borelog.engine.plan import plan_grid

# encyclopaedia copies, a parts seller and a trade page: layout, count, order, companions (positions i and i + N/2)
ORDERS = [
    ("inline", 3, "1-2-3", ()),
    ("inline", 3, "1-3-2", ()),
    ("inline", 4, "1-3-4-2", ((1, 4), (3, 2))),
    ("inline", 4, "1-2-4-3", ((1, 4), (2, 3))),
    ("inline", 5, "1-2-4-5-3", ()),
    ("inline", 6, "1-5-3-6-2-4", ((1, 6), (5, 2), (3, 4))),
    ("vee", 6, "1-2-3-4-5-6", ((1, 4), (2, 5), (3, 6))),
    ("vee", 6, "1-6-5-4-3-2", ((1, 4), (6, 3), (5, 2))),
    ("vee", 6, "1-4-2-5-3-6", ((1, 5), (4, 3), (2, 6))),
    ("flat", 4, "1-4-3-2", ((1, 3), (4, 2))),
    ("vee", 8, "1-8-4-3-6-5-7-2", ((1, 6), (8, 5), (4, 7), (3, 2))),
    ("vee", 8, "1-8-7-2-6-5-4-3", ((1, 6), (8, 5), (7, 4), (2, 3))),
    ("vee", 8, "1-5-4-2-6-3-7-8", ((1, 6), (5, 3), (4, 7), (2, 8))),
    ("vee", 8, "1-3-7-2-6-5-4-8", ((1, 6), (3, 5), (7, 4), (2, 8))),
    ("vee", 10, "1-10-9-4-3-6-5-8-7-2", ((1, 6), (10, 5), (9, 8), (4, 7), (3, 2))),
    ("vee", 12, "1-7-5-11-3-9-6-12-2-8-4-10", ((1, 6), (7, 12), (5, 2), (11, 8), (3, 4), (9, 10))),
]


@pytest.mark.parametrize(("layout", "count", "order", "pairs"), ORDERS)
def test_published_orders(layout, count, order, pairs):
    engine = make_engine(layout, count, firing_order=order)
    assert engine.firing_order == tuple(map(int, order.split("-")))
    assert engine.companions == pairs
    assert any((p.layout, p.count, p.order) == (layout, count, engine.firing_order) for p in all_presets())


@pytest.mark.parametrize(
    ("count", "degrees"), [(3, 240), (4, 180), (5, 144), (6, 120), (8, 90), (10, 72), (12, 60)]
)
def test_even_interval(count, degrees):
    layout = "inline" if count < 9 else "vee"
    order = list(range(1, count + 1))
    assert set(make_engine(layout, count, firing_order=order).intervals) == {float(degrees)}


def test_v12_is_two_straight_sixes():
    # trade page: odd places read 1-5-3-6-2-4, even places 7-11-9-12-8-10
    order = make_engine("vee", 12, firing_order="1-7-5-11-3-9-6-12-2-8-4-10").firing_order
    assert order[0::2] == (1, 5, 3, 6, 2, 4)
    assert order[1::2] == (7, 11, 9, 12, 8, 10)


def test_ninety_degrees_to_the_next_on_a_v8():
    # trade article: turn 90 degrees to the next cylinder of the order
    plan = turning_plan(make_engine("vee", 8, firing_order="18436572"))
    assert [t.degrees for t in plan[1:]] == [90.0] * 7
    assert plan[1].cylinder == 8


# Three standards that count from opposite ends. Plan rows are counted from the timing drive at the free end; left is that
# of a person at the gearbox end. (numbering, cylinder, row, side)
STANDARDS = [
    ("sae j824 a", 1, 0, None, "SAE J824: number 1 is farthest from the output end"),
    ("sae j824 b", 1, 0, "right", "SAE J824 B: per bank with R and L seen from the flywheel end"),
    ("din 73021", 1, 0, "right", "DIN 73021: left row of a viewer at the end away from the output"),
    ("iso 1204", 1, 3, "left", "ISO 1204: A1 is nearest the drive end, left row seen from there"),
    ("iso 1204", 5, 3, "right", "ISO 1204: B1 is nearest the drive end in the right row"),
    ("gb", 1, 0, "left", "national practice: free end first, right row of a viewer facing the output"),
]


@pytest.mark.parametrize(("numbering", "cylinder", "row", "side", "source"), STANDARDS)
def test_standards_count_from_opposite_ends(numbering, cylinder, row, side, source):
    engine = make_engine("vee", 8, numbering)
    cell = next(c for c in plan_grid(engine).cells if c.cylinder == cylinder)
    assert cell.row == row, source
    if side:
        assert ("left", "right")[cell.column] == side, source


@pytest.mark.parametrize(("cylinder", "label"), [(1, "A1"), (4, "A4"), (5, "B1"), (8, "B4")])
def test_iso_1204_letters(cylinder, label):
    engine = make_engine("vee", 8, "iso 1204")
    assert engine.label(cylinder) == label
    assert engine.cylinder_named(label) == cylinder


def test_iso_and_sae_disagree_on_an_inline_engine():
    assert make_engine("inline", 4, "iso 1204").banks[0][0] == 4
    assert make_engine("inline", 4, "sae j824 a").banks[0][0] == 1


def test_iso_says_that_road_vehicles_are_out_of_scope():
    from borelog.engine.numbering import numberings

    assert "road vehicles" in numberings()["iso 1204"].words


# displacement: calculator page (4 x 4 in, six) 301.5936 in3 with .7854; design page 84 x 90 mm
def test_displacement_examples():
    assert geometry.displacement_cm3(101.6, 101.6, 6) / 16.387064 == pytest.approx(301.5936, rel=1e-5)
    assert geometry.displacement_cm3(101.6, 101.6, 6) == pytest.approx(4942.2142, rel=1e-5)
    assert geometry.swept_cm3(84, 90) * 1000 == pytest.approx(498762, rel=1e-5)
    assert geometry.displacement_cm3(84, 90, 6) / 1000 == pytest.approx(2.993, abs=6e-4)


def test_mean_piston_speed():
    # design page: 90 mm at 6500 rpm, 19.5 m/s
    assert geometry.mean_piston_speed(90, 6500) == pytest.approx(19.5, abs=0.01)


@pytest.mark.parametrize(("swept", "clearance", "ratio"), [(823.70, 100, 9.237), (56.74, 5.91, 10.60)])
def test_compression_ratio_examples(swept, clearance, ratio):
    # calculator pages
    assert geometry.compression_ratio(swept, clearance) == pytest.approx(ratio, abs=1e-3)


def test_pulkrabek_example_2_1():
    # Engineering Fundamentals of the IC Engine ex. 2-1 (answers from memory, recomputed): 3 L V6 square,
    # ratio 9.5, rod 16.6 cm
    bore = 86.025
    swept = geometry.swept_cm3(bore, bore)
    assert swept == pytest.approx(500, abs=0.1)
    assert geometry.clearance_cm3(swept, 9.5) == pytest.approx(58.82, abs=0.02)
    assert geometry.mean_piston_speed(bore, 3600) == pytest.approx(10.32, abs=0.01)
    share = geometry.stroke_share(20, 166 / (bore / 2))
    assert share * bore / 10 == pytest.approx(0.3247, abs=5e-4)
    assert geometry.volume_cm3(20, bore, bore, 166, 9.5) == pytest.approx(77.70, abs=0.03)


def test_slider_crank_end_points():
    # Heywood (1988) eq. 2.6: V(0) = Vc, V(180) = rc Vc
    swept = geometry.swept_cm3(86, 86)
    clearance = geometry.clearance_cm3(swept, 10)
    assert geometry.volume_cm3(0, 86, 86, 145, 10) == pytest.approx(clearance)
    assert geometry.volume_cm3(180, 86, 86, 145, 10) == pytest.approx(10 * clearance)


# the same formula, recomputed: 86 x 86 mm, rod 145 mm, ratio 10 (cm3)
@pytest.mark.parametrize(
    ("angle", "volume"),
    [(20, 74.913), (45, 147.391), (60, 208.647), (90, 343.173), (120, 458.425), (150, 530.910)],
)
def test_slider_crank_volumes(angle, volume):
    assert geometry.volume_cm3(angle, 86, 86, 145, 10) == pytest.approx(volume, abs=6e-4)


@pytest.mark.parametrize(("closing", "ratio"), [(20, 9.81), (30, 9.57), (40, 9.23), (60, 8.27), (70, 7.65)])
def test_dynamic_ratio(closing, ratio):
    # recomputed: 86 x 86, rod 143, ratio 10
    assert geometry.dynamic_ratio(10, closing, 143 / 43) == pytest.approx(ratio, abs=0.006)


def test_odd_firing_angles():
    # right-angle six on shared pins, common practice: 150 and 90 degrees in turn
    engine = make_engine("vee", 6, firing_order="165432", intervals="150 90 150 90 150 90")
    assert list(firing_angles(engine).values()) == [0, 150, 240, 390, 480, 630]
    assert engine.companions == ()
