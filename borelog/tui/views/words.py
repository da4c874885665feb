"""Status as glyph + word + role, and the plain-letter twin of every glyph the screens use."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple, TypeAlias

from rich.cells import cell_len, set_cell_size

from borelog.text import one_line


class Span(NamedTuple):
    """A run of characters with the role (see themes.Palette) that colours it.

    ``weight`` is '', 'bold',
    'pick' (in hand) or 'loud' (reversed in its own colour: bad figures and blanks).
    """

    text: str
    role: str = "ink"
    weight: str = ""


Line: TypeAlias = tuple[Span, ...]

STATUS: dict[str, tuple[str, str]] = {
    "good": ("✓", "good"),
    "bad": ("✗", "bad"),
    "watch": ("!", "watch"),
    "doubt": ("?", "watch"),
    "blank": ("·", "blank"),
    "missing": ("▒", "blank"),
    "not possible": ("—", "blank"),
}
"""Status -> glyph and role."""

_ASCII = {
    "✓": "+", "✗": "X", "·": ".", "▒": "#", "░": ":", "—": "-", "–": "-", "…": "~", "▸": ">", "▾": "v", "◂": "<",
    "─": "-", "│": "|", "┌": "+", "┐": "+", "└": "+", "┘": "+", "├": "+", "┤": "+", "┬": "+", "┴": "+", "┼": "+",
    "╭": "+", "╮": "+", "╰": "+", "╯": "+", "━": "=", "┃": "|", "╴": "-", "╶": "-", "═": "=", "║": "|",
    "█": "#", "▉": "#", "▊": "#", "▋": "#", "▌": "=", "▍": "=", "▎": "-", "▏": "|", "▁": "_", "▂": "_", "▃": "_",
    "▄": "=", "▅": "=", "▆": "#", "▇": "#", "▀": "^", "■": "#", "□": "o", "●": "*", "○": "o", "◆": "*", "◇": "o",
    "◉": "@", "◌": "o", "→": ">", "←": "<", "↑": "^", "↓": "v", "↵": "<", "±": "+-", "×": "x", "°": " deg", "²": "2",
    "³": "3", "≈": "~", "≤": "<=", "≥": ">=", "µ": "u", "“": '"', "”": '"', "’": "'", "‘": "'", "½": "1/2",
    "▲": "^", "▼": "v", "◀": "<", "▶": ">", "╱": "/", "╲": "\\", "╳": "X", "┄": "-", "┆": "|", "╌": "-",
}  # fmt: skip
_TABLE = str.maketrans(_ASCII)


def plain(text: str) -> str:
    """The text in letters, digits and ASCII signs alone, one for one where the layout counts on it."""
    return text.translate(_TABLE).encode("ascii", "replace").decode("ascii")


def mark(status: str, word: str) -> Span:
    """Glyph and word of a status as one span; the word says what the glyph means here."""
    glyph, role = STATUS[status]
    return Span(f"{glyph} {word}", role)


def cells(text: str) -> int:
    """Terminal cells the text takes; wide characters take two, combining ones none."""
    return len(text) if text.isascii() else cell_len(text)


def width(line: Iterable[Span]) -> int:
    """Terminal cells of a line."""
    return sum(cells(s.text) for s in line)


def said(line: Iterable[Span]) -> str:
    """The line's characters without roles."""
    return "".join(s.text for s in line)


def cut(text: str, room: int) -> str:
    """Clean text of at most ``room`` cells, ending in '…' where something was left out."""
    text = text if text.isprintable() else one_line(text)
    if cells(text) <= room:
        return text
    return set_cell_size(text, room - 1).rstrip() + "…" if room > 0 else ""


def pieces(text: str, room: int, sign: str = " · ") -> str:
    """As many whole pieces of a text as fit, so that no word is cut; the first alone may have to be."""
    text = text if text.isprintable() else one_line(text)
    if cells(text) <= room:
        return text
    out = ""
    for piece in text.split(sign):
        longer = f"{out}{sign}{piece}" if out else piece
        if cells(longer) > room:
            break
        out = longer
    return out or cut(text, room)


_CLAUSES = ("; ", " - ", " (", ", ")
_LITTLE = frozenset(
    ["a", "an", "and", "at", "by", "for", "in", "no", "not", "of", "on", "or", "the", "to", "with"]
)


def shorter(text: str, room: int) -> str:
    """Text of at most ``room`` cells made of whole words: later clauses go first, then words, then '…' says so.

    Only where not even the first word fits is it cut.
    """
    text = text if text.isprintable() else one_line(text)
    for sign in _CLAUSES:
        while cells(text) > room and sign in text:
            text = text.rpartition(sign)[0]
    if cells(text) <= room:
        return text
    words = text.split()
    while words and (cells(" ".join(words)) > room or words[-1].lower() in _LITTLE):
        words.pop()
    if not words:
        return cut(text, room)
    left = " ".join(words)
    return f"{left}…" if cells(left) < room else left


def padded(text: str, room: int, right: bool = False) -> str:
    """Text cut or filled with blanks to exactly ``room`` cells."""
    text = cut(text, room)
    gap = " " * (room - cells(text))
    return gap + text if right else text + gap


def fitted(line: Iterable[Span], room: int) -> Line:
    """The line cut with '…' or padded with blanks to exactly ``room`` cells."""
    out: list[Span] = []
    left = room
    for span in line:
        if not span.text or left <= 0:
            if span.text and out and not out[-1].text.endswith("…"):
                out[-1] = out[-1]._replace(
                    text=padded(cut(out[-1].text + "…", cells(out[-1].text)), cells(out[-1].text))
                )
            continue
        long = cells(span.text)
        if long > left:
            out.append(span._replace(text=padded(span.text, left)))
            left = 0
        else:
            out.append(span)
            left -= long
    return (*out, Span(" " * left)) if left > 0 else tuple(out)


def wrapped(text: str, room: int, indent: str = "") -> tuple[str, ...]:
    """Text broken at blanks into lines of at most ``room`` cells, later lines after ``indent``; clean."""
    text = text if text.isprintable() else one_line(text)
    room = max(8, room)
    out: list[str] = []
    line = ""
    for word in text.split():
        while cells(indent + word) > room:
            if line.strip():
                out.append(line)
                line = indent if out else ""
            head = set_cell_size(word, room - cells(indent)).rstrip()
            out.append((indent if out else "") + head)
            word = word[len(head) :]
            line = indent
        if not line.strip():
            line = (indent if out else "") + word
        elif cells(line) + 1 + cells(word) <= room:
            line += " " + word
        else:
            out.append(line)
            line = indent + word
    if line.strip() or not out:
        out.append(line)
    return tuple(out)
