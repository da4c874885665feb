"""What reading a line of the sheet needs from the lines before it: cylinders, how things were taken, and what was named."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from borelog.acts.sheet.items import item_for
from borelog.acts.sheet.lines import Line, flat
from borelog.knowledge import tables
from borelog.logbook.entries import Content
from borelog.text import BorelogError, one_line


class LineError(BorelogError):
    """A line that cannot be taken; the text says what may stand there."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Said:
    """One entry body that a line asks for, and how it was taken."""

    body: Content
    how: str
    line: Line


@dataclass(slots=True)
class Context:
    """What earlier lines of the sheet, and the record, say about reading the next.

    ``cylinders`` are those of the engine (empty: not known yet); ``how`` the way of taking by section; ``taken`` the
    cylinders that a section has named so far.
    """

    cylinders: tuple[int, ...]
    how: dict[str, str] = field(default_factory=dict)
    taken: dict[str, set[int]] = field(default_factory=dict)


Reader = Callable[[Line, Context, str], Iterator[tuple[Content, str]]]

_HOW = re.compile(r"\s*\(([^()]*)\)\s*$")


def how_taken(text: str) -> str | None:
    """The way of taking behind words like 'in part' or 'told by the seller'; None if they name none."""
    key = flat(text)
    for r in tables.rows("how.csv", "words", "how", "label", "why"):
        if key == r["words"] or (r["how"] == "told" and key.startswith("told by ")):
            return key if key.startswith("told") else r["how"]
    return None


def split_how(text: str) -> tuple[str, str]:
    """'dry soot (told by seller)' into ('dry soot', 'told by seller'); other brackets stay in the text."""
    match = _HOW.search(text)
    if match and (how := how_taken(match[1])):
        return text[: match.start()].rstrip(), how
    return text, ""


def cylinder_keys(key: str, context: Context, section: str) -> tuple[int, ...] | None:
    """'3', '1,2,4', '1-3', 'all', 'rest' as cylinder numbers; None if the key is no list of cylinders."""
    word = flat(key).removeprefix("cylinder ").removeprefix("cyl ")
    if word in ("all", "every"):
        found = context.cylinders
    elif word in ("rest", "others", "the rest"):
        found = tuple(c for c in context.cylinders if c not in context.taken.get(section, set()))
    elif re.fullmatch(r"\d+( ?[,&+] ?\d+)*", word):
        found = _numbers(word)
    elif re.fullmatch(r"\d+ \d+", word) and "-" in key:
        ends = _numbers(word)
        found = tuple(range(min(ends), max(ends) + 1))
    else:
        return None
    if not context.cylinders and word in ("all", "every", "rest", "others", "the rest"):
        raise LineError("which cylinders are there? Put the layout first, for example 'layout: inline 4'")
    for c in found:
        if context.cylinders and c not in context.cylinders:
            raise LineError(
                f"this engine has no cylinder {c}; it has {', '.join(map(str, context.cylinders))}"
                " - mend the number, or the layout if that is wrong"
            )
    if not found:
        raise LineError(f"{one_line(key, 20)!r} leaves no cylinder: each has a line of its own here")
    context.taken.setdefault(section, set()).update(found)
    return found


def _numbers(word: str) -> tuple[int, ...]:
    """The numbers in '1,2,4'; refuses what is no cylinder of any engine."""
    found = re.findall(r"\d+", word)
    if any(len(x) > 3 or not int(x) for x in found):
        raise LineError(f"{one_line(word, 20)!r} names no cylinder: write for example 3, 1,2,4 or 1-3")
    return tuple(int(x) for x in found)


def split_cylinder(key: str, context: Context, section: str) -> tuple[tuple[int, ...] | None, str]:
    """'3 exhaust valve', 'exhaust valve 3' or '1,2 gap' into cylinders and the rest of the key."""
    if item_for(key) is not None:
        return None, key
    whole = cylinder_keys(key, context, section)
    if whole is not None:
        return whole, ""
    match = re.match(r"^((?:all|rest|\d+(?:\s*[,&+-]\s*\d+)*))\s+(.+)$", key.strip(), re.I) or None
    if match:
        return cylinder_keys(match[1], context, section), match[2]
    match = re.match(r"^(.+?)\s+(?:cylinder\s+)?(\d+(?:\s*[,&+]\s*\d+)*|all|rest)$", key.strip(), re.I)
    if match:
        return cylinder_keys(match[2], context, section), match[1]
    return None, key
