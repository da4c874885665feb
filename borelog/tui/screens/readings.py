"""The readings: the grid, the step's cautions above it, and what is in hand in words below it."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult

from borelog.knowledge.procedures import procedures
from borelog.logbook.entries import Conditions, Reading
from borelog.marks.places import Looked as State
from borelog.text import BorelogError
from borelog.tui import noting
from borelog.tui.ask import Choose
from borelog.tui.desk import Outcome
from borelog.tui.grid import GridView
from borelog.tui.painted import Bar, Painted
from borelog.tui.screens import questions
from borelog.tui.screens.readings_asking import Asking
from borelog.tui.views import readings as view
from borelog.tui.views.rows import ENGINE, Cell, Row
from borelog.tui.views.saying import said_of
from borelog.tui.views.stepping import hint_lines, step_lines, test_rows, turn_lines, turning_lines
from borelog.tui.views.words import Line

FIRST_TEST = "compression_dry"
"""Where a person begins who says nothing else."""


class ReadingsRoom(Asking):
    """Fast entry: digits and Enter."""

    where: ClassVar[str] = "readings"
    AUTO_FOCUS = "#grid"
    DEFAULT_CSS = """
    ReadingsRoom #step { height: auto; max-height: 12; padding: 0 1; }
    ReadingsRoom #hint { height: 2; padding: 0 0; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.unfolded: set[str] = set()
        self.last: tuple[tuple[str, ...], int] | None = None
        self.goal = ""
        self.coming = True

    def middle(self) -> ComposeResult:
        """Step, grid, hint."""
        step = Painted(id="step", reads=False)
        # The first step's cautions, so that the screen need not be laid out twice when it opens.
        step.styles.height = len(self._step(FIRST_TEST, FIRST_TEST, ENGINE, self.app.size.width))
        yield step
        yield GridView(id="grid")
        yield Bar(id="hint", panel=False)

    def on_screen_resume(self) -> None:
        """Come to the cylinder in hand, and to the entry that was asked for."""
        self.coming = True

    def come(self) -> None:
        """Take the cell in hand that was asked for, else the cylinder in hand."""
        grid = self.grid
        if self.goal.startswith("test "):
            any(grid.go_to(row, self.desk.cylinder) for row in test_rows(self.goal[5:]))
            self.goal = ""
        elif self.goal == "blank":
            grid.go_to_blank(self.desk.cylinder)
            self.goal = ""
        elif self.goal.startswith("blank "):
            any(grid.go_to(row) for row in test_rows(self.goal[6:]))
            blank = (c for c in grid.grid.columns(grid.row) if grid.row.cells[c].status == "missing")
            grid.go(grid.at[0], next(blank, grid.column))
            self.goal = ""
        elif self.goal:
            if not grid.go_to_entry(self.goal):
                self.unfolded |= (
                    {r.body.test for r in self.desk.inspection.of(Conditions) if r.id == self.goal}
                    if self.desk.inspection
                    else set()
                )
                self.fill()
                grid.go_to_entry(self.goal)
            self.goal = ""
        elif grid.grid.rows and self.desk.cylinder and grid.column != ENGINE:
            grid.go(grid.at[0], self.desk.cylinder)
        elif grid.grid.rows and self.last is None:
            grid.go_to(FIRST_TEST, self.desk.cylinder)

    def paint(self, room: int) -> None:
        """The grid of the inspection as it stands."""
        self.fill()
        if self.coming and self.grid.grid.rows:
            self.coming = False
            self.come()
        self._step_and_hint()

    def fill(self) -> None:
        """Put the record as it stands into the grid."""
        desk = self.desk
        if desk.inspection:
            built = view.build(desk.inspection, desk.cylinders, frozenset(self.unfolded), desk.units)
            self.grid.set_grid(built)

    def _step_and_hint(self, typed: str | None = None) -> None:
        grid, desk = self.grid, self.desk
        if not grid.grid.rows or not desk.inspection:
            return
        row, room = grid.row, self.size.width
        test = (
            row.test
            if row.test in procedures()
            else next((r.test for r in grid.grid.rows if r.group == row.group and r.test in procedures()), "")
        )
        lines = self._step(test, row.group, grid.column, room)
        step = self.query_one("#step", Painted)
        if step.styles.height is None or step.styles.height.value != len(lines):
            step.styles.height = len(lines)
        step.set_lines(lines)
        hint = hint_lines(
            row,
            grid.column,
            grid.cell,
            typed,
            grid.drafts.get((row.key, grid.column), ""),
            desk.how,
            room,
            self.screens.keys,
        )
        self.query_one("#hint", Bar).set_lines(*hint)

    def _step(self, test: str, group: str, column: int, room: int) -> list[Line]:
        """Above the grid: cautions before the first figure; where to turn for a leak-down; what the figures say together."""
        desk, high = self.desk, self.app.size.height
        if not desk.inspection:
            return []
        engine = desk.engine
        if self.turning and engine:
            return turning_lines(engine, desk.inspection, room - 2)
        begun = any(r.body.test == test for r in desk.inspection.of(Reading))
        lines = step_lines(test, begun, room - 2, max(3, high // 3), desk.inspection.facts, self.screens.keys)
        if engine and test.startswith("leakdown") and column in engine.cylinders:
            lines += turn_lines(engine, desk.inspection, test, column, room - 2, self.screens.keys)
        return lines + said_of(
            desk.inspection, test, group, room - 2, 3 if high < 30 else 5, self.screens.keys
        )

    # --- from the grid -------------------------------------------------------------------------------------------

    def on_grid_view_moved(self) -> None:
        """Another cell in hand."""
        if self.grid.column != ENGINE and self.desk.cylinder != self.grid.column:
            self.desk.cylinder = self.grid.column
            self.show_rail()
        self._step_and_hint()

    def show_rail(self) -> None:
        """Only the cylinder row changes."""
        from borelog.tui.views.rail import rail_line

        desk = self.desk
        self.query_one("#rail", Bar).set_lines(
            rail_line(
                desk.inspection,
                desk.cylinders,
                desk.cylinder,
                desk.verdict,
                self.size.width,
                self.screens.keys,
            )
        )

    def on_grid_view_typing(self, message: GridView.Typing) -> None:
        """Say what is being typed means."""
        self._step_and_hint(message.text)

    def on_grid_view_entered(self, message: GridView.Entered) -> None:
        """Enter what was typed and go on at once; the disk follows."""
        desk, grid = self.desk, self.grid
        if not desk.inspection:
            return
        key = (message.row.key, message.column)
        try:
            act = noting.typed(
                desk.bench, desk.inspection, message.row, message.column, message.text, desk.how
            )
        except BorelogError as error:
            grid.drafts[key] = message.text
            self.say(str(error), "bad")
            self._step_and_hint()
            return
        self._run(act, key, message.text)
        self._onward(message.row, message.column, message.then)

    def _run(self, act: noting.Noting, key: tuple[tuple[str, ...], int], shown: str) -> None:
        grid = self.grid
        grid.pending[key] = shown
        self.last = key

        def done(outcome: Outcome) -> None:
            grid.pending.pop(key, None)
            if outcome.failed:
                grid.drafts[key] = shown
            elif act.doubt:
                self.say(f"kept as typed, and marked: {act.doubt}", "watch")

        self.screens.do(act.run, act.said, then=done)

    def _onward(self, row: Row, column: int, then: str) -> None:
        grid = self.grid
        columns = grid.grid.columns(row)
        if (
            then == "next"
            and row.kind == "reading"
            and column == columns[-1]
            and row.test not in self.unfolded
        ) and self._conditions_blank(row.test):
            self.unfolded.add(row.test)
            self.show()
        grid.onward(then)
        if grid.grid.rows and grid.row.kind == "fold" and then == "next":
            grid.step(1)
        self._step_and_hint()

    def _conditions_blank(self, test: str) -> bool:
        return any(
            r.kind == "fold" and r.test == test and r.cells[ENGINE].status == "missing"
            for r in self.grid.grid.rows
        )

    def on_grid_view_answered(self, message: GridView.Answered) -> None:
        """A letter answered."""
        desk = self.desk
        if not desk.inspection:
            return
        answer, words = message.answer
        try:
            act = noting.answered(desk.bench, desk.inspection, message.row, message.column, answer, desk.how)
        except BorelogError as error:
            self.say(str(error), "bad")
            return
        self._run(act, (message.row.key, message.column), words)
        self._onward(message.row, message.column, "next")

    # --- actions -------------------------------------------------------------------------------------------------

    def act_accept(self) -> None:
        """Open the cell; a fold opens or closes; a question lists its answers."""
        grid = self.grid
        if not grid.grid.rows:
            return
        row = grid.row
        if row.kind == "fold":
            self.unfolded ^= {row.test}
            self.show()
        elif row.takes_letters:
            self._choose(row, grid.column)
        else:
            grid.begin()

    def _choose(self, row: Row, column: int) -> None:
        options = [((id_, words), words, k) for k, id_, words in row.answers]

        def answered(answer: tuple[str, str] | None) -> None:
            if answer:
                self.on_grid_view_answered(GridView.Answered(row, column, answer))

        where = f", cylinder {column}" if column != ENGINE else ""
        self.app.push_screen(Choose(f"{row.hint.split('  ')[0]}{where}", options), answered)

    def _act(self, make: Callable[[], noting.Noting]) -> None:
        """Run an act made from the cell in hand; say plainly why it cannot be."""
        grid, desk = self.grid, self.desk
        if not grid.grid.rows or not desk.inspection or grid.row.kind in ("head", "fold"):
            self.say("take a cell in hand first", "watch")
            return
        try:
            act = make()
        except BorelogError as error:
            self.say(str(error), "watch")
            return
        self.screens.do(act.run, act.said)

    def act_ditto(self) -> None:
        """As in the cell before."""
        grid, desk = self.grid, self.desk
        columns = grid.grid.columns(grid.row)
        at = columns.index(grid.column) if grid.column in columns else 0
        if at == 0:
            self.say("there is no cell before this one in its row", "watch")
            return
        row, column = grid.row, grid.column
        # What was just entered may still be on its way to the disk.
        before = grid.pending.get((row.key, columns[at - 1])) or row.cells[columns[at - 1]].edit
        if not before:
            self.say("nothing is entered in the cell before", "watch")
            return
        assert desk.inspection is not None
        inspection = desk.inspection
        self._act(lambda: noting.typed(desk.bench, inspection, row, column, before, desk.how))
        self._onward(row, column, "next")

    def act_rest_same(self) -> None:
        """The same in the rest of the row."""
        grid, desk = self.grid, self.desk
        row, column = grid.row, grid.column
        if any(key == row.key for key, _ in grid.pending):
            # Something of this row is still on its way to the disk: do it right behind that.
            self.screens.do(lambda: None, then=lambda _: self.act_rest_same())
            return
        source = column
        if row.cells.get(column, Cell()).status == "missing" and row.kind != "fold":
            columns = grid.grid.columns(row)
            before = [c for c in columns[: columns.index(column)] if row.cells[c].entry]
            source = before[-1] if before else column
        columns, inspection = grid.grid.columns(row), desk.inspection
        if inspection is not None:
            self._act(lambda: noting.rest_same(desk.bench, inspection, row, columns, source, desk.how))

    def act_retest(self) -> None:
        """A session beside the first."""
        grid, desk = self.grid, self.desk
        row = grid.row
        if row.test not in procedures() or not desk.inspection:
            self.say("only a measured test has sessions", "watch")
            return
        used = [r.body.series for r in desk.inspection.of(Reading) if r.body.test == row.test]
        if not used:
            self.say("enter the first session first", "watch")
            return
        numbers = [int(s) for s in used if s.isdigit()] or [1]
        series = str(max(numbers) + 1)
        desk.units[f"{row.test} series"] = series
        self.show()
        for k, r in enumerate(grid.grid.rows):
            if r.test == row.test and r.series == series:
                grid.go(k, grid.grid.columns(r)[0])
        self.say(f"session {series}: what is entered here stands beside the first")

    def act_mend_last(self) -> None:
        """Back to what was entered last, opened."""
        grid = self.grid
        if self.last is None:
            self.say("nothing was entered here yet", "watch")
            return
        for k, r in enumerate(grid.grid.rows):
            if r.key == self.last[0]:
                grid.go(k, self.last[1])
                grid.begin()
                return

    def act_next_blank(self) -> None:
        """The next blank."""
        if not self.grid.next_blank():
            self.say("nothing is left blank")

    def act_not_done(self) -> None:
        """Not done."""
        self._absent(State.NOT_LOOKED)

    def act_not_possible(self) -> None:
        """Not possible."""
        self._absent(State.NOT_POSSIBLE)

    def _absent(self, state: State) -> None:
        grid, desk = self.grid, self.desk
        if not grid.grid.rows or grid.row.kind not in ("reading", "question"):
            self.say("this can be said of a test or a question", "watch")
            return
        row, column = grid.row, grid.column
        assert desk.inspection is not None
        inspection = desk.inspection
        self._act(lambda: noting.absent(desk.bench, inspection, row, column, state))
        self._onward(row, column, "next")

    def act_nothing_here(self) -> None:
        """Looked, nothing, at every place of the cylinder."""
        questions.looked_nothing(self)

    def act_take_back(self) -> None:
        """Withdraw what the cell shows, or drop its draft."""
        grid, desk = self.grid, self.desk
        key = (grid.row.key, grid.column)
        if grid.drafts.pop(key, None) is not None:
            grid.refresh()
            self.say("what was typed and not entered is dropped")
            return
        cell = grid.cell
        inspection = desk.inspection
        if inspection is not None:
            self._act(lambda: noting.withdrawn(desk.bench, inspection, cell, "withdrawn in the grid"))

    def act_row_up(self) -> None:
        """Up."""
        self.grid.step(-1)

    def act_row_down(self) -> None:
        """Down."""
        self.grid.step(1)

    def act_cell_left(self) -> None:
        """Left."""
        self.grid.step_cell(-1)

    def act_cell_right(self) -> None:
        """Right."""
        self.grid.step_cell(1)

    def act_group_down(self) -> None:
        """Next test."""
        self.grid.step_group(1)

    def act_group_up(self) -> None:
        """Test before."""
        self.grid.step_group(-1)

    def act_row_first(self) -> None:
        """First cell."""
        self.grid.go(self.grid.at[0], self.grid.grid.columns(self.grid.row)[0])

    def act_row_last(self) -> None:
        """Last cell."""
        self.grid.go(self.grid.at[0], self.grid.grid.columns(self.grid.row)[-1])
