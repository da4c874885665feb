"""How far a pressure gauge can be trusted: class, graduation and repeats, kept apart because they behave
differently.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from borelog.knowledge import tables
from borelog.quantity import Quantity
from borelog.readings.conditions import conditions, read_answer
from borelog.readings.errors import ReadingError
from borelog.text import BorelogError


@dataclass(frozen=True, slots=True)
class Gauge:
    """What is known of a gauge; None is 'not noted' and replaced by the table's assumption, which is then said.

    Attributes
    ----------
    class_percent : float or None
        Accuracy class, per cent of full scale (EN 837-1); the half-width of an error common to all its
        readings.
    full_scale_kpa : float or None
    graduation_kpa : float or None
        Distance of two marks, kPa.
    """

    class_percent: float | None = None
    full_scale_kpa: float | None = None
    graduation_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class Budget:
    """The uncertainty of a set of readings, in kPa.

    Attributes
    ----------
    repeat : tuple of float
        Standard uncertainty of each mean from repeatability, s / sqrt(n).
    fixed : tuple of float
        Standard uncertainty of each from resolution and 'about'.
    dof : float
        Degrees of freedom of the pooled repeatability, inf when it is assumed.
    gain : float
        Half-width of the common relative error of the gauge at the mean reading.
    assumed : tuple of str
        What was not noted and had to be assumed, in words.
    """

    repeat: tuple[float, ...]
    fixed: tuple[float, ...]
    dof: float
    gain: float
    assumed: tuple[str, ...]

    def u(self, index: int) -> float:
        """Combined standard uncertainty of one mean without the common error, kPa."""
        return math.hypot(self.repeat[index], self.fixed[index])


def accuracy() -> dict[str, Any]:
    """The table of assumptions."""
    return tables.settings("gauges.toml")


def resolution_u(graduation: float) -> float:
    """Standard uncertainty of reading to a graduation: d / sqrt(12) (JCGM 100:2008 F.2.2.1), in the unit
    given.
    """
    return graduation / math.sqrt(12)


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within a half-width: a / sqrt(3) (JCGM 100:2008
    4.3.7).
    """
    return half_width / math.sqrt(3)


def pooled_repeatability(repeats: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Pooled standard deviation and its degrees of freedom over groups of repeats; (0, 0) when nothing is
    repeated.
    """
    squares, dof = 0.0, 0
    for group in repeats:
        if len(group) > 1:
            middle = math.fsum(group) / len(group)
            squares += math.fsum((v - middle) ** 2 for v in group)
            dof += len(group) - 1
    return (math.sqrt(squares / dof), float(dof)) if dof else (0.0, 0.0)


def gauge_from(answers: Mapping[str, str]) -> Gauge:
    """The gauge of a compression test from its conditions as typed; answers that cannot be read are left out."""

    def number(name: str, unit: str) -> float | None:
        try:
            answer = read_answer(conditions()[name], answers[name])
        except (KeyError, BorelogError):
            return None
        value = answer.to(unit) if isinstance(answer, Quantity) else None
        return value if value is not None and value > 0 else None

    return Gauge(number("gauge_class", "%"), number("gauge_full_scale", "kPa"), number("graduation", "kPa"))


def budget(
    repeats: Sequence[Sequence[float]],
    gauge: Gauge,
    unit: str,
    about: Sequence[bool] = (),
    widen: float = 1.0,
) -> Budget:
    """Combine class, graduation and repeats for one test.

    Parameters
    ----------
    repeats
        Repeats of each cylinder, kPa, at least one number each.
    gauge
        What is noted of the gauge.
    unit
        Unit the dial was read in, for the assumed graduation.
    about
        True for each cylinder whose reading was typed with '~'.
    widen
        Factor on the repeatability for doubtful conditions, 1 or more.
    """
    if not repeats or any(not group for group in repeats):
        raise ReadingError("no reading to judge: type at least one number for each cylinder tested")
    table = accuracy()["assumed"]
    assumed: list[str] = []
    means = [math.fsum(g) / len(g) for g in repeats]
    level = math.fsum(means) / len(means)
    s, dof = pooled_repeatability(repeats)
    if dof == 0:
        s, dof = level * table["repeat_percent"] / 100, math.inf
        assumed.append(f"no repeats: one cranking to the next taken as {table['repeat_percent']:g} %")
    graduation = gauge.graduation_kpa
    if graduation is None:
        graduation = float(table["graduation_kpa"].get(unit, 10.0))
        assumed.append(f"graduation not noted: read to {Quantity(graduation, 'kPa').in_unit(unit)}")
    class_percent, full_scale = gauge.class_percent, gauge.full_scale_kpa
    if class_percent is None:
        class_percent = table["class_percent"]
        assumed.append(f"gauge class not noted: taken as {class_percent:g} %")
    if full_scale is None:
        full_scale = max(table["full_scale_kpa"], max(means))
        assumed.append(f"full scale not noted: taken as {Quantity(full_scale, 'kPa').in_unit(unit)}")
    typed_about = list(about) or [False] * len(means)
    fixed = tuple(
        math.hypot(
            resolution_u(graduation), rectangular_u(m * table["about_percent"] / 100) if loose else 0.0
        )
        for m, loose in zip(means, typed_about, strict=True)
    )
    repeat = tuple(widen * s / math.sqrt(len(g)) for g in repeats)
    gain = min(0.5, class_percent / 100 * full_scale / level) if level > 0 else 0.0
    return Budget(repeat, fixed, dof, gain, tuple(assumed))
