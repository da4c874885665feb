"""Regions and places proposed: taken or thrown away, one key each; nothing proposed is ever recorded by itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from textual import work
from textual.worker import get_current_worker

from borelog.logbook.entries import Mark
from borelog.marks.places import place_words, views
from borelog.marks.shapes import Shape, bounds
from borelog.text import BorelogError, one_line
from borelog.tui.base import Room
from borelog.tui.overlay import Drawn
from borelog.tui.screens import questions
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.acts.bench import Bench
    from borelog.tui.desk import At
    from borelog.tui.picture import Picture

TELL_EVERY = 0.1
"""Seconds between two words of progress; more would only load the screen."""


def looked_at(view_id: str) -> Literal["bore", "wall", "crown", "roof"]:
    """How a still filed to a view looks at its part, for the suggestions."""
    if view_id in ("crown", "crown_edge"):
        return "crown"
    return "roof" if view_id in ("chamber", "exhaust_valve", "intake_valve") else "bore"


@dataclass(frozen=True, slots=True)
class Suggested:
    """A shape to be taken as a finding or thrown away.

    ``method`` names what proposed it with version and threshold, ``wrong`` how often that is wrong.
    """

    shape: Shape
    words: str
    method: str
    wrong: str


class SuggestActs(Room):
    """The part of the stills screen that proposes."""

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        @property
        def comparing(self) -> bool:
            """Whether two stills are compared; then no place is proposed."""

        def show_state(self) -> None:
            """The line under the picture."""

        def show_marks(self) -> None:
            """Marks over the picture."""

        def act_next_still(self) -> None:
            """The next still."""

    def begin_suggestions(self) -> None:
        """Nothing is proposed."""
        self.suggestions: list[Suggested] = []
        self.suggest_at = 0
        self.proposed: dict[str, tuple[str, float]] = {}

    def suggestion_words(self) -> str:
        """What is proposed, for the state line."""
        if self.suggestions:
            at = min(self.suggest_at, len(self.suggestions) - 1)
            return f"suggestion {at + 1} of {len(self.suggestions)}, {self.suggestions[at].words}: {self.key('accept_region')} yes, {self.key('drop_region')} no"
        proposal = self._proposal()
        if proposal is not None:
            name, sure = views()[proposal[0]].label, proposal[1]
            return f"looks most like your stills of: {name} ({sure:.0%}): {self.key('accept_region')} files it so, {self.key('drop_region')} no"
        return ""

    def suggested(self) -> tuple[Drawn, ...]:
        """Suggestions as broken outlines, the one in hand marked."""
        return tuple(
            Drawn(region.shape, f"?{k + 1}", "watch", True, k == self.suggest_at)
            for k, region in enumerate(self.suggestions)
        )

    def next_suggestion(self) -> None:
        """Take the next suggestion in hand and put the cross hair on it."""
        self.suggest_at = (self.suggest_at + 1) % len(self.suggestions)
        self.hold_suggestion(self.suggest_at)

    def hold_suggestion(self, index: int) -> None:
        """Take a suggestion in hand."""
        self.suggest_at = index
        box = bounds(self.suggestions[index].shape)
        self.picture.set_cross((box.x + box.width / 2, box.y + box.height / 2))
        self.show()

    def teller(self) -> Callable[[str], None]:
        """Says progress from a worker's thread, not more often than can be read."""
        from time import monotonic

        app, last = self.app, [0.0]

        def tell(words: str) -> None:
            if monotonic() - last[0] >= TELL_EVERY and not get_current_worker().is_cancelled:
                last[0] = monotonic()
                app.call_from_thread(self.say, words)

        return tell

    # --- regions -------------------------------------------------------------------------------------------------

    def act_suggest(self) -> None:
        """Have regions proposed on the still in hand."""
        still = self.still
        if still is None:
            return
        self.say(f"looking ... ({self.key('aside')} stops)")
        self._suggest(self.desk.bench, still.sha256, still.place.view if still.place else "")

    @work(thread=True, exclusive=True, group="suggest", exit_on_error=False)
    def _suggest(self, bench: Bench, sha256: str, view_id: str) -> None:
        from borelog.stills.intake import decode_file
        from borelog.stills.suggest import KINDS, suggest

        worker, tell = get_current_worker(), self.teller()
        try:
            bgr, _ = decode_file(bench.journal.pictures.path(sha256))
            found = suggest(
                bgr,
                looked_at(view_id),
                cancelled=lambda: worker.is_cancelled,
                progress=lambda share, words: tell(f"{words} {share:.0%} ({self.key('aside')} stops)"),
            )
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        taken, wrong = [], dict(found.wrong)
        for item in found.items:
            about = KINDS[item.kind]
            method = f"{about.method} {about.version}, threshold {about.threshold:g}"
            taken.append(Suggested(item.shape, about.words, method, wrong[item.kind]))
        if not worker.is_cancelled:
            self.app.call_from_thread(self._suggestions, sha256, taken, found.text().splitlines()[-1])

    def _suggestions(self, sha256: str, found: list[Suggested], words: str) -> None:
        if self.still is not None and self.still.sha256 == sha256:
            self.suggestions, self.suggest_at = found, 0
            said = (
                f"{len(found)} to look at: {self.key('accept_region')} takes one, {self.key('drop_region')} throws it away. How often wrong: {found[0].wrong}"
                if found
                else words
            )
            self.say(one_line(said, 300))
            self.show()

    def _suggestion(self) -> Suggested | None:
        if not self.suggestions:
            self.say(
                f"nothing is suggested: {self.key('suggest')} looks for places, {self.key('pair')} compares, "
                f"{self.key('propose')} proposes where it belongs",
                "watch",
            )
            return None
        self.suggest_at = min(self.suggest_at, len(self.suggestions) - 1)
        return self.suggestions[self.suggest_at]

    def act_accept_region(self) -> None:
        """The suggestion in hand becomes a finding, the person says which; or the still is filed as proposed."""
        if not self.suggestions and self._proposal() is not None:
            self._take_proposal()
            return
        region, still = self._suggestion(), self.still
        if region is None or still is None:
            return
        mark = Mark(still.sha256, region.shape, region.words, {})

        def then(outcome: Any) -> None:
            if not outcome.failed and region in self.suggestions:
                self.suggestions.remove(region)
                self.show()

        questions.finding(self, still.cylinder, (mark,), still.place, region.method, then)

    def act_drop_region(self) -> None:
        """The suggestion in hand is thrown away."""
        if not self.suggestions and self._proposal() is not None and self.still is not None:
            self.proposed.pop(self.still.sha256)
            self.say("not filed")
            self.show()
            return
        region = self._suggestion()
        if region is not None:
            self.suggestions.remove(region)
            self.say(f"thrown away; {len(self.suggestions)} left")
            self.show()

    # --- places --------------------------------------------------------------------------------------------------

    def _proposal(self) -> tuple[str, float] | None:
        still = self.still
        if still is None or still.place is not None or still.aside or self.comparing:
            return None
        return self.proposed.get(still.sha256)

    def act_propose(self) -> None:
        """Have places proposed for the stills that have none, from those filed on this engine."""
        if self.desk.id:
            self.say(f"looking at what was filed so far ... ({self.key('aside')} stops)")
            self._propose_places(self.desk.at)

    @work(thread=True, exclusive=True, group="suggest", exit_on_error=False)
    def _propose_places(self, at: At) -> None:
        from borelog.acts.views import proposed_views

        worker, tell = get_current_worker(), self.teller()
        try:
            found = proposed_views(
                at.bench,
                at.id,
                (),
                lambda done, total: tell(f"looking at {done} of {total} ({self.key('aside')} stops)"),
            )
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(self._places, at, found)

    def _places(self, at: At, found: dict[str, tuple[str, float]]) -> None:
        if at != self.desk.at:
            return
        self.proposed = found
        self.say(
            f"{len(found)} stills may show what you filed before; look at each: {self.key('accept_region')} files it so, {self.key('drop_region')} does not"
            if found
            else f"nothing to propose: file a few stills to their places first ({self.key('file_still')}), or all have one already",
            "quiet" if found else "watch",
        )
        self._to_next_proposed()

    def _take_proposal(self) -> None:
        from borelog.acts.filing import place_still
        from borelog.acts.views import spot_of

        still, proposal = self.still, self._proposal()
        if still is None or proposal is None:
            return
        cylinder, place = spot_of(proposal[0], still.cylinder)
        bench, id_ = self.desk.bench, self.desk.id
        self.proposed.pop(still.sha256, None)
        where = f"cylinder {cylinder}, " if cylinder is not None else ""

        def then(outcome: Any) -> None:
            if not outcome.failed:
                self._to_next_proposed()

        self.screens.do(
            lambda: place_still(bench, id_, still.sha256, cylinder=cylinder, place=place),
            f"filed: {where}{place_words(place)}; {self.key('undo')} takes it back",
            then=then,
        )

    def _to_next_proposed(self) -> None:
        """Take the next still with a proposal in hand; the screen says how."""
