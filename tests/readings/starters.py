"""Starter currents of many makes with known heights: drawn humps of several shapes, and an engine turned by a motor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# a hump of height 1 on its own firing: degrees away from its top, degrees between firings
SHAPES = {
    "half sine over the spacing": lambda a, d: np.where(np.abs(a) < d / 2, np.cos(np.pi * a / d), 0.0),
    "half sine, 120 degrees": lambda a, _: np.where(np.abs(a) < 60, np.cos(np.pi * a / 120), 0.0),
    "half sine, 60 degrees": lambda a, _: np.where(np.abs(a) < 30, np.cos(np.pi * a / 60), 0.0),
    "rectified sine": lambda a, d: np.where(np.abs(a) < d / 4, np.cos(2 * np.pi * a / d), 0.0),
    "sin^2 over the spacing": lambda a, d: np.where(np.abs(a) < d / 2, np.cos(np.pi * a / d) ** 2, 0.0),
    "raised cosine, 120 degrees": lambda a, _: np.where(np.abs(a) < 60, np.cos(np.pi * a / 120) ** 2, 0.0),
    "gauss, a fifth of the spacing": lambda a, d: np.exp(-((a / (0.2 * d)) ** 2) / 2),
    "gauss, 25 degrees": lambda a, _: np.exp(-((a / 25.0) ** 2) / 2),
    "gauss, 35 degrees": lambda a, _: np.exp(-((a / 35.0) ** 2) / 2),
    "triangle over the spacing": lambda a, d: np.clip(1 - np.abs(a) / (d / 2), 0, None),
    "slow rise, fast fall": lambda a, _: np.where(
        (a > -80) & (a < 30), np.where(a < 0, np.cos(np.pi * a / 160), np.cos(np.pi * a / 60)) ** 2, 0.0
    ),
}


@dataclass(frozen=True)
class How:
    """How it was cranked and recorded: all that is not the engine."""

    rpm: float = 200.0
    slows: float = 0.0  # share of speed lost from start to end
    seconds: float = 6.0
    rate: float = 5000.0
    base: float = 140.0
    hump: float = 40.0
    noise: float = 2.0  # A, one standard deviation
    sag: str = ""  # 'line' or 'decay': 15 % of the current
    rush: float = 0.0  # A at the first turn of the motor
    before: float = 0.0  # s before the key
    after: float = 0.0  # s after it
    teeth: float = 0.0  # A of the pinion in the ring gear
    wander: float = 0.0  # share by which a hump differs from cycle to cycle
    drawn_in: str = "angle"
    seed: int = 7


def _tops(order, intervals):
    return dict(zip(order, np.concatenate(([0.0], np.cumsum(intervals)[:-1])), strict=True))


def drawn(shape, order, intervals, strength, how=How()):
    """Time, current and turned degrees of humps of one shape."""
    rng = np.random.default_rng(how.seed)
    t = np.arange(int(how.seconds * how.rate)) / how.rate
    going = np.clip(t - how.before, 0, how.seconds - how.before - how.after)
    span = how.seconds - how.before - how.after
    angle = 53.0 + 6 * how.rpm * (going - how.slows * going**2 / (2 * span))
    tops = _tops(order, intervals)
    load = np.zeros_like(t)
    for k, c in enumerate(order):
        away = (angle - tops[c] + 360.0) % 720.0 - 360.0
        turn = np.floor((angle - tops[c] + 360.0) / 720.0).astype(int)
        own = 1 + how.wander * rng.standard_normal(turn.max() + 2)
        spacing = min(intervals[k], intervals[k - 1])
        load += strength.get(c, 1.0) * own[turn] * SHAPES[shape](away, spacing)
    fall = {"": 0 * t, "line": 0.15 * going / span, "decay": 0.15 * (1 - np.exp(-going / 1.0))}[how.sag]
    amps = (how.base + how.hump * load) * (1 - fall)
    amps += how.teeth * np.sin(np.radians(angle * 55)) + how.rush * np.exp(-going / 0.06)
    on = (t >= how.before) & (t < how.seconds - how.after)
    amps = np.where(on, amps, 0.0) + how.noise * rng.standard_normal(len(t))
    return t, amps, angle


def gas_torque(ratio, exponent):
    """Degrees from the compression top, torque of one cylinder's gas on the crank (N m, gauge) and its volume (m3)."""
    bore, stroke, rods = 0.084, 0.088, 3.4
    crank, area = stroke / 2, np.pi * bore**2 / 4
    swept = area * stroke
    grid = np.radians(np.arange(-360.0, 360.0, 0.25))
    height = 1 - np.cos(grid) + rods - np.sqrt(rods**2 - np.sin(grid) ** 2)  # in crank radii
    volume = swept / (ratio - 1) + area * crank * height
    shut = (np.abs(np.degrees(grid)) < 140).astype(float)
    start = volume[np.argmin(np.abs(np.degrees(grid) + 140))]
    lost = np.where(grid > 0, 0.88, 1.0)  # heat and blow-by: less comes back than went in
    gauge = 1.0e5 * ((start / volume) ** exponent - 1) * shut * lost
    torque = gauge * np.gradient(volume, grid)
    return np.degrees(grid), torque, volume


def turned(order, intervals, strength, how=How(), *, ratio=9.5, exponent=1.25, inertia=0.4, friction=35.0):
    """Time, current and crank degrees of an engine turned by a DC motor.

    Gas torque of a slider crank with polytropic compression and expansion (Heywood 1988 ch. 2), gauge pressure scaled by
    each cylinder's strength; motor with resistance, back-EMF and a geared pinion; speed follows from the inertia.
    """
    _, torque, _ = gas_torque(ratio, exponent)
    tops = _tops(order, intervals)
    rng = np.random.default_rng(how.seed)
    step = 0.0005
    n = int(how.seconds / step)
    volts, ohms, gear = 12.2, 0.022, 13.0
    k = 0.0125 * how.rpm and 12.2 / (
        gear * how.rpm * 1.55 * np.pi / 30
    )  # V s: no-load at 1.55 the wanted speed
    now, speed = 0.9, 0.0
    current, angles = np.zeros(n), np.zeros(n)
    offsets = np.array([tops[c] for c in order])
    size = np.array([strength.get(c, 1.0) for c in order])
    for i in range(n):
        if i * step >= how.before:
            sagged = volts * (1 - (0.04 * i / n if how.sag else 0.0))
            amps = (sagged - k * gear * speed) / ohms
            at = ((np.degrees(now) - offsets + 360.0) % 720.0 / 0.25).astype(int)
            gas = float((size * torque[at]).sum())
            # brushes and gears lose a part; the engine does not turn backwards
            speed = max(0.0, speed + step * (0.8 * k * gear * amps - friction + gas) / inertia)
            now += speed * step
            current[i] = amps
        angles[i] = np.degrees(now)
    t = np.arange(int(how.seconds * how.rate)) / how.rate
    grid_t = np.arange(n) * step
    amps = np.interp(t, grid_t, current) + how.noise * rng.standard_normal(len(t))
    return t, amps, np.interp(t, grid_t, angles)


def pulses(angle, before_deg, every=720.0, wide=12.0, square=False):
    """A sync channel: 5 V for ``wide`` degrees, or for half of ``every``, rising where the angle is ``before_deg``."""
    return np.where((angle - before_deg) % every < (every / 2 if square else wide), 5.0, 0.0)
