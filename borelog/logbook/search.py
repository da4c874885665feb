"""Search over everything recorded, in every inspection, whether it still stands or not."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import msgspec

from borelog.logbook.entries import Stored, Unknown, decode
from borelog.logbook.fold import in_order, undone
from borelog.logbook.summaries import SHOP
from borelog.text import one_line

if TYPE_CHECKING:
    from borelog.logbook.reader import Reader

STANDS, REPLACED, WITHDRAWN, UNDONE = "stands", "replaced", "withdrawn", "undone"


@dataclass(frozen=True, slots=True)
class Hit:
    """An entry in which all the words were found.

    All text is cleaned for showing; ``words`` is what stands around the first find; ``state`` is 'stands', 'replaced',
    'withdrawn' or 'undone'.
    """

    inspection: str
    name: str
    entry: str
    kind: str
    words: str
    who: str
    at: str
    state: str


def search(reader: Reader, text: str, limit: int = 200) -> tuple[Hit, ...]:
    """Entries that contain every word of ``text``, the latest first; case does not matter, nor the order of words.

    Looks at what was recorded (text, numbers as typed, terms, names, who), never at field names.
    """
    wanted = text.casefold().split()
    if not wanted:
        return ()
    may_hold = _quick_look(_escaped(max(wanted, key=len)))
    found: list[tuple[Stored, str]] = []
    with reader._reading():
        for raw, digest in reader._db.execute("SELECT raw, digest FROM entry ORDER BY row DESC"):
            if not may_hold(raw):
                continue
            stored = decode(raw, digest)
            if stored.entry.inspection == SHOP:
                continue
            said = " · ".join(_texts(stored))
            if all(word in said.casefold() for word in wanted):
                found.append((stored, said))
                if len(found) == limit:
                    break
    states: dict[str, dict[str, str]] = {}
    out = []
    for stored, said in found:
        id_ = stored.entry.inspection
        if id_ not in states:
            states[id_] = standing(reader, id_)
        e = stored.entry
        shown = (one_line(reader.inspection(id_).name, 80), e.id, one_line(_kind(stored), 40))
        circumstances = (one_line(e.who, 40), one_line(e.at, 40), states[id_].get(e.id, STANDS))
        out.append(Hit(id_, *shown, _around(said, wanted[0]), *circumstances))
    return tuple(out)


def standing(reader: Reader, inspection: str) -> dict[str, str]:
    """For each entry that does not simply stand: replaced, withdrawn or undone."""
    dead = undone(in_order(reader.entries(inspection)))
    out: dict[str, str] = {}
    for group in reader.inspection(inspection).things.values():
        for thing in group:
            out |= {v.entry: REPLACED for v in thing.earlier}
            if thing.withdrawn is not None:
                out |= {v.entry: WITHDRAWN for v in (thing.version, *thing.rivals)}
    return out | dict.fromkeys(dead, UNDONE)


def _escaped(word: str) -> str:
    """The word as it stands in JSON, so that the cheap look at the bytes misses nothing."""
    return msgspec.json.encode(word).decode()[1:-1].casefold()


def _quick_look(word: str) -> Callable[[bytes], bool]:
    """A cheap test that lets through every entry that could hold the word: most entries need no decoding."""
    plain = word.encode()

    def look(raw: bytes) -> bool:
        if raw.isascii():
            return plain in raw.lower()
        return word in raw.decode("utf-8", "replace").casefold()

    return look


def _texts(stored: Stored) -> Iterator[str]:
    body = stored.body
    value = _loose(body.raw) if isinstance(body, Unknown) else msgspec.to_builtins(body)
    yield from _strings(value)
    yield from filter(None, (stored.entry.who, stored.entry.how))


def _loose(raw: bytes) -> Any:
    try:
        return msgspec.json.decode(raw)
    except msgspec.DecodeError:
        return raw.decode("utf-8", "replace")


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key != "kind":
                yield from _strings(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _strings(inner)
    elif isinstance(value, str):
        if value:
            yield value
    elif value is not None and not isinstance(value, bool):
        yield f"{value:g}" if isinstance(value, float) else str(value)


def _kind(stored: Stored) -> str:
    body = stored.body
    return body.kind if isinstance(body, Unknown) else str(type(body).__struct_config__.tag)


def _around(said: str, word: str) -> str:
    at = max(0, said.casefold().find(word) - 40)
    return ("…" if at else "") + one_line(said[at:], 140)
