"""How the readings grid is painted: fixed label column, cells, and the one editor over the cell in hand."""

from __future__ import annotations

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Offset, Region
from textual.strip import Strip

from borelog.tui.editing import Edit
from borelog.tui.painted import Painted, strip_of, style_of
from borelog.tui.views.rows import ENGINE, Cell, Grid, Row
from borelog.tui.views.words import STATUS, Line, Span, cells, cut, padded


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
            self.call_after_refresh(self._show_cell)

    def _show_cell(self) -> None:
        head = max((k for k in range(self.at[0] + 1) if self.grid.rows[k].kind == "head"), default=0)
        self.keep_in_view(self.at[0])
        if self.at[0] - head < self.size.height - 2:
            self.keep_in_view(head, 0)

    def label_room(self) -> int:
        """Width of the label column."""
        if not self.grid.cylinders:
            return min(38, max(16, self.size.width // 2 - 4))
        return 22 if self.size.width >= 76 else 17 if self.size.width >= 56 else 14

    def label_room_of(self, row: Row) -> int:
        """The same for one row: where there is one cell, its label need not be cut."""
        return max(self.label_room(), 34) if row.span and self.size.width >= 76 else self.label_room()

    def cell_room(self) -> int:
        """Width of a cell."""
        count = max(1, len(self.grid.cylinders))
        return min(20, max(8, self.cells_room() // count))

    def cells_room(self) -> int:
        """Columns beside the labels."""
        return self.size.width - self.label_room() - 1

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
        room, app = self.size.width, self.screens
        if y == 0:
            return strip_of(self._numbers(), room, app.palette, app.letters, panel=True)
        k = y - 1 + round(self.scroll_y)
        if k >= len(self.grid.rows):
            return strip_of((), room, app.palette, app.letters)
        strip = strip_of(self._line(k), room, app.palette, app.letters)
        if self.edit is not None and k == self.at[0]:
            return self._with_editor(strip, y)
        return strip

    def _numbers(self) -> Line:
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
        label_room, room = self.label_room_of(row), self.size.width
        if row.kind == "head":
            head = f" {row.label.upper()} "
            hint = cut(f" {row.hint} " if row.hint else "", max(0, room - cells(head)))
            return (
                Span(head, "ink", "bold"),
                Span(hint, "quiet"),
                Span("─" * (room - cells(head) - cells(hint)), "rule"),
            )
        here = k == self.at[0]
        unit = f" {row.unit}" if row.unit and row.kind in ("reading", "condition", "fact") else ""
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
        shown = padded(f" {glyph} {text}", wide - 1)
        if cell.status == "missing" and not held:
            shown = padded(f" {glyph}{glyph if not text else ''} {text}", wide - 1)
        weight = "pick" if held and focus else "bold" if held or cell.status == "bad" else ""
        return Span(shown + " ", role, weight)

    def _with_editor(self, strip: Strip, y: int) -> Strip:
        """The row with the editor over its cell, wider than the cell where the text is long."""
        assert self.edit is not None
        app = self.screens
        left = self.label_room_of(self.row)
        wide = self.size.width - left - 1
        if not self.row.span:
            shown = self.shown_columns()
            left += shown.index(self.column) * self.cell_room() if self.column in shown else 0
            wide = self.cell_room()
        text = self.edit.text
        need = max(wide, min(cells(text) + 3, self.size.width))
        left = max(0, min(left, self.size.width - need))
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
        return Strip.join([strip.crop(0, left), editor, strip.crop(left + need, self.size.width)])

    def refresh_row(self) -> None:
        """Only the row in hand needs painting."""
        self.refresh(Region(0, self.at[0] - round(self.scroll_y) + 1, self.size.width, 1))
