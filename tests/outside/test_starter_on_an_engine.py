"""The cranking trace against the mechanics of the textbook: slider crank, polytropic work, a DC motor with its back-EMF."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from borelog.engine.engine import make_engine
from borelog.readings.crank_trace import Sync, analyse
from borelog.readings.trace_file import make_trace


@pytest.fixture(scope="module")
def starters():
    path = Path(__file__).parents[1] / "readings" / "starters.py"
    spec = importlib.util.spec_from_file_location("starters", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["starters"] = module
    spec.loader.exec_module(module)
    return module


I4 = make_engine("inline", 4, firing_order="1342")
EVERY = (180.0,) * 4


def test_the_gas_takes_the_work_of_a_polytropic_compression(starters):
    """Torque over the compression stroke sums to (p2 V2 - p1 V1) / (n - 1) less the work of the air outside (Heywood 1988 ch. 2, 4)."""
    degrees, torque, volume = starters.gas_torque(9.5, 1.25)
    rising = (degrees >= -140) & (degrees <= 0)
    v1, v2 = volume[rising][0], volume[rising][-1]
    p1, p2 = 1.0e5, 1.0e5 * (v1 / v2) ** 1.25
    known = (p2 * v2 - p1 * v1) / 0.25 - 1.0e5 * (v1 - v2)
    found = -float(np.trapezoid(torque[rising], np.radians(degrees[rising])))
    assert found == pytest.approx(known, rel=0.01)


def test_volume_of_the_slider_crank(starters):
    """V/Vc = 1 + (rc - 1)/2 [R + 1 - cos t - sqrt(R^2 - sin^2 t)] (Heywood 1988 eq. 2.6): Vc at the top, rc Vc at the bottom."""
    degrees, _, volume = starters.gas_torque(9.5, 1.25)
    top, bottom = volume[np.argmin(np.abs(degrees))], volume[np.argmin(np.abs(degrees + 180))]
    assert bottom / top == pytest.approx(9.5, rel=1e-6)


@pytest.mark.parametrize("inertia", [0.3, 0.6, 1.2])
@pytest.mark.parametrize("exponent", [1.15, 1.30])
def test_a_weak_cylinder_on_a_motor_is_found_and_sized(starters, inertia, exponent):
    """Exponents as published for cranking; the heavier the engine, the less the speed jumps."""
    time, amps, angle = starters.turned(
        I4.firing_order, EVERY, {3: 0.6}, starters.How(), inertia=inertia, exponent=exponent
    )
    trace = make_trace(time, amps, starters.pulses(angle, -60.0, square=True))
    result = analyse(trace, I4, Sync("cam sensor", 1, 60.0))
    weak = next(h for h in result.humps if h.cylinder == 3)
    assert weak.low - 0.05 <= 0.6 <= weak.high + 0.05
    assert min(result.relative(), key=result.relative().get) == 3
