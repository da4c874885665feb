"""A card of unnamed stills: in which order they were taken, where one cylinder ends and the next begins.

Camera clocks lie, names repeat, cards are mixed: order, pauses and slate pictures are evidence for a proposal that a
person looks over. Nothing is filed here.
"""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from borelog.stills import StillError
from borelog.stills.gather import natural
from borelog.stills.seen import Seen

_NUMBER = re.compile(r"(\d+)(?=\D*$)")
_WRAP = 9999
_LEAST_PAUSE = 2.0
_SLATE_SCORE = 5.0


@dataclass(frozen=True, slots=True)
class Shot:
    """One still of a card as found: file name (with folder), camera time and file time in seconds, what it looks like."""

    name: str
    taken: float | None = None
    changed: float | None = None
    seen: Seen | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """``indices`` of the stills in shooting order, and by what, in words."""

    indices: tuple[int, ...]
    by: str
    times: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Stills proposed for one cylinder, in shooting order.

    ``slate`` is the index of its slate picture, ``why`` it starts here in words.
    """

    cylinder: int | None
    stills: tuple[int, ...]
    slate: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """``groups`` in shooting order, ``loose`` stills before the first slate, ``order_by`` in words."""

    groups: tuple[Group, ...]
    loose: tuple[int, ...]
    order_by: str
    pull_order: tuple[int, ...]


def _number(name: str) -> int | None:
    stem = name.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    hit = _NUMBER.search(stem)
    return int(hit[1][-9:]) if hit else None


def _source(name: str) -> tuple[str, str]:
    folder, _, last = name.replace("\\", "/").rpartition("/")
    # Cameras go on in a next folder (100MEDIA, 101MEDIA): its letters, not its number, tell the camera.
    return re.sub(r"\d+", "", folder), re.sub(r"\d+", "", last.rsplit(".", 1)[0]).casefold()


def _trusted(times: Sequence[float | None]) -> bool:
    """Whether a clock went: it is there, does not stand still, and is not one batch stamp of a copy."""
    known = [t for t in times if t is not None]
    if len(known) < max(2, math.ceil(0.9 * len(times))):
        return False
    return len(set(known)) > len(known) / 2 and max(known) - min(known) > 1.5 * len(known)


def shooting_order(shots: Sequence[Shot]) -> Order:
    """The order in which the stills were most likely taken.

    The counter in the file names leads, as it survives a flat battery and copying; the camera's clock orders several
    cameras among each other; file times are used where nothing else is there.
    """
    if not shots:
        return Order((), "nothing to order", ())
    taken, changed = [s.taken for s in shots], [s.changed for s in shots]
    clock = taken if _trusted(taken) else (changed if _trusted(changed) else [None] * len(shots))
    clock_name = "the camera's clock" if clock is taken else "the files' times"
    sources: dict[tuple[str, str], list[int]] = {}
    for i, shot in enumerate(shots):
        sources.setdefault(_source(shot.name), []).append(i)
    runs: list[list[int]] = []
    numbered = True
    for members in sources.values():
        numbers = [_number(shots[i].name) for i in members]
        if None in numbers or len(set(numbers)) < len(numbers):
            numbered = numbered and len(members) == 1
            members.sort(key=lambda i: (_at(clock[i]), natural(shots[i].name)))
        else:
            members.sort(
                key=lambda i: (natural(shots[i].name.rpartition("/")[0]), _number(shots[i].name) or 0)
            )
            members = _unwrapped(members, shots)
        runs.append(members)
    if len(runs) == 1:
        by = (
            "the number in the file names"
            if numbered
            else (clock_name if clock[0] is not None else "the file names")
        )
        order = runs[0]
    elif all(t is not None for t in clock):
        order = sorted(
            (i for run in runs for i in run), key=lambda i: (_at(clock[i]), natural(shots[i].name))
        )
        by = f"{clock_name} (stills of {len(runs)} cameras or kinds of name)"
    else:
        runs.sort(key=lambda run: natural(shots[run[0]].name))
        order = [i for run in runs for i in run]
        by = f"the file names, {len(runs)} cameras or kinds of name one after the other"
    return Order(tuple(order), by, tuple(clock[i] for i in order))


def _at(time: float | None) -> float:
    return math.inf if time is None else time


def _unwrapped(members: list[int], shots: Sequence[Shot]) -> list[int]:
    # A counter that ran over (9998, 9999, 0001, 0002) is cut at its widest gap and put the right way round.
    numbers = [_number(shots[i].name) or 0 for i in members]
    if len(members) < 3 or numbers[-1] < _WRAP - 200 or numbers[0] > 200:
        return members
    gaps = [b - a for a, b in pairwise(numbers)]
    widest = max(range(len(gaps)), key=gaps.__getitem__)
    return members[widest + 1 :] + members[: widest + 1] if gaps[widest] > _WRAP / 2 else members


def pauses(order: Order) -> tuple[float | None, ...]:
    """Seconds between each still and the one before; None for the first and where a clock is unknown or jumped back."""
    out: list[float | None] = [None]
    for a, b in pairwise(order.times):
        out.append(b - a if a is not None and b is not None and b >= a else None)
    return tuple(out[: len(order.times)])


def slates(shots: Sequence[Shot], order: Order) -> tuple[int, ...]:
    """Positions in the order that look like slate pictures: a card held up before a cylinder.

    A card with writing on it is found. A gloved hand with fingers held up is not: a person marks that one.
    """
    found = []
    for position, i in enumerate(order.indices):
        seen = shots[i].seen
        if seen is not None and seen.is_card:
            found.append(position)
    # Several stills of one card one after the other start one cylinder, not several.
    return tuple(p for p in found if p - 1 not in found)


def propose(
    shots: Sequence[Shot], pull_order: Sequence[int], marked_slates: Sequence[int] | None = None
) -> Proposal:
    """Cut a card into cylinders.

    Parameters
    ----------
    shots : sequence of Shot
        All stills that are to be filed (black frames and doubles already set aside), in any order.
    pull_order : sequence of int
        Cylinder numbers in the order in which the plugs were pulled.
    marked_slates : sequence of int, optional
        Indices of slate pictures that a person marked; replaces the tool's own guess.

    Returns
    -------
    Proposal
        Every still is in exactly one group or loose.

    Raises
    ------
    StillError
        Without cylinders.
    """
    if not pull_order:
        raise StillError("say in which order the plugs were pulled, then the card can be cut into cylinders")
    order = shooting_order(shots)
    count = len(order.indices)
    if count == 0:
        return Proposal((), (), order.by, tuple(pull_order))
    where = {i: p for p, i in enumerate(order.indices)}
    cards = (
        tuple(sorted(where[i] for i in marked_slates if i in where))
        if marked_slates is not None
        else slates(shots, order)
    )
    wanted = min(len(pull_order), count)
    first = cards[0] if cards and len(cards) >= wanted else 0
    evidence = _evidence(order, cards)
    starts = _cut(evidence, first, count, wanted)
    groups: list[Group] = []
    for k, (start, end) in enumerate(zip(starts, [*starts[1:], count], strict=True)):
        inside = order.indices[start:end]
        slate = inside[0] if start in cards else None
        groups.append(Group(pull_order[k], inside, slate, _why(start, evidence, cards, first)))
    return Proposal(tuple(groups), order.indices[:first], order.by, tuple(pull_order))


def _evidence(order: Order, cards: Sequence[int]) -> list[tuple[float, float | None]]:
    gaps = pauses(order)
    usual = statistics.median([g for g in gaps if g is not None and g > 0] or [1.0])
    out: list[tuple[float, float | None]] = []
    for position, gap in enumerate(gaps):
        score = _SLATE_SCORE if position in cards else 0.0
        pause = None
        if gap is not None and gap > _LEAST_PAUSE * usual:
            pause = gap
            score += min(4.0, math.log2(gap / usual))
        out.append((score, pause))
    return out


def _cut(evidence: Sequence[tuple[float, float | None]], first: int, count: int, wanted: int) -> list[int]:
    # Best sum of evidence at the cuts less a penalty for uneven groups, exactly `wanted` groups: dynamic programming.
    mean = (count - first) / wanted
    gain = [score for score, _ in evidence]
    # Nobody takes four times as many stills of one cylinder as of the others; it also bounds the work.
    largest = math.ceil(4 * mean)

    def uneven(size: int) -> float:
        return ((size - mean) / mean) ** 2

    best: list[dict[int, tuple[float, int]]] = [{first: (0.0, first)}]
    for _ in range(1, wanted):
        row: dict[int, tuple[float, int]] = {}
        for start, (value, _from) in best[-1].items():
            for nxt in range(start + 1, min(count, start + largest + 1)):
                total = value + gain[nxt] - uneven(nxt - start)
                if nxt not in row or total > row[nxt][0]:
                    row[nxt] = (total, start)
        best.append(row)
    last = max(best[-1], key=lambda s: (best[-1][s][0] - uneven(count - s), -s))
    starts = [last]
    for level in range(wanted - 1, 0, -1):
        starts.append(best[level][starts[-1]][1])
    return starts[::-1]


def _why(start: int, evidence: Sequence[tuple[float, float | None]], cards: Sequence[int], first: int) -> str:
    score, pause = evidence[start]
    parts = []
    if start in cards:
        parts.append("a slate picture")
    if pause is not None:
        parts.append(f"a pause of {pause:.0f} s" if pause < 120 else f"a pause of {pause / 60:.0f} min")
    if not parts and start == first:
        return "the first still"
    return " and ".join(parts) if score > 0 and parts else "even numbers only; look it over"


def shift_stills(proposal: Proposal, group: int, by: int) -> Proposal:
    """Move the start of this group and of all later ones by ``by`` stills: the whole run slips.

    ``by`` 1 gives the group's first still to the group before. The first group's start and the last group's end stay.
    """
    if not 1 <= group < len(proposal.groups):
        raise StillError("the first cylinder's start cannot be moved; move the next one")
    run = [i for g in proposal.groups for i in g.stills]
    starts: list[int] = []
    at = 0
    for k, g in enumerate(proposal.groups):
        starts.append(at if k < group else min(max(at + by, 0), len(run)))
        at += len(g.stills)
    for k in range(1, len(starts)):
        starts[k] = max(starts[k], starts[k - 1])
    groups = []
    for g, start, end in zip(proposal.groups, starts, [*starts[1:], len(run)], strict=True):
        inside = tuple(run[start:end])
        moved = inside != g.stills
        groups.append(
            replace(
                g,
                stills=inside,
                slate=g.slate if g.slate in inside else None,
                why="moved by hand" if moved else g.why,
            )
        )
    return replace(proposal, groups=tuple(groups))


def shift_cylinders(proposal: Proposal, group: int, by: int) -> Proposal:
    """Give this group and all later ones the cylinder ``by`` places on in the pull order: one was skipped, or shot twice.

    Groups that fall off the end of the pull order have no cylinder until a person says one.
    """
    if not 0 <= group < len(proposal.groups):
        raise StillError("there is no such group of stills")
    pull = proposal.pull_order
    groups = []
    place = -1
    for k, g in enumerate(proposal.groups):
        # A group that fell off the end still counts, so that shifting back brings it back.
        place = pull.index(g.cylinder) if g.cylinder is not None else place + 1
        if k < group:
            groups.append(g)
            continue
        to = place + by
        cylinder = pull[to] if 0 <= to < len(pull) else None
        groups.append(replace(g, cylinder=cylinder, why="moved by hand"))
    return replace(proposal, groups=tuple(groups))


def move_still(proposal: Proposal, still: int, group: int | None) -> Proposal:
    """Put one still into another group, or among the loose ones with None; its place there follows the old order."""
    run = [*proposal.loose, *(i for g in proposal.groups for i in g.stills)]
    if still not in run or (group is not None and not 0 <= group < len(proposal.groups)):
        raise StillError("there is no such still or group in this card")
    rank = {i: k for k, i in enumerate(run)}

    def with_still(members: tuple[int, ...], here: bool) -> tuple[int, ...]:
        left = [i for i in members if i != still]
        return tuple(sorted([*left, still] if here else left, key=rank.__getitem__))

    groups = tuple(
        replace(
            g,
            stills=with_still(g.stills, k == group),
            slate=None if g.slate == still and k != group else g.slate,
        )
        for k, g in enumerate(proposal.groups)
    )
    return replace(proposal, groups=groups, loose=with_still(proposal.loose, group is None))
