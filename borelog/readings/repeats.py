"""Repeats of one reading: the one figure that is judged, shown and handed over."""

from __future__ import annotations

import math
from collections.abc import Sequence


def counted(values: Sequence[float]) -> float:
    """The figure that counts of the repeats of a reading: their mean, in their unit.

    The mean, because the uncertainty of the judging is that of a mean (JCGM 100:2008, 4.2.1).

    >>> counted((11.2, 11.4, 11.9))
    11.5

    Raises
    ------
    ValueError
        With no value at all.
    """
    if not values:
        raise ValueError("a reading without a value has no figure; look at what was typed")
    return math.fsum(values) / len(values)
