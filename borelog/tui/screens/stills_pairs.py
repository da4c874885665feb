"""Two stills of one place, linked: side by side, wipe, blink, change map with its threshold; a place over its dates."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from textual import work
from textual.timer import Timer
from textual.worker import get_current_worker

from borelog.text import BorelogError, counted, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.screens.stills_suggesting import SuggestActs, Suggested
from borelog.tui.views import comparing
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.acts.bench import Bench
    from borelog.tui.desk import At
    from borelog.tui.loading import Loader
    from borelog.tui.picture import Picture
    from borelog.tui.sampling import Source

WAYS = ("side by side", "wipe", "blink", "change map")
BLINK_SECONDS = 0.5
"""Two pictures a second change: under three flashes a second (WCAG 2.2, 2.3.1)."""
STEP = 0.25
"""One move of the threshold's slider."""


def less_motion() -> bool:
    """Whether the person asked for less motion; then nothing blinks by itself."""
    return os.environ.get("TEXTUAL_ANIMATIONS", "").lower() in ("none", "basic")


class Pair:
    """Two pictures on one grid: that of the still in hand. ``found`` is the comparison as it stands."""

    def __init__(self, sha256: str, name: str, earlier: Source, found: Any) -> None:
        self.sha256, self.name, self.earlier, self.found = sha256, name, earlier, found
        self.change_source: Source | None = None

    @property
    def accepted(self) -> bool:
        """Whether they lie on each other on good evidence."""
        return bool(self.found.alignment.accepted)


