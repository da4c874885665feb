"""A reading as a person types or calls it out, turned into an entry body: one grammar for sheet, commands and screens.

Grammar of one field: numbers with the unit after them, repeats side by side; then words. '178', '178 176 psi',
'~150', '150 first 60', 'puffs 60 100 130 150'; for leak-down also '62 % exhaust', '60/80 psi xo' (letters of the air
table), 'n/a'. Words after a ';' are a note.
"""

from __future__ import annotations

import re

from borelog.knowledge.airs import NEXT_HOLE, airs
from borelog.knowledge.procedures import Procedure, procedures
from borelog.logbook.entries import Looked, Reading
from borelog.marks.places import Looked as State
from borelog.quantity import Quantity, QuantityError, absence, parse_pair, parse_repeats, slip_question
from borelog.readings.opened import count_question, opened_tests, size_question, spot_named
from borelog.text import BorelogError, one_line


class TypedError(BorelogError):
    """A reading that cannot be read; the text says how it may be typed."""

    exit_code = 2


def procedure_named(name: str) -> Procedure:
    """The test with this id or label, blanks, dashes and underscores alike.

    Raises
    ------
    TypedError
        If none is called so.
    """
    key = re.sub(r"[\s_-]+", " ", name.strip().lower()).replace("leak down", "leakdown")
    for p in procedures().values():
        label = re.sub(r"[\s_-]+", " ", p.label.lower()).replace("leak down", "leakdown")
        if key in (p.id.replace("_", " "), label):
            return p
    raise TypedError(
        f"no test is called {one_line(name, 40)!r}; tests: {', '.join(p.label for p in procedures().values())}"
    )


def _air_of(words: str) -> tuple[str, ...]:
    """Places of the air table in words ('exhaust, oil filler') or letters ('xo'); 'next hole 4' is 'neighbour:4'."""
    found: list[str] = []
    rest = f" {words.lower()} "
    if at := re.search(
        r"\b(?:n|neighbou?r|next (?:plug )?hole|next cylinder|hole)\s*(?:of|at)?\s*(\d+)\b", rest
    ):
        found.append(f"{NEXT_HOLE}:{at[1]}")
        rest = rest.replace(at[0], " ")
    for air in airs().values():
        for word in sorted(air.words, key=len, reverse=True):
            if re.search(rf"\b{re.escape(word)}\b", rest):
                found.append(air.id)
                rest = re.sub(rf"\b{re.escape(word)}\b", " ", rest)
    for token in re.findall(r"[^\s,]+", rest):
        if token in ("and", "at", "the", "air", "to", "some", "strong", "clear"):
            continue
        letters = {a.letter: a.id for a in airs().values()}
        if not all(c in letters for c in token):
            raise TypedError(
                f"{one_line(token, 30)!r} is no place for air: say "
                + ", ".join(f"{a.words[0]} ({a.letter})" for a in airs().values())
            )
        found += [letters[c] for c in token]
    return tuple(dict.fromkeys(found))


def _split_leak(text: str) -> tuple[str, str]:
    """'62 % exhaust' into ('62 %', 'exhaust')."""
    match = re.match(
        r"^\s*([~<]?\s*[\d.,/\s~<]+(?:psi|kPa|bar|kgf/cm2|kg/cm2|MPa|percent|pct|%)?)\s*(.*)$", text, re.I
    )
    return (match[1].strip(), match[2].strip(" ,;")) if match else (text, "")


def typed_reading(
    test: str,
    cylinder: int | None,
    text: str,
    *,
    default_unit: str | None = None,
    series: str = "",
    part: str = "",
) -> Reading | Looked:
    """The entry body for one typed field.

    Parameters
    ----------
    test
        Id or label of a row of the tests table.
    cylinder
        Cylinder number; None for a test of the whole engine.
    text
        What was typed, kept as it is.
    default_unit
        What a bare number means; the test's own unit if None.

    Returns
    -------
    Reading, or Looked with 'not possible' or 'not looked' for 'n/a', 'not possible: seized', 'not done'.

    Raises
    ------
    TypedError, QuantityError
        For a negative or unreadable value, or a place for air that does not exist.
    """
    procedure = procedure_named(test)
    if procedure.id in opened_tests():
        part = spot_named(procedure.id, part)
    body, _, note = text.partition(";")
    state, why = _absence(body)
    if state:
        return Looked(state=state, cylinder=cylinder, test=procedure.id, why=(why or note).strip())
    unit = default_unit or procedure.unit
    leak = procedure.id.startswith("leakdown")
    puffs: tuple[float, ...] = ()
    air: tuple[str, ...] = ()
    supply = None
    if leak:
        numbers, words = _split_leak(body)
        air = _air_of(words) if words else ()
        if "/" in numbers:
            held, fed = parse_pair(numbers, "psi" if unit == "%" else unit)
            quantities: tuple[Quantity, ...] = (held,)
            supply = fed.to(held.unit)
        else:
            quantities = parse_repeats(numbers, unit)
    else:
        body, puffs_text, first = _puffs(body)
        quantities = parse_repeats(body, unit)
        unit_here = quantities[0].unit
        if puffs_text:
            puffs = tuple(q.to(unit_here) for q in parse_repeats(puffs_text, unit_here))
            if first:
                puffs = (*puffs, quantities[0].value)
    _refuse_impossible(procedure, quantities, text)
    doubts = [
        q
        for q in (
            slip_question(x, procedure.slip) if procedure.slip and not leak and part != "piston" else None
            for x in quantities
        )
        if q
    ]
    return Reading(
        test=procedure.id,
        cylinder=cylinder,
        typed=text.strip(),
        values=tuple(
            q.value if q.unit == quantities[0].unit else q.to(quantities[0].unit) for q in quantities
        ),
        unit=quantities[0].unit,
        about=_about(text),
        puffs=puffs,
        supply=supply,
        air=air,
        part=part,
        series=series,
        doubt=doubts[0] if doubts else _shape_doubt(procedure.id, part, quantities, supply),
        note=note.strip(),
    )


