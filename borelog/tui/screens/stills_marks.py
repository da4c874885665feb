"""Marks on a still: drawn, taken in hand, moved, pulled, worded, measured; by keys and by mouse alike."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import msgspec

from borelog.acts import entering
from borelog.logbook.entries import Mark, Marked, MaskDrawn
from borelog.marks.shapes import Label, Pair, Shape, is_closed
from borelog.text import one_line
from borelog.tui import drawing
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.loading import ENHANCE
from borelog.tui.overlay import Drawn
from borelog.tui.screens import questions
from borelog.tui.screens.stills_held import HeldActs
from borelog.tui.screens.stills_measuring import MeasureActs
from borelog.tui.screens.stills_tracing import TraceActs
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.tui.picture import Picture

_TOOL_KEYS = {
    "box": "b",
    "ellipse": "e",
    "line": "l",
    "arrow": "a",
    "point": "s",
    "polygon": "o",
    "freehand": "f",
    "trace": "t",
    "pick": "p",
    "label": "w",
}


class MarkActs(HeldActs, MeasureActs, TraceActs):
    """The part of the stills screen that draws."""

    enhance: int

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        def show_state(self) -> None:
            """The line under the picture."""

        @property
        def blinks(self) -> bool:
            """Whether two pictures change over in place."""

        def change_over(self) -> None:
            """Show the other of the two."""

        def suggested(self) -> tuple[Drawn, ...]:
            """Suggestions not decided yet, from the comparing part."""

    def begin_marks(self) -> None:
        """Nothing drawn, nothing in hand."""
        self.draft: drawing.Draft | None = None
        self.held: int | None = None
        self.moving: Shape | None = None
        self.handle: int | None = None
        self.marks: tuple[view.Shown, ...] = ()
        self.begin_tracing()

    # --- painting ------------------------------------------------------------------------------------------------

    def show_marks(self) -> None:
        """Lay marks, suggestions and the shape being drawn over the picture."""
        desk, still = self.desk, self.still
        self.marks = view.marks_on(desk.inspection, still.sha256) if desk.inspection and still else ()
        if self.held is not None and self.held >= len(self.marks):
            self.held = None
        drawn = list(view.drawn_marks(self.marks, self.held))
        if self.moving is not None and self.held is not None:
            drawn[self.held] = replace(drawn[self.held], shape=self.moving)
        if desk.inspection and still:
            drawn += [Drawn(s, "hidden", "quiet", True) for s in view.masks_on(desk.inspection, still.sha256)]
        drawn += self.suggested()
        if self.draft is not None:
            shape = drawing.preview(self.draft)
            if shape is not None:
                drawn.append(Drawn(shape, "", "pick", False, True))
        self.picture.pans = self.draft is None and self.moving is None
        self.picture.hovers = self.draft is not None and bool(self.draft.points)
        self.picture.set_marks(tuple(drawn))

    def drawing_words(self) -> str:
        """What is being drawn or moved, for the state line."""
        if self.draft is not None:
            more = f", {self.key('close_shape')} finishes, {self.key('point_back')} takes one back"
            more = more if self.draft.tool in drawing.UNBOUNDED else ""
            return self.draft.says() + (more if self.draft.points else "")
        if self.moving is not None:
            what = "the whole mark" if self.handle is None else f"corner {self.handle + 1}"
            return (
                f"moving {what} with the arrows: {self.key('set_point')} sets it down, "
                f"{self.key('move_mark')} takes the next corner, {self.key('back')} leaves it"
            )
        if self.held is not None:
            return f"mark {self.held + 1} in hand"
        return ""

    def end_draft(self) -> None:
        """Nothing is being drawn or moved any more."""
        self.draft, self.moving, self.handle, self.held = None, None, None, None
        self.end_tracing()

    def moved_with_draft(self) -> None:
        """The cross hair moved: what is being drawn follows."""
        if self.draft is not None:
            self.draft = replace(self.draft, at=self.picture.at)
            self.trace_follows()
            self.show_marks()

    def act_back(self) -> None:
        """Leave what is being drawn or moved, then what is compared or suggested; else one step back."""
        if self.draft is not None or self.moving is not None or self.held is not None:
            self.end_draft()
            self.show()
        elif not self.leave_comparing():
            self.screens.act("back")

    def leave_comparing(self) -> bool:
        """Stop comparing or suggesting; False if nothing was."""
        return False

    # --- drawing -------------------------------------------------------------------------------------------------

    def act_draw(self) -> None:
        """Choose a tool."""
        if self.still is None:
            self.say("take in a picture first", "watch")
            return
        options = [
            (tool, f"{name}: {what}", _TOOL_KEYS[tool]) for tool, (name, _, what) in drawing.TOOLS.items()
        ]

        def chosen(tool: str | None) -> None:
            if tool:
                self.end_draft()
                self.draft = drawing.Draft(tool, (), self.picture.at)
                self.show_marks()
                self.show_state()

        self.app.push_screen(
            Choose("Draw", options, words=f"By keys: arrows and {self.key('set_point')}. By mouse: drag."),
            chosen,
        )

    def act_set_point(self) -> None:
        """Set a point; set a moved mark down; else take the mark under the cross hair in hand, or note a place."""
        if self.query_one("#coverage").display:
            self.note_place()
        elif self.moving is not None:
            self._set_down()
        elif self.draft is not None:
            self._point(self.picture.at)
        elif self.blinks:
            self.change_over()
        else:
            self._take_mark_at(self.picture.at)

    def note_place(self) -> None:
        """Of the filing part."""

    def _point(self, place: Pair) -> None:
        assert self.draft is not None
        if self.draft.tool == "trace":
            self.trace_point(place)
            return
        if self.draft.tool == "pick":
            self.pick_around(place)
            return
        self.draft, shape = drawing.with_point(self.draft, place)
        if shape is not None:
            self.draft = None
            self._drawn(shape)
        self.show_marks()
        self.show_state()

    def act_close_shape(self) -> None:
        """Finish an outline."""
        if self.draft is None or self.draft.tool not in drawing.UNBOUNDED:
            self.say("nothing is being drawn that needs finishing", "watch")
            return
        if self.draft.tool == "trace":
            self.finish_trace()
            return
        shape = drawing.finished(self.draft)
        if shape is None:
            self.say("a few more points, please", "watch")
            return
        self.draft = None
        self._drawn(shape)
        self.show_marks()

    def act_point_back(self) -> None:
        """Take the last point of what is being drawn back."""
        if self.draft is None or not self.draft.points:
            self.say(f"no point is set: {self.key('draw')} chooses what to draw", "watch")
        elif self.draft.tool == "trace":
            self.trace_back()
        else:
            self.draft = drawing.without_last(self.draft)
            self.show_marks()
            self.show_state()

    def _drawn(self, shape: Shape) -> None:
        """Ask what the new shape shows, and enter it."""
        still = self.still
        if still is None:
            return
        if isinstance(shape, Label):
            self.app.push_screen(
                Ask(
                    "Words in the picture",
                    [Field("text", "Words")],
                    check=lambda v: "" if v["text"].strip() else "a word, please",
                ),
                lambda v: (
                    self._enter_mark(msgspec.structs.replace(shape, text=v["text"].strip()), "")
                    if v
                    else None
                ),
            )
            return
        options = [
            ("finding", "a finding from the list", "f"),
            ("words", "words of your own", "w"),
            ("plain", "only a mark", "m"),
        ]
        if is_closed(shape):
            options.append(
                ("mask", "a plate, number or face: filled in every copy that leaves the house", "h")
            )

        def kind(answer: str | None) -> None:
            if answer == "finding":
                questions.finding(self, still.cylinder, (self._mark(shape),), still.place)
            elif answer == "words":
                self.app.push_screen(
                    Ask("What it shows", [Field("text", "Words")]),
                    lambda v: self._enter_mark(shape, v["text"].strip()) if v else None,
                )
            elif answer == "plain":
                self._enter_mark(shape, "")
            elif answer == "mask":
                self._mask(shape)

        self.app.push_screen(Choose("What does it show?", options), kind)

    def _mask(self, shape: Shape) -> None:
        """One more area of the still that no copy shows; the original stays whole."""
        at, inspection, still = self.desk.at, self.desk.inspection, self.still
        if still is None or inspection is None:
            return
        body = MaskDrawn(still.sha256, (*view.masks_on(inspection, still.sha256), shape), "drawn by hand")
        said = f"this area is filled in every copy that leaves the house; {self.key('undo')} takes it back"
        self.screens.do(lambda: entering.enter(at.bench, at.id, body), said)

    def _mark(self, shape: Shape, label: str = "") -> Mark:
        assert self.still is not None
        look: dict[str, Any] = dict(ENHANCE[self.enhance][1])
        return Mark(self.still.sha256, shape, label, look)

    def _enter_mark(self, shape: Shape, label: str) -> None:
        at, mark = self.desk.at, self._mark(shape, label)
        self.screens.do(
            lambda: entering.enter(at.bench, at.id, Marked(mark)),
            f"marked{f': {one_line(label, 40)}' if label else ''}",
        )

    # --- by mouse ------------------------------------------------------------------------------------------------

    def on_picture_pressed(self, message: Picture.Pressed) -> None:
        """A drag draws, moves or pulls."""
        if message.picture.id != "picture":
            return
        if self.draft is not None:
            self._mouse_draws(message.phase, message.place)
        elif self.moving is not None:
            self._mouse_moves(message.phase, message.place)
        elif message.phase == "up":
            self._take_mark_at(message.place, quiet=True)

    def _mouse_draws(self, phase: str, place: Pair) -> None:
        assert self.draft is not None
        draft = self.draft
        if phase == "down":
            self._point(place)
        elif phase == "move" and draft.tool == "freehand" and draft.points:
            if abs(place[0] - draft.points[-1][0]) + abs(place[1] - draft.points[-1][1]) >= 2:
                self.draft = replace(draft, points=(*draft.points, place), at=place)
                self.show_marks()
        elif phase == "up" and draft.points:
            if draft.tool == "freehand" and len(draft.points) > 2:
                self.act_close_shape()
            elif drawing.TOOLS[draft.tool][1] == 2 and place != draft.points[0]:
                self._point(place)

    def _mouse_moves(self, phase: str, place: Pair) -> None:
        assert self.moving is not None and self.picture.view is not None
        if phase == "down":
            reach = 2.5 * self.picture.view.px
            self.handle = drawing.nearest_handle(self.moving, place, reach)
            self._grabbed = place
        elif phase == "move":
            if self.handle is not None:
                self.moving = drawing.pulled(self.moving, self.handle, place)
            else:
                dx, dy = place[0] - self._grabbed[0], place[1] - self._grabbed[1]
                self.moving = drawing.nudged(self.moving, None, dx, dy)
                self._grabbed = place
            self.show_marks()
        else:
            self._set_down()
