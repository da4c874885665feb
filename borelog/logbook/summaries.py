"""One line per inspection for the list: what the journal knows by itself, and what an act said about the verdict."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

import msgspec

from borelog.logbook import chain

SHOP = "0" * 32
"""The inspection that holds what counts for the whole logbook, its prices: it is no engine, so no list shows it."""


@dataclass(frozen=True, slots=True)
class Said:
    """What an act says about an inspection: engine, worst finding and call in words, and how many things are open."""

    engine: str = ""
    worst: str = ""
    call: str = ""
    open: int = 0


@dataclass(frozen=True, slots=True)
class Summary:
    """One inspection in the list.

    ``number`` is its short number in this logbook; ``opened`` and ``changed`` are local times with offset; ``head`` the
    digest of its journal; ``told_by`` who made the pack it was taken in from, '' for an own look. ``said`` is a cache: None where nothing was said, or it was said of an older state or with
    other tables.
    """

    number: int
    id: str
    name: str
    demo: bool
    opened: str
    changed: str
    entries: int
    head: str
    said: Said | None
    told_by: str = ""


_LIST = f"""
SELECT s.inspection, i.id, s.name, s.demo, s.opened, s.changed, s.entries, s.head, s.said_head, s.said_tables,
       s.engine, s.worst, s.call, s.open
FROM summary s JOIN inspection i ON i.number = s.inspection WHERE i.id <> '{SHOP}' ORDER BY s.last DESC
"""


class _TakenIn(msgspec.Struct):
    by: str


class _Line(msgspec.Struct):
    body: _TakenIn


_line = msgspec.json.Decoder(_Line)
# Whatever makes an inspection read-only is the first thing entered after its opening.
_TAKEN = (
    """SELECT inspection, raw FROM entry WHERE number = 2 AND instr(raw, CAST('"kind":"taken_in"' AS BLOB))"""
)


def tellers(connection: sqlite3.Connection) -> dict[int, str]:
    """By inspection, who told it: of those that came from a pack without a journal. Reads no document."""
    out: dict[int, str] = {}
    for number, raw in connection.execute(_TAKEN):
        try:
            out[number] = _line.decode(raw).body.by
        except (msgspec.DecodeError, UnicodeDecodeError):  # the check of the logbook tells of a damaged entry
            continue
    return out


def listed(connection: sqlite3.Connection, tables: str | None) -> list[Summary]:
    """All inspections, the one last written to first; ``tables`` None takes what was said with any tables."""
    out: list[Summary] = []
    told = tellers(connection)
    for (
        n,
        id_,
        name,
        demo,
        opened,
        changed,
        entries,
        head,
        said_head,
        said_tables,
        *said,
    ) in connection.execute(_LIST):
        fresh = said_head == head and (tables is None or tables == said_tables)
        out.append(
            Summary(
                n,
                id_,
                name,
                bool(demo),
                opened,
                changed,
                entries,
                head,
                Said(*said) if fresh else None,
                told.get(n, ""),
            )
        )
    return out


def heads(connection: sqlite3.Connection, inspection: int) -> dict[str, tuple[int, str]]:
    """Each writer's (number, last digest) in one inspection."""
    return {
        writer: (number, digest)
        for writer, number, digest in connection.execute(
            "SELECT writer, number, digest FROM head WHERE inspection=?", (inspection,)
        )
    }


def touch(
    connection: sqlite3.Connection,
    inspection: int,
    *,
    added: int,
    name: str | None,
    demo: bool,
    opened: str,
    changed: str,
) -> None:
    """Bring the journal's own part of the line up to date inside the transaction that wrote entries.

    ``added`` entries were the last rows written; ``name`` None: name, demo and opening date are as before.
    """
    head = chain.head_digest(heads(connection, inspection))
    last = connection.execute("SELECT max(row) FROM entry").fetchone()[0]
    connection.execute(
        """INSERT INTO summary (inspection, head, last, entries, name, demo, opened, changed)
        VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (inspection) DO UPDATE SET head=excluded.head,
        last=excluded.last, entries=entries + excluded.entries, changed=excluded.changed""",
        (inspection, head, last, added, name or "", demo, opened, changed),
    )
    if name is not None:
        connection.execute(
            "UPDATE summary SET name=?, demo=?, opened=? WHERE inspection=?", (name, demo, opened, inspection)
        )


def say(connection: sqlite3.Connection, inspection: int, head: str, tables: str, said: Said) -> None:
    """Keep what was said, with the head and tables it was said of."""
    connection.execute(
        "UPDATE summary SET said_head=?, said_tables=?, engine=?, worst=?, call=?, open=? WHERE inspection=?",
        (head, tables, said.engine, said.worst, said.call, said.open, inspection),
    )
