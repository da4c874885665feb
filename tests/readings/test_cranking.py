"""The cranking trace: known heights come back, what cannot be locked onto is refused with a reason."""

from __future__ import annotations

import numpy as np
import pytest

from borelog.engine.engine import make_engine
from borelog.readings.crank_trace import Sync, TraceError, analyse, crank_state
from borelog.readings.trace_file import make_trace, read_trace

I4 = make_engine("inline", 4, firing_order="1342")
SPARK = Sync("spark", 1)


@pytest.fixture(scope="module")
def crank(starter_current):
    def run(engine, strength=None, sync=SPARK, mark=(1, 10.0), **how):
        time, amps, channel = starter_current(engine.firing_order, strength, sync=mark, **how)
        return analyse(make_trace(time, amps, channel), engine, sync)

    return run


# layout, count, order, known heights, how it was cranked, how near they must come
CASES = [
    ("inline", 4, "1342", {3: 0.5}, {}, 0.07),
    ("inline", 4, "1342", {3: 0.0}, {}, 0.08),
    ("inline", 4, "1342", {2: 0.7, 4: 0.85}, {"noise": 8.0}, 0.06),
    ("inline", 4, "1342", {1: 0.6}, {"slows": 0.25, "drift": 0.3}, 0.08),
    ("inline", 4, "1342", {1: 0.0, 4: 0.0}, {}, 0.08),
    ("inline", 4, "1342", {1: 0.0, 3: 0.0}, {}, 0.08),
    ("inline", 4, "1342", {2: 0.4}, {"rpm": 110.0, "seconds": 9.0}, 0.08),
    ("inline", 4, "1342", {2: 0.4}, {"rpm": 330.0}, 0.09),
    ("inline", 4, "1342", {2: 0.4}, {"rate": 1000.0}, 0.08),
    ("inline", 3, "123", {2: 0.6}, {"noise": 10.0}, 0.06),
    ("inline", 5, "12453", {5: 0.55}, {"slows": 0.2}, 0.08),
    ("inline", 6, "153624", {6: 0.5, 2: 0.7}, {"width": 75.0}, 0.06),
    ("inline", 6, "153624", {6: 0.8}, {"slows": 0.2}, 0.08),
    ("inline", 2, "12", {2: 0.5}, {}, 0.06),
    ("inline", 8, "16258374", {4: 0.3, 5: 0.85}, {"width": 60.0}, 0.08),
    ("vee", 8, "18436572", {4: 0.3}, {"width": 60.0}, 0.06),
    ("vee", 8, "18436572", {4: 0.5, 3: 0.8}, {"width": 70.0, "seconds": 8.0}, 0.08),
    ("vee", 12, "1-7-5-11-3-9-6-12-2-8-4-10", {4: 0.5}, {"width": 45.0, "seconds": 8.0}, 0.08),
]


@pytest.mark.parametrize(("layout", "count", "order", "known", "how", "near"), CASES)
def test_known_heights_come_back(crank, layout, count, order, known, how, near):
    engine = make_engine(layout, count, firing_order=order)
    result = crank(engine, known, **how)
    found = result.relative()
    assert sorted(found) == list(engine.cylinders)
    for cylinder in engine.cylinders:
        assert found[cylinder] == pytest.approx(known.get(cylinder, 1.0), abs=near)
    assert result.lock > 0.7
    assert all(h.cycles >= 3 and h.scatter < 0.15 for h in result.humps)
    assert result.rpm == pytest.approx(how.get("rpm", 200.0) * (1 - how.get("slows", 0.0) / 2), rel=0.04)
    assert result.questions == ()


def test_odd_firing_keeps_its_places(crank):
    engine = make_engine("vee", 6, "alternating", firing_order="165432", intervals="150 90 150 90 150 90")
    found = crank(engine, {4: 0.5}, intervals=engine.intervals, width=70.0).relative()
    assert found[4] == pytest.approx(0.5, abs=0.08)
    assert min(v for c, v in found.items() if c != 4) > 0.9
    twin = make_engine("vee", 2, firing_order="12", intervals="270 450")
    assert crank(twin, {2: 0.5}, intervals=twin.intervals).relative()[2] == pytest.approx(0.5, abs=0.06)


