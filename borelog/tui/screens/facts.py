"""Facts about engine and car: everything may be left blank."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult

from borelog.logbook.described import engine_problem
from borelog.tui.ask import Choose
from borelog.tui.grid import GridView
from borelog.tui.painted import Bar, Painted
from borelog.tui.screens.readings import ReadingsRoom
from borelog.tui.views import facts as view
from borelog.tui.views.rows import Row
from borelog.tui.views.words import Line, Span, cells, cut, pieces


class FactsRoom(ReadingsRoom):
    """The same grid, one column wide."""

    where: ClassVar[str] = "facts"

    def middle(self) -> ComposeResult:
        """What the engine is, grid, hint."""
        yield Painted(id="step", reads=False)
        yield GridView(id="grid")
        yield Bar(id="hint", panel=False)

    def fill(self) -> None:
        """All facts."""
        if self.desk.inspection:
            self.grid.set_grid(view.build(self.desk.inspection))

    def _step_and_hint(self, typed: str | None = None) -> None:
        grid, desk, room = self.grid, self.desk, self.size.width
        if not grid.grid.rows or not desk.inspection:
            return
        engine, problem = desk.engine, engine_problem(desk.inspection)
        lines: list[Line] = []
        if problem:
            lines.append((Span(cut(f"! {problem}", room - 2), "bad"),))
        elif engine:
            from borelog.engine.plan import where_is_one

            lines.append(
                (
                    Span(engine.name, "ink", "bold"),
                    Span(pieces(f" · {where_is_one(engine)}", room - cells(engine.name) - 3), "quiet"),
                )
            )
        else:
            lines.append((Span("no layout yet: type for example in-line 4, V8, flat 6", "watch"),))
        step = self.query_one("#step", Painted)
        step.styles.height = len(lines)
        step.set_lines(lines)
        row, cell = grid.row, grid.cell
        draft = grid.drafts.get((row.key, grid.column), "")
        first: Line = (Span(cut(f" {row.label}: {cell.text or 'not noted'}", room), "ink"),)
        second: Line = (
            (
                Span(
                    pieces(
                        f" not entered yet: {draft} · {self.key('accept')} opens it · {self.key('take_back')} drops it",
                        room,
                    ),
                    "watch",
                ),
            )
            if draft
            else (Span(pieces(f" {row.hint}", room), "quiet"),)
        )
        self.query_one("#hint", Bar).set_lines(first, second)

    def act_accept(self) -> None:
        """Open the fact; for the firing order of a layout that has published ones, list them."""
        from borelog.acts.facts import published_orders

        grid, inspection = self.grid, self.desk.inspection
        row = grid.row if grid.grid.rows else None
        known = published_orders(inspection.facts.get("layout", "")) if inspection else ()
        if row is None or row.test != "firing_order" or not known or grid.cell.text:
            super().act_accept()
            return
        options = [(text.split()[0], " ".join(text.split()[1:]), "") for text in known]
        options.append(("", "another: type it, for example 1-3-4-2", ""))

        def chosen(name: str | None) -> None:
            if name:
                self.on_grid_view_entered(GridView.Entered(row, grid.column, name, "next"))
            elif name == "":
                grid.begin()

        self.app.push_screen(Choose("Which firing order?", options, typing=True), chosen)

    def come(self) -> None:
        """Stay where one was."""

    def _onward(self, row: Row, column: int, then: str) -> None:
        self.grid.onward(then)
        self._step_and_hint()
