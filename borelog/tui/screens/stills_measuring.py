"""Measuring on a still: along a mark, and the scale it rests on. The arithmetic is the stills room's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec

from borelog.acts import entering
from borelog.logbook.entries import Mark, Scaled
from borelog.marks.shapes import Arrow, Freehand, Label, Line, Point, is_closed
from borelog.quantity import parse
from borelog.text import BorelogError, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.views import stills as view


class MeasureActs(Room):
    """The part of the stills screen that measures."""

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        def _in_hand(self) -> view.Shown | None:
            """The mark in hand."""

        def _correct(self, shown: view.Shown, mark: Mark, words: str) -> None:
            """Enter a corrected mark."""

    def act_measure(self) -> None:
        """Measure along the mark in hand, or set the scale by it."""
        shown = self._in_hand()
        if shown is None:
            return
        shape = shown.mark.shape
        straight = isinstance(shape, Line | Arrow)
        if isinstance(shape, Point | Label):
            self.say("a spot and words have no size: draw a line or an outline", "watch")
            return
        options = [("size", "its area" if is_closed(shape) else "its length", "m")]
        if straight:
            options.append(("scale", "it is a known length: set the scale by it", "s"))

        def answered(what: str | None) -> None:
            if what == "size":
                self._measured(shown)
            elif what == "scale":
                self.app.push_screen(
                    Ask(
                        "How long is it really?",
                        [
                            Field("mm", "Length", "3 mm, 3/8 in"),
                            Field("what", "What is it", "spark plug gap, valve edge ..."),
                        ],
                        check=self._length_fault,
                    ),
                    lambda v: self._set_scale(shown, v) if v else None,
                )

        if len(options) == 1:
            self._measured(shown)
        else:
            self.app.push_screen(Choose(f"Measure mark {shown.number}", options), answered)

    @staticmethod
    def _length_fault(values: dict[str, str]) -> str:
        try:
            return "" if parse(values["mm"], "mm").to("mm") > 0 else "a length above zero, please"
        except BorelogError as error:
            return str(error)

    def _scale(self) -> Any:
        from borelog.stills.scale import Scale

        still = self.still
        noted = view.scale_of(self.desk.inspection, still.sha256) if self.desk.inspection and still else None
        if noted is None:
            return None
        s = noted.mm_per_px
        return Scale(
            (s, 0, 0, 0, s, 0, 0, 0, 1),
            noted.u_mm_per_px / s,
            "at the known length, square to the view",
            (noted.rests_on,),
            True,
        )

    def _measured(self, shown: view.Shown) -> None:
        from borelog.stills.measure import area, distance

        shape = shown.mark.shape
        try:
            measure = (
                area(shape, self._scale())
                if is_closed(shape) or (isinstance(shape, Freehand) and shape.closed)
                else distance(shape, self._scale())
            )
        except BorelogError as error:
            self.say(str(error), "watch")
            return
        words = f"{measure.value:.3g} ± {measure.u * 2:.2g} {measure.unit}; {'; '.join(measure.rests_on)}"
        measured: dict[str, Any] = {
            "kind": measure.kind,
            "value": measure.value,
            "unit": measure.unit,
            "u": measure.u,
        }
        self._correct(
            shown,
            msgspec.structs.replace(shown.mark, measure=words, measured=measured),
            f"mark {shown.number}: {words}",
        )

    def _set_scale(self, shown: view.Shown, values: dict[str, str]) -> None:
        from borelog.stills.scale import from_length

        shape, still = shown.mark.shape, self.still
        if still is None or not isinstance(shape, Line | Arrow):
            return
        mm = parse(values["mm"], "mm").to("mm")
        try:
            scale = from_length((shape.x1, shape.y1), (shape.x2, shape.y2), mm)
        except BorelogError as error:
            self.say(str(error), "watch")
            return
        s = scale.matrix[0]
        rests = "; ".join([one_line(values["what"], 60), *scale.rests_on]).strip("; ")
        body, desk, id_ = Scaled(still.sha256, s, s * scale.u_rel, rests), self.desk, self.desk.id
        self.screens.do(
            lambda: entering.enter(desk.bench, id_, body), f"scale: {s:.3g} mm per px, from {rests}"
        )
