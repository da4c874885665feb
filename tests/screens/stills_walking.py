"""Going to the stills screen, waiting there, and pictures made for it."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
from PIL import Image

from borelog.tui.app import Screens
from borelog.tui.screens.stills import StillsRoom
from tests.screens.walking import press, settled


def texture(seed: int, wide: int = 640, high: int = 480) -> np.ndarray:
    rng = np.random.default_rng(seed)
    grey = sum(
        cv2.resize(rng.normal(0, 1, (high // k, wide // k)).astype(np.float32), (wide, high)) * k**0.5
        for k in (4, 9, 21, 60)
    )
    return np.dstack([np.clip(110 + 14 * grey + d, 0, 255) for d in (0, 8, 20)]).astype(np.uint8)


def saved(path: Path, pixels: np.ndarray, quality: int = 92) -> str:
    Image.fromarray(pixels[:, :, ::-1]).save(path, quality=quality)
    return str(path)


async def in_stills(app: Screens, pilot: Any, *keys: str) -> StillsRoom:
    await settled(app, pilot)
    await press(app, pilot, "f5", *keys)
    return cast(StillsRoom, app.rooms["stills"])


async def until(app: Screens, pilot: Any, there: Any) -> None:
    for _ in range(1500):
        await pilot.pause()
        if there():
            return
        await asyncio.sleep(0.005)
    raise AssertionError("it never came")
