"""The document as CSV tables (RFC 4180) described by a Data Package 2.0."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from borelog.pack.coding import plain_json, six
from borelog.pack.document import Document
from borelog.quantity import Quantity, QuantityError

Cell: TypeAlias = str | int | float | None
Row: TypeAlias = tuple[Cell, ...]

_STARTS = tuple("=+-@\t\r\n'＝＋－＠")
RULE = (
    "A text cell that begins with = + - @ tab, line break or apostrophe (or their full-width forms) carries one "
    "more apostrophe in front, so that no spreadsheet runs it; take it off when reading."
)


def guarded(text: str) -> str:
    """A text cell that no spreadsheet takes for a formula.

    >>> guarded("=1+1"), guarded("'x"), guarded("plain")
    ("'=1+1", "''x", 'plain')
    """
    return f"'{text}" if text.startswith(_STARTS) else text


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its fields as (name, type, description), its key, and how to read its rows off a document."""

    name: str
    title: str
    fields: tuple[tuple[str, str, str], ...]
    key: tuple[str, ...]
    rows: Callable[[Document], Iterator[Row]]
    stills: str = ""


def _converted(value: float, unit: str, wanted: str) -> float | None:
    try:
        return six(Quantity(value, unit).to(wanted))
    except (QuantityError, ValueError, KeyError):
        return None


def _readings(document: Document) -> Iterator[Row]:
    for r in document.readings:
        for n, value in enumerate(r.values, 1):
            yield (
                r.by.entry, r.test, r.cylinder, r.series, n, r.typed, value, r.unit,
                _converted(value, r.unit, "kPa"), _converted(value, r.unit, "mm"),
                r.about, " ".join(r.air), r.doubt, r.by.how, r.by.who, r.by.at, r.note,
            )  # fmt: skip


def _findings(document: Document) -> Iterator[Row]:
    for f in document.findings:
        yield (
            f.by.entry, f.cylinder, f.component, f.term, f.words, f.where, f.severity, f.severity_words,
            f.certainty, f.age, f.faked_by, f.fake_checked, " ".join(dict.fromkeys(m.still for m in f.marks)),
            f.by.who, f.by.at, f.note,
        )  # fmt: skip


def _coverage(document: Document) -> Iterator[Row]:
    for c in document.coverage:
        yield (c.cylinder, c.view, c.side, c.height, "", c.state, c.why)
    for t in document.tests:
        yield (t.cylinder, "", "", "", t.test, t.state, t.why)


def _stills(document: Document) -> Iterator[Row]:
    for s in document.stills:
        yield (
            s.id, s.file.removeprefix("data/"), s.sha256, s.original, s.size, s.width, s.height, s.cylinder,
            s.where, s.taken, s.caption, s.missing, s.by.who, s.by.at,
        )  # fmt: skip


def _courses(document: Document) -> Iterator[Row]:
    money = document.verdict.money
    for c in money.courses if money else ():
        yield (
            c.course,
            c.label,
            money.currency if money else "",
            c.worse,
            c.middle,
            c.better,
            c.loss_chance,
            c.words,
        )


_ENTRY = ("entry", "string", "id of the journal entry it rests on")
_CYLINDER = ("cylinder", "integer", "cylinder number; empty: the engine as a whole")
_WHO = ("who", "string", "who entered it")
_AT = ("at", "string", "when it was entered, local time with offset")
_NOTE = ("note", "string", "in own words")

TABLES: tuple[Table, ...] = (
    Table(
        "readings",
        "Measured values, one row a repeat",
        (
            _ENTRY, ("test", "string", "which test"), _CYLINDER, ("series", "string", "session of the test"),
            ("repeat", "integer", "1 for the first"), ("typed", "string", "as typed"),
            ("value", "number", "in the unit beside it"), ("unit", "string", "as typed"),
            ("pressure_kpa", "number", "the value in kPa where it is a pressure"),
            ("length_mm", "number", "the value in mm where it is a length"),
            ("about", "string", "~ about, < below"), ("air", "string", "where the air went"),
            ("doubt", "string", "the question a likely slip raised"), ("how", "string", "how it was taken"),
            _WHO, _AT, _NOTE,
        ),
        ("entry", "repeat"),
        _readings,
    ),
    Table(
        "findings",
        "What was seen",
        (
            _ENTRY, _CYLINDER, ("component", "string", "part"), ("term", "string", "id of the vocabulary"),
            ("words", "string", "the term"), ("where", "string", "place"), ("severity", "integer", "0 to 4"),
            ("severity_words", "string", "the same in words"), ("certainty", "string", "how well it was seen"),
            ("age", "string", "old or fresh"), ("faked_by", "string", "what harmless thing looks the same"),
            ("fake_checked", "string", "what was done about that"), ("stills", "string", "ids, blank between"),
            _WHO, _AT, _NOTE,
        ),
        ("entry",),
        _findings,
    ),
    Table(
        "coverage",
        "What was looked at and tested, and what was not",
        (
            _CYLINDER, ("view", "string", "view"), ("side", "string", "side"), ("height", "string", "band"),
            ("test", "string", "test, where the row is about one"), ("state", "string", "how far it has come"),
            ("why", "string", "why not"),
        ),
        (),
        _coverage,
    ),
    Table(
        "stills",
        "Pictures",
        (
            ("still", "string", "id in this pack"), ("file", "string", "path below data/"),
            ("sha256", "string", "of the file in the pack"), ("original_sha256", "string", "of the untouched original"),
            ("bytes", "integer", "size of the file"),
            ("width_px", "integer", "upright"), ("height_px", "integer", "upright"),
            _CYLINDER, ("where", "string", "place"), ("taken", "string", "by the camera's clock"),
            ("caption", "string", "caption"), ("missing", "string", "why it is not here"), _WHO, _AT,
        ),
        ("still",),
        _stills,
    ),
    Table(
        "courses",
        "Courses of action with net money",
        (
            ("course", "string", "id"), ("label", "string", "words"), ("currency", "string", "currency"),
            ("worse", "number", "1 in 10 comes out below"), ("middle", "number", "as often above as below"),
            ("better", "number", "1 in 10 comes out above"), ("loss_chance", "number", "0 to 1"),
            ("words", "string", "in words"),
        ),
        ("course",),
        _courses,
    ),
)  # fmt: skip


def csv_bytes(table: Table, document: Document) -> bytes:
    """One table: header row, CRLF, UTF-8, numbers as numbers, texts guarded."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([name for name, _, _ in table.fields])
    writer.writerows([guarded(c) if isinstance(c, str) else c for c in row] for row in table.rows(document))
    return out.getvalue().encode("utf-8")


def _resource(table: Table, data: bytes) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [{"name": n, "type": t, "description": d} for n, t, d in table.fields],
        "missingValues": [""],
    }
    if table.key:
        schema["primaryKey"] = list(table.key)
    return {
        "name": table.name,
        "title": table.title,
        "path": f"tables/{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": schema,
    }


def tables(document: Document) -> dict[str, bytes]:
    """All tables and their description, by path inside the pack."""
    made = {t.name: csv_bytes(t, document) for t in TABLES}
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": f"inspection-{document.about.inspection[:32].lower()}",
        "title": document.about.name,
        "description": f"Tables taken from inspection.json, which is the source of truth. {RULE}",
        "created": document.about.made,
        "resources": [_resource(t, made[t.name]) for t in TABLES],
    }
    described = plain_json(package)
    return {
        "data/datapackage.json": described,
        **{f"data/tables/{name}.csv": data for name, data in made.items()},
    }
