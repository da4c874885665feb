"""How the readings grid is painted: fixed label column, cells, and the one editor over the cell in hand."""

from __future__ import annotations

from collections.abc import Iterator

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Offset, Region, Size
from textual.strip import Strip

from borelog.tui.editing import Edit
from borelog.tui.painted import Painted, strip_of, style_of
from borelog.tui.views.rows import ENGINE, Cell, Grid, Row
from borelog.tui.views.words import STATUS, Line, Span, cells, cut, padded, pieces, shorter

LIST_BELOW = 56
"""Columns under which the grid is a list."""
LIST_LABEL = 5
"""Columns before a cell in the list."""
LABEL_FITS = 18
"""Cells of a label and unit that still stand beside their cell in the list; longer ones stand above it."""


def _slots(grid: Grid, listed: bool) -> Iterator[tuple[int, int | None]]:
    for k, row in enumerate(grid.rows):
        if not listed or row.kind == "head":
            yield k, None
        elif row.span and cells(row.label) + cells(row.unit) < LABEL_FITS:
            yield k, ENGINE
        elif row.span:
            yield k, None
            yield k, ENGINE
        else:
            yield k, None
            yield from ((k, c) for c in grid.cylinders)


class GridLines(Painted):
    """The grid's state and its lines; what keys do with it is in `borelog.tui.grid`."""

    DEFAULT_CSS = "GridLines { overflow-y: scroll; }"

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.grid = Grid((), ())
        self.at: tuple[int, int] = (0, ENGINE)
        self.edit: Edit | None = None
        self.drafts: dict[tuple[tuple[str, ...], int], str] = {}
        self.pending: dict[tuple[tuple[str, ...], int], str] = {}
        self.first_column = 0
        self._column = ENGINE
        self._painted: object = None
        self._slots: tuple[Grid, bool, tuple[tuple[int, int | None], ...]] | None = None

    @property
    def is_list(self) -> bool:
        """On a narrow screen every cylinder has a line of its own under its test, and nothing scrolls sideways."""
        return 0 < self.size.width < LIST_BELOW

    def slots(self) -> tuple[tuple[int, int | None], ...]:
        """What each line shows: (row, column), column None for a heading or a test's own line above its cylinders."""
        key = (self.grid, self.is_list)
        if self._slots is None or self._slots[0] is not key[0] or self._slots[1] != key[1]:
            self._slots = (*key, tuple(_slots(self.grid, self.is_list)))
        return self._slots[2]

    def line_of(self, row: int, column: int | None = None) -> int:
        """The line on which a cell stands; that of the row's first line without a column."""
        if not self.is_list:
            return row
        there = [k for k, (r, c) in enumerate(self.slots()) if r == row and (column is None or c == column)]
        return there[0] if there else 0

    @property
    def row(self) -> Row:
        """The row in hand."""
        return self.grid.rows[self.at[0]]

    @property
    def column(self) -> int:
        """The column in hand: a cylinder, or ENGINE."""
        return self.at[1]

    @property
    def cell(self) -> Cell:
        """The cell in hand."""
        return self.row.cells.get(self.column, Cell())

    def on_resize(self) -> None:
        """The cell in hand stays in view."""
        if self.grid.rows:
            self.virtual_size = Size(0, len(self.slots()))
            self.call_after_refresh(self._show_cell)

    def _show_cell(self) -> None:
        head = max((k for k in range(self.at[0] + 1) if self.grid.rows[k].kind == "head"), default=0)
        here, top = self.line_of(*self.at), self.line_of(head)
        if self.is_list and len(self.grid.cylinders) < self.size.height - 3:
            self.keep_in_view(self.line_of(self.at[0], self.grid.columns(self.row)[-1]), 0)
        self.keep_in_view(here)
        if here - top < self.size.height - 2:
            self.keep_in_view(top, 0)
        elif self.is_list:
            self.keep_in_view(self.line_of(self.at[0]), 0)

    def label_room(self) -> int:
        """Width of the label column."""
        if not self.grid.cylinders:
            return 19 if self.is_list else min(46 if self.room >= 90 else 38, max(16, self.room // 2 - 4))
        return 22 if self.room >= 76 else 19

    def label_room_of(self, row: Row) -> int:
        """The same for one row: where there is one cell, a long label need not be cut."""
        long = row.kind == "condition" or cells(row.label) + cells(row.unit) + 3 > self.label_room()
        return max(self.label_room(), 34) if row.span and self.room >= 76 and long else self.label_room()

    def cell_room(self) -> int:
        """Width of a cell."""
        count = max(1, len(self.grid.cylinders))
        return min(26, max(8, self.cells_room() // count))

    def cells_room(self) -> int:
        """Columns beside the labels."""
        return self.room - self.label_room() - 1

    def shown_columns(self) -> tuple[int, ...]:
        """The cylinders that fit, so that the one in hand is among them."""
        fit = max(1, self.cells_room() // self.cell_room())
        cylinders = self.grid.cylinders
        if self._column in cylinders:
            at = cylinders.index(self._column)
            self.first_column = min(max(self.first_column, at - fit + 1), at)
        self.first_column = max(0, min(self.first_column, len(cylinders) - fit))
        return cylinders[self.first_column : self.first_column + fit]

    def keep_in_view(self, row: int, margin: int = 1) -> None:
        """As for lines, with the cylinder numbers' line above."""
        top, high = round(self.scroll_y), max(1, self.size.height - 1)
        if row - margin < top:
            self.scroll_to(y=max(0, row - margin), animate=False, force=True, immediate=True)
        elif row + margin >= top + high:
            self.scroll_to(y=row + margin - high + 1, animate=False, force=True, immediate=True)

    def render_line(self, y: int) -> Strip:
        """The cylinder numbers on top, then rows."""
        room, app = self.room, self.screens
        if y == 0:
            return strip_of(self._numbers(), room, app.palette, app.letters, panel=True)
        k = y - 1 + round(self.scroll_y)
        slots = self.slots()
        if k >= len(slots):
            return strip_of((), room, app.palette, app.letters)
        row, column = slots[k]
        line = self._list_line(row, column) if self.is_list else self._line(row)
        strip = strip_of(line, room, app.palette, app.letters)
        if self.edit is not None and k == self.line_of(*self.at):
            return self._with_editor(strip, y)
        return strip

    def _list_line(self, k: int, column: int | None) -> Line:
        """One line of the list: a heading, a test above its cylinders, a cylinder, or a row that has one cell."""
        row = self.grid.rows[k]
        if row.kind == "head" or (row.span and self.line_of(k) == self.line_of(k, ENGINE)):
            return self._line(k)
        here = k == self.at[0]
        if column is None:
            unit = f"  {row.unit}" if row.unit else ""
            return (Span(f" {row.label}{unit}", "ink" if here else "quiet", "bold" if here else ""),)
        held = here and column == self.at[1]
        number = f"{'▸' if held else ' '} {column or '':>2} "
        cell = self._cell(row, column, self.room - LIST_LABEL - 1, held, held and self.has_focus)
        return (Span(padded(number, LIST_LABEL), "ink" if held else "quiet", "bold" if held else ""), cell)

    def _numbers(self) -> Line:
        if self.is_list and self.grid.cylinders:
            return (Span(pieces(" in test order · a line for each cylinder", self.room), "quiet"),)
        shown = self.shown_columns()
        more_left = "◀ " if self.first_column else ""
        more_right = " ▶" if shown and shown[-1] != self.grid.cylinders[-1] else ""
        head = padded(f" {more_left}cylinder" if shown else "", self.label_room())
        out = [Span(head, "quiet")]
        for c in shown:
            text = padded(f" {c}{more_right if c == shown[-1] else ''}", self.cell_room())
            out.append(Span(text, "ink", "pick" if c == self._column else "bold"))
        return tuple(out)

    def _line(self, k: int) -> Line:
        row = self.grid.rows[k]
        label_room, room = self.label_room_of(row), self.room
        if row.kind == "head":
            head = f" {row.label.upper()} "
            hint = pieces(row.hint, max(0, room - cells(head) - 3)) if row.hint else ""
            hint = f" {hint} " if hint and "…" not in hint else ""
            return (
                Span(head, "ink", "bold"),
                Span(hint, "quiet"),
                Span("─" * (room - cells(head) - cells(hint)), "rule"),
            )
        here = k == self.at[0]
        told = (
            row.unit
            and row.kind in ("reading", "condition", "fact")
            and row.unit not in row.label.lower().split()
        )
        unit = f" {row.unit}" if told else ""
        label = padded(
            f"{'▸' if here else ' '}{cut(row.label, label_room - 1 - cells(unit) - 1)}{unit}", label_room
        )
        out: list[Span] = [Span(label, "ink" if here else "quiet", "bold" if here else "")]
        columns = (ENGINE,) if row.span else self.shown_columns()
        wide = room - label_room - 1 if row.span else self.cell_room()
        focus = here and self.has_focus
        for c in columns:
            out.append(self._cell(row, c, wide, here and c == self.at[1], focus))
        return tuple(out)

    def _cell(self, row: Row, column: int, wide: int, held: bool, focus: bool) -> Span:
        cell = row.cells.get(column, Cell())
        key = (row.key, column)
        if key in self.drafts:
            return Span(padded(f" ? {self.drafts[key]}", wide - 1) + " ", "watch", "pick" if held else "bold")
        if key in self.pending:
            return Span(padded(f" … {self.pending[key]}", wide - 1) + " ", "quiet", "pick" if held else "")
        glyph, role = STATUS[cell.status]
        text = cell.text or ("not noted" if wide >= 13 else "")
        shown = padded(f" {glyph} {shorter(text, wide - 4)}", wide - 1)
        if cell.status == "missing" and not held:
            shown = padded(f" {glyph}{glyph if not text else ''} {text}", wide - 1)
        weight = "pick" if held and focus else "bold" if held or cell.status == "bad" else ""
        return Span(shown + " ", role, weight)

    def _with_editor(self, strip: Strip, y: int) -> Strip:
        """The row with the editor over its cell, wider than the cell where the text is long."""
        assert self.edit is not None
        app = self.screens
        left = self.label_room_of(self.row)
        if self.is_list and self.line_of(self.at[0]) != self.line_of(*self.at):
            left = LIST_LABEL
        wide = self.room - left - 1
        if not self.row.span and not self.is_list:
            shown = self.shown_columns()
            left += shown.index(self.column) * self.cell_room() if self.column in shown else 0
            wide = self.cell_room()
        text = self.edit.text
        need = max(wide, min(cells(text) + 3, self.room))
        left = max(0, min(left, self.room - need))
        room = need - 2
        before = text[: self.edit.caret]
        while cells(before) > room - 1:
            before = before[1:]
        after = cut(text[self.edit.caret + 1 :], max(0, room - cells(before) - 1))
        under = text[self.edit.caret : self.edit.caret + 1] or " "
        field = style_of(app.palette, Span("", "ink", "panel"))
        caret = Style(color=field.bgcolor, bgcolor=field.color)
        body = [
            Segment(" ", field),
            Segment(before, field),
            Segment(under, caret),
            Segment(padded(after, max(0, room - cells(before) - cells(under))), field),
            Segment(" ", field),
        ]
        editor = Strip(body, need)
        self.app.cursor_position = Offset(self.region.x + left + 1 + cells(before), self.region.y + y)
        return Strip.join([strip.crop(0, left), editor, strip.crop(left + need, self.room)])

    def refresh_row(self) -> None:
        """Only the row in hand needs painting."""
        self.refresh(Region(0, self.line_of(*self.at) - round(self.scroll_y) + 1, self.room, 1))
