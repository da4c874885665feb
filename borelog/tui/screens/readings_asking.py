"""What the readings screen asks and shows beside its grid: turning plan, what the figures say, how taken, units, a trace."""

from __future__ import annotations

from pathlib import Path

from borelog.knowledge.procedures import cautions_of
from borelog.quantity import dimension_of, units_of
from borelog.readings.crank_trace import SYNC_KINDS
from borelog.text import one_line
from borelog.tui.actions import way_to_engine
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.desk import Outcome
from borelog.tui.grid import GridView
from borelog.tui.screens import questions
from borelog.tui.screens.reading_page import Page, Said
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
            self.say(
                f"the turning plan needs the firing order: enter it under Engine ({way_to_engine(self.screens.keys)})",
                "watch",
            )
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

    def act_trace(self) -> None:
        """Take in a starter-current trace: where it is, and what names the cylinders."""
        if self.desk.engine is None:
            self.say(
                f"a trace needs the layout and the firing order: enter them under Engine ({way_to_engine(self.screens.keys)})",
                "watch",
            )
            return
        fields = [
            Field("path", "CSV file: time, amperes, perhaps sync and volts", "/media/card/crank.csv"),
            Field(
                "sync",
                f"What the sync channel is: {', '.join(SYNC_KINDS[1:4])}; blank for none",
                "cam sensor",
            ),
            Field("cylinder", "Whose top or spark it marks", "1"),
            Field("at", "Or: a moment, in seconds, within that cylinder's hump", "1.35"),
            Field("clamp", "Amperes a volt, where the clamp's output is in volts", "100"),
        ]
        self.app.push_screen(
            Ask(
                "A cranking trace",
                fields,
                words=" ".join(cautions_of("crank_current")[:2]),
                check=_trace_fault,
            ),
            lambda v: self._read_trace({k: x.strip() for k, x in v.items() if x.strip()}) if v else None,
        )

    def _read_trace(self, given: dict[str, str]) -> None:
        from borelog.acts.tracing import read_trace

        bench, id_ = self.desk.bench, self.desk.id
        path = str(Path(given.pop("path")).expanduser())
        self.say("reading the trace ...")

        def drawn(outcome: Outcome) -> None:
            if outcome.failed:
                return
            from borelog.tui.views.trace import can_enter, trace_lines

            traced, named = outcome.value, can_enter(outcome.value)
            if not named:
                self.say(
                    "no hump has a name yet: read it again and say whose top, or which moment, is one's",
                    "watch",
                )
            page = Page(
                f"Cranking trace {one_line(Path(path).name, 40)}",
                lambda room: trace_lines(traced, self.screens.letters, room),
                "enters it as readings" if named else "",
            )
            self.app.push_screen(page, lambda yes: enter() if yes else None)

        def enter() -> None:
            self.screens.do(
                lambda: read_trace(bench, id_, path, given), "entered: relative compression from the trace"
            )

        self.screens.do(lambda: read_trace(bench, id_, path, given, dry_run=True), then=drawn)

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


def _trace_fault(values: dict[str, str]) -> str:
    """What is wrong with the fields of a trace, '' if nothing."""
    path, sync = values["path"].strip(), values["sync"].strip()
    if not path or not Path(path).expanduser().is_file():
        return "there is no such file"
    if sync and sync not in SYNC_KINDS:
        return f"a sync is one of {', '.join(SYNC_KINDS[1:4])}, or blank"
    return ""
