"""The mark in hand: taken, moved, pulled by its corners, worded, removed; by keys and by mouse alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from borelog.acts import entering
from borelog.logbook.entries import Finding, Mark, Marked
from borelog.marks.shapes import Label, Pair, Shape
from borelog.text import one_line
from borelog.tui import drawing
from borelog.tui.ask import Ask, Field
from borelog.tui.base import Room
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.tui.picture import Picture


class HeldActs(Room):
    """The part of the stills screen that mends the mark in hand."""

    marks: tuple[view.Shown, ...]
    held: int | None
    moving: Shape | None
    handle: int | None

    if TYPE_CHECKING:

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        def show_state(self) -> None:
            """The line under the picture."""

        def show_marks(self) -> None:
            """Marks over the picture."""

    def _take_mark_at(self, place: Pair, quiet: bool = False) -> None:
        reach = 2.0 * self.picture.view.px if self.picture.view else 4.0
        hit = drawing.hit(tuple(m.mark.shape for m in self.marks), place, reach)
        if hit is None and not quiet:
            self.say(
                f"no mark here: {self.key('draw')} draws one, {self.key('next_mark')} takes the next in hand"
            )
        self._hold(hit)

    def _hold(self, index: int | None) -> None:
        self.held = index
        if index is not None:
            m = self.marks[index]
            doing = (
                ("edit_mark", "words"),
                ("move_mark", "move"),
                ("measure", "measure"),
                ("take_mark", "remove"),
            )
            keys = ", ".join(f"{self.key(action)} {words}" for action, words in doing)
            self.say(f"mark {m.number}: {m.words}; {keys}")
        self.show()

    def act_next_mark(self) -> None:
        """The next mark."""
        if not self.marks:
            self.say(f"no marks on this still: {self.key('draw')} draws one")
            return
        self._hold(0 if self.held is None else (self.held + 1) % len(self.marks))
        assert self.held is not None
        shape = self.marks[self.held].mark.shape
        self.picture.set_cross(drawing.handles(shape)[0])

    def _in_hand(self) -> view.Shown | None:
        if self.held is None or self.held >= len(self.marks):
            self.say(
                f"take a mark in hand first: {self.key('next_mark')}, or {self.key('set_point')} with the cross hair on it",
                "watch",
            )
            return None
        return self.marks[self.held]

    def _correct(self, shown: view.Shown, mark: Mark, words: str) -> None:
        """Enter a corrected mark, in its finding where it belongs to one."""
        at, inspection = self.desk.at, self.desk.inspection
        thing = inspection.find(shown.entry) if inspection else None
        if thing is None:
            return
        body: Marked | Finding
        if isinstance(thing.body, Finding):
            marks = list(thing.body.marks)
            marks[shown.index] = mark
            body = msgspec.structs.replace(thing.body, marks=tuple(marks))
        else:
            body = Marked(mark)
        target = thing.version.entry
        self.screens.do(lambda: entering.correct(at.bench, at.id, target, body), words)

    def act_move_mark(self) -> None:
        """Move the mark in hand; again: pull its next corner."""
        if self.moving is not None:
            count = len(drawing.handles(self.moving))
            self.handle = 0 if self.handle is None else self.handle + 1 if self.handle + 1 < count else None
        elif (shown := self._in_hand()) is not None:
            self.moving, self.handle = shown.mark.shape, None
        self.show_marks()
        self.show_state()

    def _set_down(self) -> None:
        shape, self.moving = self.moving, None
        shown = self._in_hand()
        if shown is not None and shape is not None and shape != shown.mark.shape:
            self._correct(
                shown,
                msgspec.structs.replace(shown.mark, shape=shape, measure="", measured={}),
                f"mark {shown.number} moved",
            )
        self.handle = None
        self.show_marks()
        self.show_state()

    def nudge(self, columns: float, rows: float, pixels: bool) -> bool:
        """Move the mark being moved by cells, or by picture pixels; False if none is."""
        picture = self.picture
        if self.moving is None or picture.view is None:
            return False
        step = 1.0 if pixels else picture.view.px
        tall = 1.0 if pixels else picture.view.tall
        x0, y0 = picture.view.to_picture(0.0, 0.0, picture.cells)
        x1, y1 = picture.view.to_picture(
            columns * step / picture.view.px,
            rows * step * tall / (picture.view.px * picture.view.tall),
            picture.cells,
        )
        self.moving = drawing.nudged(self.moving, self.handle, x1 - x0, y1 - y0)
        self.show_marks()
        return True

    def act_edit_mark(self) -> None:
        """Other words for the mark in hand."""
        shown = self._in_hand()
        if shown is None:
            return
        now = shown.mark.shape.text if isinstance(shown.mark.shape, Label) else shown.mark.label

        def answered(v: dict[str, str] | None) -> None:
            if v is None:
                return
            text = v["text"].strip()
            shape = (
                msgspec.structs.replace(shown.mark.shape, text=text)
                if isinstance(shown.mark.shape, Label)
                else shown.mark.shape
            )
            label = "" if isinstance(shape, Label) else text
            self._correct(
                shown,
                msgspec.structs.replace(shown.mark, shape=shape, label=label),
                f"mark {shown.number}: {one_line(text, 40)}",
            )

        self.app.push_screen(Ask(f"Mark {shown.number}", [Field("text", "Words", value=now)]), answered)

    def act_take_mark(self) -> None:
        """Withdraw the mark in hand; a finding stays without it unless it was its last."""
        shown = self._in_hand()
        at, inspection = self.desk.at, self.desk.inspection
        thing = inspection.find(shown.entry) if shown and inspection else None
        if shown is None or thing is None:
            return
        self.held = None
        if isinstance(thing.body, Finding) and len(thing.body.marks) > 1:
            marks = tuple(m for k, m in enumerate(thing.body.marks) if k != shown.index)
            body, target = msgspec.structs.replace(thing.body, marks=marks), thing.version.entry
            self.screens.do(
                lambda: entering.correct(at.bench, at.id, target, body),
                f"mark {shown.number} removed from the finding",
            )
        else:
            what = "finding withdrawn" if isinstance(thing.body, Finding) else "mark withdrawn"
            self.screens.do(
                lambda: entering.withdraw(at.bench, at.id, thing.id, "removed on the still"),
                f"{what}: {shown.words}; {self.key('undo')} brings it back",
            )
