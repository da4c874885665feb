"""Where cylinder 1 is: the published numberings, which count from opposite ends, and the practice of car
makers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.text import BorelogError, one_line


class NumberingError(BorelogError):
    """A numbering that cannot be used; the text says which there are."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Numbering:
    """A row of the numberings table.

    ``counts_from`` is the end at which counting begins: 'timing', 'gearbox', 'free' (away from the output) or
    'output'; ``scheme`` 'per bank', 'alternating' or 'as given', with the lettering where it has one;
    ``first_bank`` the side counted first, seen from the gearbox end with the timing drive at the far end.
    """

    id: str
    counts_from: str
    scheme: str
    first_bank: str
    title: str
    words: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Counted:
    """Cylinders in physical order: banks, their sides, other names, and the order along the crank over both
    rows.
    """

    numbering: str
    banks: tuple[tuple[int, ...], ...]
    sides: tuple[str, ...]
    labels: tuple[tuple[int, str], ...]
    row_order: tuple[int, ...]


@lru_cache(maxsize=1)
def numberings() -> dict[str, Numbering]:
    """All numberings by id."""
    columns = ("id", "counts_from", "scheme", "first_bank", "title", "words", "source", "status")
    return {r["id"]: Numbering(*(r[c] for c in columns)) for r in tables.rows("numberings.csv", *columns)}


def numbering_named(text: str, two_banks: bool) -> Numbering:
    """The numbering for an id, or for '' the usual one; spelling is forgiving ('SAE J824-A', 'bank by bank')."""
    key = " ".join(text.lower().replace("-", " ").replace("_", " ").split())
    key = {"": "per bank" if two_banks else "timing end", "bank by bank": "per bank", "along the crank": "alternating",
           "front": "timing end", "timing drive end": "timing end", "flywheel end": "gearbox end", "sae": "sae j824 a",
           "sae j824": "sae j824 a", "din": "din 73021", "iso": "iso 1204", "own": "custom"}.get(key, key)  # fmt: skip
    try:
        return numberings()[key]
    except KeyError:
        raise NumberingError(
            f"{one_line(text, 30)!r} is no numbering: choose {', '.join(numberings())}"
        ) from None


def count_cylinders(
    layout: str,
    count: int,
    numbering: str,
    banks: Sequence[Sequence[int]] | None,
    first_bank: str,
    timing_at: str,
) -> Counted:
    """Number the cylinders of a layout.

    A 'staggered' engine is one bank for codes and heads, drawn in two rows; vee and flat have two banks.

    Raises
    ------
    NumberingError
        For an unknown numbering, side or end, or a custom list that does not fit.
    """
    two = layout in ("vee", "flat")
    row = numbering_named("custom" if banks is not None and not numbering else numbering, two)
    if timing_at not in ("free", "output"):
        raise NumberingError(
            f"{one_line(timing_at, 20)!r}: the timing drive is at the 'free' end or at the 'output' end"
        )
    if first_bank not in ("", "left", "right"):
        raise NumberingError(
            f"{one_line(first_bank, 20)!r}: the bank with cylinder 1 is 'left' or 'right' on the plan"
        )
    if row.scheme == "as given":
        return _as_given(count, banks, first_bank or row.first_bank, two)
    if banks is not None:
        raise NumberingError("banks can only be listed with the numbering 'custom'")
    open_side = row.counts_from == "timing" or row.counts_from == "gearbox" or row.id == "sae j824 a"
    side = (first_bank if open_side else "") or row.first_bank
    if not open_side and timing_at == "output":
        side = "right" if side == "left" else "left"
    from_timing = row.counts_from == "timing" or (row.counts_from == "free") == (timing_at == "free")
    if row.counts_from == "gearbox":
        from_timing = False
    if not two:
        line = tuple(range(1, count + 1))
        line = line if from_timing else line[::-1]
        return Counted(row.id, (line,), ("",), (), line)
    half = count // 2
    if row.scheme == "alternating":
        first, second = tuple(range(1, count, 2)), tuple(range(2, count + 1, 2))
    else:
        first, second = tuple(range(1, half + 1)), tuple(range(half + 1, count + 1))
    labels: tuple[tuple[int, str], ...] = ()
    if "labels" in row.scheme:
        one, other = row.scheme[-2], row.scheme[-1]
        suffix = row.scheme.endswith("RL")
        labels = tuple(
            (c, f"{i}{letter}" if suffix else f"{letter}{i}")
            for letter, bank in ((one, first), (other, second))
            for i, c in enumerate(bank, 1)
        )
    if not from_timing:
        first, second = first[::-1], second[::-1]
    sides = (side, "right" if side == "left" else "left")
    return Counted(
        row.id,
        (first, second),
        sides,
        labels,
        tuple(c for pair in zip(first, second, strict=True) for c in pair),
    )


def _as_given(count: int, banks: Sequence[Sequence[int]] | None, side: str, two: bool) -> Counted:
    given = tuple(tuple(b) for b in banks or ())
    flat = [c for b in given for c in b]
    if len(given) != (2 if two else 1) or sorted(flat) != list(range(1, count + 1)):
        wanted = "two banks" if two else "one row"
        raise NumberingError(
            f"own numbering lists {wanted} holding every number from 1 to {count} once, from the timing-drive end"
        )
    if two and 1 not in given[0]:
        given, side = given[::-1], "right" if side == "left" else "left"
    if not two:
        return Counted("custom", given, ("",), (), given[0])
    row_order = tuple(c for pair in zip(*given, strict=False) for c in pair)
    return Counted("custom", given, (side, "right" if side == "left" else "left"), (), row_order)
