"""Who is at which logbook: what every act needs, and the only door to ``Journal.append``."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import msgspec
import platformdirs

from borelog.logbook.entries import Known, Stored, TakenIn
from borelog.logbook.inspection import Inspection
from borelog.logbook.journal import Journal
from borelog.text import BorelogError, one_line, recordable

T = TypeVar("T", bound=msgspec.Struct)
NOT_NAMED = "not named"
"""Who, when nobody said. Never the login name: packs carry it to strangers."""


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
    """The name written beside entries when a command does not say: ``BORELOG_WHO``, else 'not named'."""
    return one_line(os.environ.get("BORELOG_WHO", ""), 80) or NOT_NAMED


def _cleaned(value: Any) -> Any:
    if isinstance(value, str):
        return recordable(value)
    if isinstance(value, dict):
        return {_cleaned(k): _cleaned(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_cleaned(v) for v in value]
    return value


def recordable_body(body: T) -> T:
    """The body with every text in it as it may be recorded; itself where there is nothing to clean."""
    plain = msgspec.to_builtins(body)
    clean = _cleaned(plain)
    return body if clean == plain else msgspec.convert(clean, type(body))


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

    def create(self, name: str, *, demo: bool = False) -> str:
        """Begin an inspection; returns its id."""
        return self.journal.create(recordable(name), who=self.who, demo=demo, at=self.at)

    def forget(self, still: str, why: str) -> tuple[str, ...]:
        """Remove a still's bytes for good; digest, who and why stay. Returns the inspections concerned."""
        return self.journal.forget(still, who=self.who, why=recordable(why))

    def append(self, inspection_id: str, bodies: Sequence[tuple[Known, str]]) -> tuple[Stored, ...]:
        """Append bodies, each with how it was taken, in one transaction; on return they are on disk.

        The one place through which words come into a record, and so the place where they are made recordable.
        """
        if self.inspection(inspection_id).of(TakenIn):
            raise BenchError(
                "this inspection was taken in as told and is read-only; open one of your own for what you find"
            )
        clean = [(recordable_body(body), recordable(how)) for body, how in bodies]
        return tuple(self.journal.append_many(inspection_id, clean, who=self.who, at=self.at or now()))


def open_bench(
    folder: Path | None = None, *, who: str | None = None, create: bool = True, read_only: bool = False
) -> Bench:
    """Open a logbook folder (default: ``default_logbook()``) for a person."""
    journal = Journal.open(folder or default_logbook(), create=create, read_only=read_only)
    return Bench(journal, one_line(who or "", 80) or default_person())


def unsaved_lines(bench: Bench) -> list[str]:
    """What could not be saved while this bench was open, one line an entry, to be entered again."""
    from borelog.acts.words import body_words

    return [f"not saved: {body_words(body, 160)}" for _, body, _, _ in bench.journal.unsaved]
