"""What undo and redo would act on. Pure: read from the entries, so it holds over sessions and without limit."""

from __future__ import annotations

from collections.abc import Iterable

from borelog.logbook.entries import (
    FOR_A_PACK,
    CallTaken,
    Forgotten,
    HandedOver,
    Opened,
    Redo,
    Stored,
    TakenIn,
    Undo,
)

LASTING = (Forgotten, HandedOver, TakenIn)
"""What cannot be taken back: bytes that are gone, a pack that left the house, a pack taken in."""


def own_stacks(stored: Iterable[Stored], writer: str) -> tuple[list[Stored], list[Stored]]:
    """The writer's entries that undo could take back and those that redo could bring back, each with the next one last.

    A new entry closes the way forward: what was undone before it stays undone. The entry that opened the inspection
    and what has left its mark outside the journal (``LASTING``) are not undone.
    """
    own = sorted((s for s in stored if s.entry.writer == writer), key=lambda s: s.entry.number)
    done: list[Stored] = []
    gone: list[Stored] = []
    for s in own:
        body = s.body
        if isinstance(body, Undo):
            _move(done, gone, body.target)
        elif isinstance(body, Redo):
            _move(gone, done, body.target)
        elif _lasts(body) or (isinstance(body, Opened) and s.entry.clock == 1):
            gone.clear()
        else:
            done.append(s)
            gone.clear()
    return done, gone


def _lasts(body: object) -> bool:
    """Outside the journal already; the call that a pack was made with is in that pack."""
    return isinstance(body, LASTING) or (isinstance(body, CallTaken) and body.why == FOR_A_PACK)


def _move(source: list[Stored], target: list[Stored], id_: str) -> None:
    for place in range(len(source) - 1, -1, -1):
        if source[place].entry.id == id_:
            target.append(source.pop(place))
            return
