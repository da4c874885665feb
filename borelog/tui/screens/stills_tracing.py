"""Outlines that the picture helps to draw: traced along edges, or picked by a tap; the work is on threads."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from textual import work

from borelog.marks.shapes import Freehand, Pair, Shape
from borelog.text import BorelogError, one_line
from borelog.tui import drawing
from borelog.tui.base import Room
from borelog.tui.tracing import Tracer
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.acts.bench import Bench
    from borelog.tui.loading import Loader
    from borelog.tui.picture import Picture


class TraceActs(Room):
    """The part of the stills screen that traces."""

    loader: Loader
    draft: drawing.Draft | None

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        def show_marks(self) -> None:
            """Marks over the picture."""

        def show_state(self) -> None:
            """The line under the picture."""

        def _drawn(self, shape: Shape) -> None:
            """Ask what a finished shape shows."""

    def begin_tracing(self) -> None:
        """Nothing is traced."""
        self.tracer: Tracer | None = None

    def end_tracing(self) -> None:
        """Nothing is traced any more."""
        if self.tracer is not None:
            self.tracer.end()
            self.tracer = None

    def trace_point(self, place: Pair) -> None:
        """The first point of an outline, or one more that it is held at; back at the first it closes."""
        still, draft = self.still, self.draft
        if still is None or draft is None:
            return
        if self.tracer is None:
            bench, sha = self.desk.bench, still.sha256

            def pixels() -> Any:
                return self.loader.load(bench.journal.pictures.path(sha), sha, 0).levels[0]

            self.tracer = Tracer(pixels, place, self._traced_on_thread)
            self.draft = replace(draft, points=(place,), at=place)
        elif len(draft.points) >= 3 and self._at_start(place):
            self.finish_trace()
            return
        else:
            self.tracer.fix(place)
            self.draft = replace(draft, points=(*draft.points, place), at=place)
        self.show_marks()
        self.show_state()

    def _at_start(self, place: Pair) -> bool:
        assert self.draft is not None and self.picture.view is not None
        x, y = self.draft.points[0]
        return abs(place[0] - x) + abs(place[1] - y) <= 2.5 * self.picture.view.px

    def trace_follows(self) -> None:
        """The cross hair moved."""
        if self.tracer is not None:
            self.tracer.follow(self.picture.at)

    def trace_back(self) -> None:
        """Take the last point back."""
        draft = self.draft
        if draft is None or self.tracer is None:
            return
        if not self.tracer.back():
            self.end_tracing()
            self.draft = replace(draft, points=(), path=())
        else:
            self.draft = replace(draft, points=draft.points[:-1])
        self.show_marks()
        self.show_state()

    def finish_trace(self) -> None:
        """Close the outline."""
        if self.tracer is None or self.draft is None or len(self.draft.points) < 3:
            self.say("a few more points, please", "watch")
            return
        self.tracer.finish(lambda shape: self.app.call_from_thread(self._trace_done, shape))

    def _traced_on_thread(self, path: tuple[Pair, ...], fault: str) -> None:
        self.app.call_from_thread(self._traced, path, fault)

    def _traced(self, path: tuple[Pair, ...], fault: str) -> None:
        if fault:
            self.say(fault, "watch")
        elif self.draft is not None and self.draft.tool == "trace":
            self.draft = replace(self.draft, path=path)
            self.show_marks()

    def _trace_done(self, shape: Freehand) -> None:
        self.end_tracing()
        if self.draft is None or self.draft.tool != "trace":
            return
        self.draft = None
        self._drawn(shape)
        self.show_marks()
        self.show_state()

    # --- picked by a tap -----------------------------------------------------------------------------------------

    def pick_around(self, place: Pair) -> None:
        """Have the piece under a tap outlined: a missing piece of crown, a patch."""
        still = self.still
        if still is not None:
            self.say("outlining ...")
            self._pick(self.desk.bench, still.sha256, place)

    @work(thread=True, exclusive=True, group="pick", exit_on_error=False)
    def _pick(self, bench: Bench, sha256: str, place: Pair) -> None:
        from borelog.acts.filing import pixels_of
        from borelog.stills.missing_crown import cut_out

        try:
            outline = cut_out(pixels_of(bench, sha256), *place)
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 160), "watch")
            return
        self.app.call_from_thread(self._picked, sha256, outline)

    def _picked(self, sha256: str, outline: Shape) -> None:
        if self.still is None or self.still.sha256 != sha256 or self.draft is None:
            return
        self.draft = None
        self.say(f"outlined; {self.key('measure')} measures it, as a share of another outline too")
        self._drawn(outline)
        self.show_marks()
        self.show_state()
