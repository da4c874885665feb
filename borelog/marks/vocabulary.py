"""The vocabulary of findings: what damage, and what ordinary wear, is called."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.text import BorelogError, one_line

SEVERITY = (
    "ordinary look",
    "note, watch",
    "repair when next opened",
    "do not use before repair",
    "must come apart",
)
CERTAINTY = ("seen clearly", "seen in part", "inferred")
AGE = ("not said", "old", "fresh")


class FindingError(BorelogError):
    """A finding that cannot be recorded as said."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Term:
    """One row of the findings table; ``severity`` is the usual one, 0 to 4."""

    id: str
    component: str
    term: str
    looks_like: str
    means: str
    severity: int
    faked_by: str
    hidden: str

    @property
    def classic_fake(self) -> bool:
        """Whether something harmless can look the same, so that a second still is asked for."""
        return self.faked_by not in ("", "-") and self.severity >= 2


@lru_cache(maxsize=1)
def terms() -> dict[str, Term]:
    """All terms by id, in the table's order."""
    columns = (
        "component",
        "id",
        "term",
        "looks_like",
        "usually_means",
        "severity",
        "can_be_faked_by",
        "cannot_be_seen_from",
    )
    return {
        r["id"]: Term(
            r["id"],
            r["component"],
            r["term"],
            r["looks_like"],
            r["usually_means"],
            int(r["severity"]),
            r["can_be_faked_by"],
            r["cannot_be_seen_from"],
        )
        for r in tables.rows("findings.csv", *columns)
    }


def search(text: str, limit: int = 12) -> tuple[Term, ...]:
    """Terms whose name, looks or meaning hold every word of ``text``; hits in the name come first."""
    words = text.lower().split()

    def rank(term: Term) -> int | None:
        name, rest = (
            f"{term.component} {term.term} {term.id}".lower(),
            f"{term.looks_like} {term.means}".lower(),
        )
        if all(w in name for w in words):
            return 0
        return 1 if all(w in name or w in rest for w in words) else None

    ranked = [(r, i, t) for i, t in enumerate(terms().values()) if (r := rank(t)) is not None]
    return tuple(t for _, _, t in sorted(ranked, key=lambda x: x[:2])[:limit])


def term(name: str) -> Term:
    """The term with this id or name.

    Raises
    ------
    FindingError
        Where none or several fit; names the near ones.
    """
    key = name.strip().lower()
    for t in terms().values():
        if key in (t.id, t.term.lower()):
            return t
    near = search(name, 5)
    if len(near) == 1:
        return near[0]
    hint = (
        "; near: " + ", ".join(t.id for t in near)
        if near
        else "; own words may be used as a finding of your own"
    )
    raise FindingError(f"no finding is called {one_line(name, 60)!r}{hint}")
