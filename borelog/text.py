"""The one cleaning of text from outside, and the root of every error a person may meet."""

from __future__ import annotations

import re

_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_DIRECTION = re.compile("[\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]")
_LONE = re.compile("[\ud800-\udfff]")


class BorelogError(Exception):
    """Something a person can act on; its text is one plain sentence that says what to do.

    ``exit_code`` is what a command ends with: 1 ran and found something wrong, 2 usage, 3 a file is missing or
    unreadable, 4 data invalid or from a newer version, 5 a conflict (locked, target exists).
    """

    exit_code = 1


def _visible(match: re.Match[str]) -> str:
    code = ord(match[0])
    return chr(0x2400 + code) if code < 32 else f"<{code:02X}>"


def clean(text: str) -> str:
    """Outside text as it may be shown: control and direction characters become visible signs.

    Tab and newline stay. Nothing is dropped, so two different texts never look the same by deletion.

    Examples
    --------
    >>> clean("a\\x1b]52;c;x\\x07")
    'a␛]52;c;x␇'
    """
    if text.isprintable():  # nearly every text: no control, direction or lone character is printable
        return text
    text = _CONTROL.sub(_visible, text)
    text = _DIRECTION.sub(lambda m: f"<U+{ord(m[0]):04X}>", text)
    return _LONE.sub(lambda m: f"<U+{ord(m[0]):04X}>", text)


def one_line(text: str, width: int | None = None) -> str:
    """Clean text on one line: runs of blanks become one blank; cut with '…' at ``width`` characters."""
    flat = " ".join(clean(text).split())
    return flat if width is None or len(flat) <= width else flat[: max(0, width - 1)] + "…"


def counted(number: int, one: str) -> str:
    """'1 still', '3 stills', '0 stills'."""
    return f"{number} {one}{'' if number == 1 else 's'}"


def recordable(text: str) -> str:
    """Typed or pasted text as it may be recorded: line ends as newlines, control characters as visible signs.

    Words of scripts that run from right to left keep their direction marks, which are cleaned at display. A pack with
    control characters in it is refused on taking in, so none are let into a record in the first place.

    Examples
    --------
    >>> recordable("a\\r\\nb\\x1b[2J")
    'a\\nb␛[2J'
    """
    text = _CONTROL.sub(_visible, text.replace("\r\n", "\n").replace("\r", "\n"))
    return _LONE.sub(lambda m: f"<U+{ord(m[0]):04X}>", text)
