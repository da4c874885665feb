"""The person's own keys and settings: one small TOML file, read once at the start.

theme = "borelog-day"       # or borelog-night
cells = "quadrants"         # half, sextants, letters
letters = false             # true: letters and ASCII signs alone
large = false
[keys.plan]
finding = "k"
[keys.everywhere]
undo = ["ctrl+z", "U"]
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from borelog.text import BorelogError, one_line
from borelog.tui.actions import ACTIONS, clashes

CELLS = ("quadrants", "half", "sextants", "letters")
THEMES = ("borelog-night", "borelog-day")

Keys = dict[tuple[str, str], tuple[str, ...]]


class SettingsError(BorelogError):
    """The settings file holds something that cannot be used; the text names the line's name and the repair."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Settings:
    """What a person may set about the screens."""

    theme: str = "borelog-night"
    cells: str = "quadrants"
    letters: bool = False
    large: bool = False
    keys: Keys = field(default_factory=dict)


def default_path() -> Path:
    """Where the settings file is looked for: the platform's settings folder."""
    from platformdirs import user_config_path

    return user_config_path("borelog") / "screens.toml"


def keys_in_force(own: Mapping[tuple[str, str], tuple[str, ...]] | None = None) -> Keys:
    """Keys of every action by (where, id): the table's, with the person's own laid over."""
    own = own or {}
    return {(a.where, a.id): own.get((a.where, a.id), a.keys) for a in ACTIONS}


def _own_keys(table: Any, file: str) -> Keys:
    known = {(a.where, a.id) for a in ACTIONS}
    places = sorted({a.where for a in ACTIONS})
    out: Keys = {}
    if not isinstance(table, dict):
        raise SettingsError(f"{file}: [keys] must hold tables such as [keys.plan]")
    for where, rows in table.items():
        if where not in places or not isinstance(rows, dict):
            raise SettingsError(
                f"{file}: no screen is called {one_line(str(where), 30)!r}; say one of {', '.join(places)}"
            )
        for name, keys in rows.items():
            if (where, name) not in known:
                raise SettingsError(
                    f"{file}: {where} has no action {one_line(str(name), 30)!r}; docs/keys.md lists them"
                )
            listed = [keys] if isinstance(keys, str) else keys
            if not isinstance(listed, list) or not all(isinstance(k, str) and k for k in listed):
                raise SettingsError(f"{file}: the keys of {name!r} must be text or a list of texts")
            out[(where, name)] = tuple(listed)
    return out


def parse(text: str, file: str = "screens.toml") -> Settings:
    """Settings from TOML text; refuses unknown names, wrong kinds and keys that clash, naming the repair."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{file}: not readable as TOML: {error}") from error
    keys = _own_keys(table.pop("keys", {}), file)
    choices: dict[str, tuple[str, ...]] = {"theme": THEMES, "cells": CELLS}
    kinds: dict[str, type] = {"theme": str, "cells": str, "letters": bool, "large": bool}
    for name, value in table.items():
        if name not in kinds:
            raise SettingsError(
                f"{file}: {one_line(name, 30)!r} is no setting; settings are {', '.join(kinds)}"
            )
        if not isinstance(value, kinds[name]):
            raise SettingsError(
                f"{file}: {name} must be {'true or false' if kinds[name] is bool else 'text'}"
            )
        if name in choices and value not in choices[name]:
            raise SettingsError(f"{file}: {name} must be one of {', '.join(choices[name])}")
    found = clashes(keys_in_force(keys))
    if found:
        screen, key, one, other = found[0]
        raise SettingsError(
            f"{file}: on {screen} the key {key!r} would do both {one!r} and {other!r}: change one"
        )
    return Settings(**table, keys=keys)


def load(path: Path | None = None) -> Settings:
    """The person's settings; the defaults where there is no file."""
    path = path or default_path()
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Settings()
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"{path.name}: cannot be read ({error.__class__.__name__}); save it as UTF-8 text"
        ) from error
    return parse(text, path.name)
