"""A starter turning an engine, made up with known hump heights: what the trace reader is checked against."""

from __future__ import annotations

import numpy as np


def starter_current(
    order: tuple[int, ...],
    strength: dict[int, float] | None = None,
    *,
    intervals: tuple[float, ...] | None = None,
    seconds: float = 6.0,
    rate: float = 20_000.0,
    rpm: float = 200.0,
    slows: float = 0.0,
    base: float = 140.0,
    hump: float = 35.0,
    noise: float = 3.0,
    ripple: float = 4.0,
    drift: float = 0.0,
    width: float = 90.0,
    start: float = 0.3,
    pointed: float = 4.0,
    sync: tuple[int, float] | None = None,
    sync_every: float = 720.0,
    seed: int = 1,
):
    """Time (s), current (A), sync (V, or None).

    Humps are half cosines to the power of ``pointed``, ``width`` degrees wide at half height; ``slows`` is the share of speed lost from start to
    end; ``drift`` the share of mean current lost; ``sync`` is (cylinder, degrees before its top), one mark every
    ``sync_every`` degrees.
    """
    rng = np.random.default_rng(seed)
    n = len(order)
    steps = intervals or (720.0 / n,) * n
    tops = dict(zip(order, np.concatenate(([0.0], np.cumsum(steps)[:-1])), strict=True))
    t = np.arange(int(seconds * rate)) / rate
    turning = np.clip(t - start, 0, None)
    speed = rpm * (1 - slows * turning / max(1e-9, seconds - start)) * (1 - np.exp(-turning / 0.08))
    angle = 37.0 + np.cumsum(speed * 6.0) / rate
    load = np.zeros_like(t)
    for c in order:
        away = (angle - tops[c] + 360.0) % 720.0 - 360.0
        reach = width / (4 / np.pi * np.arccos(0.5 ** (1 / pointed)))  # where the half cosine ends
        near = np.abs(away) < reach
        load += (strength or {}).get(c, 1.0) * np.where(
            near, np.cos(np.pi * away / (2 * reach)).clip(0) ** pointed, 0.0
        )
    current = base * (1 - drift * turning / seconds) + hump * load + ripple * np.sin(np.radians(angle * 22))
    current += 500 * np.exp(-turning / 0.07)
    current = np.where(t < start, 0.0, current) + noise * rng.standard_normal(len(t))
    channel = None
    if sync is not None:
        cylinder, before = sync
        away = (angle - (tops[cylinder] - before)) % sync_every
        channel = np.where((away < 12) & (t > start), 5.0, 0.0) + 0.05 * rng.standard_normal(len(t))
    return t, current, channel
