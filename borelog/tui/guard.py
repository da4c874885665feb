"""Two guards: a terminal that reports zero pixels must not kill the keyboard, and a crash must leave a usable terminal.

The report of the window's size in pixels may be 0 x 0: terminals that cannot know it must send that. The input parser
of Textual divides by it on the next mouse event, and its thread ends: every later key is lost.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import Any

_RESTORE = (
    "\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1006l\x1b[?1015l\x1b[?1016l"  # mouse, also by pixel
    "\x1b[?2004l\x1b[?2048l\x1b[<u"  # bracketed paste, size reports, keyboard protocol
    "\x1b[?25h\x1b[0m\x1b[?1049l"  # cursor, colours, main screen
)


def _has_area(size: Any) -> bool:
    """Whether a size is known and not zero either way; sizes of the library do not take `in`."""
    return size is not None and size[0] > 0 and size[1] > 0


def guard_zero_pixels() -> None:
    """Make the input parser ignore a pixel size of zero; safe to call more than once."""
    from textual._xterm_parser import XTermParser

    if getattr(XTermParser, "_zero_guard", False):
        return
    plain: Callable[[Any, str], Any] = XTermParser.parse_mouse_code

    def guarded(self: Any, code: str) -> Any:
        size = self.terminal_pixel_size
        if self.mouse_pixels and not (_has_area(size) and _has_area(self.terminal_size)):
            self.mouse_pixels = False
        return plain(self, code)

    XTermParser.parse_mouse_code = guarded  # type: ignore[method-assign]
    XTermParser._zero_guard = True  # type: ignore[attr-defined]


def cell_pixels(size: Any, pixels: Any = None) -> tuple[float, float] | None:
    """How many pixels a cell is wide and high; None where the terminal does not say, or says what cannot be.

    Parameters
    ----------
    size
        (columns, rows) of the window.
    pixels
        (width, height) of the window as the terminal reported it; where there is no such report the system is asked.
    """
    if not _has_area(size):
        return None
    if not _has_area(pixels):
        pixels = _window_pixels()
    if not _has_area(pixels):
        return None
    wide, high = pixels[0] / size[0], pixels[1] / size[1]
    return (wide, high) if wide >= 2 and _FLATTEST <= high / wide <= _TALLEST else None


_FLATTEST, _TALLEST = 1.2, 3.5
"""No font in use has cells flatter or taller; a report beyond that is a mistake and would bend every picture."""


def _window_pixels() -> tuple[int, int] | None:
    try:
        import fcntl
        import struct
        import termios

        if not sys.__stdout__ or not sys.__stdout__.isatty():
            return None
        raw = fcntl.ioctl(sys.__stdout__.fileno(), termios.TIOCGWINSZ, bytes(8))
        _, _, wide, high = struct.unpack("HHHH", raw)
    except (ImportError, OSError, ValueError, AttributeError):
        return None
    return wide, high


def restore_terminal() -> None:
    """Switch off every mode the screens may have switched on; harmless when none was."""
    if not sys.__stderr__ or not sys.__stderr__.isatty():
        return
    sys.__stderr__.write(_RESTORE)
    sys.__stderr__.flush()
    try:
        import termios

        fd = sys.__stdin__.fileno() if sys.__stdin__ else -1
        modes = termios.tcgetattr(fd)
        modes[3] |= termios.ECHO | termios.ICANON | termios.ISIG | termios.IEXTEN
        modes[0] |= termios.ICRNL
        termios.tcsetattr(fd, termios.TCSANOW, modes)
    except (ImportError, OSError, ValueError, AttributeError):
        return


def pixel_mouse_off() -> None:
    """Undo the pixel mouse mode, which the library leaves on at its end."""
    if sys.__stderr__ and sys.__stderr__.isatty():
        sys.__stderr__.write("\x1b[?1016l")
        sys.__stderr__.flush()


def why_no_screens() -> str | None:
    """The plain reason why no screens can be shown here, or None."""
    if not (sys.stdin and sys.stdin.isatty() and sys.stdout and sys.stdout.isatty()):
        return "the screens need a terminal; without one use the commands, for example 'borelog show last --json'"
    if os.environ.get("TERM", "dumb") in ("dumb", ""):
        return (
            "this terminal (TERM=dumb) cannot show screens; use the commands, for example 'borelog show last'"
        )
    return None
