"""What the readings screen asks and shows beside its grid: turning plan, what the figures say, how taken, units, a trace."""

from __future__ import annotations

from borelog.quantity import dimension_of, units_of
from borelog.tui.ask import Choose
from borelog.tui.base import Room
from borelog.tui.grid import GridView
from borelog.tui.screens import questions
from borelog.tui.screens.reading_page import Said
from borelog.tui.views.saying import page_entries


class Asking(Room):
    """A screen with a grid, and the questions that go with it."""

    def __init__(self) -> None:
        super().__init__()
        self.turning = False

    @property
    def grid(self) -> GridView:
        """The grid widget."""
        return self.query_one("#grid", GridView)

    def _step_and_hint(self, typed: str | None = None) -> None:
        """Paint what stands above and below the grid."""

    def act_turning(self) -> None:
        """Show or hide the turning plan."""
        engine = self.desk.engine
        if not self.turning and (engine is None or engine.firing_order is None):
            self.say("the turning plan needs the firing order: enter it under Engine (F3, then e)", "watch")
            return
        self.turning = not self.turning
        self._step_and_hint()

    def act_says(self) -> None:
        """What the readings say together."""
        inspection = self.desk.inspection
        if inspection:
            self.app.push_screen(
                Said("What the readings say together", lambda room: page_entries(inspection, room)),
                lambda entries: questions.rests_on(self, entries) if entries else None,
            )

    def act_how(self) -> None:
        """How the next entries are taken."""
        questions.how_taken(self)

    def act_unit(self) -> None:
        """What a bare number means in this row."""
        grid = self.grid
        row = grid.row
        if row.kind != "reading":
            self.say("only a measured row has a unit", "watch")
            return
        units = (
            units_of("pressure") if row.test.startswith("compression") else units_of(dimension_of(row.unit))
        )
        if row.test.startswith("leakdown"):
            units = ("%", *units_of("pressure"))

        def chosen(unit: str | None) -> None:
            if unit:
                self.desk.units[row.test] = unit
                self.say(f"a bare number now means {unit} here")
                self.show()

        self.app.push_screen(Choose("A bare number means", [(u, u, "") for u in units], typing=True), chosen)
