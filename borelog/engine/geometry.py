"""Volumes of a cylinder: displacement, compression ratio, and the slider-crank in between.

Lengths in mm, volumes in cm3, crank angles in degrees after top dead centre.
"""

from __future__ import annotations

import math

from borelog.engine.engine import EngineError

# Rod over crank radius when the rod is not known; Heywood (1988) sec. 2.2 gives 3 to 4 for small engines.
USUAL_ROD_RATIO = 3.4


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value) or value <= 0:
            raise EngineError(f"{name.replace('_', ' ')} must be above 0, not {value:g}")


def swept_cm3(bore_mm: float, stroke_mm: float) -> float:
    """Swept volume of one cylinder, cm3: pi/4 bore^2 stroke."""
    _positive(bore=bore_mm, stroke=stroke_mm)
    return math.pi / 4 * bore_mm**2 * stroke_mm / 1000


def displacement_cm3(bore_mm: float, stroke_mm: float, cylinders: int) -> float:
    """Swept volume of the whole engine, cm3."""
    _positive(cylinders=cylinders)
    return swept_cm3(bore_mm, stroke_mm) * cylinders


def compression_ratio(swept: float, clearance: float) -> float:
    """(swept + clearance) / clearance, both in one unit of volume."""
    _positive(swept_volume=swept, clearance_volume=clearance)
    return (swept + clearance) / clearance


def clearance_cm3(swept: float, ratio: float) -> float:
    """Clearance volume for a compression ratio above 1, same unit as ``swept``."""
    _positive(swept_volume=swept)
    if not ratio > 1:
        raise EngineError(f"a compression ratio is above 1, not {ratio:g}")
    return swept / (ratio - 1)


def stroke_share(angle_deg: float, rod_ratio: float = USUAL_ROD_RATIO) -> float:
    """How far down the piston is, 0 at top and 1 at bottom (Heywood 1988, eq. 2.6, over the stroke).

    ``rod_ratio`` is rod length over crank radius (half the stroke), above 1.
    """
    if not rod_ratio > 1:
        raise EngineError("the rod must be longer than half the stroke")
    t = math.radians(angle_deg)
    return 0.5 * (rod_ratio + 1 - math.cos(t) - math.sqrt(rod_ratio**2 - math.sin(t) ** 2))


def volume_cm3(angle_deg: float, bore_mm: float, stroke_mm: float, rod_mm: float, ratio: float) -> float:
    """Cylinder volume at a crank angle, cm3 (Heywood 1988, eq. 2.6)."""
    swept = swept_cm3(bore_mm, stroke_mm)
    _positive(rod=rod_mm)
    return clearance_cm3(swept, ratio) + swept * stroke_share(angle_deg, rod_mm / (stroke_mm / 2))


def dynamic_ratio(ratio: float, intake_closing_deg: float, rod_ratio: float = USUAL_ROD_RATIO) -> float:
    """Compression ratio counted from where the intake valve closes, degrees after bottom dead centre, 0 to
    under 180.
    """
    if not 0 <= intake_closing_deg < 180:
        raise EngineError(
            f"the intake closes 0 to 180 degrees after bottom dead centre, not {intake_closing_deg:g}"
        )
    if not ratio > 1:
        raise EngineError(f"a compression ratio is above 1, not {ratio:g}")
    return 1 + (ratio - 1) * stroke_share(180 + intake_closing_deg, rod_ratio)


def mean_piston_speed(stroke_mm: float, rpm: float) -> float:
    """Mean piston speed, m/s: two strokes a revolution."""
    _positive(stroke=stroke_mm, speed=rpm)
    return 2 * stroke_mm / 1000 * rpm / 60


def filled_ratio(ratio: float, swept: float, liquid_cm3: float) -> float:
    """Compression ratio with a liquid lying in the chamber, as in a wet test with much oil; volumes in cm3.

    Raises
    ------
    EngineError
        When the liquid fills the chamber: the piston would lock.
    """
    clearance = clearance_cm3(swept, ratio)
    if liquid_cm3 < 0:
        raise EngineError("an amount of liquid cannot be negative")
    if liquid_cm3 >= clearance:
        raise EngineError(
            f"{liquid_cm3:.0f} ml fill the chamber of {clearance:.0f} ml: do not crank, draw the liquid off first"
        )
    return (swept + clearance - liquid_cm3) / (clearance - liquid_cm3)
