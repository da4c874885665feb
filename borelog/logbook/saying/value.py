"""One remark on the readings: what it is about, in words for a person, with the figures and readings behind it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from borelog.knowledge.procedures import procedures

Level: TypeAlias = Literal["note", "watch", "ask"]


@dataclass(frozen=True, slots=True)
class Remark:
    """One remark.

    Attributes
    ----------
    topic : str
        'engine', 'codes', 'plugs', 'opened', or a row of the tests table: 'compression_dry', 'leakdown' ...
    kind : str
        What sort it is, stable: 'pattern', 'trend', 'repeats', 'needle', 'conditions', 'expected', 'altitude', 'oil', 'warm',
        'limit', 'bands', 'air', 'leak', 'question', 'testers', 'second', 'aviation form', 'aviation bands', 'set', 'gap', 'part',
        'call', 'code', 'order', 'numbering', 'current'.
    level : str
        'note' (context), 'watch' (tells against something), 'ask' (a question for the person).
    words : str
        One sentence or line.
    cylinders : tuple of int
        The cylinders it is about; empty for the engine or the whole test.
    entries : tuple of str
        The readings it rests on.
    figures : tuple of (str, float)
        Numbers behind the words; names end in their unit.
    source : str
        Who says so; '' for plain arithmetic.
    """

    topic: str
    kind: str
    level: Level
    words: str
    cylinders: tuple[int, ...] = ()
    entries: tuple[str, ...] = ()
    figures: tuple[tuple[str, float], ...] = ()
    source: str = ""

    @property
    def test(self) -> str:
        """Row of the tests table whose figures it is about, '' for none: where a screen shows it."""
        return self.topic if self.topic in procedures() else ""


def listed(numbers: Sequence[int]) -> str:
    """'2', '2 and 3', '1, 2 and 4'."""
    words = [str(n) for n in numbers]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def cylinders_named(numbers: Sequence[int]) -> str:
    """'cylinder 2', 'cylinders 1 and 3'."""
    return f"cylinder{'s' if len(numbers) > 1 else ''} {listed(numbers)}"
