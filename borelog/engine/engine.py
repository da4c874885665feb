"""What an engine is: cylinders on banks in physical order, which of them share a gasket bridge, and in what order they fire.

Every function here is pure. Left and right are those of the cylinder plan: seen from above with the timing-
drive end on top, hence those of a person who stands at the gearbox end when the timing drive is at the far
end.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from borelog.engine.numbering import Counted, count_cylinders
from borelog.text import BorelogError, one_line


class EngineError(BorelogError):
    """An engine that cannot be, or a cylinder it does not have; the text says what is possible."""

    exit_code = 4


# layout -> (words, spellings, fewest, most, step)
_LAYOUTS: dict[str, tuple[str, tuple[str, ...], int, int, int]] = {
    "inline": ("in-line", ("inline", "in-line", "in line", "straight", "i", "l", "r"), 1, 8, 1),
    "vee": ("V", ("v", "vee"), 2, 16, 2),
    "flat": ("flat", ("flat", "boxer", "f", "b", "h", "opposed"), 2, 12, 2),
    "staggered": ("staggered", ("staggered", "vr", "narrow v"), 3, 8, 1),
}


# fact -> (words, least, most); no words: text. Wide enough for every piston engine (from memory).
_BOUNDS: dict[str, tuple[str, float, float]] = {
    "bore_mm": ("the bore in mm", 10, 1000), "stroke_mm": ("the stroke in mm", 10, 3000),
    "rod_mm": ("the rod's length in mm", 20, 6000), "compression_ratio": ("the compression ratio", 1.5, 25),
    "intake_closing_deg": ("the intake's closing, in degrees after bottom dead centre,", 0, 179),
    "altitude_m": ("the altitude in m", -1000, 11000), "air_pressure_kpa": ("the air pressure in kPa", 30, 110),
    "bank_angle_deg": ("the bank angle in degrees", 0, 180), "intake_side": ("", 0, 0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Engine:
    """An engine's cylinders and what is known of their geometry.

    Attributes
    ----------
    layout : str
        'inline', 'vee', 'flat' or 'staggered' (one head over two staggered rows).
    cylinders : tuple of int
        All cylinder numbers, ascending.
    banks : tuple of tuples of int
        Bank 1 (the one with cylinder 1) first; each in physical order from the timing-drive end.
    sides : tuple of str
        'left' or 'right' for each bank on the plan; '' for a single bank.
    numbering : str
        Id of the numbering in use, a row of the numberings table.
    labels : tuple of (int, str)
        Other names of the cylinders where the numbering has them ('A1', '1R').
    firing_order : tuple of int, or None
        Beginning with the lowest number; None when not known.
    intervals : tuple of float
        Crank degrees from each cylinder of the firing order to the next, summing to 720; empty when not
        known.
    chains : tuple of tuples of int
        The cylinders along each head.
    neighbours : frozenset of (int, int)
        Pairs a < b whose bores share a gasket bridge; always within one head.
    timing_at : str
        'free' when the timing drive is at the end away from the gearbox, 'output' when it is at the gearbox
        end.
    intake_side : str
        'left', 'right', 'inside', 'outside', 'top', 'bottom', or '' when not known.

    The rest are facts that may be None: mm, crank degrees, metres; ``intake_closing_deg`` is after bottom
    dead centre.
    """

    layout: str
    cylinders: tuple[int, ...]
    banks: tuple[tuple[int, ...], ...]
    sides: tuple[str, ...]
    numbering: str
    labels: tuple[tuple[int, str], ...]
    firing_order: tuple[int, ...] | None
    intervals: tuple[float, ...]
    chains: tuple[tuple[int, ...], ...]
    neighbours: frozenset[tuple[int, int]]
    timing_at: str = "free"
    intake_side: str = ""
    bank_angle_deg: float | None = None
    bore_mm: float | None = None
    stroke_mm: float | None = None
    rod_mm: float | None = None
    compression_ratio: float | None = None
    intake_closing_deg: float | None = None
    altitude_m: float | None = None
    air_pressure_kpa: float | None = None

    @property
    def count(self) -> int:
        """How many cylinders."""
        return len(self.cylinders)

    @property
    def name(self) -> str:
        """'in-line 4', 'V8', 'flat 6'."""
        words = _LAYOUTS[self.layout][0]
        return f"{words}{self.count}" if words == "V" else f"{words} {self.count}"

    @property
    def companions(self) -> tuple[tuple[int, int], ...]:
        """Pairs that reach top dead centre together, one firing while the other ends its exhaust stroke."""
        if self.firing_order is None:
            return ()
        return companions(self.firing_order, self.intervals)

    def bank_of(self, cylinder: int) -> int:
        """1 for the bank with cylinder 1, 2 for the other; `EngineError` for a cylinder this engine does not
        have.
        """
        for number, bank in enumerate(self.banks, 1):
            if cylinder in bank:
                return number
        raise EngineError(
            f"there is no cylinder {cylinder} on this {self.name}: it has {_span(self.cylinders)}"
        )

    def label(self, cylinder: int) -> str:
        """The cylinder's name as a person would write it: '3', or 'B1' where the numbering uses letters."""
        return dict(self.labels).get(cylinder, str(cylinder))

    def cylinder_named(self, text: str) -> int:
        """The cylinder for '3' or 'B1'; `EngineError` when there is none."""
        wanted = text.strip().upper()
        for number, label in self.labels:
            if wanted in (label, label[::-1]):
                return number
        digits = wanted.removeprefix("CYLINDER").removeprefix("CYL").strip(" #.")
        if digits.isascii() and digits.isdigit() and int(digits) in self.cylinders:
            return int(digits)
        shown = one_line(text, 20)
        raise EngineError(f"there is no cylinder {shown} on this {self.name}: it has {_span(self.cylinders)}")


