"""Enter, correct, withdraw, undo and redo: the acts under every screen and command."""

from __future__ import annotations

from borelog.acts.bench import Bench
from borelog.acts.facts import possible_facts
from borelog.acts.words import body_words
from borelog.logbook.entries import Content, Correct, Opened, Redo, Stored, Undo, Withdraw
from borelog.logbook.undoing import own_stacks
from borelog.text import BorelogError


class ActError(BorelogError):
    """An act that cannot be done as asked."""

    exit_code = 2


def open_inspection(
    bench: Bench, name: str, *, demo: bool = False, facts: dict[str, str] | None = None
) -> str:
    """Begin an inspection; everything but the name may come later. Returns its id."""
    name = name.strip()
    if not name:
        raise ActError("an inspection needs a name: a plate, a place or a nickname will do")
    body = possible_facts({}, facts) if facts else None
    inspection_id = bench.create(name, demo=demo)
    if body:
        bench.append(inspection_id, [(body, "")])
    return inspection_id


def enter(bench: Bench, inspection_id: str, body: Content, how: str = "") -> Stored:
    """Enter one thing; it is on disk when this returns."""
    return bench.append(inspection_id, [(body, how)])[0]


def enter_all(bench: Bench, inspection_id: str, bodies: list[tuple[Content, str]]) -> tuple[Stored, ...]:
    """Enter several things, each with how it was taken, in one transaction: all or none."""
    return bench.append(inspection_id, list(bodies)) if bodies else ()


def rename(bench: Bench, inspection_id: str, name: str) -> Stored:
    """Give the inspection another name."""
    opened = bench.inspection(inspection_id).of(Opened)[-1]
    return enter(bench, inspection_id, Opened(name=name, demo=opened.body.demo, earlier=opened.body.earlier))


def link_earlier(bench: Bench, inspection_id: str, earlier: str) -> Stored:
    """Say that another inspection is an earlier look at the same engine.

    Raises
    ------
    ActError
        For a link to itself.
    """
    if earlier == inspection_id:
        raise ActError("an inspection cannot be its own earlier look; name another")
    opened = bench.inspection(inspection_id).of(Opened)[-1]
    return enter(bench, inspection_id, Opened(name=opened.body.name, demo=opened.body.demo, earlier=earlier))


def correct(bench: Bench, inspection_id: str, target: str, body: Content, how: str = "") -> Stored:
    """Correct what ``target`` (the thing's id or a version's) says; the earlier wording stays in the journal."""
    thing = bench.inspection(inspection_id).find(target)
    if thing is None:
        raise ActError(f"nothing is recorded under {target[:8]}; look at 'borelog show'")
    if type(thing.body) is not type(body):
        raise ActError(
            "a correction must say the same kind of thing; withdraw the entry and enter the new one"
        )
    entry = Correct(target=thing.version.entry, body=body)
    return bench.append(inspection_id, [(entry, how or thing.how)])[0]


def withdraw(bench: Bench, inspection_id: str, target: str, why: str = "") -> Stored:
    """Withdraw what ``target`` says; it stays in the journal with why."""
    thing = bench.inspection(inspection_id).find(target)
    if thing is None:
        raise ActError(f"nothing is recorded under {target[:8]}; look at 'borelog show'")
    return bench.append(inspection_id, [(Withdraw(target=thing.id, why=why), "")])[0]


def _stacks(bench: Bench, inspection_id: str) -> tuple[list[Stored], list[Stored]]:
    return own_stacks(bench.journal.entries(inspection_id), bench.journal.writer)


def undo(bench: Bench, inspection_id: str) -> str:
    """Take back the writer's own last entry; returns in words what was undone.

    Raises
    ------
    ActError
        If there is nothing of this writer's to undo.
    """
    done, _ = _stacks(bench, inspection_id)
    if not done:
        raise ActError("nothing of yours is left to undo here")
    bench.append(inspection_id, [(Undo(target=done[-1].entry.id), "")])
    return body_words(done[-1].body)


def redo(bench: Bench, inspection_id: str) -> str:
    """Bring back the entry undone last; returns in words what came back."""
    _, gone = _stacks(bench, inspection_id)
    if not gone:
        raise ActError("nothing to redo: nothing was undone since the last entry")
    bench.append(inspection_id, [(Redo(target=gone[-1].entry.id), "")])
    return body_words(gone[-1].body)
