"""The application: it wires screens, desk, keys and themes together and holds no rule of its own."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from textual import events, work
from textual.binding import BindingsMap
from textual.message import Message

from borelog.text import BorelogError, one_line
from borelog.tui import guard, leading, themes, warming
from borelog.tui.actions import key_of
from borelog.tui.ahead import TypedAhead
from borelog.tui.desk import Desk, Outcome
from borelog.tui.keymap import Settings, keys_in_force

if TYPE_CHECKING:
    from textual.timer import Timer

    from borelog.acts.bench import Bench
    from borelog.tui.base import Room

JUDGE_AFTER = 0.4
"""Seconds without an entry after which the verdict is worked out anew."""


def _rooms() -> dict[str, Callable[[], Room]]:
    """Makers of the main screens; each is imported when it is first shown."""

    def maker(module: str, name: str) -> Callable[[], Room]:
        def make() -> Room:
            from importlib import import_module

            room: Room = getattr(import_module(f"borelog.tui.screens.{module}"), name)()
            return room

        return make

    return {
        "logbook": maker("logbook", "LogbookRoom"),
        "plan": maker("plan", "PlanRoom"),
        "facts": maker("facts", "FactsRoom"),
        "readings": maker("readings", "ReadingsRoom"),
        "stills": maker("stills", "StillsRoom"),
        "verdict": maker("verdict", "VerdictRoom"),
        "pack": maker("pack", "PackRoom"),
    }


class Acted(Message):
    """An act ended on the acts' thread."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        super().__init__()


