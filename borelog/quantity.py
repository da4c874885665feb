"""A number with its unit, as typed; the grammar by which a person types one; and the question a slip
deserves.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from borelog.text import BorelogError, one_line


class QuantityError(BorelogError):
    """A number that cannot be read; the text says what to type instead."""

    exit_code = 4


class Ambiguous(QuantityError):
    """A number that can be read in two ways: ``choices`` are the two readings, in ``unit``."""

    def __init__(self, message: str, choices: tuple[float, ...], unit: str) -> None:
        super().__init__(message)
        self.choices = choices
        self.unit = unit


class NoValue(QuantityError):
    """A deliberate blank, not a number: ``state`` is 'not applicable', 'not done' or 'not possible'."""

    def __init__(self, state: str) -> None:
        super().__init__(f"there is no number here: {state}")
        self.state = state


# unit -> (dimension, factor, offset): base = value * factor + offset. Bases: kPa (gauge), mm, ml, s, A, V,
# rpm, degC, l/min, km, %, deg, Nm, mm2, ohm, g, kW. Factors are the exact definitions of BIPM SI Brochure
# (2019) and NIST SP 811 app. B (psi, inHg and mmHg are the conventional rounded values printed there).
_UNITS: dict[str, tuple[str, float, float]] = {
    "kPa": ("pressure", 1.0, 0.0),
    "Pa": ("pressure", 1e-3, 0.0),
    "hPa": ("pressure", 0.1, 0.0),
    "MPa": ("pressure", 1e3, 0.0),
    "bar": ("pressure", 100.0, 0.0),
    "mbar": ("pressure", 0.1, 0.0),
    "psi": ("pressure", 6.894757293168361, 0.0),
    "kgf/cm2": ("pressure", 98.0665, 0.0),
    "atm": ("pressure", 101.325, 0.0),
    "inHg": ("pressure", 3.386389, 0.0),
    "mmHg": ("pressure", 0.133322387415, 0.0),
    "mm": ("length", 1.0, 0.0),
    "cm": ("length", 10.0, 0.0),
    "m": ("length", 1000.0, 0.0),
    "um": ("length", 1e-3, 0.0),
    "in": ("length", 25.4, 0.0),
    "thou": ("length", 0.0254, 0.0),
    "ft": ("length", 304.8, 0.0),
    "km": ("distance", 1.0, 0.0),
    "mi": ("distance", 1.609344, 0.0),
    "ml": ("volume", 1.0, 0.0),
    "l": ("volume", 1000.0, 0.0),
    "in3": ("volume", 16.387064, 0.0),
    "floz": ("volume", 29.5735295625, 0.0),
    "tbsp": ("volume", 14.78676478125, 0.0),
    "tsp": ("volume", 4.92892159375, 0.0),
    "s": ("time", 1.0, 0.0),
    "ms": ("time", 1e-3, 0.0),
    "us": ("time", 1e-6, 0.0),
    "min": ("time", 60.0, 0.0),
    "h": ("time", 3600.0, 0.0),
    "A": ("current", 1.0, 0.0),
    "mA": ("current", 1e-3, 0.0),
    "V": ("voltage", 1.0, 0.0),
    "mV": ("voltage", 1e-3, 0.0),
    "ohm": ("resistance", 1.0, 0.0),
    "kohm": ("resistance", 1e3, 0.0),
    "rpm": ("speed", 1.0, 0.0),
    "degC": ("temperature", 1.0, 0.0),
    "degF": ("temperature", 5.0 / 9.0, -160.0 / 9.0),
    "K": ("temperature", 1.0, -273.15),
    "l/min": ("flow", 1.0, 0.0),
    "cfm": ("flow", 28.316846592, 0.0),
    "%": ("ratio", 1.0, 0.0),
    ":1": ("plain", 1.0, 0.0),
    "": ("plain", 1.0, 0.0),
    "deg": ("angle", 1.0, 0.0),
    "Nm": ("torque", 1.0, 0.0),
    "lbft": ("torque", 1.3558179483314, 0.0),
    "mm2": ("area", 1.0, 0.0),
    "in2": ("area", 645.16, 0.0),
    "g": ("mass", 1.0, 0.0),
    "kg": ("mass", 1000.0, 0.0),
    "pulses": ("count", 1.0, 0.0),
}

# Other spellings a person types, in lower case without blanks.
_SPELLINGS: dict[str, str] = {
    **{unit.lower(): unit for unit in _UNITS if unit not in ("mA", "mV")},
    "ma": "mA",
    "mv": "mV",
    "kpag": "kPa",
    "barg": "bar",
    "bars": "bar",
    "psig": "psi",
    "lb/in2": "psi",
    "lbf/in2": "psi",
    "kg/cm2": "kgf/cm2",
    "kp/cm2": "kgf/cm2",
    "at": "kgf/cm2",
    "kgcm2": "kgf/cm2",
    '"hg': "inHg",
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "feet": "ft",
    "metre": "m",
    "metres": "m",
    "meters": "m",
    "micron": "um",
    "microns": "um",
    "mil": "thou",
    "mils": "thou",
    "mile": "mi",
    "miles": "mi",
    "cc": "ml",
    "cm3": "ml",
    "litre": "l",
    "litres": "l",
    "liter": "l",
    "liters": "l",
    "cuin": "in3",
    "ci": "in3",
    "cid": "in3",
    "oz": "floz",
    "tablespoon": "tbsp",
    "tablespoons": "tbsp",
    "teaspoon": "tsp",
    "teaspoons": "tsp",
    "sec": "s",
    "amp": "A",
    "amps": "A",
    "volt": "V",
    "volts": "V",
    "ω": "ohm",
    "ohms": "ohm",
    "kω": "kohm",
    "r/min": "rpm",
    "1/min": "rpm",
    "c": "degC",
    "°c": "degC",
    "f": "degF",
    "°f": "degF",
    "lpm": "l/min",
    "percent": "%",
    "pct": "%",
    "°": "deg",
    "degrees": "deg",
    "n·m": "Nm",
    "n.m": "Nm",
    "ft-lb": "lbft",
    "ftlb": "lbft",
    "lb-ft": "lbft",
    "lbf-ft": "lbft",
    "pulse": "pulses",
    "puffs": "pulses",
    "strokes": "pulses",
    "min-1": "rpm",
}

_ABSENT = {
    "n/a": "not applicable",
    "na": "not applicable",
    "not applicable": "not applicable",
    "-": "not done",
    "--": "not done",
    "not done": "not done",
    "not possible": "not possible",
    "could not": "not possible",
    "seized": "not possible",
}

_ABSOLUTE = {"psia", "bara", "kpaa"}
_LONGEST = 20
_TOKEN = re.compile(
    r"""\s*(?P<mark>[~≈<>])?\s*
        (?P<sign>[-+−])?
        (?:(?P<whole>[0-9]+)\s+(?=[0-9]+/[0-9]))?
        (?P<number>[0-9]+/[0-9]+|[0-9]+(?:[.,'\u2019][0-9]+)*|[.,][0-9]+)
        \s*(?P<unit>[^\s0-9~≈<>;,+\-]+(?:[23](?![0-9.,])|-lb|-ft|-1)?)?""",
    re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number, its unit and the characters it was typed with.

    Attributes
    ----------
    value : float
        In ``unit``.
    unit : str
        A key of the unit table; pressures are gauge pressures unless a function says absolute.
    typed : str
        What the person typed, cleaned; '' for a computed number.
    mark : str
        '~' about, '<' below what can be seen, '>' above what can be shown, '' plain.

    Examples
    --------
    >>> round(Quantity(11.0, "bar").to("psi"), 1)
    159.5
    """

    value: float
    unit: str
    typed: str = ""
    mark: str = ""

    @property
    def dimension(self) -> str:
        """'pressure', 'length', ... as named in the unit table."""
        return dimension_of(self.unit)

    def to(self, unit: str) -> float:
        """The value in another unit of the same dimension; `QuantityError` otherwise."""
        here, factor, offset = _unit_row(self.unit)
        there, other, shift = _unit_row(unit)
        if here != there:
            raise QuantityError(f"{self.unit} is a {here}, {unit} a {there}: type a unit of {there}")
        if self.unit == unit:
            return self.value
        return (self.value * factor + offset - shift) / other

    def in_unit(self, unit: str) -> Quantity:
        """The same quantity in another unit, still carrying what was typed."""
        return Quantity(self.to(unit), unit, self.typed, self.mark)

    def __str__(self) -> str:
        return f"{self.mark}{plain_number(self.value)} {self.unit}".rstrip()


def plain_number(value: float, digits: int = 4) -> str:
    """A number as a person writes it: up to ``digits`` significant digits, integers whole, no exponent."""
    if not math.isfinite(value):
        return str(value)
    if value == 0 or abs(value) >= 10 ** (digits - 1):
        return str(round(value))
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def units_of(dimension: str) -> tuple[str, ...]:
    """All units of a dimension, in table order."""
    return tuple(u for u, (d, _, _) in _UNITS.items() if d == dimension)


def dimension_of(unit: str) -> str:
    """The dimension of a unit; `QuantityError` for text that is no unit."""
    return _unit_row(unit)[0]


def _unit_row(unit: str) -> tuple[str, float, float]:
    try:
        return _UNITS[unit]
    except KeyError:
        return _UNITS[unit_named(unit)]


def unit_named(text: str) -> str:
    """The table's unit for a spelling such as 'kg/cm²', 'BAR' or '"'; `QuantityError` for letters that are no
    unit.
    """
    if text in _UNITS:
        return text
    key = (
        "".join(text.split()).lower().replace("²", "2").replace("³", "3").replace("µ", "u").replace("μ", "u")
    )
    if key in _ABSOLUTE:
        raise QuantityError(
            f"{one_line(text, 20)!r} is an absolute pressure: type what the gauge shows, in {_SPELLINGS[key[:-1]]}"
        )
    try:
        return _SPELLINGS[key]
    except KeyError:
        shown = one_line(text, 20)
        raise QuantityError(
            f"{shown!r} is no unit known here: type the number alone or with psi, kPa, bar, mm, in, ..."
        ) from None


def absence(text: str) -> str | None:
    """'not applicable', 'not done' or 'not possible' for text that says so, else None."""
    return _ABSENT.get(" ".join(text.lower().split()))


def _number(digits: str, unit: str, typed: str) -> float:
    """One unsigned number; one decimal mark, point or comma; fractions only for lengths."""
    if len(digits) > _LONGEST:
        raise QuantityError(f"{one_line(typed, 24)!r} has more digits than any gauge: type what it shows")
    if "/" in digits:
        if dimension_of(unit) != "length":
            raise QuantityError(f"{typed!r} looks like a fraction or a pair of gauges; here type one number")
        try:
            return float(Fraction(digits))
        except ZeroDivisionError:
            raise QuantityError(f"{typed!r} divides by nothing: type for example 3/8 in") from None
    marks = [c for c in digits if not c.isdigit()]
    if len(marks) > 1:
        raise QuantityError(f"{typed!r} has two decimal marks: type it plainly, for example 1234.5")
    if marks and marks[0] not in ".,":
        raise QuantityError(f"{typed!r}: leave out the {marks[0]} between the digits")
    value = float(digits.replace(",", "."))
    whole, _, part = digits.partition(",")
    if len(part) == 3 and whole.lstrip("0") and len(whole) <= 3:
        large = float(whole + part)
        raise Ambiguous(
            f"{typed!r} can be {value:g} or {large:g}: type {value:g} or {large:.0f}", (value, large), unit
        )
    return value


def _units_for(typed: tuple[str | None, ...], default_unit: str) -> list[str]:
    """The unit of each number: its own, else the next one typed, else the last one typed, else the default."""
    last = next((unit_named(u) for u in reversed(typed) if u is not None), default_unit)
    units: list[str] = []
    for unit in reversed(typed):
        last = unit_named(unit) if unit is not None else last
        units.append(last)
    return units[::-1]


def parse_repeats(text: str, default_unit: str) -> tuple[Quantity, ...]:
    """All numbers in a field: '11.2 11.4 11.3 bar', '150; 148 psi', '~150'.

    A unit typed once holds for all numbers of the field; with none typed they have ``default_unit``. '3/8 in'
    and '3 3/8 in' are lengths. Raises `NoValue` for 'n/a' and the like, `Ambiguous` for '1,100',
    `QuantityError` for anything else that cannot be read. Signs are kept: what may be negative is for the
    caller to say.
    """
    shown = one_line(text, 40)
    state = absence(text)
    if state:
        raise NoValue(state)
    if not text.strip(" \t;\n"):
        raise QuantityError("nothing typed: type a number, or n/a")
    found: list[tuple[str, str, str, str, str, str | None]] = []
    at = 0
    while rest := text[at:].strip(" \t;\n"):
        at = text.index(rest, at)
        match = _TOKEN.match(text, at)
        if match is None or match.end() == at:
            raise QuantityError(
                f"{shown!r} is not a number: type digits, with a unit if you like, as in 150 psi"
            )
        unit = match["unit"]
        found.append(
            (
                match["mark"] or "",
                match["sign"] or "",
                match["whole"] or "",
                match["number"],
                match[0].strip(),
                unit,
            )
        )
        at = match.end()
        if text[at : at + 2] == ", ":
            at += 1
    units = _units_for(tuple(unit for *_, unit in found), default_unit)
    default_dimension = dimension_of(default_unit)
    result: list[Quantity] = []
    for (mark, sign, whole, number, piece, _), unit in zip(found, units, strict=True):
        if dimension_of(unit) != default_dimension:
            raise QuantityError(
                f"{shown!r}: {unit} is no unit of {default_dimension}: type for example {default_unit}"
            )
        value = _number(number, unit, one_line(piece)) + (float(whole) if whole else 0.0)
        typed = one_line(piece) if len(found) > 1 else shown
        result.append(
            Quantity(-value if sign in "-−" and sign else value, unit, typed, "~" if mark == "≈" else mark)
        )
    return tuple(result)


def parse(text: str, default_unit: str) -> Quantity:
    """One number: '12,5', '150 psi', '~150', '3/8 in', '<0.05'; errors as in `parse_repeats`."""
    found = parse_repeats(text, default_unit)
    if len(found) > 1:
        raise QuantityError(f"{one_line(text, 40)!r} holds {len(found)} numbers: type one")
    return found[0]


def parse_pair(text: str, default_unit: str) -> tuple[Quantity, Quantity]:
    """Two gauges of one test, held then supplied: '60/80', '60 / 80 psi', '5.2/5.5 bar'."""
    left, slash, right = text.replace("kgf/cm2", "kgf:cm2").replace("kg/cm2", "kgf:cm2").partition("/")
    if not slash:
        raise QuantityError(
            f"{one_line(text, 40)!r} is no pair of gauges: type held/supplied, for example 60/80 psi"
        )
    supply = parse(right.replace("kgf:cm2", "kgf/cm2"), default_unit)
    return parse(left.replace("kgf:cm2", "kgf/cm2"), supply.unit), supply


# kind -> (unit shown, lowest usual, highest usual, highest possible, units it may have been meant in); all in
# the shown unit. Cranking corridor 90 to 260 psi from published service data; the other rows are common
# practice.
_USUAL: dict[str, tuple[str, float, float, float, tuple[str, ...]]] = {
    "compression": ("psi", 90.0, 260.0, 360.0, ("psi", "kPa", "bar", "kgf/cm2")),
    "supply": ("psi", 40.0, 130.0, 220.0, ("psi", "kPa", "bar", "kgf/cm2")),
    "gap": ("mm", 0.3, 2.0, 5.0, ("mm", "thou", "in")),
    "bore": ("mm", 40.0, 140.0, 200.0, ("mm", "in", "cm")),
    "stroke": ("mm", 35.0, 140.0, 220.0, ("mm", "in", "cm")),
    "wear": ("mm", 0.0, 0.6, 5.0, ("mm", "thou", "um", "in")),
    "oil": ("ml", 2.0, 30.0, 250.0, ("ml", "tbsp", "floz")),
    "battery": ("V", 9.0, 15.0, 30.0, ("V", "mV")),
}


def slip_question(quantity: Quantity, kind: str) -> str | None:
    """The question a likely unit slip deserves, or None.

    ``kind`` is a key of the table of usual ranges ('compression', 'supply', 'gap', 'bore', 'stroke', 'wear',
    'oil', 'battery'). Zero is a reading and never asked about; a low number is asked about only when its unit
    was not typed, and a low compression only when it has decimals too: a dead cylinder is low, bar has
    decimals. The value stays as typed whatever the answer.

    Examples
    --------
    >>> slip_question(Quantity(1100, "psi"), "compression")
    '1100 psi? 1100 kPa is 160 psi'
    """
    shown, low, high, most, meant = _USUAL[kind]
    here = quantity.to(shown)
    unit_typed = any(c.isalpha() or c in '"%°' for c in quantity.typed)
    whole_low = kind == "compression" and quantity.value == round(quantity.value)
    if here == 0 or low <= here <= most or (here < low and (unit_typed or whole_low)):
        return None
    for unit in meant:
        if unit != quantity.unit and low <= Quantity(quantity.value, unit).to(shown) <= high:
            number = plain_number(quantity.value)
            other = plain_number(Quantity(quantity.value, unit).to(quantity.unit), 3)
            return f"{number} {quantity.unit}? {number} {unit} is {other} {quantity.unit}"
    if here > most:
        return f"{quantity}? More than {plain_number(most)} {shown} is not seen here: check the number and its unit"
    return None
