"""Plain text and JSON on standard output; everything else goes to standard error."""

from __future__ import annotations

import json
import math
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from borelog.text import clean


def out(text: str = "") -> None:
    """One line (or several) to standard output, cleaned."""
    print(_for_this_output(clean(text)))


# What a terminal without Unicode gets in place of bars, glyphs and rules.
_PLAIN = str.maketrans(
    {"█": "#", "▉": "#", "▊": "#", "▋": "#", "▌": "#", "▍": "-", "▎": "-", "▏": "-", "○": "o", "●": "*", "△": "!",
     "✕": "x", "–": "-", "│": "|", "├": "<", "┤": ">", "─": "-", "┆": "|", "°": " deg", "±": "+-", "·": ".", "→": "->"}
)  # fmt: skip


def _for_this_output(text: str) -> str:
    """The text as standard output can take it; what it cannot becomes a plain character, never an error."""
    encoding = sys.stdout.encoding or "utf-8"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return text.translate(_PLAIN).encode(encoding, "replace").decode(encoding)
    return text


def tell(text: str) -> None:
    """A remark for the person, to standard error."""
    print(_for_this_output(clean(text)), file=sys.stderr)


def out_json(value: Any, schema: str) -> None:
    """One JSON document with a ``schema`` name, and nothing else.

    Numbers have nine significant digits, so that another machine's last bits make no difference; what is no number
    (nothing to compare with) is null.
    """
    plain = _steady(msgspec.to_builtins(value, enc_hook=_plain))
    body = {"schema": schema, **plain} if isinstance(plain, dict) else {"schema": schema, "rows": plain}
    print(json.dumps(body, ensure_ascii=False, indent=2, allow_nan=False))


def _steady(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.9g}") + 0.0 if math.isfinite(value) else None
    if isinstance(value, dict):
        return {k: _steady(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_steady(v) for v in value]
    return value


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):  # a number or an array of NumPy's
        return value.tolist()
    raise TypeError(f"cannot be written as JSON: {type(value).__name__}")


def width() -> int:
    """The width to print for: the terminal's, else 100; never under 40."""
    return max(40, shutil.get_terminal_size((100, 40)).columns)


def wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    """Text folded to the width, with an indent."""
    return textwrap.fill(
        clean(text),
        width(),
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=True,
        break_on_hyphens=False,
    )


def table(rows: Iterable[Sequence[str]], head: Sequence[str] = ()) -> str:
    """Columns side by side, two blanks between; the last one is never padded."""
    body = [[clean(str(cell)) for cell in row] for row in rows]
    lines = [list(head), *body] if head else body
    if not lines:
        return ""
    widths = [max(len(line[k]) for line in lines) for k in range(len(lines[0]))]
    return "\n".join(
        "  ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)).rstrip() for line in lines
    )


def progress(words: str) -> Any:
    """A callback (done, total) that draws a bar on a terminal and stays silent elsewhere."""
    if not sys.stderr.isatty():
        return lambda done, total: None

    def show(done: int, total: int) -> None:
        full = round(24 * done / total) if total else 24
        end = "\n" if total and done >= total else ""
        print(
            f"\r{words} [{'#' * full}{'.' * (24 - full)}] {done}/{total}",
            end=end,
            file=sys.stderr,
            flush=True,
        )

    return show