def _span(cylinders: tuple[int, ...]) -> str:
    return f"{cylinders[0]} to {cylinders[-1]}" if len(cylinders) > 1 else f"only {cylinders[0]}"


def parse_layout(text: str) -> tuple[str, int]:
    """('vee', 8) from 'V8', 'v-8', '8 cylinder V'; also 'inline 4', 'I4', 'flat 6', 'boxer-4', 'VR6'.

    Raises
    ------
    EngineError
        When no layout or no count can be read, or the engine is an impossible one.
    """
    flat = re.sub(r"cylinders?|cyl\.?", " ", text.lower())
    digits = re.findall(r"\d+", flat)
    words = " ".join(re.sub(r"[\d._]+", " ", flat).split()).strip(" -")
    named = [layout for layout, row in _LAYOUTS.items() if words in row[1]]
    shown = one_line(text, 30)
    if len(digits) != 1 or len(digits[0]) > 3 or not named:
        raise EngineError(f"{shown!r} is no layout: type for example inline 4, V8, flat 6 or staggered 6")
    count = int(digits[0])
    check_count(named[0], count)
    return named[0], count


def check_count(layout: str, count: int) -> None:
    """Refuse an impossible pair of layout and count with a plain reason."""
    if layout not in _LAYOUTS:
        raise EngineError(f"{one_line(layout, 20)!r} is no layout: choose {', '.join(_LAYOUTS)}")
    words, _, fewest, most, step = _LAYOUTS[layout]
    if step == 2 and count % 2:
        raise EngineError(
            f"a {words} engine with {count} cylinders has uneven banks: type an even count, or staggered {count}"
        )
    if not fewest <= count <= most:
        raise EngineError(f"{words} engines here have {fewest} to {most} cylinders, not {count}")


def parse_order(
    order: Sequence[int] | str, labels: dict[str, int], cylinders: tuple[int, ...]
) -> tuple[int, ...]:
    """A firing order from '1-3-4-2', '1342', '1,8,4,3', 'A1 B2 ...' or numbers, turned to begin at the lowest number.

    A row of bare digits is read one by one up to nine cylinders. Refused with the reason: a cylinder that is
    not there, comes twice or is missing.
    """
    if isinstance(order, str):
        parts = [p for p in re.split(r"[\s,;/>–—-]+", order.strip().upper()) if p]
        if len(parts) == 1 and parts[0].isdigit() and len(parts[0]) > 1 and len(cylinders) < 10:
            parts = list(parts[0])
        numbers: list[int] = []
        for part in parts:
            if part in labels:
                numbers.append(labels[part])
            elif part.isascii() and part.isdigit() and len(part) < 4:
                numbers.append(int(part))
            else:
                raise EngineError(
                    f"{one_line(part, 12)!r} in the firing order is no cylinder: type for example 1-3-4-2"
                )
    else:
        numbers = list(order)
    for number in numbers:
        if number not in cylinders:
            raise EngineError(
                f"the firing order names cylinder {number}, but the engine has {_span(cylinders)}"
            )
        if numbers.count(number) > 1:
            raise EngineError(f"the firing order names cylinder {number} twice: each cylinder fires once")
    missing = [c for c in cylinders if c not in numbers]
    if missing:
        raise EngineError(
            f"the firing order leaves out cylinder{'s' if len(missing) > 1 else ''} {', '.join(map(str, missing))}: "
            "each cylinder fires once"
        )
    start = numbers.index(cylinders[0])
    return tuple(numbers[start:] + numbers[:start])


def parse_intervals(intervals: Sequence[float] | str | None, count: int) -> tuple[float, ...]:
    """Degrees between firings: even (720/count) when None, else ``count`` numbers above 0 that sum to 720."""
    if intervals is None or (isinstance(intervals, str) and not intervals.strip()):
        return (720.0 / count,) * count
    try:
        parts = re.split(r"[\s,;-]+", intervals.strip()) if isinstance(intervals, str) else intervals
        values = tuple(float(p) for p in parts)
    except ValueError:
        raise EngineError(
            f"{one_line(str(intervals), 30)!r} are no firing intervals: type degrees, for example 150 90 150 90 150 90"
        ) from None
    if len(values) != count or not all(v > 0 for v in values) or not abs(sum(values) - 720) <= 0.5:
        raise EngineError(
            f"firing intervals for {count} cylinders are {count} angles above 0 that add up to 720 degrees"
        )
    return values