class Screens(TypedAhead, inherit_bindings=False):
    """The screens over one logbook."""

    ENABLE_COMMAND_PALETTE = False
    TITLE = "borelog"

    def __init__(self, bench: Bench, settings: Settings | None = None, open_id: str = "") -> None:
        guard.guard_zero_pixels()
        if os.environ.get("NO_COLOR") == "":
            # An empty value does not count (no-color.org); the library would take it for set.
            del os.environ["NO_COLOR"]
        super().__init__()
        self.settings = settings or Settings()
        self.keys = keys_in_force(self.settings.keys)
        self.letters = self.settings.letters
        self.large = self.settings.large
        self.animation_level = "none"
        self.desk = Desk(bench, tell=self._told)
        self.open_id = open_id
        self.cell_pixels: tuple[float, float] | None = None
        self.color_depth = self._depth()
        self._bindings = BindingsMap([])
        for palette in themes.PALETTES.values():
            self.register_theme(themes.textual_theme(palette))
        self.theme = self.settings.theme
        self.rooms: dict[str, Room] = {}
        self._opened: list[Bench] = []
        self._judge_timer: Timer | None = None
        self._judging = self._judge_again = False
        self.logbook_shown = ""
        self._asked_to_quit = False
        self._awaited = ""
        self.long_jobs: set[object] = set()
        self.warm = False

    def _depth(self) -> str:
        """How many colours our own picture rows may use; 'none' where there are only the sixteen."""
        if self.no_color or os.environ.get("NO_COLOR"):
            return "grey"
        return {"256": "256", "standard": "none", "windows": "none"}.get(
            self.console.color_system or "", "full"
        )

    @property
    def palette(self) -> themes.Palette:
        """The colours in force."""
        return themes.PALETTES[self.theme]

    @property
    def logbook_words(self) -> str:
        """Which logbook this is."""
        if self.logbook_shown:
            return self.logbook_shown
        folder = self.desk.bench.journal.folder
        shown = str(folder).replace(os.path.expanduser("~"), "~", 1)
        return f"{'demo logbook' if folder.name == 'demo-logbook' else 'logbook'} {shown}"

    def on_mount(self) -> None:
        """First screen, then look for other writers once a second."""
        self.go("logbook")
        if self.open_id:
            self.open_inspection(self.open_id)
        self.set_interval(1.0, self.desk.look_again)
        if warnings := self.desk.bench.journal.warnings:
            self.call_after_refresh(
                lambda: self.room_now().say(
                    f"{one_line(warnings[0], 300)} ({self.room_now().key('doctor')} shows all)", "watch"
                )
            )
        self.call_after_refresh(self.set_timer, warming.WARM_AFTER, self._warm)

    @work(thread=True, group="warm", exit_on_error=False)
    def _warm(self) -> None:
        warming.load_the_rest(self)

    def warmed(self) -> None:
        """Now the list can be worked out where the cache knew nothing or other tables."""
        self.warm = True
        if (room := self.room_now()).where == "logbook":
            room.reload()  # type: ignore[attr-defined]

    def on_resize(self, event: events.Resize) -> None:
        """Keep how large a cell is, so that round things look round and the scale of a picture is right."""
        pixels = guard.cell_pixels(event.size, event.pixel_size)
        if pixels != self.cell_pixels:
            self.cell_pixels = pixels
            # The report may come after the first paint, with the size unchanged.
            self.call_after_refresh(self._show_again)

    def _show_again(self) -> None:
        if self.is_running and len(self.screen_stack) > 1:
            self.room_now().show()

    # --- going about ---------------------------------------------------------------------------------------------

    def go(self, where: str, **aims: str) -> None:
        """Show a main screen, ``aims`` laid on it first; one that is not imported yet comes once it is, off this thread."""
        if where != "logbook" and not self.desk.id:
            opens, begins = (key_of(self.keys, "logbook", a) for a in ("open", "new"))
            self.room_now().say(
                f"open an inspection first: {opens} opens the one in hand, {begins} begins a new one", "watch"
            )
            return
        if where not in warming.LOADED and len(self.screen_stack) > 1:
            self._awaited = where
            self._load_room(where, aims)
            return
        room = self.room(where)
        for name, aim in aims.items():
            setattr(room, name, aim)
        if len(self.screen_stack) > 1:
            while len(self.screen_stack) > 2:
                self.pop_screen()
            self.switch_screen(where)
        else:
            self.push_screen(where)

    @work(thread=True, group="room", exit_on_error=False)
    def _load_room(self, where: str, aims: dict[str, str]) -> None:
        try:
            warming.load(where)
        finally:
            self.call_from_thread(self._room_loaded, where, aims)

    def _room_loaded(self, where: str, aims: dict[str, str]) -> None:
        # Also where it failed: then the import fails again where a fault ends the screens in one plain line.
        warming.LOADED.add(where)
        if self._awaited == where:
            self._awaited = ""
            self.go(where, **aims)

    def room(self, where: str) -> Room:
        """A main screen, made when it is first wanted."""
        if where not in self.rooms:
            self.rooms[where] = _rooms()[where]()
            self.install_screen(self.rooms[where], where)
        return self.rooms[where]

    def room_now(self) -> Room:
        """The main screen shown, also under a question."""
        from borelog.tui.base import Room

        return next(s for s in reversed(self.screen_stack) if isinstance(s, Room))

    def open_inspection(self, id_: str) -> None:
        """Take an inspection in hand and show its cylinders."""

        def opened(outcome: Outcome) -> None:
            if not outcome.failed:
                self.go("plan")

        self.do(lambda: id_, opens=True, then=opened)

    # --- acts ----------------------------------------------------------------------------------------------------

    def do(
        self,
        act: Callable[[], Any],
        said: Callable[[Any], str] | str = "",
        *,
        opens: bool = False,
        then: Callable[[Outcome], None] | None = None,
    ) -> None:
        """Run an act on the acts' thread; the screen is painted anew when it is done."""
        self.desk.do(act, said, opens=opens, then=then)

    @property
    def opening(self) -> bool:
        """Whether an inspection is being opened, or a screen imported that was asked for."""
        return self.desk.opening or bool(self._awaited)

    def _told(self, outcome: Outcome) -> None:
        self.post_message(Acted(outcome))

    def on_acted(self, message: Acted) -> None:
        """Say how an act ended, paint, and have the verdict worked out anew."""
        outcome = message.outcome
        changed = self.desk.arrived(outcome)
        room = self.room_now()
        if outcome.words:
            room.say(outcome.words, "bad" if outcome.failed else "quiet")
        if outcome.then:
            outcome.then(outcome)
        if changed:
            self.judge()
        self.room_now().show()

    def judge(self) -> None:
        """Have the verdict worked out once the entering pauses; never two at a time, and only the latest counts."""
        if self._judge_timer is not None:
            self._judge_timer.stop()
        self._judge_timer = self.set_timer(JUDGE_AFTER, self._begin_judging)

    def _begin_judging(self) -> None:
        self._judge_timer = None
        if self._judging:
            self._judge_again = True
        elif self.desk.inspection is not None:
            self._judging = True
            self._judge(self.desk.bench, self.desk.inspection)

    @work(thread=True, group="verdict", exit_on_error=False)
    def _judge(self, bench: Bench, inspection: Any) -> None:
        verdict, words = judged(bench, inspection)
        self.call_from_thread(self._judged, inspection, verdict, words)

    def _judged(self, inspection: Any, verdict: Any, words: str) -> None:
        self._judging = False
        if self._judge_again:
            self._judge_again = False
            self._begin_judging()
        if inspection is self.desk.inspection:
            self.desk.verdict = verdict
            if words:
                self.room_now().say(words, "watch")
            self.room_now().show()

    def act(self, name: str) -> None:
        """Do what works everywhere."""
        if name in _rooms():
            self.go(name)
        else:
            getattr(self, f"act_{name}")()

    def act_undo(self) -> None:
        """Take back the person's own last entry and say what it was."""
        self._step_back("undo", "taken back")

    def act_redo(self) -> None:
        """Bring it back and say what it was."""
        self._step_back("redo", "brought back")

    def _step_back(self, name: str, words: str) -> None:
        from borelog.acts import entering

        id_, bench = self.desk.id, self.desk.bench
        if id_:
            self.do(lambda: getattr(entering, name)(bench, id_), lambda said: f"{words}: {said}")
        else:
            self.room_now().say(
                "open an inspection first; then what you entered there can be taken back", "watch"
            )

    def act_person(self) -> None:
        """Say who is at the bench."""
        from borelog.tui.screens.questions import who_is_here

        who_is_here(self.room_now())

    def act_large(self) -> None:
        """Large digits on or off."""
        self.large = not self.large
        self.room_now().show()

    def act_light(self) -> None:
        """Dark or light colours."""
        self.theme = themes.DAY.name if self.palette.dark else themes.NIGHT.name
        self.room_now().show()

    def act_back(self) -> None:
        """One step back: a question closes, a screen goes back to the cylinders, these to the logbook."""
        if self.screen is not self.room_now():
            self.pop_screen()
        elif self.room_now().where != "logbook":
            self.go("logbook" if self.room_now().where == "plan" else "plan")

    def act_help(self) -> None:
        """Every key that works here."""
        from borelog.tui.screens.help import HelpPage

        self.push_screen(HelpPage(self.room_now()))

    def act_doctor(self) -> None:
        """What this terminal can do."""
        from borelog.tui.screens.doctor import DoctorPage

        self.push_screen(DoctorPage())

    def act_find(self) -> None:
        """Find anything by its words."""
        from borelog.tui.screens.find import find_page, follow

        self.push_screen(find_page(self), lambda target: follow(self, target))

    def show_entry(self, entry: str) -> None:
        """Go to the reading or still that an entry is, or rests on."""
        leading.to_entry(self, entry)

    def show_test(self, test: str, cylinder: int | None) -> None:
        """Go to a test in the readings."""
        leading.to_test(self, test, cylinder)

    def show_blank(self, cylinder: int | None) -> None:
        """Go to the next reading that is not noted, of one cylinder where it is named."""
        leading.to_blank(self, cylinder)

    def act_quit(self) -> None:
        """Leave; asked twice only while something is being written or made."""
        if (self.desk.busy or self.long_jobs) and not self._asked_to_quit:
            self._asked_to_quit = True
            self.room_now().say(
                "something is still being written: press the key again to leave all the same", "watch"
            )
            return
        self.exit()

    def _fatal_error(self) -> None:
        """A fault ends the screens; it is told by `run` in one plain line, not by a page of code."""
        self._close_messages_no_wait()

    def on_unmount(self) -> None:
        """Finish what is queued."""
        self.desk.close()
        for bench in self._opened:
            bench.journal.close()

    def open_demo(self) -> None:
        """Change to the demo's own logbook, made anew if it is not there."""
        from borelog.acts.bench import demo_logbook, open_bench

        who = self.desk.bench.who

        def made() -> Bench:
            from borelog.demo.engines import build_demo

            folder = demo_logbook()
            bench = open_bench(folder, who=who)
            if not bench.journal.summaries():
                build_demo(bench)
            return bench

        def done(outcome: Outcome) -> None:
            if not outcome.failed:
                self._opened.append(outcome.value)
                self.desk.change(outcome.value)
                self.go("logbook")

        self.room_now().say("making the demo engine ...")
        self.do(made, "the demo logbook; your own is untouched", then=done)


