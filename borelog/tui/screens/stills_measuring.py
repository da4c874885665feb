"""Measuring on a still: a mark's size, angle or share, and the scale it rests on. The arithmetic is the stills room's."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from textual import work

from borelog.acts import marking, scales
from borelog.logbook.entries import Mark, Scaled
from borelog.marks.shapes import Arrow, Ellipse, Freehand, Label, Line, Point, Shape, is_closed
from borelog.quantity import parse
from borelog.text import BorelogError, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.desk import At
from borelog.tui.views import stills as view

_SIDES = [
    ("", "not known: the slant goes into the uncertainty", "n"),
    ("left", "the left side of the circle", "1"),
    ("right", "the right side", "2"),
    ("upper", "the upper side", "3"),
    ("lower", "the lower side", "4"),
]


class MeasureActs(Room):
    """The part of the stills screen that measures."""

    marks: tuple[view.Shown, ...]

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        def _in_hand(self) -> view.Shown | None:
            """The mark in hand."""

        def _correct(self, shown: view.Shown, mark: Mark, words: str) -> None:
            """Enter a corrected mark."""

    def act_measure(self) -> None:
        """Measure the mark in hand, or set the scale by it."""
        shown = self._in_hand()
        if shown is None:
            return
        shape = shown.mark.shape
        if isinstance(shape, Point | Label):
            self.say("a spot and words have no size: draw a line or an outline", "watch")
            return
        options: list[tuple[Any, str, str]] = [
            ("size", "its area" if is_closed(shape) else "its length", "m")
        ]
        if isinstance(shape, Freehand) and not shape.closed and len(shape.points) == 3:
            options.append(("angle", "the angle at its middle point", "a"))
        if is_closed(shape):
            for other in self.marks:
                if other is not shown and is_closed(other.mark.shape):
                    options.append(
                        (other, f"its share of mark {other.number} ({one_line(other.words, 30)})", "")
                    )
        if isinstance(shape, Line | Arrow):
            options.append(("length", "it is a known length: set the scale by it", "s"))
            partner = self._other_line(shown)
            if partner is not None:
                words = f"with mark {partner.number} it runs along a thread: set the scale by its pitch"
                options.append(("thread", words, "t"))
        if isinstance(shape, Ellipse):
            options.append(
                ("round", "it is a circle of known diameter (bore, valve): set the scale by it", "s")
            )

        def answered(what: Any) -> None:
            if what == "size":
                self._measured(shown)
            elif what == "angle":
                self._measured(shown, as_angle=True)
            elif what == "length":
                self._ask_length(shown)
            elif what == "round":
                self._ask_round(shown)
            elif what == "thread":
                self._ask_thread(shown)
            elif what is not None:
                self._measured(shown, whole=what.mark.shape)

        if len(options) == 1:
            self._measured(shown)
        else:
            self.app.push_screen(Choose(f"Measure mark {shown.number}", options), answered)

    def _other_line(self, shown: view.Shown) -> view.Shown | None:
        lines = [m for m in self.marks if isinstance(m.mark.shape, Line | Arrow) and m is not shown]
        return lines[-1] if lines else None

    # --- sizes ---------------------------------------------------------------------------------------------------

    def _measured(self, shown: view.Shown, whole: Shape | None = None, as_angle: bool = False) -> None:
        if self.desk.inspection is None:
            return
        try:
            mark = marking.measured(self.desk.inspection, shown.mark, whole, as_angle)
        except BorelogError as error:
            self.say(str(error), "watch")
            return
        self._correct(shown, mark, f"mark {shown.number}: {mark.measure}")

    # --- the scale -----------------------------------------------------------------------------------------------

    @staticmethod
    def _length_fault(values: dict[str, str]) -> str:
        try:
            return "" if parse(values["mm"], "mm").to("mm") > 0 else "a length above zero, please"
        except BorelogError as error:
            return str(error)

    def _distance_fault(self, values: dict[str, str]) -> str:
        return self._length_fault(values) if values["mm"].strip() else ""

    def _ask(self, title: str, label: str, hint: str, what: str, then: Callable[[float, str], None]) -> None:
        def answered(v: dict[str, str] | None) -> None:
            if v:
                then(parse(v["mm"], "mm").to("mm"), v["what"].strip())

        fields = [Field("mm", label, hint), Field("what", "What is it", what)]
        self.app.push_screen(Ask(title, fields, check=self._length_fault), answered)

    def _ask_length(self, shown: view.Shown) -> None:
        at = self.desk.at
        still, inspection = self.still, self.desk.inspection
        shape = shown.mark.shape
        if still is None or inspection is None or not isinstance(shape, Line | Arrow):
            return

        def then(mm: float, what: str) -> None:
            self._set_scale(
                at,
                lambda: scales.from_known_length(inspection, still.sha256, shape, mm),
                still.sha256,
                shape,
                what,
            )

        self._ask("How long is it really?", "Length", "3 mm, 3/8 in", "spark plug gap, valve edge ...", then)

    def _ask_round(self, shown: view.Shown) -> None:
        at = self.desk.at
        still, inspection = self.still, self.desk.inspection
        shape = shown.mark.shape
        if still is None or inspection is None or not isinstance(shape, Ellipse):
            return

        def then(mm: float, what: str) -> None:
            def nearer(side: str | None) -> None:
                if side is not None:
                    self._set_scale(
                        at,
                        lambda: scales.from_known_round(inspection, still.sha256, shape, mm, side),
                        still.sha256,
                        shape,
                        what,
                    )

            try:
                lens = scales.lens_for(inspection, still.sha256)
            except BorelogError as error:
                self.say(str(error), "watch")
                lens = None
            if lens is None:
                nearer("")
            else:
                self.app.push_screen(
                    Choose("Which side of the circle is nearer to the probe?", _SIDES), nearer
                )

        self._ask("How wide is the circle really?", "Diameter", "81 mm", "bore, valve head ...", then)

    def _ask_thread(self, shown: view.Shown) -> None:
        still, other = self.still, self._other_line(shown)
        if still is None or other is None:
            return
        at, shapes = self.desk.at, (shown.mark.shape, other.mark.shape)
        lines = [Line(s.x1, s.y1, s.x2, s.y2) for s in shapes if isinstance(s, Line | Arrow)]
        options = [
            (1.25, "M14 or M12 plug: 1.25 mm", "1"),
            (1.0, "M10 plug: 1.0 mm", "2"),
            (1.5, "pitch 1.5 mm", "3"),
        ]

        def chosen(pitch: float | None) -> None:
            if not pitch:
                return

            def answered(v: dict[str, str] | None) -> None:
                if v is not None:
                    away = parse(v["mm"], "mm").to("mm") if v["mm"].strip() else None
                    self.say("reading the thread ...")
                    self._read_thread(at, still.sha256, lines, pitch, away)

            field = Field("mm", "Distance", "170 mm, 7 in; empty: not known")
            title = "How far from the plug was the camera?"
            self.app.push_screen(Ask(title, [field], check=self._distance_fault), answered)

        self.app.push_screen(Choose("Which thread is it?", options), chosen)

    @work(thread=True, exclusive=True, group="scale", exit_on_error=False)
    def _read_thread(
        self, at: At, sha256: str, lines: list[Line], pitch: float, away: float | None = None
    ) -> None:
        from borelog.acts.filing import pixels_of

        try:
            scale = scales.from_known_thread(pixels_of(at.bench, sha256), lines, pitch, away)
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 200), "watch")
            return
        self.app.call_from_thread(self._set_scale, at, lambda: scale, sha256, lines[0], "")

    def _set_scale(self, at: At, make: Callable[[], Any], still: str, shape: Shape, what: str) -> None:
        try:
            scale = make()
        except BorelogError as error:
            self.say(str(error), "watch")
            return

        def said(body: Scaled) -> str:
            return f"scale {body.mm_per_px:.3g} mm per px ± {2 * scale.u_rel:.1%}, {scale.plane}"

        self.screens.do(
            lambda: scales.set_scale(at.bench, at.id, still, scale, scales.middle_of(shape), what), said
        )