def companions(order: tuple[int, ...], intervals: tuple[float, ...]) -> tuple[tuple[int, int], ...]:
    """Pairs of the firing order that are 360 crank degrees apart (within half a degree)."""
    if len(intervals) != len(order):
        return ()
    angle, angles = 0.0, []
    for step in intervals:
        angles.append(angle)
        angle += step
    return tuple(
        (order[i], order[j])
        for i in range(len(order))
        for j in range(i + 1, len(order))
        if abs(angles[j] - angles[i] - 360) < 0.5
    )


def _along(chain: Sequence[int]) -> set[tuple[int, int]]:
    return {(min(a, b), max(a, b)) for a, b in itertools.pairwise(chain)}


def make_engine(
    layout: str,
    count: int,
    numbering: str = "",
    firing_order: Sequence[int] | str | None = None,
    *,
    banks: Sequence[Sequence[int]] | None = None,
    first_bank: str = "",
    timing_at: str = "free",
    intervals: Sequence[float] | str | None = None,
    heads: str | Sequence[Sequence[int]] = "bank",
    neighbours: Sequence[tuple[int, int]] | None = None,
    **facts: Any,
) -> Engine:
    """An engine from layout and count; everything else may be left out.

    Parameters
    ----------
    layout, count
        'inline', 'vee', 'flat', 'staggered' and the number of cylinders.
    numbering
        A row of the numberings table; '' means along the crank from the timing-drive end for one row and bank
        by bank for two. 'custom' needs ``banks``.
    firing_order
        Any permutation, see `parse_order`; None when not known.
    banks
        Own numbering: the cylinders of each bank from the timing-drive end.
    first_bank
        Side of the bank with cylinder 1 on the plan, 'left' or 'right', where the numbering leaves it open.
    timing_at
        'free' or 'output': which end carries the timing drive.
    intervals
        Crank degrees between firings for odd-firing engines; None means even.
    heads
        'bank' one head on each bank, 'one' a single head, 'each' a head for every cylinder, or the cylinders
        of each.
    neighbours
        Pairs sharing a gasket bridge, where they are not simply next to each other along a head.
    **facts
        ``bore_mm``, ``stroke_mm``, ``rod_mm``, ``compression_ratio``, ``intake_closing_deg``, ``altitude_m``,
        ``air_pressure_kpa``, ``bank_angle_deg``, ``intake_side``.

    Raises
    ------
    EngineError
        With the plain reason.
    """
    check_count(layout, count)
    counted: Counted = count_cylinders(layout, count, numbering, banks, first_bank, timing_at)
    cylinders = tuple(sorted(c for bank in counted.banks for c in bank))
    labels = {label: c for c, label in counted.labels} | {label[::-1]: c for c, label in counted.labels}
    order = None if not firing_order else parse_order(firing_order, labels, cylinders)
    steps = parse_intervals(intervals, count) if order or intervals else ()
    chains = _chains(layout, counted.banks, counted.row_order, heads, cylinders)
    joined = set[tuple[int, int]]().union(*(_along(c) for c in chains))
    if neighbours is not None:
        joined = {(min(a, b), max(a, b)) for a, b in neighbours}
        head_of = {c: i for i, chain in enumerate(chains) for c in chain}
        for a, b in joined:
            if a not in head_of or b not in head_of or a == b or head_of[a] != head_of[b]:
                raise EngineError(
                    f"cylinders {a} and {b} do not lie under one head: they share no gasket bridge"
                )
    _check_facts(facts)
    return Engine(
        layout,
        cylinders,
        counted.banks,
        counted.sides,
        counted.numbering,
        counted.labels,
        order,
        steps,
        chains,
        frozenset(joined),
        timing_at,
        **facts,
    )


def _check_facts(facts: Mapping[str, Any]) -> None:
    """Refuse facts that no engine, and no place on earth, has; a wrong unit mostly shows here."""
    for name, value in facts.items():
        if name not in _BOUNDS:
            raise EngineError(
                f"{one_line(name, 30)!r} is no fact of an engine: use {', '.join(sorted(_BOUNDS))}"
            )
        words, least, most = _BOUNDS[name]
        if words and value is not None and not least <= value <= most:
            raise EngineError(f"{words} lies between {least:g} and {most:g}, not {value:g}")


def _chains(
    layout: str,
    banks: tuple[tuple[int, ...], ...],
    row_order: tuple[int, ...],
    heads: str | Sequence[Sequence[int]],
    cylinders: tuple[int, ...],
) -> tuple[tuple[int, ...], ...]:
    """The cylinders along each head; refuses heads that miss or repeat a cylinder."""
    if heads == "each":
        return tuple((c,) for c in cylinders)
    if heads == "one" or (heads == "bank" and layout == "staggered"):
        return (row_order,)
    if heads == "bank":
        return banks
    if isinstance(heads, str):
        raise EngineError(
            f"{one_line(heads, 20)!r} says nothing about heads: type bank, one, each, or the cylinders of each head"
        )
    chains = tuple(tuple(h) for h in heads)
    if sorted(c for h in chains for c in h) != list(cylinders):
        raise EngineError("the heads must hold every cylinder once")
    return chains
