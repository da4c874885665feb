"""The stills: runs by cylinder, the picture in hand, filing, taking in, watching a folder."""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.worker import get_current_worker

from borelog.logbook.errors import LogbookError
from borelog.marks.places import Place, place_words
from borelog.marks.shapes import Pair
from borelog.text import BorelogError, one_line
from borelog.tui import drawing
from borelog.tui.chosen import Choices
from borelog.tui.loading import ENHANCE, Loader
from borelog.tui.painted import Bar, Painted
from borelog.tui.picture import Picture
from borelog.tui.screens.stills_filing import FilingActs
from borelog.tui.screens.stills_marks import MarkActs
from borelog.tui.screens.stills_pairs import WAYS, PairActs
from borelog.tui.screens.stills_probe import ProbeActs
from borelog.tui.screens.stills_reading import ReadingActs
from borelog.tui.screens.stills_row import RowActs
from borelog.tui.thumbs import Thumbs
from borelog.tui.views import comparing
from borelog.tui.views import stills as view
from borelog.tui.views.folding import folded

_SIDE = 100
"""Columns from which there is room for words beside the picture."""


class StillsRoom(FilingActs, MarkActs, PairActs, ProbeActs, ReadingActs, RowActs):
    """A row of stills, the one in hand as large as there is room, words beside it."""

    where: ClassVar[str] = "stills"
    AUTO_FOCUS = "#picture"
    DEFAULT_CSS = """
    StillsRoom Horizontal { height: 1fr; }
    StillsRoom #beside { width: 34; padding: 0 0 0 1; border-left: solid $rule; }
    StillsRoom #coverage { width: 1fr; padding: 0 1; display: none; }
    StillsRoom #other { display: none; margin: 0 0 0 1; }
    StillsRoom.-letters #beside { border-left: ascii $rule; }
    StillsRoom #state { height: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.loader = Loader()
        self.run_at = 0
        self.still_at = 0
        self.enhance = 0
        self.shown_sha = ""
        self.wanted = ""
        self._seen_cylinder: int | None = None
        self.next_place: Place | None = None
        self.probe = ""
        self._upright: tuple[str, bool, float] = ("", False, 0.0)
        self.watching: threading.Event | None = None
        self.begin_marks()
        self.begin_pairs()

    def middle(self) -> ComposeResult:
        """Row of stills, picture with the one beside it, coverage, words, state."""
        yield Bar(id="row", panel=False)
        yield Thumbs(id="thumbs", palette=self.screens.palette)
        with Horizontal():
            yield Picture(id="picture", palette=self.screens.palette)
            yield Picture(id="other", palette=self.screens.palette)
            yield Choices(id="coverage")
            yield Painted(id="beside", reads=False)
        yield Bar(id="state", panel=False)

    # --- what is in hand -----------------------------------------------------------------------------------------

    @property
    def picture(self) -> Picture:
        """The picture widget."""
        return self.query_one("#picture", Picture)

    def runs(self) -> tuple[view.Run, ...]:
        """All runs of the inspection in hand."""
        desk = self.desk
        return view.runs(desk.inspection, desk.cylinders) if desk.inspection else ()

    @property
    def run(self) -> view.Run | None:
        """The run in hand."""
        found = self.runs()
        return found[min(self.run_at, len(found) - 1)] if found else None

    @property
    def still(self) -> view.Still | None:
        """The still in hand."""
        run = self.run
        return run.stills[min(self.still_at, len(run.stills) - 1)] if run and run.stills else None

    def on_screen_resume(self) -> None:
        """Come to the cylinder, or the still, that is in hand elsewhere."""
        found = self.runs()
        if self.wanted:
            self.take(self.wanted)
            self.wanted = ""
        elif self.desk.cylinder != self._seen_cylinder:
            self.run_at = next((k for k, r in enumerate(found) if r.key == self.desk.cylinder), self.run_at)
            self.still_at = 0
        self._seen_cylinder = self.desk.cylinder

    def take(self, sha256: str) -> bool:
        """Take a still in hand by its digest."""
        for k, run in enumerate(self.runs()):
            for n, still in enumerate(run.stills):
                if still.sha256 == sha256:
                    self.run_at, self.still_at = k, n
                    if isinstance(run.key, int):
                        self.desk.cylinder = self._seen_cylinder = run.key
                    return True
        return False

    # --- painting ------------------------------------------------------------------------------------------------

    def paint(self, room: int) -> None:
        """Row, picture, marks, words, state."""
        desk, run, still = self.desk, self.run, self.still
        if not desk.inspection or run is None:
            return
        self.still_at = min(self.still_at, max(0, len(run.stills) - 1))
        self.query_one("#row", Bar).set_lines(view.row_line(run, self.still_at, room, self.screens.keys))
        coverage, beside = self.query_one("#coverage", Choices), self.query_one("#beside", Painted)
        beside.display = room >= _SIDE and not coverage.display
        look = self.picture.look
        depth = self.screens.color_depth
        glyphs = "letters" if self.screens.letters or depth == "none" else self.screens.settings.cells
        if (look.glyphs, look.depth) != (glyphs, depth):
            for one in (self.picture, self.query_one("#other", Picture)):
                one.look = replace(one.look, glyphs=glyphs, depth=depth)
        for one in (self.picture, self.query_one("#other", Picture)):
            one.palette = self.screens.palette
            one.keep_shape()
        if still is None:
            self.shown_sha = ""
            take, watch = self.key("take_stills"), self.key("watch")
            self.picture.show(None, f"no stills here yet: {take} takes in pictures, {watch} watches a folder")
        else:
            self._turn_upright(still)
        if still is not None and (still.sha256, self.enhance) != (
            self.shown_sha,
            getattr(self, "_shown_enhance", 0),
        ):
            self.load(still)
        self.show_marks()
        self.show_thumbs(run, room)
        lines = view.side_lines(
            desk.inspection, still, self.marks, self.held, ENHANCE[self.enhance][0], 30, self.screens.keys
        )
        more = comparing.pair_lines(self.pair.found, self.pair.name, WAYS[self.way], 30) if self.pair else []
        more += view.suggestion_lines(self.suggestions, self.suggest_at, 30, self.screens.keys)
        beside.set_lines([*more[1:], *([()] if more else []), *lines])
        if coverage.display:
            cylinder = run.key if isinstance(run.key, int) else None
            lines, _ = view.coverage_lines(
                desk.inspection, cylinder, run.stills, min(76, (coverage.size.width or room) - 2)
            )
            coverage.set_entries([(line,) for line in lines])
        self.show_state()

    def show_state(self) -> None:
        """The line under the picture: scale, cross hair, what is being drawn or compared."""
        picture = self.picture
        parts: list[str] = []
        if picture.view and picture.source:
            parts.append(picture.view.says())
        parts += [x for x in (self.drawing_words(), self.pair_words()) if x]
        if picture.view and picture.source:
            parts.append(f"at {picture.at[0]:.0f}, {picture.at[1]:.0f}")
            if picture.view.turn or picture.view.mirror:
                parts.append(f"turned {picture.view.turn:g}°" + (", mirrored" if picture.view.mirror else ""))
        if self.enhance:
            parts.append(ENHANCE[self.enhance][0])
        if not picture.look.marks:
            parts.append("as it came")
        if self.probe:
            parts.append(f"probe {self.probe}")
        if self.next_place:
            parts.append(f"next: {place_words(self.next_place)}")
        if self.watching:
            parts.append("watching")
        # On a narrow screen what is being done needs a second line; it comes and goes with the doing.
        most = 1 if self.size.width >= _SIDE or not self.in_the_middle else 2 if self.size.width >= 60 else 3
        lines = folded(" · ".join(parts).split(" · "), self.size.width, most)
        state = self.query_one("#state", Bar)
        state.styles.height = len(lines)
        state.set_lines(*lines)

    @property
    def in_the_middle(self) -> bool:
        """Whether something is being drawn, compared or decided."""
        return bool(self.draft or self.moving or self.pair or self.suggestions or self.proposed)

    def on_picture_moved(self, message: Picture.Moved) -> None:
        """View or cross hair changed."""
        self.moved_with_draft()
        self.link_views(message.picture)
        self.show_state()

    # --- loading -------------------------------------------------------------------------------------------------

    def load(self, still: view.Still) -> None:
        """Show a still: at once where it is in memory, else once it is off the disk; the next one is fetched too."""
        self.shown_sha, self._shown_enhance = still.sha256, self.enhance
        self.held = None
        held = self.loader.held(still.sha256, self.enhance)
        if held is not None:
            self.picture.show(held)
        else:
            self.picture.words = "reading ..."
        self._load(still.sha256, self.enhance, held is None)

    def _turn_upright(self, still: view.Still) -> None:
        """Begin a still as its probe asks for: mirrored back, its roll taken out."""
        wanted = (still.sha256, still.mirror, still.roll)
        if wanted == self._upright:
            return
        same, self._upright = still.sha256 == self._upright[0], wanted
        if same:
            self.picture.turn_to(-still.roll, still.mirror)
        else:
            self.picture.begin_view(-still.roll, still.mirror)

    @work(thread=True, exclusive=True, group="load", exit_on_error=False)
    def _load(self, sha256: str, enhance: int, show: bool) -> None:
        pictures = self.desk.bench.journal.pictures
        if show:
            try:
                source = self.loader.load(pictures.path(sha256), sha256, enhance)
            except (BorelogError, OSError) as error:
                self.app.call_from_thread(self._loaded, sha256, None, str(error))
                return
            if get_current_worker().is_cancelled:
                return
            self.app.call_from_thread(self._loaded, sha256, source, "")
        for near in self._near():
            if get_current_worker().is_cancelled:
                return
            try:
                self.loader.load(pictures.path(near), near, enhance)
            except (BorelogError, LogbookError, OSError):
                continue

    def _near(self) -> list[str]:
        run = self.run
        if not run:
            return []
        return [
            run.stills[k].sha256 for k in (self.still_at + 1, self.still_at - 1) if 0 <= k < len(run.stills)
        ]

    def _loaded(self, sha256: str, source: Any, words: str) -> None:
        if sha256 == self.shown_sha:
            self.picture.show(source, one_line(words, 200))
            self.show_marks()
            self.show_state()

    # --- which still ---------------------------------------------------------------------------------------------

    def _step_still(self, by: int) -> None:
        run = self.run
        if run and run.stills:
            self.still_at = (self.still_at + by) % len(run.stills)
            self.end_draft()
            self.show()

    def act_next_still(self) -> None:
        """Next."""
        self._step_still(1)

    def act_previous_still(self) -> None:
        """The one before."""
        self._step_still(-1)

    def act_next_mark(self) -> None:
        """The next suggestion while there are some, else the next mark."""
        if self.suggestions:
            self.next_suggestion()
        else:
            super().act_next_mark()

    def _take_mark_at(self, place: Pair, quiet: bool = False) -> None:
        reach = 2.0 * self.picture.view.px if self.picture.view else 4.0
        hit = drawing.hit(tuple(s.shape for s in self.suggestions), place, reach)
        if hit is not None:
            self.hold_suggestion(hit)
        else:
            super()._take_mark_at(place, quiet)

    def leave_comparing(self) -> bool:
        """Stop comparing, suggesting, proposing places; False if nothing was."""
        if not (self.pair or self.suggestions or self.proposed):
            return False
        self.proposed = {}
        self.end_pair()
        self.say("")
        self.show()
        return True

    def _to_next_proposed(self) -> None:
        found = self.runs()
        order = [(k, n, s) for k, run in enumerate(found) for n, s in enumerate(run.stills)]
        here = next((i for i, (k, n, _) in enumerate(order) if (k, n) >= (self.run_at, self.still_at)), 0)
        for k, n, s in [*order[here:], *order[:here]]:
            if s.sha256 in self.proposed and s.place is None and not s.aside:
                self.run_at, self.still_at = k, n
                break
        self.show()

    def _step_run(self, by: int) -> None:
        found = self.runs()
        if found:
            self.run_at = (self.run_at + by) % len(found)
            self.still_at = 0
            self.end_draft()
            key = found[self.run_at].key
            if isinstance(key, int):
                self.desk.cylinder = self._seen_cylinder = key
                self.note_spot()
            self.show()

    def act_next_cylinder(self) -> None:
        """Next run."""
        self._step_run(1)

    def act_previous_cylinder(self) -> None:
        """The run before."""
        self._step_run(-1)

    # --- the cross hair ------------------------------------------------------------------------------------------

    def _cross(self, columns: float, rows: float) -> None:
        if not self.nudge(columns, rows, pixels=False):
            self.picture.step_cross(columns, rows)

    def _fine(self, right: float, down: float) -> None:
        if not self.nudge(right, down, pixels=True):
            self.picture.step_cross_pixels(right, down)

    def act_cross_left(self) -> None:
        """Left."""
        self._cross(-1, 0)

    def act_cross_right(self) -> None:
        """Right."""
        self._cross(1, 0)

    def act_cross_up(self) -> None:
        """Up."""
        self._cross(0, -1)

    def act_cross_down(self) -> None:
        """Down."""
        self._cross(0, 1)

    def act_fine_left(self) -> None:
        """A pixel left."""
        self._fine(-1, 0)

    def act_fine_right(self) -> None:
        """A pixel right."""
        self._fine(1, 0)

    def act_fine_up(self) -> None:
        """A pixel up."""
        self._fine(0, -1)

    def act_fine_down(self) -> None:
        """A pixel down."""
        self._fine(0, 1)

    def act_pan_up(self) -> None:
        """View up."""
        self.picture.pan(0, -self.picture.size.height / 4)

    def act_pan_down(self) -> None:
        """View down."""
        self.picture.pan(0, self.picture.size.height / 4)

    # --- the view ------------------------------------------------------------------------------------------------

    def act_zoom_in(self) -> None:
        """Nearer."""
        self.picture.zoom(1.5)

    def act_zoom_out(self) -> None:
        """Farther."""
        self.picture.zoom(1 / 1.5)

    def act_zoom_fit(self) -> None:
        """Whole."""
        self.picture.fit_view()

    def act_zoom_pixels(self) -> None:
        """Own pixels."""
        self.picture.zoom_pixels()

    def act_magnifier(self) -> None:
        """Magnifier."""
        self._look(magnifier=not self.picture.look.magnifier)

    def act_original(self) -> None:
        """As it came, or as before."""
        plain = self.picture.look.marks
        self._look(marks=not plain)
        if plain:
            self.enhance = 0
        if plain or self.still is None:
            self.picture.turn_to(0.0, False)
        else:
            self.picture.turn_to(-self.still.roll, self.still.mirror)
        self.show()

    def act_enhance(self) -> None:
        """The next way of showing it clearer."""
        self.enhance = (self.enhance + 1) % len(ENHANCE)
        self.say(
            f"shown: {ENHANCE[self.enhance][0] or 'as it came'}; for the eye only, the original is not touched"
        )
        view_now = self.picture.view
        self.show()
        if view_now:
            self.picture.go(view_now)

    def _look(self, **changes: Any) -> None:
        self.picture.set_look(replace(self.picture.look, **changes))

    def act_rotate(self) -> None:
        """A quarter turn."""
        self.picture.turn(90)

    def act_rotate_fine(self) -> None:
        """Five degrees."""
        self.picture.turn(5)

    def act_mirror(self) -> None:
        """Mirror."""
        self.picture.mirror()
