"""The readings grid: one widget that paints all rows, with one editor for the cell in hand.

It shows and reports; what a cell means, and what becomes of what was typed, is the screen's to say.
"""

from __future__ import annotations

from textual import events
from textual.geometry import Size
from textual.message import Message

from borelog.tui.editing import Edit, begun
from borelog.tui.grid_lines import GridLines
from borelog.tui.views.rows import ENGINE, Cell, Grid, Row

_OPENERS = set("0123456789.,~<>≈()")


class GridView(GridLines):
    """Rows down, cylinders across; label column fixed, the rest scrolls sideways with the cell in hand."""

    class Entered(Message):
        """What was typed in a cell was accepted; ``then`` says where to go next: 'next', 'up', 'down' or 'stay'."""

        def __init__(self, row: Row, column: int, text: str, then: str) -> None:
            self.row, self.column, self.text, self.then = row, column, text, then
            super().__init__()

    class Answered(Message):
        """A letter answered a question; ``answer`` is its id and words."""

        def __init__(self, row: Row, column: int, answer: tuple[str, str]) -> None:
            self.row, self.column, self.answer = row, column, answer
            super().__init__()

    class Moved(Message):
        """Another cell is in hand."""

    class Typing(Message):
        """The text being typed changed."""

        def __init__(self, row: Row, column: int, text: str) -> None:
            self.row, self.column, self.text = row, column, text
            super().__init__()

        def can_replace(self, message: Message) -> bool:
            """Only the latest counts."""
            return isinstance(message, GridView.Typing)

    # --- what is shown -------------------------------------------------------------------------------------------

    def set_grid(self, grid: Grid) -> None:
        """Show another state of the grid; the cell in hand stays the same row by its key."""
        shown = (grid, dict(self.drafts), dict(self.pending), self.screens.theme, self.size)
        if shown == self._painted:
            return
        self._painted = shown
        key = self.row.key if self.grid.rows and self.at[0] < len(self.grid.rows) else None
        self.grid = grid
        row = next((k for k, r in enumerate(grid.rows) if r.key == key), None)
        if row is None:
            row = min(self.at[0], max(0, len(grid.rows) - 1))
        self.at = (row, self.at[1])
        self._land()
        self.virtual_size = Size(0, len(self.slots()))
        self.refresh()

    def _land(self) -> None:
        """Bring row and column in hand to a cell that exists."""
        if not self.grid.rows:
            return
        row = self.at[0]
        if self.grid.rows[row].kind == "head":
            row = self._beside(row, 1)
        columns = self.grid.columns(self.grid.rows[row])
        column = (
            self.at[1]
            if self.at[1] in columns
            else self._column
            if self._column in columns
            else columns[0]
            if columns
            else ENGINE
        )
        self.at = (row, column)
        if column != ENGINE:
            self._column = column

    def _beside(self, row: int, way: int) -> int:
        k = row
        while 0 <= k < len(self.grid.rows) and (
            self.grid.rows[k].kind == "head" or not self.grid.columns(self.grid.rows[k])
        ):
            k += way
        if 0 <= k < len(self.grid.rows):
            return k
        return (
            self._beside(row, -way)
            if way == 1
            else next((i for i, r in enumerate(self.grid.rows) if r.kind != "head"), 0)
        )

    # --- going about ---------------------------------------------------------------------------------------------

    def go(self, row: int, column: int) -> None:
        """Take a cell in hand and bring it into view."""
        self.at = (min(max(0, row), len(self.grid.rows) - 1), column)
        if column != ENGINE:
            self._column = column
        self._land()
        self._show_cell()
        self.refresh()
        self.post_message(self.Moved())

    def step(self, down: int) -> None:
        """A row up or down; heads are passed over. In the list a line, which is a cylinder."""
        if self.is_list:
            cells = [s for s in self.slots() if s[1] is not None]
            here = cells.index((self.at[0], self.at[1])) if (self.at[0], self.at[1]) in cells else 0
            if 0 <= here + down < len(cells):
                row, column = cells[here + down]
                self.go(row, ENGINE if column is None else column)
            return
        k = self.at[0] + down
        while 0 <= k < len(self.grid.rows) and self.grid.rows[k].kind == "head":
            k += down
        if 0 <= k < len(self.grid.rows):
            self.go(k, self.at[1])

    def step_group(self, down: int) -> None:
        """The first blank of the next or previous group; the cylinder in hand where its first row has none."""
        heads = [k for k, r in enumerate(self.grid.rows) if r.kind == "head"]
        here = max((i for i, k in enumerate(heads) if k <= self.at[0]), default=0)
        target = here + down
        if 0 <= target < len(heads) and heads[target] + 1 < len(self.grid.rows):
            row = self.grid.rows[heads[target] + 1]
            blank = (c for c in self.grid.columns(row) if row.cells.get(c, Cell()).status == "missing")
            self.go(heads[target] + 1, next(blank, self._column))

    def step_cell(self, right: int) -> None:
        """A cell left or right."""
        columns = self.grid.columns(self.row)
        if self.at[1] in columns:
            k = columns.index(self.at[1]) + right
            if 0 <= k < len(columns):
                self.go(self.at[0], columns[k])

    def go_to(self, test: str, cylinder: int | None = None) -> bool:
        """Take the first row of a test in hand, at a cylinder, its group at the top; False if there is none."""
        for k, row in enumerate(self.grid.rows):
            if row.test == test and row.kind in ("reading", "question"):
                self.keep_in_view(len(self.slots()) - 1, 0)
                self.go(k, cylinder or self._column)
                return True
        return False

    def go_to_entry(self, entry: str) -> bool:
        """Take the cell in hand that shows a journal entry; False if none does."""
        for k, row in enumerate(self.grid.rows):
            for column, cell in row.cells.items():
                if cell.entry == entry:
                    self.go(k, column)
                    return True
        return False

    def go_to_blank(self, cylinder: int | None) -> bool:
        """The first reading of a cylinder that is not noted, from the top; any blank where it has none."""
        for kind in ("reading", "question"):
            for k, row in enumerate(self.grid.rows):
                for c in self.grid.columns(row):
                    mine = cylinder is None or c == cylinder
                    if row.kind == kind and mine and row.cells.get(c, Cell()).status == "missing":
                        self.go(k, c)
                        return True
        return self.next_blank()

    def next_blank(self, readings_only: bool = False) -> bool:
        """The next cell in which nothing is noted, after the one in hand; False if there is none."""
        start = False
        spots = [
            (k, c)
            for k, r in enumerate(self.grid.rows)
            if r.kind not in ("head", "fold")
            for c in self.grid.columns(r)
        ]
        for lap in (spots, spots):
            for k, c in lap:
                row = self.grid.rows[k]
                blank = row.cells.get(c, Cell()).status == "missing" and (
                    not readings_only or row.kind == "reading"
                )
                if start and blank:
                    self.go(k, c)
                    return True
                start = start or (k, c) == self.at
        return False

    # --- typing --------------------------------------------------------------------------------------------------

    def begin(self, text: str | None = None) -> None:
        """Open the editor on the cell in hand."""
        if self.row.kind in ("head", "fold"):
            return
        key = (self.row.key, self.column)
        self.edit = begun(self.drafts.get(key, self.cell.edit) if text is None else text)
        self._typing()

    def _typing(self) -> None:
        self.refresh_row()
        if self.edit is not None:
            self.post_message(self.Typing(self.row, self.column, self.edit.text))

    def accept(self, then: str = "next") -> None:
        """Report what was typed; nothing typed over nothing just goes on."""
        edit, self.edit = self.edit, None
        if edit is not None:
            self.drafts.pop((self.row.key, self.column), None)
            if edit.text.strip() or self.cell.edit:
                self.post_message(self.Entered(self.row, self.column, edit.text, then))
                self.refresh()
                return
        self.onward(then)

    def leave(self) -> None:
        """Close the editor; what was typed stays in the cell as not entered."""
        if self.edit is not None:
            text, self.edit = self.edit.text, None
            if text.strip() and text != self.cell.edit:
                self.drafts[(self.row.key, self.column)] = text
            self.refresh()
            self.post_message(self.Moved())

    def onward(self, then: str) -> None:
        """Where to go after an entry."""
        if then == "next":
            columns = self.grid.columns(self.row)
            at = columns.index(self.column) if self.column in columns else len(columns)
            if at + 1 < len(columns):
                self.go(self.at[0], columns[at + 1])
            else:
                self._next_row()
        elif then in ("up", "down"):
            self.step(-1 if then == "up" else 1)
        self.refresh()

    def _next_row(self) -> None:
        k = self.at[0] + 1
        while k < len(self.grid.rows) and self.grid.rows[k].kind == "head":
            k += 1
        if k < len(self.grid.rows):
            row = self.grid.rows[k]
            self.go(k, self._column if row.span else self.grid.columns(row)[0])

    async def on_key(self, event: events.Key) -> None:
        """Editing keys while typing; a digit or an answer's letter begins or answers; all else is left to the screen."""
        if self.edit is not None:
            self._edit_key(event)
            return
        char = event.character or ""
        if not self.grid.rows or len(char) != 1 or not char.isprintable():
            return
        row = self.row
        if row.takes_letters and char.isalpha():
            answer = next(((id_, words) for k, id_, words in row.answers if k == char.lower()), None)
            if answer:
                self.post_message(self.Answered(row, self.column, answer))
            else:
                self.post_message(self.Typing(row, self.column, char))
            event.stop()
            event.prevent_default()
        elif (
            row.kind in ("reading", "condition", "fact")
            and not row.takes_letters
            and (char in _OPENERS or char.isalpha())
        ):
            self.edit = Edit().typed(char)
            self._typing()
            event.stop()
            event.prevent_default()

    def _edit_key(self, event: events.Key) -> None:
        assert self.edit is not None
        event.stop()
        event.prevent_default()
        if event.key in ("enter", "ctrl+j", "tab"):
            self.accept("next")
        elif event.key in ("up", "down"):
            self.accept(event.key)
        elif event.key in ("escape", "ctrl+o"):
            self.leave()
        elif (changed := self.edit.key(event.key)) is not None:
            self.edit = changed
            self._typing()
        elif event.character and event.character.isprintable():
            self.edit = self.edit.typed(event.character)
            self._typing()
        else:
            # A function key or the like: keep what was typed, then let the screen have the key.
            self.leave()
            event._stop_propagation = False
            event._no_default_action = False

    def on_paste(self, event: events.Paste) -> None:
        """Pasted text goes into the editor."""
        if self.grid.rows and self.row.kind in ("reading", "condition", "fact"):
            self.edit = (self.edit or Edit()).typed(event.text)
            self._typing()
            event.stop()

    def on_blur(self) -> None:
        """What is being typed stays as a draft."""
        self.leave()
        self.refresh()

    def on_click(self, event: events.Click) -> None:
        """Take the cell under the pointer in hand; a second click opens it."""
        line = event.y - 1 + round(self.scroll_y)
        if event.y < 1 or not 0 <= line < len(self.slots()):
            return
        k, listed = self.slots()[line]
        row = self.grid.rows[k]
        if row.kind == "head" or (self.is_list and listed is None):
            return
        column = ENGINE
        if self.is_list:
            column = listed if listed is not None else ENGINE
        elif not row.span:
            shown = self.shown_columns()
            at = (event.x - self.label_room()) // self.cell_room()
            if not 0 <= at < len(shown):
                return
            column = shown[at]
        if self.at == (k, column):
            self.begin()
        else:
            self.leave()
            self.go(k, column)
