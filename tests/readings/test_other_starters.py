"""The cranking trace against currents of other makes: what is told must hold the truth, or nothing is told."""

from __future__ import annotations

import numpy as np
import pytest

from borelog.engine.engine import make_engine
from borelog.readings.crank_trace import Sync, TraceError, analyse
from borelog.readings.trace_file import make_trace, read_trace

ENGINES = {
    "I3": make_engine("inline", 3, firing_order="132"),
    "I4": make_engine("inline", 4, firing_order="1342"),
    "flat 4": make_engine("flat", 4, firing_order="1324"),
    "I5": make_engine("inline", 5, firing_order="12453"),
    "I6": make_engine("inline", 6, firing_order="153624"),
    "V6": make_engine("vee", 6, firing_order="123456"),
    "V6 odd": make_engine("vee", 6, "alternating", firing_order="165432", intervals="150 90 150 90 150 90"),
    "V8": make_engine("vee", 8, "alternating", firing_order="18436572"),
    "V12": make_engine("vee", 12, firing_order="1-7-5-11-3-9-6-12-2-8-4-10"),
}
MAKES = (
    "half sine over the spacing",
    "half sine, 120 degrees",
    "half sine, 60 degrees",
    "rectified sine",
    "sin^2 over the spacing",
    "raised cosine, 120 degrees",
    "gauss, a fifth of the spacing",
    "gauss, 25 degrees",
    "triangle over the spacing",
    "slow rise, fast fall",
    "motor",
)
# how it was cranked and recorded; each make of current goes through every row
RECORDED = {
    "clean": {},
    "20 kHz, noise, teeth, rush, sag": {
        "noise": 6.0, "teeth": 4.0, "sag": "decay", "rush": 500.0, "before": 0.5, "after": 0.4, "rate": 20_000.0,
    },
    "slowing by a quarter, sagging in a line": {"slows": 0.25, "sag": "line"},
    "250 samples a second": {"rate": 250.0},
    "120 rpm, 150 samples a second": {"rpm": 120.0, "rate": 150.0, "seconds": 8.0},
}  # fmt: skip
# places in the firing order, from 0, and what each pulls of a good one
WEAK = {"one soft": {1: 0.7}, "one dead": {1: 0.15}, "two": {1: 0.6, -1: 0.8}, "neighbours": {1: 0.5, 2: 0.5}}


def current(starters, make, engine, strength, how):
    spacing = engine.intervals or (720 / engine.count,) * engine.count
    if make == "motor":
        return starters.turned(engine.firing_order, spacing, strength, how)
    return starters.drawn(make, engine.firing_order, spacing, strength, how)


def wrong(result, strength):
    """Cylinders whose truth lies outside the span that is told, with three points for what 'good' is and chance at two sigma."""
    out = []
    for h in result.humps:
        true, chance = strength.get(h.cylinder, 1.0), 2 * h.scatter / np.sqrt(h.cycles) + 0.03
        if not h.low - chance <= true <= h.high + chance:
            out.append((h.cylinder, true, round(h.relative, 2), round(h.low, 2), round(h.high, 2)))
    return out


@pytest.mark.parametrize(
    "recorded",
    [pytest.param(r, marks=[pytest.mark.long] * (k not in (1, 3))) for k, r in enumerate(RECORDED)],
)
@pytest.mark.parametrize("make", MAKES)
@pytest.mark.parametrize("engine", ["I4", "V6 odd", "V8"])
def test_the_truth_lies_in_what_is_told(starters, engine, make, recorded):
    """The weak cylinder by name, and the truth of all within the span; humps that stand apart are never refused."""
    e, how = ENGINES[engine], starters.How(**RECORDED[recorded])
    weak = WEAK[list(WEAK)[(MAKES.index(make) + list(RECORDED).index(recorded)) % len(WEAK)]]
    strength = {e.firing_order[k]: s for k, s in weak.items()}
    time, amps, angle = current(starters, make, e, strength, how)
    sync = starters.pulses(angle, -60.0, square=True)
    try:
        result = analyse(make_trace(time, amps, sync), e, Sync("cam sensor", e.firing_order[0], 60.0))
    except TraceError as said:
        # with a quarter of the turn between firings, humps that stay wide have no bottom between them
        assert engine == "V8" and make in (
            "half sine, 120 degrees",
            "gauss, 25 degrees",
            "motor",
            "raised cosine, 120 degrees",
        )
        assert "run into one another" in str(said)
        return
    assert wrong(result, strength) == []
    assert min(result.relative(), key=result.relative().get) in strength


