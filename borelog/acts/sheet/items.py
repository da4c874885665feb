"""The questions of the evidence table as the sheet asks them, and answers in the words of the trade."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from borelog.acts.sheet.lines import flat
from borelog.knowledge import tables
from borelog.text import BorelogError, one_line


class ItemError(BorelogError):
    """A question or an answer that does not exist; the text names those that do."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Question:
    """One evidence item on the sheet. ``states`` are pairs of state id and wording, least to most telling."""

    id: str
    scope: str
    section: str
    label: str
    question: str
    also: tuple[str, ...]
    states: tuple[tuple[str, str], ...]
    minutes: float


@lru_cache(maxsize=1)
def questions() -> dict[str, Question]:
    """All questions by item id, in the order of the evidence table."""
    rows = {r["item"]: r for r in tables.rows("sheet_items.csv", "item", "section", "label", "also")}
    states: dict[str, list[tuple[str, str]]] = {}
    for r in tables.rows("item_states.csv", "item", "state", "wording"):
        states.setdefault(r["item"], []).append((r["state"], r["wording"]))
    return {
        r["id"]: Question(
            r["id"],
            r["scope"],
            rows[r["id"]]["section"],
            rows[r["id"]]["label"],
            r["question"],
            tuple(a for a in rows[r["id"]]["also"].split("|") if a),
            tuple(states[r["id"]]),
            float(r["minutes"]),
        )
        for r in tables.rows("items.csv", "id", "scope", "minutes", "question")
    }


def sections() -> tuple[str, ...]:
    """The groups of questions, in sheet order."""
    return tuple(dict.fromkeys(q.section for q in questions().values()))


def section_items(section: str) -> tuple[Question, ...]:
    """The questions of one group; empty if the sheet has no such group (tests and fixed sections are not groups)."""
    wanted = flat(section)
    return tuple(q for q in questions().values() if flat(q.section) == wanted)


def item_for(name: str, section: str = "") -> Question | None:
    """The question called so (id, label or another name), looked for in its group first."""
    wanted = flat(name)
    pool = [*section_items(section), *questions().values()] if section else list(questions().values())
    for q in pool:
        if wanted in (flat(q.id), flat(q.label), *(flat(a) for a in q.also)):
            return q
    return None


def _plain(words: str) -> str:
    return re.sub(r"[^a-z0-9%<> ]+", " ", flat(words)).strip()


def _matches(question: Question, words: str) -> list[str]:
    """State ids that the words name: the exact wording or id, else the only ones whose wording holds all the words."""
    wanted = _plain(words)
    for id_, wording in question.states:
        if wanted in (_plain(wording), _plain(id_)):
            return [id_]
    parts = wanted.split()
    return [
        id_
        for id_, wording in question.states
        if parts and all(p in _plain(f"{wording} {id_}").split() for p in parts)
    ]


def state_for(question: Question, words: str) -> str:
    """The state that an answer names.

    Raises
    ------
    ItemError
        If it names none, or several; lists the answers there are.
    """
    hits = _matches(question, words)
    if len(hits) == 1:
        return hits[0]
    answers = "; ".join(wording for _, wording in question.states)
    what = "fits several answers" if hits else "is no answer"
    raise ItemError(f"{question.label}: {one_line(words, 40)!r} {what}; say one of: {answers}")


def states_for(section: str, words: str) -> tuple[Question, str]:
    """The question and state that an answer alone names within a group ('notch or burnt edge' under [camera]).

    Raises
    ------
    ItemError
        If no answer of the group, or answers of several questions, fit; then the question must be named.
    """
    pool = section_items(section)
    exact = [(q, id_) for q in pool for id_, w in q.states if _plain(words) in (_plain(w), _plain(id_))]
    hits = exact or [(q, hits[0]) for q in pool if len(hits := _matches(q, words)) == 1]
    if len(hits) == 1:
        return hits[0]
    if hits:
        labels = ", ".join(q.label for q, _ in hits)
        raise ItemError(
            f"{one_line(words, 40)!r} can answer {labels}: write for example '3 {hits[0][0].label}: {words.strip()}'"
        )
    raise ItemError(
        f"{one_line(words, 40)!r} is no answer under [{section}]; name the question, for example "
        f"'3 {pool[-1].label}: {pool[-1].states[0][1]}'"
        if pool
        else f"no questions under [{section}]"
    )
