"""The one error of this room."""

from __future__ import annotations

from borelog.text import BorelogError


class ReadingError(BorelogError):
    """A reading that cannot be used as given; the text says what to type, repeat or look at instead."""

    exit_code = 4
