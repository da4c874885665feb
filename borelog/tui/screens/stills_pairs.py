"""Two stills of one place, linked: side by side, wipe, blink, change map; and regions proposed, taken or thrown away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast

from textual import work
from textual.timer import Timer
from textual.worker import get_current_worker

from borelog.logbook.entries import Mark
from borelog.marks.shapes import Shape
from borelog.text import BorelogError, one_line
from borelog.tui.ask import Choose
from borelog.tui.base import Room
from borelog.tui.overlay import Drawn
from borelog.tui.screens import questions
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.tui.loading import Loader
    from borelog.tui.picture import Picture
    from borelog.tui.sampling import Source

WAYS = ("side by side", "wipe", "blink", "change map")
BLINK_SECONDS = 0.5
"""Two pictures a second change: under three flashes a second (WCAG 2.2, 2.3.1)."""


def looked_at(view_id: str) -> Literal["bore", "wall", "crown", "roof"]:
    """How a still filed to a view looks at its part, for the suggestions."""
    if view_id in ("crown", "crown_edge"):
        return "crown"
    return "roof" if view_id in ("chamber", "exhaust_valve", "intake_valve") else "bore"


@dataclass(frozen=True, slots=True)
class Suggested:
    """A shape to be taken as a finding or thrown away: its words, and the method with its version that proposed it."""

    shape: Shape
    words: str
    method: str


class Pair:
    """Two pictures on one grid: that of the still in hand."""

    def __init__(
        self,
        sha256: str,
        name: str,
        earlier: Source,
        score: Any,
        regions: tuple[Any, ...],
        accepted: bool,
        why: str,
    ) -> None:
        self.sha256, self.name, self.earlier = sha256, name, earlier
        self.score, self.regions = score, list(regions)
        self.accepted, self.why = accepted, why
        self.change_source: Source | None = None


class PairActs(Room):
    """The part of the stills screen that compares."""

    loader: Loader
    enhance: int

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        @property
        def run(self) -> view.Run | None:
            """The run in hand."""

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        def show_state(self) -> None:
            """The line under the picture."""

        def show_marks(self) -> None:
            """Marks over the picture."""

    def begin_pairs(self) -> None:
        """Nothing is compared."""
        self.pair: Pair | None = None
        self.way = 0
        self.blink_on = False
        self.blink: Timer | None = None
        self.suggestions: list[Suggested] = []
        self.suggest_at = 0

    def pair_words(self) -> str:
        """What is compared, for the state line."""
        words = ""
        if self.pair is not None:
            words = f"{WAYS[self.way]} with {one_line(self.pair.name, 24)}" + (
                "" if self.pair.accepted else ", NOT aligned"
            )
        if self.suggestions:
            held = self.suggestions[min(self.suggest_at, len(self.suggestions) - 1)]
            words += (
                f" · suggestion {self.suggest_at + 1} of {len(self.suggestions)}, {held.words}: y yes, q no"
            )
        return words.strip(" ·")

    def suggested(self) -> tuple[Drawn, ...]:
        """Suggestions as broken outlines, the one in hand marked."""
        return tuple(
            Drawn(region.shape, f"?{k + 1}", "watch", True, k == self.suggest_at)
            for k, region in enumerate(self.suggestions)
        )

    # --- comparing -----------------------------------------------------------------------------------------------

    def act_pair(self) -> None:
        """Choose the other still, or stop comparing."""
        if self.pair is not None:
            self.end_pair()
            self.show()
            return
        still, desk = self.still, self.desk
        if still is None or not desk.inspection:
            return
        others = [s for s in view.stills_of(desk.inspection) if s.sha256 != still.sha256 and not s.forgotten]
        others.sort(key=lambda s: (s.place != still.place or s.place is None, s.cylinder != still.cylinder))
        if not others:
            self.say("there is no other still to compare with", "watch")
            return
        options = [
            (s, s.name, f"{f'cylinder {s.cylinder}' if s.cylinder else 'engine'}, {s.words}") for s in others
        ]

        def chosen(other: view.Still | None) -> None:
            if other is not None:
                self.say("laying them on each other ...")
                self._compare(still.sha256, other.sha256, other.name)

        self.app.push_screen(Choose("Compare with (the earlier one)", options, typing=True), chosen)

    @work(thread=True, exclusive=True, group="compare", exit_on_error=False)
    def _compare(self, later: str, earlier: str, name: str) -> None:
        import cv2

        from borelog.stills.compare import compare
        from borelog.stills.intake import decode_file
        from borelog.tui.sampling import source_of

        pictures = self.desk.bench.journal.pictures
        worker = get_current_worker()
        try:
            one, _ = decode_file(pictures.path(earlier))
            two, _ = decode_file(pictures.path(later))
            found = compare(one, two, cancelled=lambda: worker.is_cancelled, dense=max(two.shape) <= 1600)
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        source = source_of(cv2.cvtColor(found.earlier, cv2.COLOR_BGR2RGB))  # type: ignore[arg-type]
        signed = found.change.score * (1 - 2 * found.change.darker.astype("float32"))
        pair = Pair(
            earlier, name, source, signed, found.regions, found.alignment.accepted, found.alignment.why
        )
        if not worker.is_cancelled:
            self.app.call_from_thread(self._compared, later, pair)

    def _compared(self, later: str, pair: Pair) -> None:
        if self.still is None or self.still.sha256 != later:
            return
        self.pair, self.way = pair, 0
        from borelog.stills.change import METHOD, VERSION

        words = ("became darker", "became lighter")
        self.suggestions = [
            Suggested(r.outline, words[r.lighter], f"{METHOD} {VERSION}") for r in pair.regions
        ]
        self.suggest_at = 0
        n = len(pair.regions)
        said = f"{n} place{'s' if n != 1 else ''} different; dirt, oil and light differ as well"
        self.say(said if pair.accepted else f"not aligned: {pair.why}", "quiet" if pair.accepted else "watch")
        self.show_pair()

    def act_pair_way(self) -> None:
        """The next way of comparing."""
        if self.pair is None:
            self.say("compare with another still first: l", "watch")
            return
        self.way = (self.way + 1) % len(WAYS)
        self.show_pair()

    def end_pair(self) -> None:
        """Stop comparing."""
        self.pair = None
        self.suggestions = []
        self.show_pair()

    def show_pair(self) -> None:
        """Show the two pictures in the way in force."""
        other = cast("Picture", self.query_one("#other"))
        pair, picture = self.pair, self.picture
        if self.blink is not None:
            self.blink.stop()
            self.blink = None
        other.display = pair is not None and WAYS[self.way] == "side by side"
        picture.compose_view = None
        if pair is not None and picture.source is not None:
            way = WAYS[self.way]
            if way == "side by side":
                other.show(pair.earlier)
                self.call_after_refresh(self.link_views, picture)
            elif way == "wipe":
                picture.compose_view = self._wiped
            elif way == "blink":
                self.blink_on = False
                picture.compose_view = self._blinked
                self.blink = self.set_interval(BLINK_SECONDS, self._tick)
            else:
                picture.compose_view = self._changed
        picture.repaint()
        self.show_marks()
        self.show_state()

    def link_views(self, moved: Picture) -> None:
        """The other picture shows the same part."""
        other = cast("Picture", self.query_one("#other"))
        if self.pair is None or not other.display:
            return
        source, target = (other, self.picture) if moved is other else (self.picture, other)
        if source.view is not None and target.view != source.view:
            target.view, target.at, target._fitted = source.view, source.at, False
            target.repaint()

    def _tick(self) -> None:
        self.blink_on = not self.blink_on
        self.picture.repaint()

    def _both(self, at: Any, size: Any, dots: Any, ground: Any) -> tuple[Any, Any]:
        from borelog.tui.sampling import sample

        assert self.pair is not None and self.picture.source is not None
        return sample(self.pair.earlier, at, size, dots, ground), sample(
            self.picture.source, at, size, dots, ground
        )

    def _wiped(self, at: Any, size: Any, dots: Any, ground: Any) -> Any:
        """Earlier left, later right of the cross hair."""
        from borelog.tui.sampling import wiped

        one, two = self._both(at, size, dots, ground)
        return wiped(one, two, at.to_cells(*self.picture.at, size)[0] / size[0])

    def _blinked(self, at: Any, size: Any, dots: Any, ground: Any) -> Any:
        one, two = self._both(at, size, dots, ground)
        return one if self.blink_on else two

    def _changed(self, at: Any, size: Any, dots: Any, ground: Any) -> Any:
        """What became darker and what lighter, over a grey picture."""
        import numpy as np

        from borelog.tui.frames import rgb
        from borelog.tui.sampling import sample, source_of, tinted

        assert self.pair is not None and self.picture.source is not None
        base = sample(self.picture.source, at, size, dots, ground)
        change_source = self.pair.change_source
        if change_source is None:
            score = self.pair.score
            strength = np.clip(np.abs(score) / max(1e-6, float(np.abs(score).max())), 0, 1)
            plane = np.dstack([strength * (score < 0), strength * (score > 0), np.zeros_like(strength)])
            change_source = self.pair.change_source = source_of((plane * 255).astype(np.uint8))
        factor = self.picture.source.size[0] / self.pair.score.shape[1]
        through = np.diag([1 / factor, 1 / factor, 1.0])
        change = sample(change_source, at, size, dots, (0, 0, 0), through).astype(np.float32) / 255
        p = self.screens.palette
        return tinted(base, change[..., 1] - change[..., 0], (rgb(p.good), rgb(p.bad)))

    # --- suggestions ---------------------------------------------------------------------------------------------

    def act_suggest(self) -> None:
        """Have regions proposed on the still in hand."""
        still = self.still
        if still is None:
            return
        self.say("looking ...")
        self._suggest(still.sha256, still.place.view if still.place else "")

    @work(thread=True, exclusive=True, group="suggest", exit_on_error=False)
    def _suggest(self, sha256: str, view_id: str) -> None:
        from borelog.stills.intake import decode_file
        from borelog.stills.suggest import suggest

        worker = get_current_worker()
        try:
            bgr, _ = decode_file(self.desk.bench.journal.pictures.path(sha256))
            found = suggest(bgr, looked_at(view_id), cancelled=lambda: worker.is_cancelled)
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        taken = []
        for item in found.items:
            about = item.as_dict()
            taken.append(Suggested(item.shape, str(about["words"]), f"{about['method']} {about['version']}"))
        if not worker.is_cancelled:
            self.app.call_from_thread(self._suggestions, sha256, taken, found.text().splitlines()[-1])

    def _suggestions(self, sha256: str, found: list[Suggested], words: str) -> None:
        if self.still is not None and self.still.sha256 == sha256:
            self.suggestions, self.suggest_at = found, 0
            self.say(
                f"{len(found)} to look at: y takes one, q throws it away" if found else one_line(words, 160)
            )
            self.show_marks()
            self.show_state()

    def _suggestion(self) -> Suggested | None:
        if not self.suggestions:
            self.say("nothing is suggested: b looks for places, l compares with another still", "watch")
            return None
        self.suggest_at = min(self.suggest_at, len(self.suggestions) - 1)
        return self.suggestions[self.suggest_at]

    def act_accept_region(self) -> None:
        """The suggestion in hand becomes a finding; the person says which."""
        region, still = self._suggestion(), self.still
        if region is None or still is None:
            return
        mark = Mark(still.sha256, region.shape, region.words, {})

        def then(outcome: Any) -> None:
            if not outcome.failed and region in self.suggestions:
                self.suggestions.remove(region)
                self.show_marks()
                self.show_state()

        questions.finding(self, still.cylinder, (mark,), still.place, region.method, then)

    def act_drop_region(self) -> None:
        """The suggestion in hand is thrown away."""
        region = self._suggestion()
        if region is not None:
            self.suggestions.remove(region)
            self.say(f"thrown away; {len(self.suggestions)} left")
            self.show_marks()
            self.show_state()
