"""A still that is the picture of a reading: the gauge, the tester, the tag; tied to it, or set free again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from borelog.acts.filing import place_still
from borelog.acts.words import body_words
from borelog.logbook.entries import Reading
from borelog.text import one_line
from borelog.tui.ask import Choose
from borelog.tui.base import Room
from borelog.tui.screens import questions
from borelog.tui.views import stills as view


class ReadingActs(Room):
    """The part of the stills screen that ties a still to a reading."""

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

    def act_nothing_here(self) -> None:
        """Looked at the whole cylinder, nothing found."""
        questions.looked_nothing(self)

    def act_tie_reading(self) -> None:
        """Say which reading the still is the picture of."""
        still, inspection = self.still, self.desk.inspection
        if still is None or inspection is None:
            return
        readings = inspection.of(Reading)
        if not readings:
            self.say(f"no reading is entered yet: {self.key('readings')} enters them", "watch")
            return
        # Those of the cylinder the still is filed to come first.
        order = sorted(readings, key=lambda r: (r.body.cylinder != still.cylinder, r.body.test))
        options: list[tuple[Any, str, str]] = [(r.id, one_line(body_words(r.body), 70), "") for r in order]
        if still.reading:
            options.append(("none", "of none: untie it", ""))
        bench, id_ = self.desk.bench, self.desk.id

        def chosen(entry: str | None) -> None:
            if entry:
                tied = "" if entry == "none" else entry
                self.screens.do(
                    lambda: place_still(bench, id_, still.sha256, reading=tied),
                    "tied to the reading" if tied else "no longer tied to a reading",
                )

        self.app.push_screen(Choose("Picture of which reading?", options, typing=True), chosen)
