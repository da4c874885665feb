"""A fresh card cut into cylinders, as a proposal to be accepted or shifted: one entry a group."""

from __future__ import annotations

from typing import Any

from borelog.marks.places import views
from borelog.text import counted, one_line
from borelog.tui.views.folding import folded
from borelog.tui.views.words import Line, Span, padded, wrapped


def group_entries(card: Any, room: int) -> list[tuple[Line, ...]]:
    """Each proposed group: cylinder, how many stills, the first and last by name, why it starts there, what it may show."""
    out: list[tuple[Line, ...]] = []
    names = [card.looked[k].name for k in card.kept]
    for group in card.proposal.groups:
        who = f"cylinder {group.cylinder}" if group.cylinder is not None else "not told"
        stills = [one_line(names[k], 24) for k in group.stills]
        span = f"{stills[0]} to {stills[-1]}" if len(stills) > 1 else stills[0] if stills else ""
        count = counted(len(stills), "still")
        head: Line = (
            Span(padded(f" {who}", 14), "ink" if group.cylinder is not None else "watch", "strong"),
            Span(padded(count, 11), "ink"),
            Span(span, "quiet"),
        )
        more = [x for x in (one_line(group.why), shows_words(card, group.stills)) if x]
        why = (
            tuple((Span(f"   {text}", "quiet"),) for text in wrapped("; ".join(more), room - 5))
            if more
            else ()
        )
        out.append((head, *why))
    if card.proposal.loose:
        n = len(card.proposal.loose)
        out.append(((Span(f" {counted(n, 'still')} of no cylinder: filed later", "watch"),),))
    if card.aside:
        out.append(
            ((Span(f" {len(card.aside)} set aside: doubles, black, blurred; none is lost", "quiet"),),)
        )
    if card.refused:
        first = f"{one_line(card.refused[0].name, 24)}: {one_line(card.refused[0].why, 60)}"
        out.append(((Span(f" {len(card.refused)} refused: {first}", "watch"),),))
    return out


def shows_words(card: Any, stills: tuple[int, ...]) -> str:
    """'may show: exhaust valve 2, bore wall 4': views proposed for a group."""
    if not card.views:
        return ""
    count: dict[str, int] = {}
    for k in stills:
        if view := card.views[k][0]:
            count[views()[view].label] = count.get(views()[view].label, 0) + 1
    return "may show: " + ", ".join(f"{name} {n}" for name, n in count.items()) if count else ""


def group_thumbs(card: Any, group: int) -> list[tuple[str, str]]:
    """(path, name) of the stills of a group; past the last group those of no cylinder, then those set aside."""
    groups = card.proposal.groups
    if group < len(groups):
        at = [card.kept[k] for k in groups[group].stills]
    elif card.proposal.loose and group == len(groups):
        at = [card.kept[k] for k in card.proposal.loose]
    else:
        at = sorted(card.aside)
    return [(card.looked[k].path, card.looked[k].name) for k in at]


def card_keys(room: int, with_views: bool) -> list[Line]:
    """The keys of the page, those that matter most first, on as many lines as they need."""
    keys = [
        "Enter files them so",
        "Right, Left shift this run and those after it",
        "+ - move where it begins",
    ]
    keys += ["v files the proposed places too"] if with_views else []
    keys += [". , choose a still: x takes it out, s says it is a slate", "Esc files nothing"]
    return folded(keys, room)
