"""Files, folders and globs as one list of pictures and films, in the order of their names."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from borelog.stills import StillError
from borelog.stills.intake import shown
from borelog.stills.kinds import FILMS, PICTURES, kind_by_name

MOST_FILES = 20_000
_DIGITS = re.compile(r"(\d+)")
_UNFINISHED = (".part", ".tmp", ".crdownload", ".filepart", ".partial")


@dataclass(frozen=True, slots=True)
class Gathered:
    """``pictures`` and ``films`` to try, ``others`` passed over by name, ``refused`` as sentences."""

    pictures: tuple[Path, ...] = ()
    films: tuple[Path, ...] = ()
    others: tuple[Path, ...] = ()
    refused: tuple[str, ...] = ()


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """A sort key that puts IMG_9 before IMG_10, whatever the case of the letters."""
    parts = _DIGITS.split(name.casefold())
    return tuple((1, int(p), "") if p.isdecimal() and p.isascii() else (0, 0, p) for p in parts)


def _path_key(path: Path) -> tuple[tuple[tuple[int, int, str], ...], ...]:
    return tuple(natural(part) for part in path.parts)


def is_passed_over(name: str) -> bool:
    """Whether a name found in a folder is hidden or still being copied."""
    return name.startswith(".") or name.lower().endswith(_UNFINISHED)


def _walk(folder: Path) -> list[Path]:
    found: list[Path] = []
    for top, folders, names in os.walk(folder, followlinks=False):
        folders[:] = sorted((f for f in folders if not f.startswith(".")), key=natural)
        found += [Path(top, n) for n in names if not is_passed_over(n)]
        if len(found) > MOST_FILES:
            raise StillError(
                f"{shown(folder)}: holds more than {MOST_FILES} files; name a folder further down"
            )
    return sorted(found, key=_path_key)


def gather(arguments: Sequence[str | os.PathLike[str]]) -> Gathered:
    """What a person named, spread out.

    Parameters
    ----------
    arguments : sequence of path
        Files, folders (searched through, links to folders not followed) and globs (``*``, ``?``, ``[a-z]``, ``**``)
        that the shell left as they are. A file that exists is taken by its exact name even when it looks like a glob.

    Returns
    -------
    Gathered
        Each file once. A file named by itself is always tried; one found in a folder only when its name is that of a
        picture or film.
    """
    pictures: list[Path] = []
    films: list[Path] = []
    others: list[Path] = []
    refused: list[str] = []
    seen: set[str] = set()

    def sort_in(path: Path, named: bool) -> None:
        key = os.path.abspath(path)
        if key in seen:
            return
        seen.add(key)
        kind = kind_by_name(path.name)
        if kind in FILMS:
            films.append(path)
        elif kind in PICTURES or named:
            pictures.append(path)
        else:
            others.append(path)

    for argument in arguments:
        path = Path(argument)
        try:
            if path.is_dir():
                for inner in _walk(path):
                    sort_in(inner, named=False)
            elif os.path.lexists(path):
                sort_in(path, named=True)
            elif any(c in str(argument) for c in "*?["):
                hits = _glob(path)
                if not hits:
                    refused.append(f"{shown(path)}: nothing fits this pattern")
                for hit in hits:
                    for inner in _walk(hit) if hit.is_dir() else [hit]:
                        sort_in(inner, named=False)
            else:
                refused.append(f"{shown(path)}: there is no such file; check the name")
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "bad name"
            refused.append(f"{shown(path)}: cannot be looked into ({reason})")
        except StillError as error:
            refused.append(str(error))
    return Gathered(tuple(pictures), tuple(films), tuple(others), tuple(refused))


def _glob(pattern: Path) -> list[Path]:
    import glob

    return sorted((Path(p) for p in glob.glob(str(pattern), recursive=True)), key=_path_key)
