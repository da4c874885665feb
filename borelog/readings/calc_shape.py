"""What the calculators share: the shape of one, local air, and a pressure in two units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from borelog.quantity import plain_number
from borelog.readings import air

Values: TypeAlias = Mapping[str, Any]
Result: TypeAlias = tuple[str, dict[str, Any]]
Work: TypeAlias = Callable[[Values], Result]

KPA_PER_PSI = 6.894757293168361


def local_air(v: Values) -> float:
    """Local air pressure in kPa from the parameters ``altitude`` and ``air``; sea level when neither is given."""
    return air.SEA_LEVEL_KPA * air.air_factor(v["altitude"], v["air"])


def both_units(kpa: float) -> str:
    """'552 kPa (80 psi)'."""
    return f"{plain_number(kpa)} kPa ({plain_number(kpa / KPA_PER_PSI, 4)} psi)"
