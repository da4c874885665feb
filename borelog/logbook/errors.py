"""The one error of the logbook room, and the translation of what disk and database say into a plain sentence."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from borelog.text import BorelogError, one_line


class LogbookError(BorelogError):
    """The logbook cannot do what was asked; nothing recorded before is lost."""

    exit_code = 3
    unsaved = False
    """True where an entry was to be saved and was not."""


class NoSuchInspection(LogbookError):
    """A name or number that no inspection has, or several have."""

    exit_code = 2


class NotUnderstood(LogbookError):
    """A logbook, or entries, from a newer version or of another make."""

    exit_code = 4


class Busy(LogbookError):
    """Somebody else holds the logbook."""

    exit_code = 5


class Conflict(LogbookError):
    """Two histories that cannot both be true."""

    exit_code = 5


class WrongBytes(LogbookError):
    """A file whose bytes are not what its digest says."""


class DiskFailed(LogbookError):
    """The disk refused to make data safe; after a failed sync nothing more is written through this journal."""


_SQLITE = (
    (
        "full",
        LogbookError,
        "the disk is full, so this was not saved; what was saved before is safe. Make room and do it again",
    ),
    (
        "readonly",
        LogbookError,
        "the logbook {where} is read-only, so this was not saved; make the folder writable or choose another --logbook",
    ),
    (
        "locked",
        Busy,
        "another program has been writing to the logbook {where} for too long; this was not saved. Do it again, or close it",
    ),
    (
        "disk i/o",
        DiskFailed,
        "the disk reported a fault while saving to {where}; this may not be saved. Copy the logbook to another disk, "
        "then start again",
    ),
    (
        "unable to open",
        LogbookError,
        "the logbook {where} cannot be opened; look at the folder's permissions, or choose another --logbook",
    ),
    (
        "not a database",
        NotUnderstood,
        "{where} holds no logbook that can be read (journal.sqlite is no database); take it from a backup",
    ),
    (
        "malformed",
        NotUnderstood,
        "the journal in {where} is damaged; run 'borelog doctor' and take a copy before anything else",
    ),
    (
        "interrupted",
        NotUnderstood,
        "the journal in {where} is damaged: its pages lead in a circle; run 'borelog doctor' and take it from a backup",
    ),
    (
        "too big",
        LogbookError,
        "that is more than one entry can hold (64 MB), so it was not saved; file it as a still or in parts",
    ),
    (
        "entries are never",
        LogbookError,
        "entries are never changed or removed; correct or withdraw them instead",
    ),
)
_OS = {
    errno.ENOSPC: (LogbookError, _SQLITE[0][2]),
    errno.EDQUOT: (
        LogbookError,
        "your share of the disk is used up, so this was not saved. Make room and do it again",
    ),
    errno.EROFS: (LogbookError, _SQLITE[1][2]),
    errno.EACCES: (LogbookError, _SQLITE[1][2]),
    errno.EPERM: (LogbookError, _SQLITE[1][2]),
    errno.EIO: (DiskFailed, _SQLITE[3][2]),
    errno.ENOENT: (LogbookError, "{where} is missing a file or folder ({what}); run 'borelog doctor'"),
}


DAMAGE = (sqlite3.Error, OSError, UnicodeError)
"""What disk and database raise; the last where a damaged database puts stray bytes into SQLite's own message."""


def plain(error: BaseException, where: Path | str) -> LogbookError:
    """The plain sentence for an error of SQLite or of the operating system."""
    shown = one_line(str(where), 200)
    if isinstance(error, OSError) and error.errno in _OS:
        kind, text = _OS[error.errno]
        return kind(text.format(where=shown, what=one_line(str(error.filename or ""), 120)))
    said = "malformed" if isinstance(error, UnicodeError) else str(error).lower()
    for sign, kind, text in _SQLITE:
        if sign in said:
            return kind(text.format(where=shown))
    return LogbookError(f"the logbook {shown} failed: {one_line(str(error), 160)}; run 'borelog doctor'")


@contextmanager
def plainly(where: Path | str) -> Iterator[None]:
    """Turn errors of disk and database inside the block into one plain sentence."""
    try:
        yield
    except DAMAGE as error:
        raise plain(error, where) from error
