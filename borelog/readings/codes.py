"""Trouble codes out of any pasted text: checked, split into families by arithmetic, tied to a cylinder, bank or sensor.

Shape and origin follow SAE J2012 / ISO 15031-6. Circuit, sensor and heater codes carry no mechanical weight.
A coil letter is not a cylinder number. The first digit alone does not say who defined a code: P2 is ISO/SAE,
P3 is shared.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from borelog.engine.engine import Engine
from borelog.knowledge import tables
from borelog.readings.errors import ReadingError
from borelog.text import one_line

_SHAPE = re.compile(r"[PCBU][0-3][0-9A-F]{3}")
_LIKE = re.compile(r"(?<![A-Za-z0-9])([PCBUpcbu][0-9A-Za-z]{3,5})(?![A-Za-z0-9])")
_SYSTEMS = {"P": "powertrain", "C": "chassis", "B": "body", "U": "network"}
_STATUS = ("pending", "permanent", "stored", "history", "confirmed", "current", "intermittent")

# weights that speak about mechanics; every other weight says why not
MECHANICAL = (
    "misfire",
    "contribution",
    "compression",
    "timing",
    "phasing",
    "knock",
    "heat",
    "oil",
    "contact",
    "mixture",
)

_WHY_NOT = {
    "circuit": "a wiring or driver code: no mechanical weight",
    "sensor": "a sensor code: no mechanical weight",
    "heater": "a heater code: no mechanical weight",
    "fuel": "fuel supply, not the engine's mechanics",
    "consequence": "a consequence, not a cause",
    "commanded": "commanded by the control unit",
    "none": "no mechanical weight",
    "": "meaning not in the table: no weight",
}


@dataclass(frozen=True, slots=True)
class Family:
    """A row of the code table: ``count`` codes from ``first`` on, ``step`` apart, in decimal or hexadecimal
    digits.
    """

    id: str
    first: str
    count: int
    step: int
    base: int
    counts: str
    meaning: str
    names: str
    weight: str
    item: str
    state: str
    source: str
    note: str

    def code(self, index: int) -> str:
        """The code of member ``index`` (0 based)."""
        if not 0 <= index < self.count:
            raise ReadingError(f"family {self.id} has {self.count} codes, not one numbered {index + 1}")
        value = int(self.first[1:], self.base) + index * self.step
        return f"{self.first[0]}{value:04d}" if self.base == 10 else f"{self.first[0]}{value:04X}"


@dataclass(frozen=True, slots=True)
class Code:
    """One code found.

    Attributes
    ----------
    code, typed : str
        In capitals; as it stood in the text.
    system, origin : str
        'powertrain', 'chassis', 'body', 'network'; 'ISO/SAE', 'maker', 'shared' or 'reserved'.
    meaning : str
        In own words; '' when the table does not have it.
    cylinder, bank : int or None
    coil : str
        Coil letter, '' otherwise.
    weight : str
        What it speaks about, see `MECHANICAL`; '' when not known.
    item, state : str
        Sign it gives, '' for none.
    status : str
        'pending', 'permanent' ... where the line said so.
    note : str
    """

    code: str
    typed: str
    system: str
    origin: str
    meaning: str = ""
    cylinder: int | None = None
    bank: int | None = None
    coil: str = ""
    weight: str = ""
    item: str = ""
    state: str = ""
    status: str = ""
    note: str = ""

    @property
    def mechanical(self) -> bool:
        """True when it speaks about mechanics at all."""
        return self.weight in MECHANICAL

    @property
    def words(self) -> str:
        """'P0303: misfire, cylinder 3', with why it carries no weight."""
        where = f", cylinder {self.cylinder}" if self.cylinder else f", bank {self.bank}" if self.bank else ""
        where += f", coil {self.coil}" if self.coil else ""
        meaning = self.meaning or f"{self.origin} code, meaning not in the table: no weight"
        tail = "" if self.mechanical or not self.meaning else f" ({_WHY_NOT[self.weight]})"
        return f"{self.code}: {meaning}{where}{tail}"


@dataclass(frozen=True, slots=True)
class CodesRead:
    """All codes of a text in order of appearance, what only looked like one, and what must be asked."""

    codes: tuple[Code, ...]
    not_codes: tuple[str, ...]
    questions: tuple[str, ...]


@lru_cache(maxsize=1)
def families() -> tuple[Family, ...]:
    """All rows of the code table."""
    words = ("counts", "meaning", "names", "weight", "item", "state", "source", "note")
    columns = ("id", "first", "count", "step", "base", *words)
    return tuple(
        Family(
            r["id"],
            r["first"],
            int(r["count"]),
            int(r["step"]),
            16 if r["base"] == "hex" else 10,
            *(r[c] for c in words),
        )
        for r in tables.rows("codes.csv", *columns)
    )


@lru_cache(maxsize=1)
def _known() -> Mapping[str, tuple[Family, int]]:
    return {family.code(i): (family, i) for family in families() for i in range(family.count)}


def origin(code: str) -> str:
    """Who defines a code by its first two characters: 'ISO/SAE', 'maker', 'shared' or 'reserved' (SAE J2012).

    P3 is shared: P3000 to P33FF maker, P3400 on ISO/SAE (that split from memory).
    """
    letter, digit = code[0], code[1]
    if letter == "P":
        if digit == "3":
            return "shared, here maker" if int(code[2], 16) < 4 else "shared, here ISO/SAE"
        return "maker" if digit == "1" else "ISO/SAE"
    if digit == "0":
        return "ISO/SAE"
    return "maker" if digit in "12" else "shared" if letter == "U" else "reserved"


def parse_code(text: str) -> Code:
    """One code; lower case is taken, anything that is no code is refused with the reason.

    Raises
    ------
    ReadingError
        Saying what is wrong with it.
    """
    typed = one_line(text, 20)
    code = text.strip().upper()
    if not _SHAPE.fullmatch(code):
        raise ReadingError(f"{typed!r} is no trouble code: {_why_not(code)}")
    bare = Code(code, typed, _SYSTEMS[code[0]], origin(code))
    row = _known().get(code)
    if row is None:
        return bare
    family, index = row
    cylinder, coil = None, ""
    if family.counts.startswith("cylinder"):
        cylinder = index + (9 if family.counts.endswith("9") else 1)
    elif family.counts == "coil":
        coil = "ABCDEFGHIJKL"[index]
    bank = int(family.names[-1]) if family.names.startswith("bank") else None
    return Code(
        code,
        typed,
        bare.system,
        bare.origin,
        family.meaning,
        cylinder,
        bank,
        coil,
        family.weight,
        family.item,
        family.state,
        "",
        family.note,
    )


def _why_not(code: str) -> str:
    if len(code) != 5:
        return "a letter and four digits are needed, as in P0301"
    if code[0] not in "PCBU":
        return "it begins with P, C, B or U"
    if code[1:].replace("O", "0") != code[1:] and _SHAPE.fullmatch(code[0] + code[1:].replace("O", "0")):
        return f"is the letter O a nought? then it is {code[0] + code[1:].replace('O', '0')}"
    if code[1] not in "0123":
        return "the second character is 0, 1, 2 or 3"
    return "after the letter only 0 to 9 and A to F occur"


def code_from_bytes(value: int) -> str:
    """The code of a two-byte value as control units send it (ISO 15031-5): 0x0301 is P0301, 0xC123 is U0123."""
    if not 0 <= value <= 0xFFFF:
        raise ReadingError("a trouble code has two bytes: 0 to 65535")
    return f"{'PCBU'[value >> 14]}{(value >> 12) & 3}{value & 0xFFF:03X}"


def code_to_bytes(code: str) -> int:
    """The two-byte value of a code; inverse of `code_from_bytes`."""
    code = parse_code(code).code
    return "PCBU".index(code[0]) << 14 | int(code[1]) << 12 | int(code[2:], 16)


def read_codes(text: str, engine: Engine | None = None) -> CodesRead:
    """All codes in any text, each once, with the questions they raise on this engine.

    Parameters
    ----------
    text
        Whatever was pasted or typed: scanner output, a message, a list.
    engine
        When known, a bank or cylinder it does not have becomes a question, never an error.
    """
    found: dict[str, Code] = {}
    not_codes: list[str] = []
    for line in text.splitlines():
        tokens = list(_LIKE.finditer(line))
        ends = [m.start() for m in tokens[1:]] + [len(line)] * bool(tokens)
        for match, end in zip(tokens, ends, strict=True):
            token = match[1]
            status = _status(line[match.end() : end]) or _status(line[: tokens[0].start()])
            if not any(ch.isdigit() for ch in token):
                continue
            try:
                code = parse_code(token)
            except ReadingError as error:
                if sum(ch.isdigit() for ch in token) >= 2 and str(error) not in not_codes:
                    not_codes.append(str(error))
                continue
            old = found.get(code.code)
            if old is None:
                found[code.code] = _with_status(code, status)
            elif status and status not in old.status:
                found[code.code] = _with_status(old, f"{old.status} {status}".strip())
    codes = tuple(found.values())
    return CodesRead(codes, tuple(not_codes), tuple(_questions(codes, engine)))


def _status(words: str) -> str:
    return next((s for s in _STATUS if s in words.lower()), "")


def _with_status(code: Code, status: str) -> Code:
    if not status:
        return code
    return replace(code, status=status)


def _questions(codes: Sequence[Code], engine: Engine | None) -> list[str]:
    asked: list[str] = []
    for code in codes:
        if engine is not None and code.cylinder is not None and code.cylinder not in engine.cylinders:
            asked.append(
                f"{code.code} names cylinder {code.cylinder}, this {engine.name} has {engine.count}: right car?"
            )
        if engine is not None and code.bank == 2 and len(engine.banks) == 1 and engine.layout != "staggered":
            asked.append(
                f"{code.code} names bank 2, this {engine.name} has one bank: right car, or right layout?"
            )
    if any(c.code == "P0315" for c in codes) and any(c.weight == "misfire" for c in codes):
        asked.append(
            "P0315 stands beside misfire codes: the crank pattern is not learned, are they to be trusted?"
        )
    if any(c.coil for c in codes):
        asked.append(
            "a coil letter is not a cylinder number: which cylinder does that coil serve on this engine?"
        )
    if any(c.code.startswith("P0A") for c in codes):
        asked.append("hybrid codes are present: high voltage, leave orange cables alone. Is this a hybrid?")
    if any(c.weight == "commanded" for c in codes):
        asked.append("cylinder cut-out codes are present: was cut-out disabled before the compression test?")
    return asked


def code_signs(read: CodesRead, engine: Engine) -> dict[tuple[str, int | None], str]:
    """Signs from the codes of a car that was read: (item, cylinder or None) to state.

    Only call it when codes were really read: an empty list then says 'none' and 'absent'.
    """
    signs: dict[tuple[str, int | None], str] = {
        ("code_cam_crank", None): "absent",
        ("code_fuel_trim", None): "none",
        ("code_knock", None): "absent",
        ("code_overtemp", None): "absent",
    }
    mixtures = {c.state for c in read.codes if c.item == "code_fuel_trim"}
    if len(mixtures) == 1:
        signs["code_fuel_trim", None] = mixtures.pop()
    elif mixtures:
        del signs["code_fuel_trim", None]
    for code in read.codes:
        if code.item in ("code_cam_crank", "code_knock", "code_overtemp"):
            signs[code.item, None] = code.state
    named = {c.cylinder for c in read.codes if c.item == "code_misfire" and c.cylinder in engine.cylinders}
    some = any(c.item == "code_misfire" for c in read.codes)
    for cylinder in engine.cylinders:
        state = "this_cylinder" if cylinder in named else "other_or_random" if some else "none"
        signs["code_misfire", cylinder] = state
    return signs
