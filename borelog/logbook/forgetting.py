"""Which still a person wants gone, and where it was filed."""

from __future__ import annotations

import re
import sqlite3
from typing import TYPE_CHECKING

from borelog.logbook.entries import Correct, StillFiled, decode
from borelog.logbook.errors import LogbookError
from borelog.text import one_line

if TYPE_CHECKING:
    from borelog.logbook.reader import Reader

_PREFIX = re.compile(r"[0-9a-f]{6,64}")


def filed(db: sqlite3.Connection, holding: str = '"kind":"still"') -> list[tuple[int, StillFiled]]:
    """Every filing of a still in the logbook as (inspection's number, what was filed), undone or not."""
    out: list[tuple[int, StillFiled]] = []
    for number, raw, digest in db.execute(
        "SELECT inspection, raw, digest FROM entry WHERE instr(raw, ?) ORDER BY row", (holding.encode(),)
    ):
        body = decode(raw, digest).body
        said = body.body if isinstance(body, Correct) else body
        if isinstance(said, StillFiled):
            out.append((number, said))
    return out


def meant(reader: Reader, still: str) -> tuple[str, tuple[str, ...]]:
    """The digest of the still meant, and digests of its view copies.

    Raises
    ------
    LogbookError
        If none or several fit.
    """
    known = [body for _, body in filed(reader._db)]
    text = still.strip()
    low = text.lower()
    by_digest = {b.sha256 for b in known if _PREFIX.fullmatch(low) and b.sha256.startswith(low)}
    by_copy = {b.sha256 for b in known if _PREFIX.fullmatch(low) and b.view_copy.startswith(low)}
    fits = by_digest or by_copy or {b.sha256 for b in known if b.name == text}
    if not fits:
        raise LogbookError(
            f"no still {one_line(text, 40)!r} in this logbook; say its name or how its digest begins"
        )
    if len(fits) > 1:
        listed = ", ".join(sorted(d[:12] for d in fits)[:6])
        raise LogbookError(f"{one_line(text, 40)!r} fits several stills ({listed}); say the digest")
    sha256 = fits.pop()
    copies = {b.view_copy for b in known if b.sha256 == sha256 and b.view_copy not in ("", sha256)}
    others = {d for b in known if b.sha256 != sha256 for d in (b.sha256, b.view_copy)}
    return sha256, tuple(sorted(copies - others))


def inspections_with(db: sqlite3.Connection, sha256: str) -> list[tuple[int, str]]:
    """(number, id) of every inspection in which a still was filed."""
    numbers = sorted({n for n, body in filed(db, sha256) if body.sha256 == sha256})
    return [(n, db.execute("SELECT id FROM inspection WHERE number=?", (n,)).fetchone()[0]) for n in numbers]
