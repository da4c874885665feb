"""Reading the tables under ``data/``: CSV for rows, TOML for settings; always UTF-8, each row knows its line."""

from __future__ import annotations

import csv
import tomllib
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from borelog.text import BorelogError


class TableError(BorelogError):
    """A knowledge table is broken: the text names file, line and repair."""

    exit_code = 4


def table_text(name: str) -> str:
    """The text of a shipped table, e.g. ``findings.csv``."""
    return resources.files("borelog.knowledge").joinpath("data", name).read_text(encoding="utf-8")


def parse_rows(text: str, source: str, columns: tuple[str, ...]) -> list[dict[str, str]]:
    """CSV text as dictionaries with a ``line`` entry; refuses a missing column, naming ``source``."""
    reader = csv.DictReader(text.splitlines(), strict=True)
    missing = [c for c in columns if c not in (reader.fieldnames or ())]
    if missing:
        raise TableError(
            f"{source}, line 1: column {missing[0]!r} is missing; the header must name {', '.join(columns)}"
        )
    rows: list[dict[str, str]] = []
    try:
        for row in reader:
            if None in row or any(v is None for v in row.values()):
                raise TableError(
                    f"{source}, line {reader.line_num}: needs exactly {len(reader.fieldnames or ())} fields"
                )
            rows.append({**{k: v.strip() for k, v in row.items()}, "line": str(reader.line_num)})
    except csv.Error as error:
        raise TableError(f"{source}, line {reader.line_num}: {error}; mend the quotes") from error
    return rows


@cache
def rows(name: str, *columns: str) -> tuple[dict[str, str], ...]:
    """The rows of a shipped CSV table, cached; treat them as read-only."""
    return tuple(parse_rows(table_text(name), name, columns))


@cache
def settings(name: str) -> dict[str, Any]:
    """A shipped TOML table, cached; treat it as read-only."""
    return tomllib.loads(table_text(name))


def user_text(path: Path) -> str:
    """The text of a user's own table; a clear error when it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TableError(
            f"{path.name}: cannot be read as UTF-8 text ({error.__class__.__name__}); save it as UTF-8"
        ) from error
