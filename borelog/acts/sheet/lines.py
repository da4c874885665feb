"""From the text of a sheet to its lines. Plain ``name: value`` lines and TOML are both read.

A line knows its section, its number in the file (for error messages) and, where the sheet was printed from a record,
the id behind ``#=`` that ties it to what was recorded.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from dataclasses import dataclass
from typing import Any

from borelog.text import BorelogError, one_line


class SheetError(BorelogError):
    """A sheet that cannot be read; the text names the line and the repair."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Line:
    """One ``key: value`` under a section (both as typed, trimmed); ``id`` is '' where the line carries none."""

    section: str
    key: str
    value: str
    number: int
    id: str = ""


_SECTION = re.compile(r"^\[+\s*([^\[\]]+?)\s*\]+\s*(?:#.*)?$")
_ID = re.compile(r"#=\s*([0-9a-f]{4,32})\s*$")
_COMMENT = re.compile(r"(?:^|\s)#(?!=).*$")


def flat(name: str) -> str:
    """A name for comparing: lower case, blanks, dashes and underscores alike."""
    return re.sub(r"[\s_\-–]+", " ", name.strip().strip('"').lower()).replace("leak down", "leakdown")


def read_lines(text: str, source: str = "sheet") -> tuple[Line, ...]:
    """The lines of a sheet in order.

    Parameters
    ----------
    text
        The whole sheet, UTF-8 decoded, with or without a byte-order mark.
    source
        The file's name for error messages.

    Raises
    ------
    SheetError
        For a line that is neither a section, a comment nor ``name: value``.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if "\x00" in text:
        raise SheetError(f"{source} is no text file; save the sheet as plain UTF-8 text")
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return _plain(text, source)
    return _toml(table, text) if table else _plain(text, source)


def _plain(text: str, source: str) -> tuple[Line, ...]:
    section, lines = "", []
    for number, raw in enumerate(text.split("\n"), 1):
        line = raw.strip()
        if not line or (line.startswith("#") and not line.startswith("#=")):
            continue
        if match := _SECTION.match(line):
            section = match[1]
            continue
        id_ = ""
        if match := _ID.search(line):
            id_, line = match[1], line[: match.start()].rstrip()
        line = _COMMENT.sub("", line).rstrip() if not _quoted(line) else line
        key, value = _split(line)
        if not key:
            raise SheetError(
                f"{source}, line {number}: {one_line(raw, 50)!r} is neither a [section] nor 'name: value'; "
                "write for example '3: 68' or put a # before a remark"
            )
        lines.append(Line(section, key, _unquoted(value), number, id_))
    return tuple(lines)


def _quoted(line: str) -> bool:
    return line.rstrip().endswith(('"', "'")) and line.count('"') + line.count("'") >= 2


def _split(line: str) -> tuple[str, str]:
    places = [p for p in (line.find(":"), line.find("=")) if p > 0]
    if not places:
        return "", ""
    at = min(places)
    return line[:at].strip().strip('"'), line[at + 1 :].strip()


def _unquoted(value: str) -> str:
    if len(value) >= 2 and value[0] == value[-1] and value[0] in "\"'":
        return value[1:-1]
    if value.startswith("[") and value.endswith("]"):
        return " ".join(part.strip().strip("\"'") for part in value[1:-1].split(","))
    return value


def _toml(table: dict[str, Any], text: str) -> tuple[Line, ...]:
    numbers = _line_numbers(text)
    lines: list[Line] = []

    def walk(section: str, node: dict[str, Any], nth: int) -> None:
        for key, value in node.items():
            if isinstance(value, dict):
                walk(f"{section} {key}".strip(), value, 0)
            elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
                for k, entry in enumerate(value):
                    walk(f"{section} {key}".strip(), entry, k)
            else:
                found = numbers.get((flat(section), flat(key)), [(0, "")])
                number, id_ = found[min(nth, len(found) - 1)]
                lines.append(Line(section, key, _toml_text(value), number, id_))

    walk("", table, 0)
    return tuple(sorted(lines, key=lambda x: x.number))


def _toml_text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(_toml_text(v) for v in value)
    if isinstance(value, datetime.date | datetime.time | datetime.datetime):
        return value.isoformat()
    return str(value)


def _line_numbers(text: str) -> dict[tuple[str, str], list[tuple[int, str]]]:
    """Where each key of each section stands, with its line id."""
    section = ""
    found: dict[tuple[str, str], list[tuple[int, str]]] = {}
    for number, raw in enumerate(text.split("\n"), 1):
        line = raw.strip()
        if match := _SECTION.match(line):
            section = flat(match[1].replace(".", " ").replace('"', ""))
        elif "=" in line and not line.startswith("#"):
            id_match = _ID.search(line)
            key = flat(line.split("=", 1)[0])
            found.setdefault((section, key), []).append((number, id_match[1] if id_match else ""))
    return found
