"""Filing stills: to a cylinder and place, aside, shifted in a run; taking in a card, watching a folder, coverage."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import work
from textual.worker import get_current_worker

from borelog.acts.filing import FilingError
from borelog.acts.whereabouts import Spot, be_at
from borelog.marks.places import Place, place_words
from borelog.text import BorelogError, counted, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.chosen import Choices
from borelog.tui.desk import At, Outcome
from borelog.tui.screens import questions
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.tui.picture import Picture


FILMS = (".avi", ".mp4", ".mov", ".mkv")


def added_words(added: Any) -> str:
    """What taking in did, in one sentence."""
    words = f"{len(added.filed)} taken in"
    aside = sum(bool(f.aside) for f in added.filed)
    words += f", {aside} of them set aside" if aside else ""
    return words + (f"; refused: {added.refused[0].name}: {added.refused[0].why}" if added.refused else "")


class FilingActs(Room):
    """The part of the stills screen that files; the screen itself says which run and still are in hand."""

    run_at: int
    still_at: int
    next_place: Place | None
    watching: threading.Event | None
    probe: str

    if TYPE_CHECKING:

        @property
        def run(self) -> view.Run | None:
            """The run in hand."""

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        def show_state(self) -> None:
            """The line under the picture."""

    def note_spot(self) -> None:
        """Note where the person is at, for pictures that come from a watched folder."""
        desk = self.desk
        bench, spot = desk.bench, Spot(desk.id, desk.cylinder, self.next_place)
        if desk.id and not bench.journal.read_only:
            self.screens.do(lambda: be_at(bench, spot))

    # --- filing --------------------------------------------------------------------------------------------------

    def act_file_still(self) -> None:
        """Ask for cylinder and place of the still in hand, then take the next one."""
        from borelog.acts.filing import place_still

        still, desk = self.still, self.desk
        if still is None:
            return
        # The cylinder it stands under comes first, so that Enter keeps it there.
        here = sorted(desk.cylinders, key=lambda c: c != still.cylinder)
        cylinders: list[tuple[Any, str, str]] = [(c, f"cylinder {c}", str(c) if c < 10 else "") for c in here]
        cylinders.append((0, "the engine as a whole", "e"))
        id_, bench = desk.id, desk.bench

        def where(cylinder: int | None) -> None:
            if cylinder is not None:
                options = questions.place_options(bool(cylinder))
                self.app.push_screen(
                    Choose(
                        "What does it show?",
                        [(p or "none", w, m) for p, w, m in options],
                        typing=True,
                        words="Type a few letters, for example 'bore ex top'.",
                    ),
                    lambda place: file(cylinder or None, place),
                )

        def file(cylinder: int | None, place: Any) -> None:
            if place is None:
                return
            spot = None if place == "none" else place
            words = f"filed: {f'cylinder {cylinder}' if cylinder else 'engine'}{', ' + place_words(spot) if spot else ''}"

            def done(outcome: Outcome) -> None:
                if not outcome.failed:
                    self._after_filing(still)

            self.screens.do(
                lambda: place_still(bench, id_, still.sha256, cylinder=cylinder, place=spot, aside=""),
                words,
                then=done,
            )

        self.app.push_screen(Choose(f"{still.name}: of which cylinder?", cylinders), where)

    def take(self, sha256: str) -> bool:
        """Of the screen: take a still in hand by its digest."""
        return False

    def _after_filing(self, still: view.Still) -> None:
        """The next still without a place in this run is in hand; one that is filed anew stays in hand."""
        run = self.run
        left = (
            [k for k, s in enumerate(run.stills) if s.place is None and s.caption != "slate"] if run else []
        )
        if still.place is not None or not left:
            self.take(still.sha256)
        else:
            self.still_at = left[0]
        self.show()

    def act_aside(self) -> None:
        """Set aside, or bring back."""
        from borelog.acts.filing import place_still

        if self.stop_taking():
            return
        still, desk = self.still, self.desk
        if still is None:
            return
        id_, bench, sha = desk.id, desk.bench, still.sha256
        if still.aside:
            self.screens.do(lambda: place_still(bench, id_, sha, aside=""), f"brought back: {still.name}")
            return
        reasons = [
            ("double", "a double of another", "1"),
            ("black", "black or blank", "2"),
            ("out of focus", "out of focus", "3"),
            ("of no use", "of no use here", "4"),
        ]

        def answered(why: str | None) -> None:
            if why:
                self.screens.do(
                    lambda: place_still(bench, id_, sha, aside=why),
                    f"set aside: {still.name}, {why}; {self.key('aside')} brings it back",
                )

        self.app.push_screen(Choose("Why set it aside?", reasons), answered)

    def act_shift_run(self) -> None:
        """Move this still and those after it in its run by one cylinder."""
        from borelog.acts.filing import shift_run

        run, desk = self.run, self.desk
        if not run or not isinstance(run.key, int) or not run.stills:
            self.say("only stills of a cylinder can be shifted", "watch")
            return
        rest = [s.sha256 for s in run.stills[self.still_at :]]
        id_, bench = desk.id, desk.bench

        def answered(by: int | None) -> None:
            if by:
                self.screens.do(
                    lambda: shift_run(bench, id_, rest, by),
                    lambda n: f"{counted(n, 'still')} moved by one cylinder",
                )

        self.app.push_screen(
            Choose(
                f"Move {counted(len(rest), 'still')}",
                [(1, "to the next cylinder", "1"), (-1, "to the cylinder before", "2")],
            ),
            answered,
        )

    def act_take_stills(self) -> None:
        """Ask for a card, folder or files, and take them in on a thread of its own."""
        run = self.run
        here = run.key if run and isinstance(run.key, int) else None
        fields = [
            Field("path", "Folder, file or pattern", "/media/card/DCIM"),
            Field("to", "All to one cylinder (blank: file them later)", f"{here}" if here else "its number"),
        ]

        def check(v: dict[str, str]) -> str:
            if not v["path"].strip():
                return "a folder or file, please"
            to = v["to"].strip()
            return (
                ""
                if not to or (to.isdigit() and int(to) in self.desk.cylinders)
                else f"there is no cylinder {one_line(to, 12)}"
            )

        at = self.desk.at

        def answered(values: dict[str, str] | None) -> None:
            if values:
                to = values["to"].strip()
                path = Path(values["path"].strip()).expanduser()
                self.say("taking in ...")
                if path.suffix.lower() in FILMS:
                    self._take_film(at, path, int(to) if to else None)
                elif not to and path.is_dir() and self.desk.engine:
                    self._propose(at, str(path))
                else:
                    self._take(at, str(path), int(to) if to else None)

        self.app.push_screen(
            Ask(
                "Take in pictures",
                fields,
                words="Originals are kept byte for byte. Doubles and black frames are set aside, never lost. A whole card is cut into cylinders for you to accept.",
                check=check,
            ),
            answered,
        )

    def _progress(self, words: str) -> Callable[[int, int], None]:
        worker, app = get_current_worker(), self.app

        def tell(done: int, total: int) -> None:
            if worker.is_cancelled:
                raise FilingError("stopped; what was taken in until then stays")
            app.call_from_thread(self.say, f"{words} {done} of {total} ({self.key('aside')} stops)")

        return tell

    def stop_taking(self) -> bool:
        """Stop what is being worked at; False if nothing is."""
        running = [w for w in self.workers if w.group in ("take", "compare", "suggest") and w.is_running]
        for worker in running:
            worker.cancel()
        if running:
            self.say("stopped")
        return bool(running)

    def _done(self, words: str, role: str = "quiet") -> None:
        """Say how it ended, and show what came in."""
        self.screens.do(lambda: None, one_line(words, 300)) if role == "quiet" else self.say(
            one_line(words, 300), role
        )

    @work(thread=True, group="take", exit_on_error=False)
    def _propose(self, at: At, path: str) -> None:
        from borelog.acts.cards import propose

        try:
            with self.long_work():
                card = propose(at.bench, at.id, [path], self._progress("looking at"))
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self._done, str(error), "bad")
            return
        self.app.call_from_thread(self._proposed, at, card)

    def _proposed(self, at: At, card: Any) -> None:
        from borelog.tui.screens.card import CardPage

        self.say("")

        def answered(kept: Any) -> None:
            if kept is not None:
                self._file_card(at, *kept)

        self.app.push_screen(CardPage(card), answered)

    def _taken(self, take: Callable[[], Any]) -> None:
        """From a worker's thread: take pictures in, and say how it went."""
        try:
            with self.long_work():
                added = take()
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self._done, str(error), "bad")
        else:
            self.app.call_from_thread(self._done, added_words(added))

    @work(thread=True, group="take", exit_on_error=False)
    def _file_card(self, at: At, card: Any, with_views: bool) -> None:
        from borelog.acts.cards import accept

        tell = self._progress("filing")
        self._taken(
            lambda: accept(at.bench, at.id, card, with_views=with_views, probe=self.probe, progress=tell)
        )

    @work(thread=True, group="take", exit_on_error=False)
    def _take(self, at: At, path: str, cylinder: int | None) -> None:
        from borelog.acts.filing import add_pictures

        tell = self._progress("taking in")
        self._taken(
            lambda: add_pictures(at.bench, at.id, [path], cylinder=cylinder, probe=self.probe, progress=tell)
        )

    @work(thread=True, group="take", exit_on_error=False)
    def _take_film(self, at: At, path: Path, cylinder: int | None) -> None:
        from borelog.acts.filming import add_film

        tell = self._progress("looking through the film")
        self._taken(
            lambda: add_film(at.bench, at.id, path, cylinder=cylinder, probe=self.probe, progress=tell)
        )

    def act_watch(self) -> None:
        """Watch a folder, or stop watching."""
        if self.watching:
            self.watching.set()
            self.watching = None
            self.say("no longer watching")
            self.show_state()
            return

        def answered(values: dict[str, str] | None) -> None:
            if values:
                self.watching = threading.Event()
                self.note_spot()
                self._watch(self.desk.at, Path(values["path"].strip()).expanduser(), self.watching)
                self.show_state()

        self.app.push_screen(
            Ask(
                "Watch a folder",
                [Field("path", "Folder the camera saves into", "/media/camera")],
                words=f"Each new picture is filed to the cylinder in hand, and to the place chosen with {self.key('next_place')}.",
                check=lambda v: (
                    ""
                    if Path(v["path"].strip()).expanduser().is_dir() and v["path"].strip()
                    else "there is no such folder"
                ),
            ),
            answered,
        )

    @work(thread=True, group="watch", exit_on_error=False)
    def _watch(self, at: At, folder: Path, stop: threading.Event) -> None:
        from borelog.acts.filing import Filed
        from borelog.acts.watching import watch

        try:
            for item in watch(at.bench, at.id, folder, stop, probe=self.probe):
                if stop.is_set() or get_current_worker().is_cancelled:
                    return
                if isinstance(item, Filed):
                    where = f"cylinder {item.cylinder}" if item.cylinder else "engine"
                    words = f"came in: {item.name} to {where}" + (
                        f", {place_words(item.place)}" if item.place else ""
                    )
                    self.app.call_from_thread(self.screens.do, lambda: None, words)
                elif item is not None:
                    self.app.call_from_thread(self.say, f"not taken: {item.name}: {item.why}", "watch")
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self._unwatched, stop, one_line(str(error), 200))

    def _unwatched(self, stop: threading.Event, words: str) -> None:
        """Watching ended by itself: say why, and no longer show it as going on."""
        if self.watching is stop:
            self.watching = None
        self.say(words, "bad")
        self.show_state()

    def on_unmount(self) -> None:
        """Stop watching."""
        if self.watching:
            self.watching.set()

    def act_next_place(self) -> None:
        """Say which place the next pictures show."""

        def answered(place: Any) -> None:
            if place is not None:
                self.next_place = None if place == "none" else place
                self.note_spot()
                self.show_state()

        options = [(p or "none", w, m) for p, w, m in questions.place_options(True)]
        self.app.push_screen(Choose("The next pictures show", options, typing=True), answered)

    # --- coverage ------------------------------------------------------------------------------------------------

    def act_coverage(self) -> None:
        """Coverage grid instead of the picture, or back."""
        coverage = self.query_one("#coverage", Choices)
        coverage.display = not coverage.display
        self.picture.display = not coverage.display
        (coverage if coverage.display else self.picture).focus()
        self.call_after_refresh(self.show)
        if coverage.display:
            self.say(
                f"{self.key('set_point')} notes what was seen at a place; {self.key('coverage')} goes back to the picture"
            )

    def note_place(self) -> None:
        """Note the state of the place in hand in the coverage grid."""
        from borelog.acts import entering
        from borelog.logbook.entries import Looked
        from borelog.marks.places import Looked as State

        run, desk = self.run, self.desk
        if not run or not desk.inspection:
            return
        cylinder = run.key if isinstance(run.key, int) else None
        _, places = view.coverage_lines(desk.inspection, cylinder, run.stills, 60)
        place = places[self.query_one("#coverage", Choices).index]
        id_, bench = desk.id, desk.bench
        options = [
            (State.NOTHING, "looked, nothing found", "n"),
            (State.COULD_NOT_SEE, "could not see it", "c"),
            (State.NOT_POSSIBLE, "not possible", "p"),
            ("finding", "something was found ...", "f"),
            (State.NOT_LOOKED, "not looked", "-"),
        ]

        def answered(state: Any) -> None:
            if state == "finding":
                questions.finding(self, cylinder, place=place)
            elif state is not None:
                self.screens.do(
                    lambda: entering.enter(bench, id_, Looked(state, cylinder, place), "seen clearly"),
                    f"{place_words(place)}: {state}",
                )

        self.app.push_screen(Choose(place_words(place), options), answered)