def test_slowing_is_seen_and_said(crank):
    result = crank(I4, slows=0.3)
    assert result.rpm_change == pytest.approx(-0.22, abs=0.06)
    assert any("slowed" in n for n in result.notes)


V8 = make_engine("vee", 8, "alternating", firing_order="18436572")


@pytest.mark.parametrize("width", [45.0, 60.0, 75.0])
@pytest.mark.parametrize("pointed", [3.0, 4.0, 6.0])
@pytest.mark.parametrize("true", [0.3, 0.6])
def test_what_a_bell_of_another_shape_does_lies_in_the_span_that_is_told(crank, width, pointed, true):
    result = crank(V8, {4: true}, width=width, pointed=pointed, noise=5.0)
    weak = next(h for h in result.humps if h.cylinder == 4)
    assert weak.low - 0.02 <= true <= weak.high + 0.02
    assert all(h.relative > 0.9 for h in result.humps if h.cylinder != 4)
    assert weak.u >= (weak.high - weak.low) / 4


def test_overlapping_humps_are_told_as_a_span(crank):
    result = crank(V8, {4: 0.3}, width=75.0)
    assert any("told as a span" in n for n in result.notes)
    assert min(result.relative(), key=result.relative().get) == 4
    narrow = crank(I4, {4: 0.3}, width=60.0)
    assert not any(h.about for h in narrow.humps)


def test_humps_that_blur_are_refused_and_the_weak_one_is_named(crank):
    with pytest.raises(TraceError, match="cylinder 4 pulls less than the rest, how much less cannot be told"):
        crank(V8, {4: 0.3}, width=95.0)
    engine = make_engine("vee", 12, firing_order="1-7-5-11-3-9-6-12-2-8-4-10")
    with pytest.raises(TraceError, match=r"run into one another"):
        crank(engine, {4: 0.3})
    with pytest.raises(TraceError, match=r"run into one another|no regular humps"):
        crank(engine, {})


def test_cam_sensor_with_its_degrees(crank):
    result = crank(I4, {2: 0.6}, Sync("cam sensor", 3, 100.0), mark=(3, 100.0))
    assert result.relative()[2] == pytest.approx(0.6, abs=0.07)
    asked = crank(I4, {2: 0.6}, Sync("cam sensor", 3), mark=(3, 15.0))
    assert any("how many degrees" in q for q in asked.questions)
    between = crank(I4, {2: 0.6}, Sync("cam sensor", 3, 0.0), mark=(3, 90.0))
    assert any("between two humps" in q for q in between.questions)


def test_waste_spark_names_a_pair_and_asks(crank):
    result = crank(I4, {2: 0.6}, Sync("waste spark", 1), sync_every=360.0)
    assert result.relative() == {}
    assert any("pair 1 and 4" in q for q in result.questions)
    low = min(result.humps, key=lambda h: h.relative).position
    assert {a[low] for a in result.alternatives} == {2, 3}


def test_waste_spark_called_a_spark_is_found_out(crank):
    with pytest.raises(TraceError, match="waste spark"):
        crank(I4, {2: 0.6}, Sync("spark", 1), sync_every=360.0)


def test_a_spark_called_a_waste_spark_is_found_out(crank):
    with pytest.raises(TraceError, match="no waste spark"):
        crank(I4, {2: 0.6}, Sync("waste spark", 1))


def test_many_teeth_are_no_sync(crank):
    with pytest.raises(TraceError, match=r"does not keep step|one mark"):
        crank(I4, {}, Sync("spark", 1), sync_every=100.0)


def test_named_hump(crank, starter_current):
    time, amps, channel = starter_current(I4.firing_order, {2: 0.5}, sync=(1, 0.0))
    inside = (time > 2.0) & (np.concatenate(([False], np.diff((channel > 2.5).astype(int)) > 0)))
    at = float(time[np.argmax(inside)])
    result = analyse(make_trace(time, amps), I4, Sync("named hump", 1, at_s=at))
    assert result.relative()[2] == pytest.approx(0.5, abs=0.07)
    with pytest.raises(TraceError, match="named hump must lie"):
        analyse(make_trace(time, amps), I4, Sync("named hump", 1, at_s=99.0))