def _about(text: str) -> str:
    stripped = text.strip()
    return stripped[0] if stripped[:1] in ("~", "<") else ""


def _absence(text: str) -> tuple[str, str]:
    """('not possible', 'seized') for 'not possible: seized'; ('', '') for anything else."""
    bare = text.strip()
    head, _, tail = bare.partition(":") if ":" in bare else bare.partition("(")
    word = re.sub(r"[\s_-]+", " ", head.strip().lower())
    if word in ("not possible", "impossible", "cannot"):
        return State.NOT_POSSIBLE, tail.strip(" )")
    if word in ("not done", "not looked", "skipped"):
        return State.NOT_LOOKED, tail.strip(" )")
    absent = absence(bare) if bare else None
    if absent == "not done":
        return State.NOT_LOOKED, ""
    if absent:
        # What was typed is the reason ('seized'), unless it only says again that it could not be done.
        return (
            State.NOT_POSSIBLE,
            absent if absent == "not applicable" else "" if word == "could not" else word,
        )
    return "", ""


def _puffs(text: str) -> tuple[str, str, bool]:
    """Split 'puffs 60 100 150' and '150 first 60' into the final value and the needle's climb."""
    if match := re.match(r"^\s*puffs?\s+(.+)$", text, re.I):
        values = match[1].strip()
        unit = re.search(r"[A-Za-z][A-Za-z/0-9]*\s*$", values)
        called = re.findall(r"\d[\d.,]*", values[: unit.start()] if unit else values)
        if not called:
            raise TypedError(
                f"{one_line(text, 40)!r}: type the needle after each puff, for example puffs 60 100 130 150"
            )
        return f"{called[-1]} {unit[0] if unit else ''}", values, False
    if match := re.match(r"^.*?first(?:\s+puff)?\s+(.+?)[\s,]+last(?:\s+puff)?\s+(.+)$", text, re.I):
        return match[2], match[1], True
    if match := re.match(r"^(.*?)[\s,]+first(?:\s+puff)?\s+(.+)$", text, re.I):
        return match[1], match[2], True
    return text, "", False


def _refuse_impossible(procedure: Procedure, quantities: tuple[Quantity, ...], text: str) -> None:
    for q in quantities:
        if q.value < 0:
            raise TypedError(
                f"{one_line(text, 40)!r}: {procedure.label.lower()} cannot be below zero; type it without a sign"
            )
        if q.unit == "%" and q.value > 100 and procedure.id.startswith("leakdown"):
            raise TypedError(
                f"{one_line(text, 40)!r}: a leak cannot be over 100 %; for gauges type held/supplied, e.g. 60/80 psi"
            )


def _shape_doubt(test: str, part: str, quantities: tuple[Quantity, ...], supply: float | None) -> str:
    """What the shape of a field leaves to be asked: a missing supply, or an odd number of diameters."""
    if test.startswith("leakdown"):
        return _leak_doubt(quantities, supply)
    if test == "crank_current" and max(q.value for q in quantities) > 200:
        return "more than twice the good ones: is that a share in per cent?"
    if test not in opened_tests():
        return ""
    sizes = [q.to("mm") for q in quantities]
    return count_question(test, part, len(quantities)) or size_question(test, part, sizes)


def _leak_doubt(quantities: tuple[Quantity, ...], supply: float | None) -> str:
    if supply is None:
        return "" if quantities[0].unit == "%" else "held pressure without supply: what was fed in?"
    if quantities[0].value > supply:
        return f"{quantities[0].value:g} held of {supply:g} fed in? The order is held/supplied"
    return slip_question(Quantity(supply, quantities[0].unit), "supply") or ""


__all__ = ["QuantityError", "TypedError", "procedure_named", "typed_reading"]
