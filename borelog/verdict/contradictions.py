"""Readings that cannot both stand, and the quickest repeat that settles it."""

from __future__ import annotations

from borelog.knowledge.faults import FaultTables
from borelog.verdict.judged import Contradiction
from borelog.verdict.network.groups import Place
from borelog.verdict.network.types import Posterior, Seen
from borelog.verdict.signs.spoils import AS_THEY_SHOULD
from borelog.verdict.signs.value import Doubt, Signs
from borelog.verdict.wording import listed, sight, where

ALARM = 0.5
"""A reading that is misread, or whose test is spoiled, with more than one half rings the alarm."""


def contradictions(posterior: Posterior, said: Signs, tables: FaultTables) -> tuple[Contradiction, ...]:
    """One line for each group of readings, or test, that more likely than not does not show the engine."""
    out: list[Contradiction] = []
    for (cylinder, group), chance in sorted(posterior.doubted.items(), key=lambda kv: -kv[1]):
        if chance <= ALARM:
            continue
        mine = _of_group(said, tables, group, cylinder)
        if not mine:
            continue
        test = tables.items[mine[0].item].test
        whole = (None,) if isinstance(cylinder, tuple) else (cylinder, None)
        if test and max(posterior.spoiled.get((test, place), 0.0) for place in whole) > ALARM:
            continue  # the test as a whole is named below
        others = _against(said, tables, group, cylinder)
        against = (
            f"does not go with {_list(others, tables)}"
            if others
            else "is more likely wrong than right, and nothing else recorded here bears it out"
        )
        words = f"{_where(cylinder)}: {_list(mine, tables)} {against}"
        out.append(
            Contradiction(
                words=words, repeat=_repeat(mine, cylinder, tables), entries=said.entries_of((*mine, *others))
            )
        )
    for (variable, cylinder), chance in sorted(posterior.spoiled.items(), key=lambda kv: -kv[1]):
        if chance <= ALARM:
            continue
        mine = tuple(
            s.seen
            for s in said.signs
            if tables.items[s.seen.item].test == variable and cylinder in (None, s.seen.cylinder)
        )
        if not mine:
            continue
        doubt = next(
            (d for d in said.doubts if d.spoil.variable == variable and d.spoil.cylinder == cylinder), None
        )
        because = _because(doubt)
        name = {
            "compression_dry": "the dry compression test",
            "compression_wet": "the wet compression test",
        }.get(variable, f"leak-down on {cylinder}")
        entries = dict.fromkeys((doubt.entries if doubt else ()) + said.entries_of(mine))
        out.append(
            Contradiction(
                words=f"{name[0].upper()}{name[1:]} more likely shows how it was done than the engine{because}"
                + _beside(said, tables, cylinder),
                repeat=_repeat_test(variable, cylinder),
                entries=tuple(entries),
            )
        )
    return tuple(out)


def _because(doubt: Doubt | None) -> str:
    """What is known of how the test was done."""
    if doubt is None or doubt.words == AS_THEY_SHOULD:
        return ", though its conditions were noted as they should be" if doubt else ""
    return f" ({doubt.words})"


def _beside(said: Signs, tables: FaultTables, cylinder: int | None) -> str:
    """For a leak-down: the compression on that cylinder, which it does not go with where that stands well."""
    seen = next(
        (s.seen for s in said.signs if s.seen.cylinder == cylinder and s.seen.item == "comp_rel"), None
    )
    if cylinder is None or seen is None or seen.state != tables.items["comp_rel"].states[0]:
        return ""
    leak = next(
        (s.seen for s in said.signs if s.seen.cylinder == cylinder and s.seen.item == "leak_pct"), None
    )
    return f": {sight(leak, tables)} does not go with {sight(seen, tables)}" if leak else ""


def _where(place: Place) -> str:
    """'Cylinder 3', 'Between 2 and 3', 'The engine'."""
    if isinstance(place, tuple):
        return f"Between {place[0]} and {place[1]}"
    return where(place).capitalize()


def _there(seen: Seen, place: Place) -> bool:
    """Whether a sight belongs to a cylinder, to the engine, or to one of two neighbours."""
    return seen.cylinder in place if isinstance(place, tuple) else seen.cylinder == place


def _of_group(said: Signs, tables: FaultTables, group: str, place: Place) -> tuple[Seen, ...]:
    pair = set(place) if isinstance(place, tuple) else None
    return tuple(
        s.seen
        for s in said.signs
        if tables.items[s.seen.item].group == group
        and ({s.seen.cylinder, s.seen.neighbour} == pair if pair else s.seen.cylinder == place)
    )


def _against(said: Signs, tables: FaultTables, group: str, place: Place) -> tuple[Seen, ...]:
    """The most telling sights of the other groups at the same place: what this group disagrees with."""
    rows = [
        s.seen
        for s in said.signs
        if _there(s.seen, place)
        and tables.items[s.seen.item].group != group
        and s.seen.how not in ("inferred", "told")
    ]
    rows.sort(
        key=lambda s: (
            -tables.items[s.item].states.index(s.state) / max(1, len(tables.items[s.item].states) - 1)
        )
    )
    return tuple(rows[:2])


def _list(seen: tuple[Seen, ...], tables: FaultTables) -> str:
    return listed(dict.fromkeys(sight(s, tables) for s in seen[:3]))


def _repeat(mine: tuple[Seen, ...], place: Place, tables: FaultTables) -> str:
    """The quickest test that answers one of these items, as one line."""
    if isinstance(place, tuple):
        a, b = place
        return f"Air into {a} again at its top, and listen at the plug hole of {b}; then the other way round, 6 minutes"
    cylinder = place
    items = {s.item for s in mine}
    tests = [t for t in tables.tests.values() if items & set(t.items)]
    if not tests:
        return "look again, from another side and light"
    quick = min(tests, key=lambda t: t.minutes)
    on = f" on {cylinder}" if cylinder is not None else ""
    return (
        f"{quick.label}{on} again, {quick.minutes:g} minutes ({quick.note})"
        if quick.note
        else f"{quick.label}{on} again, {quick.minutes:g} minutes"
    )


def _repeat_test(variable: str, cylinder: int | None) -> str:
    if variable == "leak_down":
        return f"Prove top dead centre of compression on {cylinder}, hold the crank, and repeat the leak-down, 12 minutes"
    oil = ", with one spoon of oil" if variable == "compression_wet" else ""
    return f"Repeat it with a full battery on charge, throttle wide open and all plugs out{oil}, 3 minutes a cylinder"