def test_without_sync_the_places_have_no_names(crank):
    result = crank(I4, {2: 0.5}, Sync(), mark=None)
    assert result.relative() == {}
    assert min(h.relative for h in result.humps) == pytest.approx(0.5, abs=0.07)
    assert any("no sync" in q for q in result.questions)
    unknown = make_engine("inline", 4)
    time_amps = crank(make_engine("inline", 4, firing_order="1342"), {2: 0.5}, Sync(), mark=None)
    assert time_amps.humps
    assert unknown.firing_order is None


def test_unknown_order_still_ranks(starter_current):
    time, amps, _ = starter_current((1, 3, 4, 2), {2: 0.5})
    result = analyse(make_trace(time, amps), make_engine("inline", 4))
    assert any("firing order is not known" in q for q in result.questions)
    assert min(h.relative for h in result.humps) == pytest.approx(0.5, abs=0.07)


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"seconds": 1.0}, "lasts"),
        ({"hump": 0.0}, "no regular humps|hardly swings|no compression"),
        ({"hump": 8.0, "noise": 80.0}, "no regular humps"),
        ({"seconds": 1.7, "start": 0.1}, "crank for five seconds|steady cranking"),
        ({"rate": 60.0}, "samples a hump"),
    ],
)
def test_refused_with_the_reason(crank, how, says):
    with pytest.raises(TraceError, match=says):
        crank(I4, {}, **how)


def test_constant_and_clipped(starter_current):
    time, amps, _ = starter_current(I4.firing_order)
    with pytest.raises(TraceError, match="does not change"):
        analyse(make_trace(time, np.full_like(time, 120.0)), I4)
    with pytest.raises(TraceError, match="clipped"):
        analyse(make_trace(time, np.minimum(amps, 160.0)), I4)


def test_reversed_clamp_is_turned_round(starter_current):
    time, amps, channel = starter_current(I4.firing_order, {3: 0.5}, sync=(1, 10.0))
    assert analyse(make_trace(time, -amps, channel), I4, SPARK).relative()[3] == pytest.approx(0.5, abs=0.07)


