"""Laying two stills on each other by hand: four pairs of points, set in turn in the one and the other."""

from __future__ import annotations

from dataclasses import replace

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical

from borelog.marks.shapes import Pair, Point
from borelog.tui.ask import Question
from borelog.tui.overlay import Drawn
from borelog.tui.painted import Bar
from borelog.tui.picture import Look, Picture
from borelog.tui.sampling import Source
from borelog.tui.views.folding import folded

NEEDED = 4
"""Pairs of points that fix a plane seen from two places; more make it steadier."""
_BESIDE = 70
"""Columns from which both pictures have room beside each other."""


class PointsPage(Question):
    """Two pictures side by side; answers pairs ((x, y) in the earlier, (x, y) in the later), or None."""

    DEFAULT_CSS = """
    PointsPage > Vertical { width: 100%; max-width: 100%; height: 100%; max-height: 100%; border: none; padding: 0; }
    PointsPage Horizontal { height: 1fr; }
    PointsPage #later { margin: 0 0 0 1; }
    """
    BINDINGS = [
        Binding("enter", "set", show=False), Binding("ctrl+j", "set", show=False), Binding("space", "set", show=False),
        Binding("tab", "swap", show=False), Binding("shift+tab", "swap", show=False),
        Binding("backspace", "take_back", show=False), Binding("delete", "take_back", show=False),
        Binding("c", "done", show=False),
        Binding("plus", "zoom(1.5)", show=False), Binding("equals_sign", "zoom(1.5)", show=False),
        Binding("minus", "zoom(0.6667)", show=False), Binding("0", "whole", show=False), Binding("g", "magnifier", show=False),
        Binding("left", "step(-1,0)", show=False), Binding("right", "step(1,0)", show=False),
        Binding("up", "step(0,-1)", show=False), Binding("down", "step(0,1)", show=False),
        Binding("shift+left", "fine(-1,0)", show=False), Binding("shift+right", "fine(1,0)", show=False),
        Binding("shift+up", "fine(0,-1)", show=False), Binding("shift+down", "fine(0,1)", show=False),
    ]  # fmt: skip

    def __init__(self, earlier: tuple[str, Source], later: tuple[str, Source], look: Look) -> None:
        super().__init__()
        self.names = (earlier[0], later[0])
        self.sources = (earlier[1], later[1])
        self.look = replace(look, magnifier=True, marks=True)
        self.points: tuple[list[Pair], list[Pair]] = ([], [])
        self.side = 0
        self.fault = ""

    def compose(self) -> ComposeResult:
        """Title, both pictures, where the cross hair is, keys."""
        with Vertical():
            yield Bar(id="head")
            with Horizontal():
                yield Picture(id="earlier", palette=self.screens.palette)
                yield Picture(id="later", palette=self.screens.palette)
            yield Bar(id="where", panel=False)
            yield Bar(id="how")

    @property
    def pictures(self) -> tuple[Picture, Picture]:
        """The earlier and the later."""
        return self.query_one("#earlier", Picture), self.query_one("#later", Picture)

    @property
    def hand(self) -> Picture:
        """The picture in which the next point is set."""
        return self.pictures[self.side]

    def on_mount(self) -> None:
        """Show both whole."""
        for picture, source in zip(self.pictures, self.sources, strict=True):
            picture.pans = False
            picture.show(source)
        self.show()

    def on_resize(self) -> None:
        """Fold the words anew."""
        self.call_after_refresh(self.show)

    def show(self) -> None:
        """Points, cross hair, words."""
        room = self.size.width
        done = min(len(p) for p in self.points)
        for k, picture in enumerate(self.pictures):
            here = k == self.side
            picture.look = replace(self.look, cross=here, magnifier=here and self.look.magnifier)
            picture.set_marks(
                tuple(
                    Drawn(Point(*p), str(n), "watch", False, n > done)
                    for n, p in enumerate(self.points[k], 1)
                )
            )
        self.hand.focus()
        # Side by side only where each has room; else the one in which the next point is set.
        for k, picture in enumerate(self.pictures):
            picture.display = room >= _BESIDE or k == self.side
        number = len(self.points[self.side]) + 1
        head = [f"point {number} in the {('earlier', 'later')[self.side]} still", self.names[self.side]]
        head.append(
            f"{done} of {NEEDED} pairs set"
            if done < NEEDED
            else f"{done} pairs set: c lays them on each other"
        )
        view, at = self.hand.view, self.hand.at
        where = [
            view.says() if view else "",
            f"at {at[0]:.0f}, {at[1]:.0f}",
            self.fault or "spread them, not in a row",
        ]
        keys = [
            "arrows, Enter or click set",
            "Backspace takes back",
            "c done",
            "+ - 0 zoom",
            "Tab other",
            "g magnifier",
            "Esc back",
        ]
        for name, parts in (("#head", head), ("#where", where), ("#how", keys)):
            bar, lines = self.query_one(name, Bar), folded(parts, room)
            bar.styles.height = len(lines)
            bar.set_lines(*lines)

    # --- acts ----------------------------------------------------------------------------------------------------

    def action_set(self) -> None:
        """Set the point under the cross hair; the other picture is next."""
        self.points[self.side].append(self.hand.at)
        self.fault = ""
        other = 1 - self.side
        if len(self.points[other]) <= len(self.points[self.side]):
            self.side = other
        self.show()

    def action_take_back(self) -> None:
        """Take the last point back."""
        counts = [len(p) for p in self.points]
        last = self.side if counts[0] == counts[1] else counts.index(max(counts))
        if counts[0] == counts[1]:
            last = 1
        if self.points[last]:
            self.points[last].pop()
            self.side = last
        self.show()

    def action_swap(self) -> None:
        """The other picture takes the cross hair."""
        self.side = 1 - self.side
        self.show()

    def action_done(self) -> None:
        """Answer the pairs, once there are enough."""
        done = min(len(p) for p in self.points)
        if done < NEEDED:
            self.fault = f"{done} of {NEEDED} pairs are set; set {NEEDED - done} more"
            self.show()
            return
        self.dismiss(list(zip(self.points[0][:done], self.points[1][:done], strict=True)))

    def action_zoom(self, factor: float) -> None:
        """Nearer or farther."""
        self.hand.zoom(factor)

    def action_whole(self) -> None:
        """All of it."""
        self.hand.fit_view()

    def action_magnifier(self) -> None:
        """Magnifier on or off."""
        self.look = replace(self.look, magnifier=not self.look.magnifier)
        self.show()

    def action_step(self, columns: float, rows: float) -> None:
        """The cross hair by cells."""
        self.hand.step_cross(columns, rows)

    def action_fine(self, right: float, down: float) -> None:
        """The cross hair by pixels."""
        self.hand.step_cross_pixels(right, down)

    def on_picture_moved(self, message: Picture.Moved) -> None:
        """The cross hair moved."""
        del message
        self.show()

    def on_picture_pressed(self, message: Picture.Pressed) -> None:
        """A click sets the point where the button comes up, so that it can be put right while held."""
        self.side = int(message.picture.id == "later")
        if message.phase == "up":
            message.picture.set_cross(message.place)
            self.action_set()
        else:
            self.show()
