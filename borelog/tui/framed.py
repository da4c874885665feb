"""A widget whose rows are made whole, once per change, and handed out from memory."""

from __future__ import annotations

from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget


class Framed(Widget):
    """Rows from `_paint`, kept until `_frame` is set to None; behind a question those of `_behind`."""

    _frame: list[Strip] | None = None

    def _paint(self) -> list[Strip]:
        """All rows as they stand."""
        raise NotImplementedError

    def _behind(self) -> list[Strip]:
        """All rows for the ground of a question, whose every cell is tinted one by one: a picture would take half a second."""
        raise NotImplementedError

    def render_lines(self, crop: Region) -> list[Strip]:
        """The rows asked for."""
        if self.app.screen is not self.screen:
            frame = self._behind()
        else:
            if self._frame is None or len(self._frame) != self.size.height:
                self._frame = self._paint()
            frame = self._frame
        rows = frame[crop.y : crop.bottom]
        if crop.x == 0 and crop.width >= self.size.width:
            return rows
        return [row.crop(crop.x, crop.right) for row in rows]
