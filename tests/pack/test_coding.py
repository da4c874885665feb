"""The document to bytes and back, tables to cells and back: nothing lost, nothing let in."""

from __future__ import annotations

import csv
import io
import math

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from borelog.pack import bag
from borelog.pack.coding import canonical, decode, encode, six, strict_json
from borelog.pack.document import Document
from borelog.pack.errors import Refused
from borelog.pack.privacy import READERS, items
from borelog.pack.tables import guarded


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_six_digits_are_stable_and_close(value):
    once = six(value)
    assert six(once) == once
    assert once == 0 or math.isclose(once, value, rel_tol=5.1e-6)
    assert math.copysign(1, six(-0.0)) == 1


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_json_cannot_say_that(value):
    with pytest.raises(ValueError, match="not finite"):
        six(value)


def test_there_and_back(packs):
    for built in packs.values():
        raw = encode(built.document)
        assert decode(raw) == built.document
        assert encode(decode(raw)) == raw
        assert canonical(built.document) == built.document


def test_every_struct_refuses_strangers(packs):
    raw = msgspec.to_builtins(packs["archive"].document)

    def walk(value, path):
        if isinstance(value, dict):
            yield path
            for k, v in value.items():
                yield from walk(v, [*path, k])
        elif isinstance(value, list | tuple) and value:
            yield from walk(value[0], [*path, 0])

    tried = 0
    for path in list(walk(raw, [])):
        copy = msgspec.json.decode(msgspec.json.encode(raw))
        at = copy
        for step in path:
            at = at[step]
        at["a_stranger"] = 1
        with pytest.raises(msgspec.ValidationError):
            msgspec.convert(copy, Document)
        tried += 1
    assert tried > 25


def unguarded(cell):
    """As the rule in the tables' description says."""
    return cell[1:] if cell.startswith("'") else cell


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=40))
def test_guarded_cells_come_back(text):
    """OWASP CSV injection: no cell begins like a formula; and the rule is reversible."""
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@given(st.lists(st.lists(st.text(max_size=20), min_size=3, max_size=3), min_size=1, max_size=5))
def test_guarded_rows_survive_csv(rows):
    """RFC 4180 quoting with CRLF."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows([guarded(c) for c in row] for row in rows)
    back = list(csv.reader(io.StringIO(out.getvalue(), newline="")))
    assert [[unguarded(c) for c in row] for row in back] == rows


@pytest.mark.parametrize(
    "raw",
    [
        b'{"a":1,"a":2}',
        b'{"a":NaN}',
        b'{"a":Infinity}',
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"a":"\\u001b"}',
        b'{"a\\u0000":1}',
        b"",
        b"1" * 5000,
    ],
)
def test_strict_json_refuses(raw):
    with pytest.raises(Refused):
        strict_json(raw, "x")


def test_strict_json_takes_what_is_plain():
    assert strict_json('{"a": "tab\\tline\\nφ \U0001f600"}'.encode(), "x") == {"a": "tab\tline\nφ \U0001f600"}
    assert strict_json('{"a": "‮"}'.encode(), "x", bidi=True) == {"a": "\u202e"}


def test_readers_table_is_whole():
    for item in items().values():
        assert item.why
        assert item.readers <= set(READERS)
    assert items()["journal"].readers == {"archive"}
    assert not items()["plate"].readers


@pytest.mark.parametrize(
    ("made", "stamp"),
    [
        ("2031-05-04T10:11:13+02:00", (2031, 5, 4, 10, 11, 12)),
        ("", (1980, 1, 1, 0, 0, 0)),
        ("1970-01-01T00:00:00", (1980, 1, 1, 0, 0, 0)),
        ("nonsense here, too", (1980, 1, 1, 0, 0, 0)),
    ],
)
def test_zip_time(made, stamp):
    assert bag.zip_time(made) == stamp
