"""A leak-down tester as two orifices in a row: its own, and the leak. From that, what another tester would have shown.

Air flows from the supply through the tester's orifice into the cylinder and from there through the leak to
the open air; in the steady state both flows are equal. Both orifices are given the same discharge
coefficient, and the supply is the pressure read while the cylinder leaks. Pressures are gauge kPa unless a
name says absolute; diameters mm; areas mm2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from borelog.readings.air import SEA_LEVEL_KPA
from borelog.readings.errors import ReadingError

GAMMA = 1.4
R_AIR = 287.05287
# ISO 6358 reference: 100 kPa, 20 C, 65 % humidity; density kg/m3 (from memory).
ANR_DENSITY = 1.185
# ISO 6358 critical ratio of a short orifice (journal paper 2017: may be taken as 0.5).
SHORT_ORIFICE_B = 0.5
LAWS = ("isentropic", "iso6358")

INCH_40 = 0.040 * 25.4
INCH_60 = 0.060 * 25.4
FAA_SUPPLY_KPA = 80 * 6.894757293168361


def critical_ratio(gamma: float = GAMMA) -> float:
    """p*/p0 at which an orifice chokes; 0.5283 for air (NACA Report 1135)."""
    return math.pow(2 / (gamma + 1), gamma / (gamma - 1))


def flow_function(ratio: float, gamma: float = GAMMA) -> float:
    """psi(r), dimensionless: mass flow is psi A p0 / sqrt(R T0).

    Parameters
    ----------
    ratio
        Downstream over upstream absolute pressure, 0 to 1; below the critical ratio the flow is choked.
    """
    if not 0 <= ratio <= 1:
        raise ReadingError(f"a pressure ratio lies between 0 and 1, not {ratio:g}")
    r = max(ratio, critical_ratio(gamma))
    return math.sqrt(
        max(0.0, 2 * gamma / (gamma - 1) * (math.pow(r, 2 / gamma) - math.pow(r, (gamma + 1) / gamma)))
    )


def iso_flow_function(ratio: float, b: float = SHORT_ORIFICE_B) -> float:
    """Flow over choked flow after ISO 6358: 1 up to b, then sqrt(1 - ((r - b)/(1 - b))^2)."""
    if not 0 <= ratio <= 1:
        raise ReadingError(f"a pressure ratio lies between 0 and 1, not {ratio:g}")
    return 1.0 if ratio <= b else math.sqrt(1 - ((ratio - b) / (1 - b)) ** 2)


def _share(ratio: float, law: str) -> float:
    if law == "isentropic":
        return flow_function(ratio)
    if law == "iso6358":
        return iso_flow_function(ratio)
    raise ReadingError(f"{law!r} is no flow law: choose {', '.join(LAWS)}")


def _check(supply: float, air: float) -> None:
    if not (math.isfinite(supply) and supply > 0):
        raise ReadingError(
            f"the supply must be above 0, not {supply:g}: a per cent without a supply says nothing"
        )
    if not 30 <= air <= 110:
        raise ReadingError(f"{air:g} kPa is no air pressure of a place")


def leak_over_orifice(
    held: float, supply: float, air: float = SEA_LEVEL_KPA, law: str = "isentropic"
) -> float:
    """Effective leak area over tester-orifice area, from the two gauges (kPa gauge, supply read while leaking).

    Returns
    -------
    float
        k, 0 for a perfect seal, inf when nothing is held.
    """
    _check(supply, air)
    if not 0 <= held <= supply:
        raise ReadingError(
            f"{held:g} kPa held of {supply:g} kPa: a cylinder holds between nothing and the whole supply"
        )
    if held == 0:
        return math.inf
    up, middle = supply + air, held + air
    return up * _share(middle / up, law) / (middle * _share(air / middle, law))


def held_for(k: float, supply: float, air: float = SEA_LEVEL_KPA, law: str = "isentropic") -> float:
    """The gauge reading, kPa, of a leak ``k`` times the tester's orifice at a supply; inverse of
    `leak_over_orifice`.
    """
    _check(supply, air)
    if k < 0 or math.isnan(k):
        raise ReadingError("a leak area cannot be negative")
    if k == 0 or math.isinf(k):
        return supply if k == 0 else 0.0
    low, high = 0.0, supply
    for _ in range(100):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if leak_over_orifice(middle, supply, air, law) > k:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def mass_flow(
    area_mm2: float, upstream_abs_kpa: float, downstream_abs_kpa: float, temperature_k: float = 293.15
) -> float:
    """Mass flow of air through an ideal orifice (discharge coefficient 1), g/s; absolute kPa."""
    share = flow_function(min(1.0, downstream_abs_kpa / upstream_abs_kpa))
    return area_mm2 * 1e-6 * upstream_abs_kpa * 1e3 * share / math.sqrt(R_AIR * temperature_k) * 1e3


def flow_anr(grams_per_second: float) -> float:
    """Flow in l/min ANR (ISO 6358 reference air) of a mass flow in g/s."""
    return grams_per_second / ANR_DENSITY * 60


def sonic_conductance(area_mm2: float, temperature_k: float = 293.15) -> float:
    """C of ISO 6358 for an ideal orifice, dm3/(s bar): choked volume flow of reference air per upstream bar."""
    return mass_flow(area_mm2, 100.0, 0.0, temperature_k) / ANR_DENSITY


@dataclass(frozen=True, slots=True)
class Tester:
    """A tester: orifice diameter in mm and supply in gauge kPa."""

    orifice_mm: float
    supply_kpa: float

    @property
    def area_mm2(self) -> float:
        """Area of its orifice."""
        return math.pi / 4 * self.orifice_mm**2

    @property
    def name(self) -> str:
        """'0.040 in at 80 psi'."""
        return f"{self.orifice_mm / 25.4:.3f} in at {self.supply_kpa / 6.894757293168361:.0f} psi"


REFERENCE = Tester(INCH_40, FAA_SUPPLY_KPA)


@dataclass(frozen=True, slots=True)
class Leak:
    """A leak freed of its tester.

    ``over_orifice`` k; ``area_mm2`` effective area (discharge coefficient as the tester's); ``hole_mm`` the
    round hole of that area; ``flow_l_min`` air through it, l/min ANR, ideal; ``choked`` whether leak and
    tester orifice are choked; ``other_law_kpa`` how far the ISO 6358 flow law puts the same leak's reading
    away, kPa.
    """

    over_orifice: float
    area_mm2: float
    hole_mm: float
    flow_l_min: float
    choked: tuple[bool, bool]
    other_law_kpa: float


def leak_of(held: float, tester: Tester, air: float = SEA_LEVEL_KPA, temperature_k: float = 293.15) -> Leak:
    """The leak behind a reading on a known tester (kPa gauge); `ReadingError` when nothing is held.

    A held pressure of nothing only says that the leak is large: the model has no number for it.
    """
    if held <= 0:
        raise ReadingError(
            "nothing is held: the leak is too large for this tester to size, or a valve stands open"
        )
    if tester.orifice_mm <= 0:
        raise ReadingError(
            "the tester's orifice must be above 0: look it up, or measure it with a drill shank"
        )
    k = leak_over_orifice(held, tester.supply_kpa, air)
    up, middle = tester.supply_kpa + air, held + air
    critical = critical_ratio()
    area = k * tester.area_mm2
    flow = flow_anr(mass_flow(area, middle, air, temperature_k))
    other = held_for(k, tester.supply_kpa, air, "iso6358") - held
    return Leak(
        k,
        area,
        tester.orifice_mm * math.sqrt(k),
        flow,
        (air / middle <= critical, middle / up <= critical),
        other,
    )


def convert(
    held: float, tester: Tester, other: Tester, air: float = SEA_LEVEL_KPA, other_air: float | None = None
) -> float:
    """What ``other`` would have shown of the same leak, kPa gauge.

    Equal discharge coefficients are assumed for tester orifice and leak; ``air`` and ``other_air`` are local
    pressures.
    """
    there = air if other_air is None else other_air
    if held <= 0:
        return 0.0
    area = leak_of(held, tester, air).area_mm2
    return held_for(area / other.area_mm2, other.supply_kpa, there)
