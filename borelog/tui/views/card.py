"""A fresh card cut into cylinders, as a proposal to be accepted or shifted: one entry a group."""

from __future__ import annotations

from typing import Any

from borelog.text import one_line
from borelog.tui.views.words import Line, Span, padded, wrapped


def group_entries(card: Any, room: int) -> list[tuple[Line, ...]]:
    """Each proposed group: cylinder, how many stills, the first and last by name, why it starts there."""
    out: list[tuple[Line, ...]] = []
    names = [card.looked[k].name for k in card.kept]
    for group in card.proposal.groups:
        who = f"cylinder {group.cylinder}" if group.cylinder is not None else "not told"
        stills = [one_line(names[k], 24) for k in group.stills]
        span = f"{stills[0]} to {stills[-1]}" if len(stills) > 1 else stills[0] if stills else ""
        head: Line = (
            Span(padded(f" {who}", 14), "ink", "strong"),
            Span(padded(f"{len(stills)} stills", 11), "ink"),
            Span(span, "quiet"),
        )
        why = tuple((Span(f"   {text}", "quiet"),) for text in wrapped(one_line(group.why), room - 5))
        out.append((head, *why))
    if card.proposal.loose:
        out.append(
            ((Span(f" {len(card.proposal.loose)} before the first cylinder stay not filed", "watch"),),)
        )
    if card.aside:
        out.append(
            ((Span(f" {len(card.aside)} set aside: doubles, black, blurred; none is lost", "quiet"),),)
        )
    if card.refused:
        out.append(
            (
                (
                    Span(
                        f" {len(card.refused)} refused: {one_line(card.refused[0].name, 24)}: {one_line(card.refused[0].why, 60)}",
                        "watch",
                    ),
                ),
            )
        )
    return out
