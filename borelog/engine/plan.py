"""The cylinder plan: where each cylinder stands, seen from above with the timing-drive end on top."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.engine.engine import Engine
from borelog.engine.numbering import numberings


@dataclass(frozen=True, slots=True)
class PlanCell:
    """One cylinder: ``row`` 0 is nearest the timing drive, ``column`` 0 is left; ``bank`` is 1 or 2."""

    cylinder: int
    row: int
    column: int
    bank: int
    label: str


@dataclass(frozen=True, slots=True)
class PlanGrid:
    """Positions for a drawn plan.

    Attributes
    ----------
    rows, columns : int
        Size of the grid; two banks have two columns.
    cells : tuple of PlanCell
        Ordered by row, then column.
    top, bottom : str
        Names of the two ends.
    heads : tuple of str
        A name over each column ('bank 1, left'), '' for a single row.
    intake : str
        Where the intake side is, in words, '' when not known.
    note : str
        Which numbering is in use and at which end cylinder 1 stands.
    bridges : tuple of (int, int)
        Pairs that share a gasket bridge, to be drawn as a link.
    """

    rows: int
    columns: int
    cells: tuple[PlanCell, ...]
    top: str
    bottom: str
    heads: tuple[str, ...]
    intake: str
    note: str
    bridges: tuple[tuple[int, int], ...]

    def at(self, row: int, column: int) -> int | None:
        """The cylinder in a grid position, None for an empty one."""
        return next((c.cylinder for c in self.cells if (c.row, c.column) == (row, column)), None)

    def step(self, cylinder: int, down: int, right: int) -> int:
        """The cylinder reached by an arrow key; the same one at the edge."""
        here = next(c for c in self.cells if c.cylinder == cylinder)
        ahead = [
            c
            for c in self.cells
            if c is not here
            and ((c.row - here.row) * down > 0 if down else (c.column - here.column) * right > 0)
        ]
        return min(
            ahead,
            key=lambda c: (
                (abs(c.column - here.column), abs(c.row - here.row))
                if down
                else (abs(c.column - here.column), abs(c.row - here.row), c.row)
            ),
            default=here,
        ).cylinder


_INTAKE = {
    "": "",
    "left": "intake side: left",
    "right": "intake side: right",
    "inside": "intake side: between the banks",
    "outside": "intake side: outside of the banks",
    "top": "intake side: on top",
    "bottom": "intake side: below",
}


def plan_grid(engine: Engine) -> PlanGrid:
    """Row and column of each cylinder in true physical arrangement.

    Seen from above, timing-drive end on top. A staggered engine has two columns and its cylinders zigzag down
    the plan.
    """
    cells: list[PlanCell] = []
    if engine.layout == "staggered":
        for i, cylinder in enumerate(engine.banks[0]):
            cells.append(PlanCell(cylinder, i, i % 2, 1, engine.label(cylinder)))
        heads: tuple[str, ...] = ("one head,", "staggered")
    elif len(engine.banks) == 1:
        cells = [PlanCell(c, i, 0, 1, engine.label(c)) for i, c in enumerate(engine.banks[0])]
        heads = ("",)
    else:
        columns = [0 if side == "left" else 1 for side in engine.sides]
        for number, (bank, column) in enumerate(zip(engine.banks, columns, strict=True), 1):
            cells += [PlanCell(c, i, column, number, engine.label(c)) for i, c in enumerate(bank)]
        names = {column: f"bank {number}" for number, column in enumerate(columns, 1)}
        heads = (f"{names[0]}, left", f"{names[1]}, right")
    cells.sort(key=lambda c: (c.row, c.column))
    bottom = "gearbox end"
    top = "timing-drive end"
    if engine.timing_at == "output":
        top, bottom = "timing-drive end (gearbox)", "free end"
    return PlanGrid(
        1 + max(c.row for c in cells),
        len(heads),
        tuple(cells),
        top,
        bottom,
        heads,
        _INTAKE.get(engine.intake_side, ""),
        where_is_one(engine),
        tuple(sorted(engine.neighbours)),
    )


def where_is_one(engine: Engine) -> str:
    """Which numbering is in use and where cylinder 1 stands, in one sentence."""
    row = numberings()[engine.numbering]
    first = engine.banks[0]
    place = (
        "nearest the timing drive"
        if first[0] == 1
        else "nearest the other end"
        if first[-1] == 1
        else "inside its row"
    )
    side = f", in the {engine.sides[0]} bank as drawn" if engine.sides[0] else ""
    return f"{row.title}: cylinder {engine.label(1)} is {place}{side}"
