"""The values of the readings grid: cells, rows, the grid."""

from __future__ import annotations

from dataclasses import dataclass, field

ENGINE = 0
"""The column of what is asked or measured once for the whole engine; cylinders have their own number."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: what it shows, its status, the text that editing starts with, the entry behind it."""

    text: str = ""
    status: str = "blank"
    edit: str = ""
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One row. ``kind`` is head, fold, reading, condition or question; ``span`` one cell for the whole engine.

    ``part`` is where on a part the figure is taken, for parts measured once the engine is open.
    """

    key: tuple[str, ...]
    kind: str
    label: str
    group: str
    unit: str = ""
    span: bool = False
    test: str = ""
    series: str = ""
    part: str = ""
    cells: dict[int, Cell] = field(default_factory=dict)
    answers: tuple[tuple[str, str, str], ...] = ()
    choices: tuple[str, ...] = ()
    hint: str = ""

    @property
    def takes_letters(self) -> bool:
        """Whether a single letter answers."""
        return bool(self.answers)


@dataclass(frozen=True, slots=True)
class Grid:
    """All rows and the cylinders across."""

    cylinders: tuple[int, ...]
    rows: tuple[Row, ...]

    def columns(self, row: Row) -> tuple[int, ...]:
        """The columns in which a row has cells."""
        return (ENGINE,) if row.span else self.cylinders
