"""The stills that every card holds and nobody wants: blurred, glared, black, taken twice."""

from __future__ import annotations

from typing import Any

import numpy as np

from borelog.demo.pictures.bore import wall_view
from borelog.demo.pictures.camera import camera, develop
from borelog.demo.pictures.chamber import chamber_view
from borelog.demo.pictures.grain import fractal
from borelog.demo.pictures.rendered import Rendered, pressed


def blurred(seed: int = 0, *, blur_px: float = 6.0, size: tuple[int, int] = (640, 480)) -> Rendered:
    """A roof out of the tip's fixed focus; truth ``blur_px`` is the Gaussian's deviation."""
    shot = chamber_view(seed, size=size, distance=16.0, made_by=camera("tip480", blur_px=blur_px))
    shot.truth["fault"] = {"kind": "blurred", "blur_px": blur_px}
    return shot


def glared(seed: int = 0, *, over: float = 2.4, size: tuple[int, int] = (640, 480)) -> Rendered:
    """A polished wall hit head-on by the lamps: the middle burns out, its surround drowns in haze."""
    shot = wall_view(
        seed,
        size=size,
        distance=13.0,
        tilt_deg=(1.0, 0.5),
        lamps={"mirror": 1.2},
        made_by=camera("tip480", exposure=0.30 * over, bloom=0.16, haze=0.03),
    )
    luma = shot.image.max(axis=2)
    shot.maps["clipped"] = luma >= 250
    shot.truth["fault"] = {"kind": "glared", "clipped_share": float((luma >= 250).mean())}
    return shot


def black(seed: int = 0, *, size: tuple[int, int] = (640, 480)) -> Rendered:
    """Lamp off, or the lens in a rag: noise, a trace of light in one corner."""
    light = np.clip(
        0.004 + 0.003 * fractal((size[1], size[0]), size[0] / 2, "spoiled.black", seed, 2), 0, None
    )
    colour: Any = np.repeat(light[..., None], 3, axis=2).astype(np.float32)
    made_by = camera("tip480", haze=0.0)
    truth = {"fault": {"kind": "black"}}
    return pressed(develop(colour, made_by, seed, scale=1.0), made_by.quality, truth)
