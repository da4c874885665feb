"""The tables of the journal, and how an older logbook becomes a newer one."""

from __future__ import annotations

import sqlite3

APPLICATION_ID = 0x626F726C
"""'borl' in ASCII: tells a logbook from any other database."""

VERSION = 1
"""The schema this program writes. A newer logbook is refused, an older one migrated after a copy was made."""

SCHEMA = """
CREATE TABLE inspection (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE CHECK (length(id) BETWEEN 1 AND 64)
) STRICT;
CREATE TABLE entry (
    row INTEGER PRIMARY KEY AUTOINCREMENT,
    inspection INTEGER NOT NULL REFERENCES inspection (number),
    writer TEXT NOT NULL,
    number INTEGER NOT NULL CHECK (number >= 1),
    clock INTEGER NOT NULL CHECK (clock >= 1),
    id TEXT NOT NULL UNIQUE,
    digest TEXT NOT NULL CHECK (length(digest) = 64),
    raw BLOB NOT NULL,
    UNIQUE (inspection, writer, number)
) STRICT;
CREATE INDEX entry_of_inspection ON entry (inspection);
CREATE TRIGGER entry_never_changed BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER entry_never_removed BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;
CREATE TRIGGER inspection_never_changed BEFORE UPDATE ON inspection
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER inspection_never_removed BEFORE DELETE ON inspection
BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;
-- What follows is derived or local to this copy, and can be made again.
CREATE TABLE head (
    inspection INTEGER NOT NULL REFERENCES inspection (number),
    writer TEXT NOT NULL,
    number INTEGER NOT NULL,
    clock INTEGER NOT NULL,
    digest TEXT NOT NULL,
    PRIMARY KEY (inspection, writer)
) STRICT, WITHOUT ROWID;
CREATE TABLE summary (
    inspection INTEGER PRIMARY KEY REFERENCES inspection (number),
    head TEXT NOT NULL,
    last INTEGER NOT NULL,
    entries INTEGER NOT NULL,
    name TEXT NOT NULL,
    demo INTEGER NOT NULL,
    opened TEXT NOT NULL,
    changed TEXT NOT NULL,
    said_head TEXT NOT NULL DEFAULT '',
    said_tables TEXT NOT NULL DEFAULT '',
    engine TEXT NOT NULL DEFAULT '',
    worst TEXT NOT NULL DEFAULT '',
    call TEXT NOT NULL DEFAULT '',
    open INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE writer (
    place TEXT PRIMARY KEY,
    writer TEXT NOT NULL
) STRICT, WITHOUT ROWID;
"""

STEPS: dict[int, str] = {}
"""Migration from version N (the key) to N + 1, as SQL run in one transaction with the new user_version."""


def lay(connection: sqlite3.Connection) -> None:
    """Make the tables in an empty database; two programs may try at once, one of them does it."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        if connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0:
            for statement in statements(SCHEMA):
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version={VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def statements(script: str) -> list[str]:
    """The single statements of a script (``executescript`` would commit before it starts)."""
    out: list[str] = []
    held = ""
    for piece in script.split(";")[:-1]:
        held += piece + ";"
        if sqlite3.complete_statement(held):
            out.append(held)
            held = ""
    return out