def test_uneven_sampling(starter_current):
    time, amps, channel = starter_current(I4.firing_order, {3: 0.5}, sync=(1, 10.0))
    keep = np.sort(np.random.default_rng(3).choice(len(time), len(time) // 3, replace=False))
    trace = make_trace(time[keep], amps[keep], channel[keep])
    assert analyse(trace, I4, SPARK).relative()[3] == pytest.approx(0.5, abs=0.08)


def test_wrong_requests():
    time = np.linspace(0, 5, 5000)
    trace = make_trace(time, 100 + 20 * np.sin(40 * time))
    with pytest.raises(TraceError, match="no sync"):
        analyse(trace, I4, Sync("magic"))
    with pytest.raises(TraceError, match="use a gauge"):
        analyse(trace, make_engine("inline", 1))


@pytest.mark.parametrize(
    ("relative", "state"),
    [
        (1.2, "above_group"),
        (0.9, "within_85"),
        (0.8, "soft_70_84"),
        (0.5, "low_35_69"),
        (0.1, "dead_under_35"),
    ],
)
def test_words_of_a_height(relative, state):
    assert crank_state(relative) == state


@pytest.mark.parametrize(
    ("head", "mark", "comma", "scale"),
    [
        ("time,current", ",", False, 1.0),
        ("Time (s);Current (A);Sync", ";", True, 1.0),
        ("Zeit [ms];Strom [A]", ";", True, 1000.0),
        ("", "\t", False, 1.0),
        ("x-axis,1\nsecond,Ampere", ",", False, 1.0),
        ("", " ", False, 1.0),
        ("Model,ABC\nSample interval,5e-4\nTIME,CH1 current", ",", False, 1.0),
    ],
)
def test_csv_of_any_scope(starter_current, head, mark, comma, scale):
    time, amps, channel = starter_current(I4.firing_order, {3: 0.5}, rate=2000.0, sync=(1, 10.0))
    rows = []
    for t, a, s in zip(time * scale, amps, channel, strict=True):
        cells = [f"{t:.6f}", f"{a:.3f}", f"{s:.3f}"][: 3 if "Sync" in head else 2]
        rows.append(mark.join(c.replace(".", ",") if comma else c for c in cells))
    trace = read_trace("\n".join(([head] if head else []) + rows))
    assert trace.time_s[-1] == pytest.approx(time[-1], abs=1e-5)
    assert (trace.sync is not None) == ("Sync" in head)
    found = analyse(trace, I4, SPARK if trace.sync is not None else None)
    assert min(h.relative for h in found.humps) == pytest.approx(0.5, abs=0.08)


def lines(*rows, head="time,current"):
    body = [f"{i / 1000:.4f},{100 + i % 7}" for i in range(300)]
    return "\n".join([head, *body[:150], *rows, *body[150:]])


def test_missing_values_are_bridged_and_said():
    trace = read_trace(lines("0.1495,", "0.1496,nan"))
    assert any("bridged" in n for n in trace.notes)
    assert np.isfinite(trace.amps).all()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("time,current\n1,2\n2,3\n", "under 100 rows"),
        (lines("0.10,5"), "runs back"),
        (lines(head="time (s),current (mV)"), "amperes per volt"),
        (lines(head="time (s),current (lux)"), "export it in A"),
        (lines(head="time (weeks),current (A)"), "export it in s or ms"),
        ("\n".join(["time,current"] + [f"{i},abc" for i in range(300)]), "under 100 rows|no row of numbers"),
        ("\n".join(f"{i},5,{i},5" for i in range(300)), "commas part"),
        (
            "\n".join(["time,current"] + [f"{i / 100}," if i % 3 else f"{i / 100},5" for i in range(300)]),
            "is missing",
        ),
        (lines(*["junk,junk"] * 60), "no row of numbers"),
    ],
)
def test_bad_files(text, says):
    with pytest.raises(TraceError.__bases__[0], match=says):
        read_trace(text)


def test_clock_times_and_numbers_out_of_reach(starter_current):
    time, amps, channel = starter_current(I4.firing_order, {3: 0.5}, rate=2000.0, sync=(1, 10.0))
    rows = [f"00:00:{t:09.6f},{a:.3f},{s:.3f}" for t, a, s in zip(time, amps, channel, strict=True)]
    trace = read_trace("\n".join(["time,current,sync", *rows]))
    assert analyse(trace, I4, SPARK).relative()[3] == pytest.approx(0.5, abs=0.07)
    with pytest.raises(TraceError, match="no starter draws that"):
        analyse(make_trace(time, amps * 1000), I4)
    far = lines("0.1495,1e400", "0.1496,1_00")
    assert np.isfinite(read_trace(far).amps).all()


def test_millivolts_of_a_clamp():
    trace = read_trace(lines(head="time (s),current (mV)"), amps_per_volt=100.0)
    assert trace.amps.mean() == pytest.approx(10.3, abs=0.1)


def test_battery_channel():
    text = "\n".join(
        ["time (s),starter (A),battery (V)"]
        + [f"{i / 1000},{100 + 20 * np.sin(i / 24):.3f},{10 + i / 6000:.3f}" for i in range(6000)]
    )
    trace = read_trace(text)
    assert trace.volts is not None
    assert trace.sync is None
    assert analyse(trace, I4).volts_low == pytest.approx(10.0, abs=0.2)


def test_battery_channel_without_a_single_value():
    """A scope's empty channel is no battery voltage, and no NaN either."""
    text = "\n".join(
        ["time (s),starter (A),battery (V)"]
        + [f"{i / 1000},{100 + 20 * np.sin(i / 24):.3f}," for i in range(6000)]
    )
    assert analyse(read_trace(text), I4).volts_low is None
