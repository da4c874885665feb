"""The pack: choose the reader, see what is left out, make it, check it."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.worker import Worker, get_current_worker

from borelog.text import BorelogError, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.chosen import Choices
from borelog.tui.desk import At
from borelog.tui.painted import Painted
from borelog.tui.views import pack as view
from borelog.tui.views.words import Line


class _Stopped(Exception):
    """The person stopped the making."""


class PackRoom(Room):
    """Choices above, outcome and history below."""

    where: ClassVar[str] = "pack"
    shows_rail: ClassVar[bool] = False
    AUTO_FOCUS = "#choices"
    DEFAULT_CSS = """
    PackRoom #choices { height: 2fr; margin: 1 0 0 0; }
    PackRoom #outcome { height: 1fr; min-height: 5; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.plan = view.Plan(folder=str(Path.cwd()))
        self.made: list[Line] = []
        self.last: Path | None = None
        self.making: Worker[None] | None = None

    def middle(self) -> ComposeResult:
        """Choices and outcome."""
        yield Choices(id="choices")
        yield Painted(id="outcome")

    def paint(self, room: int) -> None:
        """Everything as chosen."""
        if not self.desk.inspection:
            return
        self.shown = view.choices(self.desk.inspection, self.plan, room - 2)
        self.query_one("#choices", Choices).set_entries([c.lines for c in self.shown])
        self.query_one("#outcome", Painted).set_lines(
            [*self.made, *view.history(self.desk.inspection, room, self.screens.keys)]
        )

    def act_line_down(self) -> None:
        """Next choice."""
        self.query_one("#choices", Choices).move(1)

    def act_line_up(self) -> None:
        """Choice before."""
        self.query_one("#choices", Choices).move(-1)

    def on_choices_opened(self) -> None:
        """A second click changes."""
        self.act_toggle()

    def act_toggle(self) -> None:
        """Change the choice in hand."""
        name = self.shown[self.query_one("#choices", Choices).index].name
        if name == "folder":
            self.app.push_screen(
                Ask("Where shall the pack go?", [Field("folder", "Folder", value=self.plan.folder)]),
                self._folder,
            )
        elif name == "reader":
            options = [
                (r, f"{r}: {words}", str(k)) for k, (r, words) in enumerate(view.READER_WORDS.items(), 1)
            ]
            self.app.push_screen(Choose("Who is it for?", options), self._reader)
        else:
            before = self.plan
            self.plan = view.changed(self.plan, name)
            if self.plan == before and name.startswith("item "):
                self.say("this reader always gets this; choose another reader to leave it out", "watch")
            self.show()

    def _folder(self, values: dict[str, str] | None) -> None:
        from dataclasses import replace

        if values and values["folder"].strip():
            self.plan = replace(self.plan, folder=str(Path(values["folder"].strip()).expanduser()))
            self.show()

    def _reader(self, reader: str | None) -> None:
        from dataclasses import replace

        if reader:
            self.plan = replace(self.plan, reader=reader, also=frozenset())
            self.show()

    def act_build(self) -> None:
        """Make the pack on a thread of its own."""
        if self.making is not None and self.making.is_running:
            self.say(f"a pack is being made: {self.key('cancel')} stops it", "watch")
            return
        self.say("making the pack ...")
        self.making = self._build(self.desk.at, self.plan)

    @work(thread=True, exclusive=True, group="pack", exit_on_error=False)
    def _build(self, at: At, plan: view.Plan) -> None:
        from borelog.acts.packing import hand_over

        worker, app = get_current_worker(), self.app

        def progress(done: int, total: int, words: str) -> None:
            if worker.is_cancelled:
                raise _Stopped
            app.call_from_thread(self.say, f"{done} of {total}: {words}")

        try:
            with self.long_work():
                handed = hand_over(
                    at.bench,
                    at.id,
                    Path(plan.folder),
                    reader=plan.reader,
                    also=plan.also,
                    zipped=plan.zipped,
                    paper=plan.paper,
                    progress=progress,
                )
        except _Stopped:
            app.call_from_thread(self._ended, None, "stopped; nothing was handed over")
        except (BorelogError, OSError) as error:
            app.call_from_thread(self._ended, None, one_line(str(error), 300))
        else:
            app.call_from_thread(self._ended, handed, "")

    def _ended(self, handed: Any, words: str) -> None:
        if handed is None:
            self.say(words, "bad")
            return
        built = handed.built
        self.last = Path(built.zip or built.folder)
        self.made = view.outcome_lines(
            str(built.folder), str(built.zip or ""), handed.left_out, handed.remarks, self.size.width
        )
        self.screens.do(lambda: None, f"pack made for the {self.plan.reader}: {built.folder}")

    def act_check(self) -> None:
        """Check the pack last made."""
        if self.last is None:
            self.say(f"make a pack first: {self.key('build')}", "watch")
            return
        self.say("checking ...")
        self._check(self.last)

    @work(thread=True, exclusive=True, group="check", exit_on_error=False)
    def _check(self, path: Path) -> None:
        from borelog.pack.check import check

        try:
            faults = check(path).faults
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 300), "bad")
            return
        self.app.call_from_thread(self._checked, faults)

    def _checked(self, faults: tuple[object, ...]) -> None:
        self.made = [*self.made, *view.check_lines(faults, self.size.width)]
        self.say(
            "checked: nothing is wrong" if not faults else f"checked: {len(faults)} wrong",
            "quiet" if not faults else "bad",
        )
        self.show()

    def act_cancel(self) -> None:
        """Stop the making."""
        if self.making is not None and self.making.is_running:
            self.making.cancel()
        else:
            self.say("nothing is being made")
