"""Cranking compression: what was read, and which of the published rules it keeps - as far as the gauge goes.

Pressures are gauge pressures in kPa inside, shown in the unit they were read in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from borelog.quantity import Quantity, plain_number
from borelog.readings.conditions import Standing
from borelog.readings.errors import ReadingError
from borelog.readings.gauge import Budget, Gauge, accuracy, budget
from borelog.readings.repeats import counted

KINDS = ("dry", "wet", "warm")


@dataclass(frozen=True, slots=True)
class CompressionReading:
    """One cylinder of one series.

    Attributes
    ----------
    cylinder : int
    values_kpa : tuple of float
        Final needle of each repeat, gauge kPa, 0 or more.
    puffs_kpa : tuple of float
        Needle after each pulse where it was called out, kPa; first and last suffice.
    about : bool
        Typed with '~'.
    doubt : str
        The question a likely slip raised, '' for none; a doubtful reading is shown and not judged.
    """

    cylinder: int
    values_kpa: tuple[float, ...]
    puffs_kpa: tuple[float, ...] = ()
    about: bool = False
    doubt: str = ""

    @property
    def mean_kpa(self) -> float:
        """Mean of the repeats, kPa."""
        return counted(self.values_kpa)


@dataclass(frozen=True, slots=True)
class CompressionTest:
    """One session of a test.

    ``kind`` is 'dry', 'wet' or 'warm'; ``unit`` the unit of the dial; ``order`` the cylinders in the order
    tested (empty: as entered is not known); ``oil_ml`` only for a wet test; ``series`` tells a re-test from
    the first.
    """

    kind: str
    readings: tuple[CompressionReading, ...]
    unit: str = "psi"
    gauge: Gauge = field(default_factory=Gauge)
    standing: Standing | None = None
    order: tuple[int, ...] = ()
    oil_ml: float | None = None
    series: str = ""

    def reading(self, cylinder: int) -> CompressionReading | None:
        """The reading of a cylinder, None when it was not tested."""
        return next((r for r in self.readings if r.cylinder == cylinder), None)


def make_test(
    kind: str,
    readings: Sequence[CompressionReading],
    unit: str = "psi",
    gauge: Gauge | None = None,
    **rest: object,
) -> CompressionTest:
    """A checked test: known kind, each cylinder once, no negative and no endless number.

    Raises
    ------
    ReadingError
        Naming the cylinder and the repair.
    """
    if kind not in KINDS:
        raise ReadingError(f"{kind!r} is no kind of compression test: choose {', '.join(KINDS)}")
    seen: set[int] = set()
    for r in readings:
        if r.cylinder in seen:
            raise ReadingError(
                f"cylinder {r.cylinder} is there twice in one series: enter repeats in one field"
            )
        seen.add(r.cylinder)
        if not r.values_kpa:
            raise ReadingError(f"cylinder {r.cylinder} has no number: type one, or leave the cylinder out")
        for value in (*r.values_kpa, *r.puffs_kpa):
            if not math.isfinite(value) or value < 0:
                raise ReadingError(
                    f"cylinder {r.cylinder}: a compression gauge does not read {value:g}: type 0 or more"
                )
    return CompressionTest(kind, tuple(readings), unit, gauge or Gauge(), **rest)  # type: ignore[arg-type]


def reading_from(
    cylinder: int, typed: Sequence[Quantity], puffs: Sequence[Quantity] = (), doubt: str = ""
) -> CompressionReading:
    """A reading from parsed quantities in any pressure unit."""
    return CompressionReading(
        cylinder,
        tuple(q.to("kPa") for q in typed),
        tuple(q.to("kPa") for q in puffs),
        any(q.mark == "~" for q in typed),
        doubt,
    )


@dataclass(frozen=True, slots=True)
class Compared:
    """One cylinder against the others; ratios are None where the others give no yardstick.

    ``to_highest`` is against the highest of all, ``to_middle`` against the median of the *other* cylinders.
    """

    cylinder: int
    mean_kpa: float
    u_kpa: float
    to_highest: float | None
    to_middle: float | None


def compare(test: CompressionTest) -> tuple[Compared, ...]:
    """Every undoubted cylinder against the highest and against the middle of the rest, in the order of the readings.

    With a pair of cylinders the yardstick of each is the other; a single cylinder has none.
    """
    used = [r for r in test.readings if not r.doubt]
    if not used:
        return ()
    sums = budget_of(test)
    means = [r.mean_kpa for r in used]
    top = max(means)
    result = []
    for i, r in enumerate(used):
        others = means[:i] + means[i + 1 :]
        middle = median(others) if others else 0.0
        result.append(
            Compared(
                r.cylinder,
                means[i],
                sums.u(i),
                means[i] / top if top > 0 and others else None,
                means[i] / middle if middle > 0 else None,
            )
        )
    return tuple(result)


def budget_of(test: CompressionTest) -> Budget:
    """The uncertainty of the undoubted readings of a test, widened where conditions touch single readings."""
    used = [r for r in test.readings if not r.doubt]
    return budget(
        [r.values_kpa for r in used], test.gauge, test.unit, [r.about for r in used], widening(test.standing)
    )


def widening(standing: Standing | None) -> float:
    """Factor on repeatability for what was not as it should be; blanks do not count."""
    if standing is None:
        return 1.0
    table = accuracy()["weaker"]
    states = {a.state for a in standing.appraisals if {"spread", "drift"} & set(a.condition.effect)}
    return float(
        table["spoiled"] if "not met" in states else table["doubtful"] if "doubtful" in states else 1.0
    )


@dataclass(frozen=True, slots=True)
class RepeatCheck:
    """Repeats of one cylinder: ``agree`` False when they contradict, with the words to show."""

    cylinder: int
    spread_kpa: float
    agree: bool
    words: str


# Repeats that differ by more than this share of their mean contradict each other; common practice.
CONTRADICT = 0.10


def check_repeats(test: CompressionTest) -> tuple[RepeatCheck, ...]:
    """Whether repeats of a cylinder stand together (within 10 % of their mean, common practice)."""
    result = []
    for r in test.readings:
        if len(r.values_kpa) < 2:
            continue
        spread = max(r.values_kpa) - min(r.values_kpa)
        agree = spread <= CONTRADICT * r.mean_kpa or spread == 0
        shown = " ".join(plain_number(Quantity(v, "kPa").to(test.unit)) for v in r.values_kpa)
        words = f"cylinder {r.cylinder}: {shown} {test.unit}"
        words += " repeat" if agree else " contradict each other: check gauge seat and cranking, and repeat"
        result.append(RepeatCheck(r.cylinder, spread, agree, words))
    return tuple(result)