@pytest.mark.long
@pytest.mark.parametrize("weak", WEAK)
@pytest.mark.parametrize("make", MAKES)
@pytest.mark.parametrize("engine", ENGINES)
def test_every_engine_every_make(starters, engine, make, weak):
    e = ENGINES[engine]
    strength = {e.firing_order[k]: s for k, s in WEAK[weak].items()}
    time, amps, angle = current(starters, make, e, strength, starters.How())
    trace = make_trace(time, amps, starters.pulses(angle, -60.0, square=True))
    try:
        result = analyse(trace, e, Sync("cam sensor", e.firing_order[0], 60.0))
    except TraceError as said:
        assert engine in ("V8", "V12") and "run into one another" in str(said)
        assert make not in (
            "half sine over the spacing",
            "half sine, 60 degrees",
            "rectified sine",
            "sin^2 over the spacing",
        )
        return
    assert wrong(result, strength) == []


@pytest.mark.parametrize("make", MAKES)
def test_alike_is_told_as_alike(starters, make):
    """An engine with nothing wrong shows nothing wrong, whatever the humps look like."""
    for name in ("I3", "I6", "V6 odd", "V8"):
        e = ENGINES[name]
        time, amps, angle = current(starters, make, e, {}, starters.How())
        trace = make_trace(time, amps, starters.pulses(angle, -60.0, square=True))
        result = analyse(trace, e, Sync("cam sensor", e.firing_order[0], 60.0))
        assert min(result.relative().values()) > 0.94


def test_spark_and_waste_spark_on_a_motor(starters):
    e = ENGINES["I4"]
    time, amps, angle = current(starters, "motor", e, {3: 0.5}, starters.How(rate=20_000.0))
    spark = analyse(make_trace(time, amps, starters.pulses(angle, -10.0, wide=3.0)), e, Sync("spark", 1))
    assert wrong(spark, {3: 0.5}) == [] and spark.questions == ()
    waste = make_trace(time, amps, starters.pulses(angle, -10.0, every=360.0, wide=3.0))
    asked = analyse(waste, e, Sync("waste spark", 1))
    low = min(asked.humps, key=lambda h: h.relative).position
    assert {a[low] for a in asked.alternatives} == {2, 3}


def test_a_cam_signal_that_rests_high_marks_where_it_dips(starters):
    """A sensor at rest at 5 V falls at the mark; a square wave, half the time up, marks where it rises."""
    e = ENGINES["V8"]
    time, amps, angle = current(starters, "rectified sine", e, {4: 0.5}, starters.How())
    for channel in (
        starters.pulses(angle, -60.0, square=True),
        5.0 - starters.pulses(angle, -60.0, wide=100.0),
    ):
        result = analyse(make_trace(time, amps, channel), e, Sync("cam sensor", 1, 60.0))
        assert result.relative()[4] == pytest.approx(0.5, abs=0.05)


def test_millivolts_with_battery_and_cam_from_a_scope(starters):
    """1 mV an ampere, in mV, beside a battery channel and a cam: the file as a scope writes it."""
    e = ENGINES["I5"]
    time, amps, angle = current(starters, "sin^2 over the spacing", e, {4: 0.6}, starters.How(rate=2000.0))
    cam = starters.pulses(angle, -60.0, square=True)
    rows = [
        f"{t * 1000:.3f};{a:.2f};{c:.1f};{12.6 - a / 60:.3f}".replace(".", ",")
        for t, a, c in zip(time, amps, cam, strict=True)
    ]
    text = "\n".join(["Time;Clamp;Cam;Battery", "(ms);(mV);(V);(V)", *rows])
    result = analyse(read_trace(text, amps_per_volt=1000.0), e, Sync("cam sensor", 1, 60.0))
    assert wrong(result, {4: 0.6}) == []
    assert result.amps == pytest.approx(np.mean(amps), rel=0.03)
    assert result.volts_low == pytest.approx(12.6 - amps.max() / 60, abs=0.1)
