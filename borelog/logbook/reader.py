"""The journal read: entries, inspections kept in memory by head, the list, and finding what a person means."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from borelog.logbook import chain, connection, summaries
from borelog.logbook.entries import Scalar, Stored, decode
from borelog.logbook.errors import NoSuchInspection, plainly
from borelog.logbook.fold import fold
from borelog.logbook.inspection import Inspection
from borelog.logbook.pictures import Pictures
from borelog.logbook.summaries import Summary
from borelog.text import one_line

KEPT = 12
"""Inspections whose entries stay in memory."""

WHEREABOUTS = "whereabouts.json"


class _Held:
    """Entries of one inspection in memory, and their fold."""

    __slots__ = ("entries", "folded", "last")

    def __init__(self) -> None:
        self.entries: list[Stored] = []
        self.last = 0
        self.folded: Inspection | None = None


class Reader:
    """Everything about a logbook that only reads."""

    def __init__(self, folder: Path, db: sqlite3.Connection) -> None:
        self.folder = folder
        self.pictures = Pictures(folder)
        self._db = db
        self._own = 0
        self._held: dict[int, _Held] = {}
        self._guard = threading.RLock()
        self._budget = connection.Budget(db)

    @contextmanager
    def _reading(self) -> Iterator[None]:
        with self._guard, plainly(self.folder):
            self._budget.renew()
            yield

    def _number(self, inspection: str) -> int:
        row = self._db.execute("SELECT number FROM inspection WHERE id=?", (inspection,)).fetchone()
        if row is None:
            raise NoSuchInspection(
                f"no inspection {one_line(inspection, 40)} in this logbook; 'borelog list' shows them"
            )
        return int(row[0])

    def _load(self, number: int) -> _Held:
        held = self._held.pop(number, None) or _Held()
        self._held[number] = held
        while len(self._held) > KEPT:
            del self._held[next(iter(self._held))]
        fresh: list[Stored] = []
        last = held.last
        for row, raw, digest in self._db.execute(
            "SELECT row, raw, digest FROM entry WHERE inspection=? AND row>? ORDER BY row", (number, last)
        ):
            if row <= last:
                raise sqlite3.DatabaseError("malformed")  # a damaged file may give the same rows without end
            fresh.append(decode(raw, digest))
            last = row
        if fresh:
            held.entries, held.last, held.folded = held.entries + fresh, last, None
        return held

    def entries(self, inspection: str) -> list[Stored]:
        """All entries of an inspection in order of arrival here."""
        with self._reading():
            return list(self._load(self._number(inspection)).entries)

    def inspection(self, inspection: str) -> Inspection:
        """The inspection as it stands; folded again only after something came in."""
        with self._reading():
            held = self._load(self._number(inspection))
            if held.folded is None:
                held.folded = fold(held.entries, inspection)
            return held.folded

    def ids(self) -> list[str]:
        """Ids of all inspections by short number."""
        with self._reading():
            return [row[0] for row in self._db.execute("SELECT id FROM inspection ORDER BY number")]

    def number(self, inspection: str) -> int:
        """The short number of an inspection in this logbook."""
        with self._reading():
            return self._number(inspection)

    def head(self, inspection: str) -> str:
        """The digest of the state of an inspection's journal."""
        with self._reading():
            return chain.head_digest(summaries.heads(self._db, self._number(inspection)))

    def summaries(self, tables: str | None = None) -> list[Summary]:
        """All inspections, the one last written to first.

        Parameters
        ----------
        tables
            Digest of the tables in use; what was said with others counts as nothing said. None: any.
        """
        with self._reading():
            return summaries.listed(self._db, tables)

    def find(self, text: str) -> str:
        """The id of the inspection meant by a short number, a unique part of its name, or 'last'.

        Raises
        ------
        NoSuchInspection
            None or several fit; the sentence names them.
        """
        rows = self.summaries()
        if not rows:
            raise NoSuchInspection("this logbook is empty; begin with 'borelog new NAME'")
        wanted = text.strip().casefold()
        if wanted == "last":
            return rows[0].id
        for fits in (
            [s for s in rows if wanted.isdecimal() and s.number == int(wanted)],
            [s for s in rows if s.id == wanted],
            [s for s in rows if s.name.casefold() == wanted],
            [s for s in rows if wanted and wanted in s.name.casefold()],
        ):
            if len(fits) == 1:
                return fits[0].id
            if fits:
                names = ", ".join(f"{s.number} {one_line(s.name, 40)}" for s in fits[:6])
                raise NoSuchInspection(
                    f"{one_line(text, 40)!r} fits several inspections ({names}); say the number"
                )
        raise NoSuchInspection(
            f"no inspection {one_line(text, 40)!r}; 'borelog list' shows them, 'last' is the latest"
        )

    def version(self) -> int:
        """A number that changes whenever anybody wrote to the logbook."""
        with self._reading():
            return int(self._db.execute("PRAGMA data_version").fetchone()[0]) * (1 << 32) + self._own

    def whereabouts(self) -> dict[str, Scalar]:
        """Where the person is at (inspection, cylinder, place ...), as the screens last noted it; {} if nowhere."""
        try:
            found: Any = json.loads((self.folder / WHEREABOUTS).read_bytes())
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}
