"""What every screen has: title, cylinder row, message line and keys; and how actions become key bindings."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingsMap
from textual.screen import Screen
from textual.worker import Worker, WorkerState

from borelog.acts.bench import NOT_NAMED
from borelog.text import one_line
from borelog.tui.actions import EVERYWHERE, Action, actions_for, key_name, key_of
from borelog.tui.painted import Bar, whole_entries
from borelog.tui.views.rail import logbook_state, rail_line, title_line
from borelog.tui.views.words import Line, Span, pieces, wrapped

if TYPE_CHECKING:
    from borelog.tui.app import Screens
    from borelog.tui.desk import Desk


def bindings_for(where: str, keys: dict[tuple[str, str], tuple[str, ...]]) -> BindingsMap:
    """Key bindings of one screen from the action table and the keys in force."""
    rows = [
        Binding(key, f"act('{action.id}')", action.label or action.id, show=False, tooltip=action.sentence)
        for action in actions_for(where)
        for key in keys[(action.where, action.id)]
    ]
    return BindingsMap(rows)


def footer_line(
    where: str, keys: dict[tuple[str, str], tuple[str, ...]], room: int, busy: bool = False
) -> Line:
    """Keys that work here, by rank, whole entries only; the first key of each."""
    actions = sorted((a for a in actions_for(where) if a.rank), key=lambda a: a.rank)
    ends = [a for a in actions if a.id in ("help", "quit")]
    entries = [_entry(a, keys) for a in actions if a not in ends]
    tail = whole_entries([_entry(a, keys) for a in ends], room)
    left = room - sum(len(s.text) for s in tail) - 2
    head = whole_entries(entries, max(0, left))
    gap = room - sum(len(s.text) for s in (*head, *tail))
    return (*head, Span(" " * max(0, gap)), *tail)


def _entry(action: Action, keys: dict[tuple[str, str], tuple[str, ...]]) -> Line:
    force = keys[(action.where, action.id)]
    return (Span(key_name(force[0]) if force else "-", "ink", "bold"), Span(f" {action.label}", "quiet"))


MESSAGE_LINES = 3
"""Lines that a message may take where it must be read whole."""


class Room(Screen[None]):
    """One of the main screens. Subclasses set ``where``, compose their middle, and answer `act_*` methods."""

    where: ClassVar[str] = ""
    shows_rail: ClassVar[bool] = True
    AUTO_FOCUS = "*"
    DEFAULT_CSS = """
    Room { layout: vertical; background: $ground; color: $ink; }
    Room #title { height: 1; }
    Room #rail { height: 1; }
    Room #message { height: 1; }
    Room #keys { height: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.message_words = ""
        self.message_role = "quiet"

    @property
    def screens(self) -> Screens:
        """The application."""
        return cast("Screens", self.app)

    @property
    def desk(self) -> Desk:
        """What is on the desk."""
        return self.screens.desk

    def compose(self) -> ComposeResult:
        """Title above, keys below, the screen's own middle between."""
        yield Bar(id="title")
        if self.shows_rail:
            yield Bar(id="rail", panel=False)
        yield from self.middle()
        yield Bar(id="message", panel=False)
        yield Bar(id="keys")

    def middle(self) -> ComposeResult:
        """The widgets of this screen."""
        yield from ()

    def on_mount(self) -> None:
        """Bind the keys in force and show what there is."""
        own = bindings_for(self.where, self.screens.keys)
        self._bindings = BindingsMap.merge([own, self._bindings])
        self.set_class(self.screens.letters, "-letters")
        self.show()

    def on_screen_resume(self) -> None:
        """Show the record as it stands."""
        self.show()

    def on_resize(self) -> None:
        """Lay out anew for another size."""
        self.call_after_refresh(self.show)

    def show(self) -> None:
        """Paint everything from the desk."""
        if not self.is_mounted or not self.size.width:
            return
        room = self.size.width
        desk = self.desk
        journal = desk.bench.journal
        self.query_one("#title", Bar).set_lines(
            title_line(
                self.where,
                desk.inspection,
                desk.engine,
                self.screens.logbook_words,
                desk.saved_at,
                desk.busy > 0,
                room,
                logbook_state(
                    len(journal.unsaved),
                    len(journal.warnings),
                    journal.read_only,
                    self.key("doctor"),
                    self.key("person") if desk.bench.who == NOT_NAMED else "",
                ),
            )
        )
        if self.shows_rail:
            self.query_one("#rail", Bar).set_lines(
                rail_line(
                    desk.inspection, desk.cylinders, desk.cylinder, desk.verdict, room, self.screens.keys
                )
            )
        self.query_one("#keys", Bar).set_lines(footer_line(self.where, self.screens.keys, room))
        self._show_message()
        self.paint(room)

    def paint(self, room: int) -> None:
        """Paint the screen's own middle."""

    def key(self, action: str) -> str:
        """The key that does this here, as a sentence names it."""
        return key_of(self.screens.keys, self.where, action)

    def say(self, words: str, role: str = "quiet") -> None:
        """Put words on the message line."""
        self.message_words, self.message_role = " ".join(words.split()), role
        if self.is_mounted:
            self._show_message()

    @contextmanager
    def long_work(self) -> Iterator[None]:
        """From a worker's thread: until this ends, in whatever way, leaving is asked twice."""
        job = object()
        self.screens.long_jobs.add(job)
        try:
            yield
        finally:
            self.screens.long_jobs.discard(job)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """Work beside the screen that ended in a fault of the program is told of; no 'reading ...' stays for ever."""
        if event.state is WorkerState.ERROR:
            error = event.worker.error
            why = f"{type(error).__name__}: {one_line(str(error), 80)}"
            self.say(f"this ended by a fault of the program ({why}); nothing saved was lost", "bad")

    def _show_message(self) -> None:
        """On one line; what somebody has to know or do is never cut but takes up to three."""
        room, bar = max(8, self.size.width - 2), self.query_one("#message", Bar)
        texts: tuple[str, ...] = (pieces(self.message_words, room + 1),)
        if self.message_role != "quiet" and texts[0] != self.message_words:
            texts = wrapped(self.message_words, room)[:MESSAGE_LINES]
        if bar.styles.height is None or bar.styles.height.value != len(texts):
            bar.styles.height = len(texts)
        bar.set_lines(*((Span(f" {text}", self.message_role),) for text in texts))

    def action_act(self, name: str) -> None:
        """Do what a key asks: the screen's own `act_NAME`, else the application's."""
        if any(a.id == name and a.where == EVERYWHERE for a in actions_for(self.where)) and not hasattr(
            self, f"act_{name}"
        ):
            self.screens.act(name)
            return
        method: Any = getattr(self, f"act_{name}")
        method()


class ByNumber(Room):
    """A screen that shows one cylinder at a time, and goes on by its number."""

    def act_next_cylinder(self) -> None:
        """The next cylinder by number."""
        self.desk.step(1)
        self.show()

    def act_previous_cylinder(self) -> None:
        """The cylinder before by number."""
        self.desk.step(-1)
        self.show()
