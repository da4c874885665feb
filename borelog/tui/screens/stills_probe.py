"""The probe a still came from: noted once with mirror and roll, its lens calibrated from pictures of a chessboard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import work

from borelog.acts import scales
from borelog.acts.filing import found_under, place_still
from borelog.quantity import parse
from borelog.text import BorelogError, counted, one_line
from borelog.tui.ask import Ask, Choose, Field
from borelog.tui.base import Room
from borelog.tui.desk import At
from borelog.tui.views import stills as view

NEW, LENS = "new probe", "lens"


class ProbeActs(Room):
    """The part of the stills screen that notes probes."""

    probe: str

    if TYPE_CHECKING:

        @property
        def still(self) -> view.Still | None:
            """The still in hand."""

        @property
        def run(self) -> view.Run | None:
            """The run in hand."""

        def show_state(self) -> None:
            """The line under the picture."""

    def act_probe(self) -> None:
        """Say which probe the pictures come from, note one, or calibrate its lens."""
        inspection = self.desk.inspection
        if inspection is None:
            return
        known = scales.probes(inspection)
        options: list[tuple[Any, str, str]] = [(p, scales.probe_words(p), "") for p in known]
        options.append((NEW, "note a probe: its name, mirror and roll ...", "n"))
        if known:
            options.append((LENS, "calibrate a lens from pictures of a chessboard ...", "l"))

        def chosen(what: Any) -> None:
            if what == NEW:
                self._ask_probe()
            elif what == LENS:
                self._ask_lens([p.name for p in known])
            elif what is not None:
                self._ask_which(what.name)

        self.app.push_screen(
            Choose("Which probe?", options, words="Noted once; its stills are shown upright."), chosen
        )

    def _ask_probe(self) -> None:
        def check(v: dict[str, str]) -> str:
            if not v["name"].strip():
                return "a name, please: 'straight', 'side view', 'phone'"
            if v["mirror"].strip().lower()[:1] not in ("", "y", "n"):
                return "mirror: yes or no"
            try:
                parse(v["roll"].strip() or "0", "deg").to("deg")
            except BorelogError as error:
                return str(error)
            return ""

        def answered(v: dict[str, str] | None) -> None:
            if not v:
                return
            bench, id_ = self.desk.bench, self.desk.id
            name, mirror = one_line(v["name"].strip(), 60), v["mirror"].strip().lower().startswith("y")
            roll = parse(v["roll"].strip() or "0", "deg").to("deg")

            def said(noted: Any) -> str:
                probe, turned = noted
                return f"noted: {scales.probe_words(probe)}" + (
                    f"; {turned} stills turned with it" if turned else ""
                )

            self.screens.do(
                lambda: scales.note_probe(bench, id_, name, mirror=mirror, roll=roll),
                said,
                then=lambda outcome: None if outcome.failed else self._ask_which(name),
            )

        fields = [
            Field("name", "Name", "straight, side view, phone"),
            Field("mirror", "Does it look through a mirror attachment?", "yes or no"),
            Field("roll", "How far are its pictures turned clockwise?", "0, 90, 180 degrees"),
        ]
        self.app.push_screen(Ask("Note a probe", fields, check=check), answered)

    def _ask_which(self, name: str) -> None:
        still, run = self.still, self.run
        bench, id_ = self.desk.bench, self.desk.id
        self.probe = name
        self.show_state()
        if still is None or run is None:
            return
        noted = (
            next((p for p in scales.probes(self.desk.inspection) if p.name == name), None)
            if self.desk.inspection
            else None
        )
        if noted is None:
            return
        stills = [s.sha256 for s in run.stills if s.width]

        def apply(which: list[str]) -> None:
            for sha in which:
                place_still(bench, id_, sha, probe=name, mirror=noted.mirror, roll=noted.roll)

        def answered(what: str | None) -> None:
            if what in ("one", "run"):
                which = [still.sha256] if what == "one" else stills
                self.screens.do(lambda: apply(which), f"{counted(len(which), 'still')} from the probe {name}")
            elif what:
                self.say(f"the next pictures come from the probe {name}")

        options = [
            ("next", "the next pictures", "n"),
            ("one", "this still, and the next pictures", "t"),
            ("run", f"all {len(stills)} stills of this run, and the next pictures", "a"),
        ]
        self.app.push_screen(Choose(f"What comes from the probe {name}?", options), answered)

    # --- lens ----------------------------------------------------------------------------------------------------

    def _ask_lens(self, names: list[str]) -> None:
        def check(v: dict[str, str]) -> str:
            if v["probe"].strip() not in names:
                return f"probes noted: {', '.join(names)}"
            return "" if v["path"].strip() else "a folder with at least five pictures of the board, please"

        def answered(v: dict[str, str] | None) -> None:
            if v:
                self.say("looking for the board ...")
                self._calibrate(
                    self.desk.at, v["probe"].strip(), v["path"].strip(), v["inner"], v["square"].strip()
                )

        fields = [
            Field("probe", "Probe", value=self.probe if self.probe in names else names[0]),
            Field("path", "Folder or pattern of the pictures", "/media/card/board"),
            Field("inner", "Inner corners, across x down", value="9x6"),
            Field("square", "Side of a square (may stay blank)", "10 mm"),
        ]
        words = "A printed chessboard on something flat, fifteen pictures, tilted to all sides and out to the corners."
        self.app.push_screen(Ask("Calibrate a lens", fields, words=words, check=check), answered)

    @work(thread=True, exclusive=True, group="lens", exit_on_error=False)
    def _calibrate(self, at: At, probe: str, path: str, inner: str, square: str) -> None:
        from borelog.acts.picturing import calibrate

        try:
            paths, _ = found_under([str(Path(path).expanduser())])
            told = calibrate(paths, inner, square)
        except (BorelogError, OSError) as error:
            self.app.call_from_thread(self.say, one_line(str(error), 240), "watch")
            return
        lens = told.values["lens"]
        words = f"kept with {probe}: {told.text.splitlines()[0]}"
        self.app.call_from_thread(
            self.screens.do, lambda: scales.note_probe(at.bench, at.id, probe, lens=lens), words
        )
