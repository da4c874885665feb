"""`inspection.json` to bytes and back: canonical on the way out, strict on the way in."""

from __future__ import annotations

import json
import math
import re
from functools import lru_cache
from typing import Any

import msgspec

from borelog.pack.document import SCHEMA_ID, Document
from borelog.pack.errors import Fault, Refused
from borelog.text import one_line

MAX_JSON = 64 << 20
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_decoder = msgspec.json.Decoder(Document)


def six(value: float) -> float:
    """A number with six significant digits, never a negative zero.

    Raises
    ------
    ValueError
        For infinity or not-a-number, which JSON cannot say.
    """
    if not math.isfinite(value):
        raise ValueError("a number in the pack is not finite")
    return float(f"{value:.6g}") + 0.0


_PLAIN = frozenset({str, int, bool, type(None)})


def _rounded(value: Any) -> Any:
    kind = type(value)
    if kind is dict:
        return {k: v if type(v) in _PLAIN else _rounded(v) for k, v in value.items()}
    if kind is float:
        return six(value)
    if kind is list or kind is tuple:
        return [v if type(v) in _PLAIN else _rounded(v) for v in value]
    return value


def canonical(document: Document) -> Document:
    """The document with its numbers rounded as they will be written, so that every view shows the same."""
    return msgspec.convert(_rounded(msgspec.to_builtins(document)), Document)


def encode(document: Document) -> bytes:
    """Canonical bytes: sorted keys, indented by one blank, UTF-8, one newline at the end."""
    raw = msgspec.json.encode(document, order="sorted")
    return msgspec.json.format(raw, indent=1) + b"\n"


def plain_json(value: Any) -> bytes:
    """Any plain value as indented UTF-8 JSON with a newline at the end, its order kept."""
    return msgspec.json.format(msgspec.json.encode(value), indent=1) + b"\n"


@lru_cache(maxsize=1)
def schema() -> bytes:
    """The JSON Schema 2020-12 of the document."""
    body = msgspec.json.schema(Document)
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        "title": "borelog inspection, version 1",
    }
    return msgspec.json.format(msgspec.json.encode({**head, **body}, order="sorted"), indent=1) + b"\n"


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    out = dict(pairs)
    if len(out) != len(pairs):
        raise ValueError("a name stands twice in one object")
    return out


def _no_constant(word: str) -> Any:
    raise ValueError(f"{word} is no number")


def _strings(value: Any, forbidden: re.Pattern[str]) -> None:
    stack = [value]
    while stack:
        item = stack.pop()
        if isinstance(item, str):
            if forbidden.search(item):
                raise ValueError(f"a text holds control characters: {one_line(item, 40)}")
        elif isinstance(item, dict):
            stack.extend(item.values())
            stack.extend(item)
        elif isinstance(item, list):
            stack.extend(item)


def strict_json(raw: bytes, where: str, *, bidi: bool = False) -> Any:
    """JSON from a stranger: UTF-8, no name twice, no NaN, no control characters, bounded depth and size.

    ``bidi`` allows direction marks: a journal keeps words as typed, right-to-left ones too, and cleans them at display.

    Raises
    ------
    Refused
        Naming the file and what is wrong.
    """
    if len(raw) > MAX_JSON:
        raise Refused(Fault("too large", where, f"holds more than {MAX_JSON >> 20} MiB"))
    try:
        text = raw.decode("utf-8")
        value = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
        if not _harmless(text):
            _strings(value, _CONTROL if bidi else _FORBIDDEN)
    except RecursionError as error:
        raise Refused(Fault("json", where, "is nested too deeply")) from error
    except ValueError as error:
        raise Refused(Fault("json", where, f"is not clean JSON ({one_line(str(error), 120)})")) from error
    return value


def _harmless(text: str) -> bool:
    """Whether JSON text surely says no forbidden character: all of it printable but line ends, and nothing escaped."""
    flat = text.replace("\n", "")
    return flat.isprintable() and not any(x in flat for x in ("\\u", "\\b", "\\f"))


def own_bytes(raw: bytes, again: bytes) -> bool:
    """Whether JSON is exactly what its content encodes to, and harmless.

    Then no name stands twice in it, no number is odd and no depth hides: what was decoded by the schema is all there is,
    so that the slow strict reading of a stranger's JSON is spared for what honest packs hold.
    """
    return raw == again and _harmless(raw.decode("utf-8", "replace"))


def travels(raw: bytes) -> bool:
    """Whether another logbook will take an entry with these bytes: none of its texts holds control characters."""
    if _harmless(raw.decode("utf-8", "replace")):
        return True
    try:
        strict_json(raw, "", bidi=True)
    except Refused:
        return False
    return True


def decode(raw: bytes, where: str = "data/inspection.json") -> Document:
    """A stranger's document, checked against the schema; strict as :func:`strict_json`.

    Raises
    ------
    Refused
        Naming the first thing that is wrong.
    """
    try:
        if len(raw) <= MAX_JSON and own_bytes(raw, encode(document := _decoder.decode(raw))):
            return document
    except (msgspec.MsgspecError, ValueError, RecursionError):
        pass  # the strict reading below names what is wrong
    strict_json(raw, where)
    try:
        return _decoder.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise Refused(
            Fault("schema", where, f"does not fit its schema ({one_line(str(error), 160)})")
        ) from error
