"""Pictures and only pictures: taking in, judging, cleaning, aligning, comparing, measuring, drawing.

Everything takes bytes, arrays and shapes and knows no inspection. Arrays are ``uint8`` of shape (height, width, 3) in
the channel order blue, green, red, upright (the stored orientation is honoured), unless a docstring says otherwise.
No original is ever altered: what is computed here can be thrown away and computed again.
"""

from __future__ import annotations

from borelog.text import BorelogError


class StillError(BorelogError):
    """A picture, film or measurement that cannot be used; the text says why and what to do."""

    exit_code = 3
