"""Calculators by name: parameters with units and defaults as typed text, a result as one text and a dictionary."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from borelog.knowledge import tables
from borelog.quantity import (
    NoValue,
    Quantity,
    QuantityError,
    parse,
    parse_pair,
    parse_repeats,
    slip_question,
)
from borelog.readings.errors import ReadingError
from borelog.text import one_line


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter.

    Attributes
    ----------
    name : str
    unit : str
        Unit of a bare number; '' for a plain number. Pressures reach the work in kPa.
    words : str
    default : str or None
        As typed; None means it must be given, '' that it may be left out.
    kind : str
        'number', 'count' (a whole number), 'numbers' (several in one field), 'text' or a choice 'a|b|c'.
    least, most : float
        Bounds of a number in ``unit``; ``least`` itself is allowed unless ``above``.
    above : bool
    slip : str
        Kind of unit slip to ask about (see `borelog.quantity.slip_question`), '' for none.
    """

    name: str
    unit: str = ""
    words: str = ""
    default: str | None = None
    kind: str = "number"
    least: float = 0.0
    most: float = math.inf
    above: bool = False
    slip: str = ""

    @property
    def usage(self) -> str:
        """'bore=mm', 'rod=[mm]', 'law=isentropic|iso6358 (isentropic)'."""
        what = self.unit or ("text" if self.kind == "text" else self.kind)
        what += " ..." if self.kind == "numbers" and self.unit else ""
        if self.default is None:
            return f"{self.name}={what}"
        return f"[{self.name}={what}]" if not self.default else f"{self.name}={what} ({self.default})"


@dataclass(frozen=True, slots=True)
class Calculator:
    """A calculator: ``work`` takes parsed values by name (None for one left out) and returns (text, values)."""

    name: str
    summary: str
    parameters: tuple[Parameter, ...]
    work: Callable[[Mapping[str, Any]], tuple[str, dict[str, Any]]]
    source: str


@dataclass(frozen=True, slots=True)
class Calculated:
    """``text`` for a person, ``values`` with stable keys whose names end in their unit."""

    text: str
    values: dict[str, Any]


@cache
def calculators() -> dict[str, Calculator]:
    """All calculators by name, from the table and the functions of the same names."""
    from borelog.readings import calc_engine, calc_patterns, calc_readings

    work = {**calc_engine.WORK, **calc_readings.WORK, **calc_patterns.WORK}
    return {
        row["name"]: Calculator(
            row["name"],
            row["summary"],
            tuple(Parameter(**p) for p in row["parameters"]),
            work[row["name"]],
            row["source"],
        )
        for row in tables.settings("calculators.toml")["calculator"]
    }


def run(name: str, typed: Mapping[str, str]) -> Calculated:
    """Run a calculator on text as typed ('bore' to '86', '3.4 in').

    Raises
    ------
    ReadingError
        For an unknown calculator or parameter, or one that is missing; the text lists what there is.
    QuantityError
        For a number that cannot be read.
    """
    known = calculators()
    if name not in known:
        near = difflib.get_close_matches(name, known, 3)
        hint = f"did you mean {', '.join(near)}?" if near else f"there are {', '.join(known)}"
        raise ReadingError(f"no calculation {one_line(name, 30)!r}: {hint}")
    calculator = known[name]
    wanted = {p.name: p for p in calculator.parameters}
    for key in typed:
        if key not in wanted:
            raise ReadingError(
                f"{name} has no {one_line(key, 30)!r}: it takes {', '.join(p.usage for p in wanted.values())}"
            )
    typed = _pair_apart(typed, wanted)
    values = {p.name: _value(p, typed.get(p.name, ""), name) for p in wanted.values()}
    text, result = calculator.work(values)
    return Calculated(text, {"calculation": name, **result, "source": calculator.source})


def _value(parameter: Parameter, text: str, name: str) -> Any:
    """The parameter's value; None only where it may be left out and is, or is typed as not there ('-')."""
    missing = ReadingError(f"{name} needs {parameter.usage}: {parameter.words}")
    if not text.strip():
        if parameter.default is None:
            raise missing
        text = parameter.default
    if not text:
        return None
    if parameter.kind == "text":
        return text.strip()
    inside = "kPa" if parameter.unit in ("psi", "hPa") else parameter.unit
    if "|" in parameter.kind:
        choices = parameter.kind.split("|")
        if text.strip().lower() not in choices:
            raise ReadingError(f"{parameter.name}: {one_line(text, 20)!r} is not one of {', '.join(choices)}")
        return text.strip().lower()
    try:
        found = (
            parse_repeats(text, parameter.unit)
            if parameter.kind == "numbers"
            else (parse(_plain(text, parameter.unit), parameter.unit),)
        )
    except NoValue:
        if parameter.default != "":
            raise missing from None
        return None
    except QuantityError as error:
        raise ReadingError(f"{parameter.name}: {error}") from error
    for quantity in found:
        _bounded(parameter, quantity)
    if parameter.kind == "count":
        return round(found[0].value)
    values = tuple(q.to(inside) for q in found)
    return values if parameter.kind == "numbers" else values[0]


def _pair_apart(typed: Mapping[str, str], wanted: Mapping[str, Parameter]) -> Mapping[str, str]:
    """'held=60/80 psi' as held and supply, where a calculation takes both."""
    held = typed.get("held", "")
    if "held" in wanted and "supply" not in wanted:
        return {**typed, "held": re.sub(r"/\s*80\b", "", held)}  # the aviation form writes 75/80
    if "/" not in held or "supply" not in wanted or "supply" in typed:
        return typed
    try:
        one, two = parse_pair(held, "psi")
    except QuantityError as error:
        raise ReadingError(f"held: {error}") from error
    return {**typed, "held": f"{one.value!r} {one.unit}", "supply": f"{two.value!r} {two.unit}"}


def _plain(text: str, unit: str) -> str:
    """One number without what people write into it: '10.5:1', '151 300 km'."""
    if unit == ":1":
        return re.sub(r"\s*:\s*1\s*$", "", text)
    if unit in ("km", "m"):
        return re.sub(r"(?<=\d) (?=\d{3}(?:\D|$))", "", text)
    return text


def _bounded(parameter: Parameter, quantity: Quantity) -> None:
    """Refuse a number that cannot be meant, saying what can."""
    value = quantity.to(parameter.unit)
    unit = "" if parameter.unit == ":1" else f" {parameter.unit}".rstrip()
    low, high = parameter.least, parameter.most
    shown = one_line(quantity.typed, 20) or f"{quantity.value:g}"
    if not math.isfinite(value) or value < low or value > high or (parameter.above and value <= low):
        span = (
            f"above {low:g}, up to {high:g}{unit}"
            if parameter.above and math.isfinite(high)
            else f"from {low:g} to {high:g}{unit}"
            if math.isfinite(low) and math.isfinite(high)
            else f"above {low:g}{unit}"
            if parameter.above
            else f"{low:g}{unit} or more"
        )
        raise ReadingError(f"{parameter.name}: {shown} cannot be; type a number {span}")
    if parameter.kind == "count" and value != round(value):
        raise ReadingError(f"{parameter.name}: {shown} is no whole number")
    question = slip_question(quantity, parameter.slip) if parameter.slip else None
    if question:
        raise ReadingError(f"{parameter.name}: {question}; type the unit behind the number")
