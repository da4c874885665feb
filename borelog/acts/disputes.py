"""What two people said differently apart, side by side: until somebody who has both says which holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from borelog.acts.words import body_words
from borelog.logbook.inspection import Inspection, Version
from borelog.text import one_line


@dataclass(frozen=True, slots=True)
class Wording:
    """One of the wordings that disagree. ``stands`` marks the one in use until the dispute is settled."""

    entry: str
    words: str
    who: str
    at: str
    stands: bool


@dataclass(frozen=True, slots=True)
class Dispute:
    """One thing that was said in several ways apart, the wording in use first."""

    thing: str
    wordings: tuple[Wording, ...]

    @property
    def sentence(self) -> str:
        """All wordings in one line, each with who said it."""
        return "said apart: " + "  |  ".join(f"{w.words} ({w.who}, {w.at[:16]})" for w in self.wordings)


def disputes(inspection: Inspection) -> tuple[Dispute, ...]:
    """Every thing with rival wordings, and every fact or price that two people gave differently apart."""
    out: list[Dispute] = []
    for group in inspection.things.values():
        for thing in group:
            if thing.rivals and thing.withdrawn is None:
                wordings = [_wording(thing.version, body_words(thing.body), stands=True)]
                wordings += [_wording(v, body_words(v.body), stands=False) for v in thing.rivals]
                out.append(Dispute(thing.id, tuple(wordings)))
    for (label, key), others in inspection.disputed.items():
        now = (inspection.facts if label == "facts" else inspection.prices).get(key, "")
        entry = inspection.sources.get((label, key), "")
        holder = inspection.find(entry) if entry else None
        name = key.replace("_", " ")
        first = [_wording(holder.version, f"{name} {now}", stands=True)] if holder else []
        rest = [_wording(v, f"{name} {v.body.values[key] or 'taken back'}", stands=False) for v in others]
        out.append(Dispute(entry, (*first, *rest)))
    return tuple(out)


def _wording(version: Version[Any], words: str, *, stands: bool) -> Wording:
    return Wording(
        version.entry, one_line(words, 120), one_line(version.who, 30), one_line(version.at, 30), stands
    )
