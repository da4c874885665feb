"""How long judging takes, beside a floor measured in the same run; targets are noted, never asserted."""

from __future__ import annotations

import importlib.util
import random
import time
from pathlib import Path

import numpy as np
import pytest

from borelog.engine.engine import make_engine
from borelog.readings.chance import normal_cdf_array
from borelog.readings.compression import CompressionReading, make_test
from borelog.readings.crank_trace import Sync, analyse
from borelog.readings.leakdown import LeakReading, on_reference
from borelog.readings.rules import judge, manual_rules
from borelog.readings.trace_file import make_trace

pytestmark = pytest.mark.bench


def best_of(work, times=30):
    """The shortest of several runs, seconds."""
    work()
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return min(spent)


@pytest.mark.parametrize("spread", [3.0, 12.0, 30.0], ids=["alike", "borderline", "apart"])
def test_judge_twelve_cylinders_with_repeats(benchmark, speed, spread):
    drawn = random.Random(5)
    levels = [1030 + drawn.gauss(0, spread * 6.9) for _ in range(12)]
    readings = [
        CompressionReading(i, tuple(v + drawn.gauss(0, 14) for _ in range(3)))
        for i, v in enumerate(levels, 1)
    ]
    test, manual = make_test("dry", readings), manual_rules(900, 75)
    benchmark(lambda: judge(test, manual))
    cells = np.zeros((5, 36, 12))
    speed("judge", floor=best_of(lambda: normal_cdf_array(cells)))


def test_trace_of_ten_seconds(benchmark, speed):
    path = Path(__file__).parents[1] / "readings" / "starter.py"
    spec = importlib.util.spec_from_file_location("starter", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    engine = make_engine("inline", 4, firing_order="1342")
    trace = make_trace(*module.starter_current(engine.firing_order, {3: 0.5}, seconds=10.0, sync=(1, 10.0)))
    benchmark(lambda: analyse(trace, engine, Sync("spark", 1)))
    speed("trace", floor=best_of(lambda: np.fft.rfft(trace.amps), 10))


def test_leak_on_the_reference_tester(benchmark, speed):
    reading = LeakReading(1, held_kpa=414.0, supply_kpa=552.0, orifice_mm=1.5)
    benchmark(lambda: on_reference(reading))
    floor = best_of(lambda: [x**0.714 for x in range(1, 50)])
    speed(what="a leak as another tester would show it", room="readings", floor=floor, floor_is="49 powers")
