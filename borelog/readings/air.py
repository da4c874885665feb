"""The air a cylinder draws: standard atmosphere, what altitude does to a gauge, and the expected cranking pressure.

Standard atmosphere: ISO 2533:1975 (same as ICAO Doc 7488 below 32 km), troposphere, geopotential height.
Pressures in kPa; gauge means above local air pressure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from borelog.engine.engine import Engine
from borelog.engine.geometry import USUAL_ROD_RATIO, dynamic_ratio
from borelog.readings.errors import ReadingError

SEA_LEVEL_KPA = 101.325
_T0, _LAPSE, _G0, _R = 288.15, 0.0065, 9.80665, 287.05287
_EXPONENT = _G0 / (_R * _LAPSE)

# Cranking loses heat and charge, so the exponent stays under the 1.4 of still air; from published car
# figures.
LOW_EXPONENT, HIGH_EXPONENT = 1.15, 1.30


def _check_height(height_m: float) -> None:
    if not -1000 <= height_m <= 11000:
        raise ReadingError(
            f"{height_m:g} m is outside the lower atmosphere: type an altitude from -1000 to 11000 m"
        )


def isa_temperature(height_m: float) -> float:
    """Temperature of the standard atmosphere, K, at a geopotential height in m (-1000 to 11000)."""
    _check_height(height_m)
    return _T0 - _LAPSE * height_m


def isa_pressure(height_m: float) -> float:
    """Pressure of the standard atmosphere, kPa: p0 (T/T0)^(g/(R L))."""
    return SEA_LEVEL_KPA * pressure_ratio(height_m)


def pressure_ratio(height_m: float) -> float:
    """p / p0 of the standard atmosphere: the factor on a cranking gauge reading."""
    return math.pow(isa_temperature(height_m) / _T0, _EXPONENT)


def density_ratio(height_m: float) -> float:
    """rho / rho0 of the standard atmosphere: what the common service table prints instead."""
    return math.pow(isa_temperature(height_m) / _T0, _EXPONENT - 1)


def sound_speed(height_m: float) -> float:
    """Speed of sound in the standard atmosphere, m/s."""
    return math.sqrt(1.4 * _R * isa_temperature(height_m))


def geopotential(height_m: float) -> float:
    """Geopotential height of a geometric one, m, with the nominal earth radius 6 356 766 m of ISO 2533."""
    return height_m * 6356766.0 / (6356766.0 + height_m)


def air_factor(altitude_m: float | None = None, air_pressure_kpa: float | None = None) -> float:
    """Local air pressure over that at sea level; the day's station pressure counts before the altitude.

    Raises
    ------
    ReadingError
        For an air pressure that no place on earth has.
    """
    if air_pressure_kpa is not None:
        if not 30 <= air_pressure_kpa <= 110:
            raise ReadingError(
                f"{air_pressure_kpa:g} kPa is no air pressure of a place: type 300 to 1100 hPa"
            )
        return air_pressure_kpa / SEA_LEVEL_KPA
    return pressure_ratio(altitude_m or 0.0)


def at_sea_level(
    reading_kpa: float, altitude_m: float | None = None, air_pressure_kpa: float | None = None
) -> float:
    """What a cranking gauge would have read at sea level, kPa.

    Absolute end pressure is local pressure times a factor of the engine alone, so the gauge reading scales
    with local pressure whatever ratio and exponent; every comparison between cylinders stays as it is.
    """
    return reading_kpa / air_factor(altitude_m, air_pressure_kpa)


WHY_NOT_THE_TABLE = (
    "The table printed in service literature follows air density (0.862 at 5000 ft); a cranking gauge follows air "
    "pressure (0.832 there). Its 500 ft rows come from a third, straight-line table."
)


def end_pressure(ratio: float, exponent: float, air_kpa: float = SEA_LEVEL_KPA) -> float:
    """Gauge pressure, kPa, after polytropic compression from local air pressure: p (r^n - 1)."""
    if not ratio >= 1 or not 1 <= exponent <= 1.4:
        raise ReadingError("needs a ratio of 1 or more and an exponent from 1 to 1.4")
    return air_kpa * (math.pow(ratio, exponent) - 1)


@dataclass(frozen=True, slots=True)
class Band:
    """Expected cranking pressure, gauge kPa: context only, never a limit and never a sign.

    ``low`` and ``high`` bound it; ``ratio_low`` and ``ratio_high`` are the compression ratios used at the two
    ends; ``assumed`` says what was not known.
    """

    low: float
    high: float
    ratio_low: float
    ratio_high: float
    assumed: tuple[str, ...]


# Intake closing of car engines when not known, degrees after bottom dead centre; common practice.
USUAL_CLOSING = (35.0, 65.0)


def expected_band(engine: Engine) -> Band | None:
    """The band for an engine whose compression ratio is known, else None.

    Exponent 1.15 to 1.30; the ratio counts from intake closing where known, else over the usual closings;
    local air pressure or altitude where known, else sea level. Not for boosted figures: cranking knows no
    boost.
    """
    ratio = engine.compression_ratio
    if ratio is None:
        return None
    assumed: list[str] = []
    rod_ratio = USUAL_ROD_RATIO
    if engine.rod_mm and engine.stroke_mm:
        rod_ratio = engine.rod_mm / (engine.stroke_mm / 2)
    else:
        assumed.append(f"rod taken as {USUAL_ROD_RATIO:g} crank radii")
    early, late = USUAL_CLOSING
    if engine.intake_closing_deg is not None:
        early = late = engine.intake_closing_deg
    else:
        assumed.append(f"intake closing not known: {early:g} to {late:g} degrees after bottom")
    if engine.air_pressure_kpa is None and engine.altitude_m is None:
        assumed.append("altitude not known: sea level")
    air = SEA_LEVEL_KPA * air_factor(engine.altitude_m, engine.air_pressure_kpa)
    low, high = dynamic_ratio(ratio, late, rod_ratio), dynamic_ratio(ratio, early, rod_ratio)
    return Band(
        end_pressure(low, LOW_EXPONENT, air),
        end_pressure(high, HIGH_EXPONENT, air),
        low,
        high,
        tuple(assumed),
    )
