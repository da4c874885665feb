"""Places, lengths and numbers as a person types them for a measure or a mark."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from borelog.quantity import QuantityError, parse
from borelog.stills import StillError
from borelog.text import one_line

Options = Mapping[str, str]

_FAR_PX = 70_000
"""No side of a picture that is taken in is as long."""

_PAIR = re.compile(r"(-?\d+(?:\.\d+)?)\s*,\s*(-?\d+(?:\.\d+)?)")


def points(text: str, name: str, least: int = 1) -> list[tuple[float, float]]:
    """'120,80 131.5,84' as points.

    Raises
    ------
    StillError
        If there are fewer than ``least``, or one lies outside every picture there is.
    """
    found = [(float(a), float(b)) for a, b in _PAIR.findall(text)]
    if any(max(abs(x), abs(y)) > _FAR_PX for x, y in found):
        raise StillError(
            f"{name}={one_line(text, 40)!r}: a point lies far outside every picture; type its pixels again"
        )
    if len(found) < least:
        raise StillError(
            f"{name}={one_line(text, 40)!r}: type at least {least} points as x,y with blanks between"
        )
    return found


def without_points(text: str) -> str:
    """What stands in a text beside its points."""
    return " ".join(_PAIR.sub(" ", text).split())


def millimetres(text: str, name: str) -> float:
    """A length as typed, in millimetres; a bare number is millimetres."""
    try:
        return parse(text, "mm").to("mm")
    except QuantityError as error:
        raise StillError(f"{name}: {error}") from error


def number(options: Options, name: str, default: float) -> float:
    """An option that is a number, with either decimal mark; ``default`` where it is not given."""
    if not options.get(name):
        return default
    try:
        value = float(options[name].replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise StillError(f"{name}={one_line(options[name], 20)!r} is no number")
    return value
