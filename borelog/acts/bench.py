"""Who is at which logbook: what every act needs, and the only door to ``Journal.append``."""

from __future__ import annotations

import getpass
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import platformdirs

from borelog.logbook.entries import Known, Stored, TakenIn
from borelog.logbook.inspection import Inspection
from borelog.logbook.journal import Journal
from borelog.text import BorelogError


class BenchError(BorelogError):
    """Something that may not be written."""

    exit_code = 5


def default_logbook() -> Path:
    """Where the logbook is when nobody says: ``BORELOG_LOGBOOK``, else the platform's data folder."""
    named = os.environ.get("BORELOG_LOGBOOK")
    return Path(named) if named else Path(platformdirs.user_data_dir("borelog", appauthor=False)) / "logbook"


def demo_logbook() -> Path:
    """The logbook of the demo engines, apart from the person's own."""
    return Path(platformdirs.user_data_dir("borelog", appauthor=False)) / "demo-logbook"


def default_person() -> str:
    """The name written beside entries when nobody says: ``BORELOG_WHO``, else the login name."""
    if named := os.environ.get("BORELOG_WHO"):
        return named
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return "not noted"


def now() -> str:
    """Local time with offset, to the second, ISO 8601."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


@dataclass(frozen=True, slots=True)
class Bench:
    """An open logbook and the person at it. ``at`` fixes the time of entries (None: the machine's clock)."""

    journal: Journal
    who: str = field(default_factory=default_person)
    at: str | None = None

    def inspection(self, inspection_id: str) -> Inspection:
        """The inspection as it stands now."""
        return self.journal.inspection(inspection_id)

    def append(self, inspection_id: str, bodies: Sequence[tuple[Known, str]]) -> tuple[Stored, ...]:
        """Append bodies, each with how it was taken, in one transaction; on return they are on disk."""
        if self.inspection(inspection_id).of(TakenIn):
            raise BenchError(
                "this inspection was taken in as told and is read-only; open one of your own for what you find"
            )
        return tuple(self.journal.append_many(inspection_id, bodies, who=self.who, at=self.at or now()))


def open_bench(
    folder: Path | None = None, *, who: str | None = None, create: bool = True, read_only: bool = False
) -> Bench:
    """Open a logbook folder (default: ``default_logbook()``) for a person."""
    journal = Journal.open(folder or default_logbook(), create=create, read_only=read_only)
    return Bench(journal, who or default_person())
