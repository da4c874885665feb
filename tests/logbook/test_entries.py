"""Bytes to entries and back; what this version does not know is kept byte for byte."""

from __future__ import annotations

import hashlib
import json

import pytest

from borelog.logbook.entries import Entry, EntryError, Note, Reading, Unknown, decode, encode


def entry(body: object) -> Entry:
    return Entry(
        id="1" * 32,
        inspection="2" * 32,
        writer="3" * 32,
        number=1,
        prev="",
        clock=1,
        at="2026-03-01T10:00:00+01:00",
        who="ab",
        body=body,  # type: ignore[arg-type]
    )


def test_canonical_bytes_are_sorted_json_without_blanks_and_hashed_as_they_are() -> None:
    raw = encode(entry(Note("größer ‰", 3)))
    assert (
        raw == json.dumps(json.loads(raw), sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    )
    assert decode(raw).digest == hashlib.sha256(raw).hexdigest()
    assert decode(raw).raw == raw


def test_a_reading_comes_back_as_it_was() -> None:
    body = Reading("compression_dry", 2, "~150 150", (150.0, 150.0), "psi", about="~", air=("crankcase",))
    assert decode(encode(entry(body))).body == body


def test_an_unknown_kind_and_a_known_one_with_new_fields_are_kept_byte_for_byte() -> None:
    for inner in (
        {"kind": "telepathy", "x": [1, {"y": None}]},
        {"kind": "note", "text": "a", "mood": "good"},
    ):
        loose = json.loads(encode(entry(Note("a")))) | {"body": inner, "later_field": 7}
        raw = json.dumps(loose).encode()
        stored = decode(raw)
        assert isinstance(stored.body, Unknown)
        assert stored.body.kind == inner["kind"]
        assert json.loads(stored.body.raw) == inner
        assert stored.raw == raw


def test_a_field_of_the_envelope_from_a_newer_version_does_no_harm() -> None:
    raw = json.dumps(json.loads(encode(entry(Note("a")))) | {"signature": "x"}).encode()
    assert decode(raw).body == Note("a")
    assert decode(raw).raw == raw


@pytest.mark.parametrize("raw", [b"", b"{}", b"[]", b"\xff\xfe", b'{"id":1}', b"null", b'{"body":{}}'])
def test_what_is_no_entry_is_refused_in_one_sentence(raw: bytes) -> None:
    with pytest.raises(EntryError, match="borelog doctor"):
        decode(raw)
