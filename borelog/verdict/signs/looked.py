"""Signs from looks and words: answers to questions, findings, and places looked at with nothing found."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

from borelog.knowledge import tables
from borelog.logbook.entries import Finding, Looked, Seen
from borelog.logbook.inspection import Inspection, Recorded
from borelog.marks.places import Looked as State
from borelog.marks.places import grid_places
from borelog.verdict.network import types as net
from borelog.verdict.signs.value import Sign, way

_CERTAINTY = {"seen clearly": "seen", "seen in part": "part", "inferred": "inferred"}
_SURE = {
    how: k
    for k, how in enumerate(
        ("repeated", "compared", "measured", "seen", "code", "about", "part", "old", "inferred")
    )
}
_LOCKED = re.compile(
    r"^(?:the )?(?:engine |motor |crank(?:shaft)? |it )?(?:is )?(?:seized|locked(?: up| solid)?)[.!]?$"
    r"|^(?:the )?(?:engine|motor|crank(?:shaft)?) (?:is )?(?:stuck|solid)\b"
    r"|\b(?:does not|doesn't|did not|will not|won't|would not|cannot be|can't be) turn(?:ed)?\b",
    re.IGNORECASE,
)
"""Reasons why a test was not possible that mean a crank which does not turn: not a seized plug, nor a blocked way in."""
_SEVERAL = frozenset({"history_event"})


@lru_cache(maxsize=1)
def precedence() -> dict[tuple[str, str], int]:
    """(item, state) to its place among the item's states, least to most telling."""
    order: dict[tuple[str, str], int] = {}
    count: dict[str, int] = {}
    for r in tables.rows("item_states.csv", "item", "state", "wording"):
        order[r["item"], r["state"]] = count.setdefault(r["item"], 0)
        count[r["item"]] += 1
    return order


def answers(inspection: Inspection) -> Iterator[Sign]:
    """One sign for each question answered; of several answers to one question the latest stands.

    Two answers that agree count as a repeat. An item that can be true in several ways keeps every answer.
    """
    latest: dict[tuple[str, int | None, str], list[Recorded[Seen]]] = {}
    for r in inspection.of(Seen):
        if (r.body.item, r.body.state) not in precedence():
            continue
        several = r.body.state if r.body.item in _SEVERAL else ""
        latest.setdefault((r.body.item, r.body.cylinder, several), []).append(r)
    for (item, cylinder, _), group in latest.items():
        last = group[-1]
        agree = len(group) > 1 and all(g.body.state == last.body.state for g in group)
        how = "repeated" if agree and way(last.how) in ("seen", "measured") else way(last.how)
        yield Sign(net.Seen(item, cylinder, last.body.state, how), tuple(g.id for g in group))


def findings(inspection: Inspection) -> Iterator[Sign]:
    """A finding of the vocabulary is a sight of its item; certainty is how it was taken."""
    rows = {
        r["term"]: (r["item"], r["state"])
        for r in tables.rows("finding_signs.csv", "term", "item", "state", "why")
    }
    for r in inspection.of(Finding):
        if r.body.term in rows:
            item, state = rows[r.body.term]
            engine = item in ("sump_camera", "oil_state")
            if r.body.cylinder is None and not engine:
                continue
            told = way(r.how) if way(r.how) in ("told", "old") else _CERTAINTY.get(r.body.certainty, "seen")
            yield Sign(net.Seen(item, None if engine else r.body.cylinder, state, told), (r.id,))


def nothing_found(inspection: Inspection) -> Iterator[Sign]:
    """'Looked, nothing' is a sign; of a bore it is one seen in part until most of its places were looked at."""
    rows = tables.rows("place_signs.csv", "view", "item", "state", "whole", "why")
    by_view: dict[tuple[int, str], list[Recorded[Looked]]] = {}
    for r in inspection.of(Looked):
        if r.body.state != State.NOTHING or r.body.cylinder is None:
            continue
        if r.body.place is not None:
            by_view.setdefault((r.body.cylinder, r.body.place.view), []).append(r)
        elif r.body.test in ("camera", ""):
            for view in dict.fromkeys(x["view"] for x in rows if x["whole"] == "yes"):
                by_view.setdefault((r.body.cylinder, view), []).append(r)
    for (cylinder, view), looks in by_view.items():
        whole = any(x.body.place is None or not (x.body.place.side or x.body.place.height) for x in looks)
        share = 1.0 if whole else len(looks) / max(1, sum(p.view == view for p in grid_places()))
        for row in rows:
            if row["view"] == view:
                how = way(looks[-1].how) if share >= 0.6 else "part"
                yield Sign(net.Seen(row["item"], cylinder, row["state"], how), tuple(x.id for x in looks))


def seized(inspection: Inspection) -> Iterator[Sign]:
    """A test that was not possible because nothing turns: the engine is locked, whichever cylinder it was noted at."""
    noted = [
        r
        for r in inspection.of(Looked)
        if r.body.state == State.NOT_POSSIBLE and _LOCKED.search(r.body.why.strip())
    ]
    if noted:
        yield Sign(
            net.Seen("turns_by_hand", None, "locked", way(noted[-1].how, "part")), tuple(r.id for r in noted)
        )


def looks(inspection: Inspection) -> list[Sign]:
    """All of these with one sign an item and place: the most telling sight stands over a plainer one."""
    best: dict[tuple[object, ...], Sign] = {}
    for sign in (
        *nothing_found(inspection),
        *findings(inspection),
        *seized(inspection),
        *answers(inspection),
    ):
        key = (*sign.key, sign.seen.state if sign.seen.item in _SEVERAL else "")
        have = best.get(key)
        rank = precedence()[sign.seen.item, sign.seen.state]
        if have is None or rank > precedence()[have.seen.item, have.seen.state]:
            best[key] = sign
        elif have.seen.state == sign.seen.state:
            surer = min((have, sign), key=lambda s: _SURE.get(s.seen.how, len(_SURE)))
            best[key] = Sign(surer.seen, tuple(dict.fromkeys(have.entries + sign.entries)))
    return list(best.values())
