"""A flat, square-on patch of honed wall with an exact hatch angle, for measuring the measurement."""

from __future__ import annotations

import numpy as np

from borelog.demo.pictures.grain import Dice, normal
from borelog.demo.pictures.rendered import PictureError, Rendered, pressed
from borelog.demo.pictures.wall import Wall, straight_patch

GROOVE_LEVELS = 16.0


def hone_wall(
    angle_deg: float,
    size: int | tuple[int, int] = 512,
    seed: int = 0,
    noise: float = 0.5,
    *,
    px_per_mm: float = 28.0,
    tilt_px: float = 0.0,
    single: bool = False,
    press: int = 4,
) -> Rendered:
    """A squared-up patch of honed wall; the bore's axis runs down the picture.

    Parameters
    ----------
    angle_deg : included angle of the two families, bisected by the horizontal (the circumferential direction)
    size : side in px, or (width, height)
    noise : deviation of the added noise as a multiple of the grooves' deviation
    px_per_mm : scale
    tilt_px : share by which the light differs from left to right
    single : leave one family out (a worn or bad hone, to be refused by a measure)
    press : JPEG step, 1 for nearly none

    Returns
    -------
    Rendered
        truth: ``included_angle_deg``, ``family_deg`` (groove directions against the horizontal), ``px_per_mm``
    """
    if not 0 < angle_deg < 180:
        raise PictureError(f"The hatch angle must lie between 0 and 180 degrees, not {angle_deg:g}.")
    width, height = (size, size) if isinstance(size, int) else size
    dice = Dice("hone", seed)
    wall = Wall(hone_deg=angle_deg, oil=0.0, soot=0.0, fine_lines=0.0, carbon_top=0.0, groove_mm=0.05)
    at = (dice.between(0, 60), dice.between(20, 50))
    patch = straight_patch(wall, (height, width), px_per_mm, seed, at, families=1 if single else 2)
    grooves = patch.colour[1] / np.float32(wall.tone[1]) - 1 + 0.8 * (patch.slope_z + 0.4 * patch.slope_s)
    grooves = (grooves - grooves.mean()) / max(float(grooves.std()), 1e-6)
    ramp = np.linspace(-1, 1, width, dtype=np.float32)[None, :] * np.float32(
        dice.between(8, 22) + tilt_px * 100
    )
    field = 118 + GROOVE_LEVELS * grooves + ramp
    field = field + noise * GROOVE_LEVELS * normal((height, width), "hone.noise", seed)
    grey = np.clip(field, 0, 255).astype(np.float32)
    truth = {
        "included_angle_deg": angle_deg,
        "family_deg": [angle_deg / 2, -angle_deg / 2],
        "px_per_mm": px_per_mm,
        "convention": "included angle, bisected by the circumferential direction",
    }
    return pressed(np.repeat(grey[..., None], 3, axis=2), press, truth)
