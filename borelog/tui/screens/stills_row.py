"""The row of thumbnails over the picture, where there is room for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual import work
from textual.worker import get_current_worker

from borelog.text import BorelogError
from borelog.tui.base import Room
from borelog.tui.painted import Bar
from borelog.tui.thumbs import Thumb, Thumbs
from borelog.tui.views import stills as view

if TYPE_CHECKING:
    from borelog.tui.picture import Picture

_THUMBS = (110, 36)
"""Columns and rows from which there is room for a row of thumbnails."""


class RowActs(Room):
    """The part of the stills screen that shows the run in hand as small pictures."""

    still_at: int

    if TYPE_CHECKING:

        @property
        def picture(self) -> Picture:
            """The picture widget."""

        def _step_still(self, by: int) -> None:
            """Take another still of the run in hand."""

    def show_thumbs(self, run: view.Run, room: int) -> None:
        """The row of thumbnails where there is room; those missing are made on a thread."""
        row = self.query_one("#thumbs", Thumbs)
        row.display = bool(run.stills) and room >= _THUMBS[0] and self.size.height >= _THUMBS[1]
        if not row.display:
            return
        self.query_one("#row", Bar).set_lines(view.head_line(run, self.still_at, room))
        row.palette = self.screens.palette
        thumbs = [Thumb(s.sha256, view.thumb_tag(k, s), bool(s.aside)) for k, s in enumerate(run.stills, 1)]
        look = self.picture.look
        row.set_thumbs(thumbs, self.still_at, (look.glyphs, look.depth), self.picture.tall())
        if row.missing():
            self._thumbs(row.missing())

    @work(thread=True, exclusive=True, group="thumbs", exit_on_error=False)
    def _thumbs(self, wanted: list[str]) -> None:
        from borelog.tui.loading import thumb_sources

        worker, row = get_current_worker(), self.query_one("#thumbs", Thumbs)
        try:
            for sha256, source in thumb_sources(self.desk.bench, wanted):
                if worker.is_cancelled:
                    return
                self.app.call_from_thread(row.arrived, sha256, source)
        except (BorelogError, OSError):
            return

    def on_thumbs_taken(self, message: Thumbs.Taken) -> None:
        """A thumbnail was clicked."""
        self._step_still(message.index - self.still_at)