class PairActs(SuggestActs):
    """The part of the stills screen that compares."""

    loader: Loader
    enhance: int

    if TYPE_CHECKING:

        @property
        def run(self) -> view.Run | None:
            """The run in hand."""

    def begin_pairs(self) -> None:
        """Nothing is compared."""
        self.pair: Pair | None = None
        self.way = 0
        self.threshold = 3.0
        self.blink_on = False
        self.blink: Timer | None = None
        self.begin_suggestions()

    @property
    def threshold_range(self) -> tuple[float, float]:
        """The ends of the threshold's slider: at the lower much is told as different, at the upper little."""
        from borelog.stills.change import THRESHOLD_RANGE

        return THRESHOLD_RANGE

    def pair_words(self) -> str:
        """What is compared, for the state line."""
        words = ""
        if self.pair is not None:
            named = "" if WAYS[self.way] == "change map" else f" with {one_line(self.pair.name, 24)}"
            words = WAYS[self.way] + named
            words += (
                ""
                if self.pair.accepted
                else f", NOT aligned: {self.key('pair_points')} marks pairs of points"
            )
            if WAYS[self.way] == "change map":
                words += " · " + comparing.slider(self.threshold, *self.threshold_range, self.screens.letters)
            if WAYS[self.way] == "blink" and self.blink is None:
                words += f" · stands still, less motion is asked for: {self.key('set_point')} changes over"
        return " · ".join(x for x in (words, self.suggestion_words()) if x)

    # --- comparing -----------------------------------------------------------------------------------------------

    def act_pair(self) -> None:
        """Choose the other still, or stop comparing."""
        if self.pair is not None:
            self.end_pair()
            self.show()
            return
        self._choose_other("Compare with (the earlier one)", lambda other: self._begin(other, None))

    def _choose_other(self, title: str, then: Any) -> None:
        still, desk = self.still, self.desk
        if still is None or not desk.inspection:
            return
        others = [
            s
            for s in view.stills_of(desk.inspection)
            if s.sha256 != still.sha256 and not s.forgotten and s.width
        ]
        others.sort(key=lambda s: (s.place != still.place or s.place is None, s.cylinder != still.cylinder))
        if not others:
            self.say("there is no other still to compare with", "watch")
            return
        options = [
            (s, s.name, f"{f'cylinder {s.cylinder}' if s.cylinder else 'engine'}, {s.words}") for s in others
        ]
        self.app.push_screen(
            Choose(title, options, typing=True), lambda other: then(other) if other is not None else None
        )

    def _begin(self, other: view.Still, points: list[Any] | None) -> None:
        still = self.still
        if still is not None:
            self.say(f"laying them on each other ... ({self.key('aside')} stops)")
            self._compare(self.desk.bench, still, other, points)

    @work(thread=True, exclusive=True, group="compare", exit_on_error=False)
    def _compare(
        self, bench: Bench, later: view.Still, earlier: view.Still, points: list[Any] | None
    ) -> None:
        import cv2

        from borelog.stills.compare import compare
        from borelog.stills.intake import decode_file
        from borelog.tui.sampling import source_of

        pictures = bench.journal.pictures
        worker = get_current_worker()
        tell = self.teller()
        try:
            one, _ = decode_file(pictures.path(earlier.sha256))
            two, _ = decode_file(pictures.path(later.sha256))
            found = compare(
                one,
                two,
                threshold=self.threshold,
                mirror=earlier.mirror != later.mirror,
                roll_deg=(earlier.roll - later.roll) or None,
                points=points,
                cancelled=lambda: worker.is_cancelled,
                progress=lambda share, words: tell(f"{words} {share:.0%} ({self.key('aside')} stops)"),
                dense=max(two.shape) <= 1600,
            )
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        source = source_of(cv2.cvtColor(found.earlier, cv2.COLOR_BGR2RGB))  # type: ignore[arg-type]
        if not worker.is_cancelled:
            self.app.call_from_thread(
                self._compared, later.sha256, Pair(earlier.sha256, earlier.name, source, found)
            )

    def _compared(self, later: str, pair: Pair) -> None:
        if self.still is None or self.still.sha256 != later:
            return
        self.pair, self.way = pair, 0
        self._regions()
        found = pair.found
        self.say(
            comparing.summary(found) if pair.accepted else f"not aligned: {found.alignment.why}",
            "quiet" if pair.accepted else "watch",
        )
        self.show()
        self.show_pair()

    def _regions(self) -> None:
        """The regions at the threshold in force, as suggestions."""
        from borelog.stills.change import METHOD, VERSION

        assert self.pair is not None
        words = ("became darker", "became lighter")
        laid = self.pair.found.alignment.method
        method = f"{METHOD} {VERSION}, threshold {self.threshold:g}, laid by {laid}"
        if not self.pair.accepted:
            method += ", not aligned"
        self.suggestions = [
            Suggested(r.outline, words[r.lighter], method, comparing.CAUSES) for r in self.pair.found.regions
        ]
        self.suggest_at = 0

    def act_pair_way(self) -> None:
        """The next way of comparing."""
        if self.pair is None:
            self.say(f"compare with another still first: {self.key('pair')}", "watch")
            return
        self.way = (self.way + 1) % len(WAYS)
        self.show_pair()

    def _slide(self, by: float) -> None:
        from borelog.stills.change import with_threshold

        lowest, highest = self.threshold_range
        if self.pair is None:
            self.say(f"the threshold belongs to two compared stills: {self.key('pair')} compares", "watch")
            return
        self.threshold = min(highest, max(lowest, self.threshold + by))
        found = self.pair.found
        self.pair.found = replace(found, change=with_threshold(found.change, self.threshold))
        self.pair.change_source = None
        self._regions()
        self.say(comparing.found_words(self.pair.found))
        self.show()
        self.show_pair()

    def act_threshold_up(self) -> None:
        """Fewer regions."""
        self._slide(STEP)

    def act_threshold_down(self) -> None:
        """More regions."""
        self._slide(-STEP)

    def act_pair_points(self) -> None:
        """Lay two stills on each other by pairs of points set by hand."""
        still = self.still
        if still is None:
            return
        if self.pair is None:
            self._choose_other("Lay on which other still? (the earlier one)", self._open_points)
            return
        inspection = self.desk.inspection
        others = view.stills_of(inspection) if inspection else ()
        other = next((s for s in others if self.pair and s.sha256 == self.pair.sha256), None)
        if other is not None:
            self._open_points(other)

    def _open_points(self, other: view.Still) -> None:
        self.say("reading ...")
        still = self.still
        if still is not None:
            self._load_both(self.desk.bench, still, other)

    @work(thread=True, exclusive=True, group="compare", exit_on_error=False)
    def _load_both(self, bench: Bench, later: view.Still, earlier: view.Still) -> None:
        pictures = bench.journal.pictures
        try:
            sources = [self.loader.load(pictures.path(s.sha256), s.sha256, 0) for s in (earlier, later)]
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "bad")
            return
        self.app.call_from_thread(self._set_points, earlier, later, *sources)

    def _set_points(self, earlier: view.Still, later: view.Still, one: Source, two: Source) -> None:
        from borelog.tui.screens.stills_points import PointsPage

        self.say("")
        page = PointsPage((earlier.name, one), (later.name, two), self.picture.look)
        self.app.push_screen(page, lambda pairs: self._begin(earlier, pairs) if pairs else None)

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
                self.blink = None if less_motion() else self.set_interval(BLINK_SECONDS, self.change_over)
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

    @property
    def comparing(self) -> bool:
        """Whether two stills are compared."""
        return self.pair is not None

    @property
    def blinks(self) -> bool:
        """Whether the pictures change over in place."""
        return self.pair is not None and WAYS[self.way] == "blink"

    def change_over(self) -> None:
        """Show the other of the two."""
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
        """What became darker and what lighter, over a grey picture; full colour at one and a half thresholds."""
        import numpy as np

        from borelog.tui.frames import rgb
        from borelog.tui.sampling import sample, source_of, tinted

        assert self.pair is not None and self.picture.source is not None
        base = sample(self.picture.source, at, size, dots, ground)
        change_source = self.pair.change_source
        change = self.pair.found.change
        if change_source is None:
            strength = np.clip(change.score / (1.5 * self.threshold), 0, 1)
            darker = change.darker
            plane = np.dstack([strength * darker, strength * ~darker, np.zeros_like(strength)])
            change_source = self.pair.change_source = source_of((plane * 255).astype(np.uint8))
        factor = self.picture.source.size[0] / change.score.shape[1]
        through = np.diag([1 / factor, 1 / factor, 1.0])
        part = sample(change_source, at, size, dots, (0, 0, 0), through).astype(np.float32) / 255
        p = self.screens.palette
        return tinted(base, part[..., 1] - part[..., 0], (rgb(p.bad), rgb(p.good)))

    # --- a place over its dates ----------------------------------------------------------------------------------

    def act_strip(self) -> None:
        """The stills of this place over the dates, side by side."""
        still = self.still
        if still is None or still.place is None:
            self.say(
                f"file the still to a place first: {self.key('file_still')}; then its other dates can be found",
                "watch",
            )
            return
        self.say(f"laying the dates beside each other ... ({self.key('aside')} stops)")
        self._strip(self.desk.at, still)

    @work(thread=True, exclusive=True, group="compare", exit_on_error=False)
    def _strip(self, at: At, still: view.Still) -> None:
        import cv2

        from borelog.acts.strips import strip_of
        from borelog.tui.sampling import source_of

        assert still.place is not None
        worker, tell = get_current_worker(), self.teller()
        try:
            strip = strip_of(
                at.bench,
                at.id,
                still.place,
                still.cylinder,
                progress=lambda done, total: tell(f"laying {done} of {total} ({self.key('aside')} stops)"),
                cancelled=lambda: worker.is_cancelled,
            )
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 240), "watch")
            return
        source = source_of(cv2.cvtColor(strip.image, cv2.COLOR_BGR2RGB))  # type: ignore[arg-type]
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show_strip, strip, source)

    def _show_strip(self, strip: Any, source: Source) -> None:
        from borelog.tui.screens.stills_strip import StripPage

        self.say("")

        def answered(what: Any) -> None:
            if what == "write":
                ask = Ask("Write the strip to", [Field("path", "File", value="strip.png")])
                self.app.push_screen(ask, lambda v: self._write_strip(strip, v) if v else None)

        self.app.push_screen(StripPage(strip, source, replace(self.picture.look, cross=False)), answered)

    def act_write_copy(self) -> None:
        """Write a copy of the still in hand with its marks."""
        from borelog.acts.copies import write_copy

        still = self.still
        if still is None or not still.width:
            return
        bench, id_ = self.desk.bench, self.desk.id

        def answered(values: dict[str, str] | None) -> None:
            if values:
                path = Path(values["path"].strip() or "marked.png").expanduser()
                self.screens.do(
                    lambda: write_copy(bench, id_, still.sha256, path),
                    lambda c: f"written: {c.file}, {counted(c.marks, 'mark')}",
                )

        name = f"{Path(still.name).stem}-marked.png"
        words = "As .png, .jpg or .svg. Masked areas are filled; the original stays as it is."
        self.app.push_screen(
            Ask("Write a copy to", [Field("path", "File", value=name)], words=words), answered
        )

    def _write_strip(self, strip: Any, values: dict[str, str]) -> None:
        from borelog.acts.strips import write_strip

        path = Path(values["path"].strip() or "strip.png").expanduser()
        self.screens.do(lambda: write_strip(strip, path), lambda p: f"written: {p}")