class ScreensError(BorelogError):
    """The screens stopped by a fault of their own; what was entered until then is on disk."""

    exit_code = 70


def run(bench: Bench, open_id: str = "") -> None:
    """Show the screens until the person leaves; the terminal is as before afterwards, also after a crash.

    Raises
    ------
    ScreensError
        If the screens stopped by themselves; its cause is the fault.
    """
    from borelog.tui.keymap import load

    app = Screens(bench, load(), open_id)
    try:
        app.run()
    except BaseException:
        guard.restore_terminal()
        raise
    guard.pixel_mouse_off()
    if fault := app._exception:
        guard.restore_terminal()
        raise ScreensError(
            f"the screens stopped by a fault of their own ({type(fault).__name__}: {one_line(str(fault), 120)}); "
            "everything entered is on disk: open them again"
        ) from fault


def judged(bench: Bench, inspection: Any) -> tuple[Any, str]:
    """The verdict, or None and a plain reason why there is none."""
    from borelog.acts.judging import verdict_on

    try:
        return verdict_on(bench, inspection).verdict, ""
    except BorelogError as error:
        return None, f"no verdict: {error}"
    except Exception as error:  # noqa: BLE001 - a fault here must be said, and must not end all judging after it
        return (
            None,
            f"no verdict, by a fault of the program ({type(error).__name__}: {one_line(str(error), 80)})",
        )
