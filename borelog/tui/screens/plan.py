"""The cylinder plan with the sheet of the cylinder in hand."""

from __future__ import annotations

from typing import Any, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal

from borelog.acts import entering
from borelog.engine.plan import plan_grid
from borelog.logbook.entries import Looked
from borelog.marks.places import Looked as State
from borelog.tui.base import ByNumber
from borelog.tui.painted import Painted
from borelog.tui.screens import questions
from borelog.tui.views import looking
from borelog.tui.views.plan import list_lines, plan_lines
from borelog.tui.views.sheet import sheet_lines
from borelog.tui.views.words import Span

NARROW = 60
TWO_DIGITS = 1.0
"""Seconds within which a second digit belongs to the first: 1, 2 is cylinder 12."""


def side_room(room: int, two_banks: bool, big: bool) -> int:
    """Columns for the sheet beside the plan; 0 where the plan needs them all."""
    if room < NARROW or big or (two_banks and room < 110):
        return 0
    return 57 if room >= 118 else 36


class PlanRoom(ByNumber):
    """Cylinders in true arrangement; on a narrow screen a list in test order."""

    where: ClassVar[str] = "plan"
    AUTO_FOCUS = "#plan"
    DEFAULT_CSS = """
    PlanRoom Horizontal { height: 1fr; }
    PlanRoom #sheet { width: 38; border-left: solid $rule; padding: 0 0 0 1; }
    PlanRoom.-letters #sheet { border-left: ascii $rule; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.sheet_alone = False
        self._digit, self._digit_at = 0, 0.0

    def middle(self) -> ComposeResult:
        """Plan and sheet."""
        with Horizontal():
            yield Painted(id="plan")
            yield Painted(id="sheet", reads=False)

    def paint(self, room: int) -> None:
        """Draw plan and sheet for what is in hand."""
        desk = self.desk
        if not desk.inspection:
            return
        plan, sheet = self.query_one("#plan", Painted), self.query_one("#sheet", Painted)
        side = side_room(room, bool(desk.engine and len(desk.engine.banks) > 1), self.screens.large)
        plan.display, sheet.display = not self.sheet_alone, bool(side) or self.sheet_alone
        if self.sheet_alone:
            side = room
        sheet.styles.width = side or 1
        wide, high = room - side, max(4, self.size.height - 4)
        if desk.cylinder is None:
            desk.pick(None)
        engine, begins = desk.engine, 0
        lines: list[Any] = []
        if engine and room >= NARROW:
            lines, begins = plan_lines(
                desk.inspection, engine, desk.verdict, desk.cylinder, wide, high, self.screens.large
            )
        elif desk.cylinders:
            lines, begins = list_lines(desk.inspection, desk.cylinders, desk.verdict, desk.cylinder, wide)
        else:
            lines = looking.no_layout(wide, self.screens.keys)
        plan.set_lines(lines)
        plan.keep_in_view(max(0, begins - 1), 0)
        if begins + 4 < len(lines):
            plan.keep_in_view(min(len(lines) - 1, begins + 3), 0)
        if desk.cylinder is not None:
            sheet.set_lines(
                [
                    s.line
                    for s in sheet_lines(
                        desk.inspection, engine, desk.verdict, desk.cylinder, side - 3 if side else 40
                    )
                ]
            )
        else:
            sheet.set_lines([(Span("no cylinder yet", "quiet"),)])

    # --- going about ---------------------------------------------------------------------------------------------

    def _step(self, down: int, right: int) -> None:
        desk = self.desk
        engine = desk.engine
        if engine and desk.cylinder and self.size.width >= NARROW:
            desk.cylinder = plan_grid(engine).step(desk.cylinder, down, right)
        else:
            desk.step(down or right)
        self.query_one("#sheet", Painted).scroll_to(y=0, animate=False)
        self.show()

    def act_cylinder_left(self) -> None:
        """Left."""
        self._step(0, -1)

    def act_cylinder_right(self) -> None:
        """Right."""
        self._step(0, 1)

    def act_cylinder_up(self) -> None:
        """Up."""
        self._step(-1, 0)

    def act_cylinder_down(self) -> None:
        """Down."""
        self._step(1, 0)

    def on_key(self, event: events.Key) -> None:
        """A digit takes that cylinder in hand; two within a moment make a number of two digits."""
        if event.key.isdigit() and self.desk.cylinders:
            digit = int(event.key)
            before = self._digit if event.time - self._digit_at < TWO_DIGITS else 0
            self._digit, self._digit_at = digit, event.time
            wanted = (10 * before + digit, digit) if before else (digit,)
            self.desk.cylinder = next((c for c in wanted if c in self.desk.cylinders), self.desk.cylinder)
            event.stop()
            self.show()

    def act_sheet(self) -> None:
        """The sheet alone, or the plan again."""
        self.sheet_alone = not self.sheet_alone
        self.show()

    def act_scroll_sheet_down(self) -> None:
        """Sheet down."""
        box = self.query_one("#sheet" if self.query_one("#sheet").display else "#plan", Painted)
        box.scroll_page_down(animate=False)

    def act_scroll_sheet_up(self) -> None:
        """Sheet up."""
        box = self.query_one("#sheet" if self.query_one("#sheet").display else "#plan", Painted)
        box.scroll_page_up(animate=False)

    def act_measure_here(self) -> None:
        """Readings at this cylinder."""
        self.screens.go("readings" if self.desk.cylinders else "facts")

    def act_see_stills(self) -> None:
        """Stills of this cylinder."""
        self.screens.go("stills")

    def act_why(self) -> None:
        """The verdict on this cylinder."""
        self.screens.go("verdict")

    def act_facts(self) -> None:
        """Facts about engine and car."""
        self.screens.go("facts")

    # --- noting --------------------------------------------------------------------------------------------------

    def act_looked_nothing(self) -> None:
        """Every place of this cylinder not noted yet: looked, nothing."""
        questions.looked_nothing(self)

    def act_seized(self) -> None:
        """Nothing can be turned or measured at this cylinder."""
        desk, cylinder = self.desk, self.desk.cylinder
        if not desk.inspection or cylinder is None:
            return
        bodies = [
            (Looked(State.NOT_POSSIBLE, cylinder, None, test, "seized"), "seen clearly")
            for test in looking.untested(desk.inspection, cylinder)
        ]
        at = desk.at
        self.screens.do(
            lambda: entering.enter_all(at.bench, at.id, list(bodies)),
            f"cylinder {cylinder}: {len(bodies)} tests not possible, seized",
        )

    def act_finding(self) -> None:
        """A finding without a picture."""
        questions.finding(self, self.desk.cylinder)

    def act_note(self) -> None:
        """Words of one's own, a claim, codes, consent."""
        questions.words(self, self.desk.cylinder)
