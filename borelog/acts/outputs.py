"""Writing a made file where a person asked for it, and never over the picture or recording it was made from."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from borelog.logbook.pictures import digest_of_file
from borelog.text import BorelogError, one_line


class OutputError(BorelogError):
    """A file that cannot be written where it was asked for."""

    exit_code = 3


def spare(path: Path, never: Collection[str]) -> None:
    """Refuse a file to write where one of the originals with these digests lies.

    Raises
    ------
    OutputError
        If one does.
    """
    if path.is_file() and digest_of_file(path) in never:
        raise OutputError(
            f"{one_line(path.name, 60)} is the original itself and stays as it is; name another file"
        )


def write_made(path: Path, data: bytes, *, never: Collection[str]) -> Path:
    """Write ``data`` to ``path``, making its folder; ``never`` holds the digests of originals that must stay.

    Raises
    ------
    OutputError
        If an original is there already, or the disk refuses.
    """
    name = one_line(path.name, 60)
    try:
        spare(path, never)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        why = one_line(error.strerror or str(error), 80)
        raise OutputError(f"{name}: cannot be written ({why}); name another file") from None
    return path
