"""The one result that would put another fault in front."""

from __future__ import annotations

from borelog.verdict.network.around import Around, Varied, leader, presence
from borelog.verdict.network.groups import as_group
from borelog.verdict.network.types import Flip, Seen

LEAST_CHANCE = 0.02  # a result less likely than this is not worth waiting for
GAUGED = ("compression", "leakdown")


def usual_way(sort: str) -> str:
    """How an item is taken when it is done properly: gauge figures measured, the rest seen clearly."""
    return "measured" if sort in GAUGED else "seen"


def _of_item(
    at: Around, varied: Varied, item: str, name: str, kept: list[Seen], now: str, repeat: bool
) -> Flip | None:
    net = at.prob.net
    how = usual_way(net.tables.items[item].set)
    rows = []
    for state in net.tables.items[item].states:
        weights = varied.given(as_group(net, name, at.cylinder, [*kept, Seen(item, at.cylinder, state, how)]))
        rows.append((state, max(0.0, float(weights.sum())), presence(net, weights)))
    total = sum(mass for _, mass, _ in rows)
    if total <= 0.0:
        return None
    flips = [
        Flip(item, at.cylinder, state, mass / total, leader(found), repeat)
        for state, mass, found in rows
        if found and leader(found) != now and mass / total >= LEAST_CHANCE
    ]
    return max(flips, key=lambda f: (f.chance, f.state), default=None)


def flip(at: Around, now: str) -> Flip | None:
    """The likeliest single result on this cylinder after which ``now`` no longer leads.

    Looks not taken yet come first; if none of them can do it, a look taken again with another result.
    """
    net = at.prob.net
    recorded = {s.item for g in at.own for s in g.seen}
    varied: dict[str, Varied] = {}
    found: dict[bool, list[Flip]] = {False: [], True: []}
    for repeat in (False, True):
        for item in net.tables.items_of("cylinder"):
            if (item.id in recorded) != repeat:
                continue
            if item.group not in varied:
                varied[item.group] = Varied(at, [g for g in at.own if g.name != item.group])
            kept = [s for g in at.own if g.name == item.group for s in g.seen if s.item != item.id]
            one = _of_item(at, varied[item.group], item.id, item.group, kept, now, repeat)
            if one is not None:
                found[repeat].append(one)
        if found[repeat]:
            return max(found[repeat], key=lambda f: (round(f.chance, 9), f.item))
    return None
