"""The checks of the fault tables: unknown ids, probabilities, missing rows, precedence. Each names file and line."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Container, Mapping
from typing import Any, NoReturn

from borelog.knowledge.faults import (
    BACKGROUND,
    CALLS,
    HISTORY,
    SPOILED,
    Fault,
    Item,
    Move,
    NextTest,
    Order,
    Row,
    WorkCheck,
)
from borelog.knowledge.tables import TableError

SCOPES = ("cylinder", "pair", "engine", "channel")
ITEM_SCOPES = ("cylinder", "pair", "engine")
TESTS = {
    "": ITEM_SCOPES,
    "compression_dry": ("cylinder", "engine"),
    "compression_wet": ("cylinder",),
    "leak_down": ("cylinder",),
}
MOST_CHANNELS = 8
SPEAKS_FOR = {  # which scopes of cause may have a row for an item of a scope
    "cylinder": ("cylinder", "pair", "engine"),
    "engine": ("channel", "engine"),
    "pair": ("pair",),
}
Line = Mapping[str, str]


def refuse(row: Line, reason: str) -> NoReturn:
    """Raise with file, line and reason."""
    raise TableError(f"{row['file']}, line {row['line']}: {reason}")


def number(row: Line, column: str, low: float, high: float) -> float:
    """A number within [low, high], or a refusal that says so."""
    try:
        value = float(row[column])
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        refuse(row, f"{column} is {row[column]!r}; write a number from {low:g} to {high:g}")
    return value


def known(row: Line, column: str, ids: Mapping[str, object] | tuple[str, ...]) -> str:
    """An id that exists, or a refusal that names the nearest."""
    import difflib

    value = row[column]
    if value not in ids:
        near = difflib.get_close_matches(value, list(ids), 1)
        refuse(row, f"{column} {value!r} is not known" + (f"; did you mean {near[0]!r}?" if near else ""))
    return value


def once(row: Line, key: object, seen: Container[Any]) -> None:
    """Refuse a second row of the same key."""
    if key in seen:
        name = key if isinstance(key, str) else ", ".join(map(str, key))  # type: ignore[call-overload]
        refuse(row, f"{name!r} stands twice; keep one")


def faults(lines: list[dict[str, str]]) -> dict[str, Fault]:
    """Causes; 'sound' and 'no_engine_fault' must stand, at most eight channels."""
    out: dict[str, Fault] = {}
    for row in lines:
        once(row, row["id"], out)
        scope = known(row, "scope", SCOPES)
        if scope != "channel":
            known(row, "usual_call", CALLS)
        out[row["id"]] = Fault(
            row["id"],
            scope,
            row["label"],
            number(row, "weight", 1e-6, 1.0),
            row["usual_call"],
            row["bill"],
            row["source"],
        )
    for needed in (BACKGROUND, "no_engine_fault"):
        if needed not in out:
            raise TableError(
                f"{lines[0]['file'] if lines else 'faults.csv'}: the row {needed!r} is missing; put it back"
            )
    channels_ = [row for row in lines if row["scope"] == "channel"]
    if len(channels_) > MOST_CHANNELS:
        refuse(channels_[-1], f"more than {MOST_CHANNELS} channels; the sum grows by two with each")
    return out


def items(lines: list[dict[str, str]], states: list[dict[str, str]]) -> dict[str, Item]:
    """Items with their states; one group belongs to one scope and one test."""
    ids = {r["id"] for r in lines}
    words: dict[str, dict[str, str]] = defaultdict(dict)
    for row in states:
        if row["item"] not in ids:
            refuse(row, f"item {row['item']!r} is not in items.csv")
        once(row, row["state"], words[row["item"]])
        words[row["item"]][row["state"]] = row["wording"]
    out: dict[str, Item] = {}
    home: dict[str, tuple[str, str]] = {}
    for row in lines:
        once(row, row["id"], out)
        scope, test = known(row, "scope", ITEM_SCOPES), known(row, "test", tuple(TESTS))
        if scope not in TESTS[test]:
            refuse(row, f"test {test!r} has no items of scope {scope!r}")
        if home.setdefault(row["group"], (scope, test)) != (scope, test):
            refuse(row, f"group {row['group']!r} mixes scopes or tests; a group is read together")
        if len(words[row["id"]]) < 2:
            refuse(row, f"item {row['id']!r} needs at least two states in item_states.csv")
        wording = dict(words[row["id"]])
        out[row["id"]] = Item(
            row["id"],
            scope,
            row["set"],
            row["group"],
            test,
            number(row, "minutes", 0, 600),
            row["question"],
            tuple(wording),
            wording,
        )
    return out


def _one_row(key: tuple[str, str], lines: list[dict[str, str]], item: Item) -> Row:
    cause, _ = key
    given: dict[str, float] = {}
    for row in lines:
        once(row, row["state"], given)
        known(row, "state", item.states)
        given[row["state"]] = number(row, "probability", 0.0, 1.0)
    last = lines[-1]
    if missing := [s for s in item.states if s not in given]:
        refuse(last, f"{cause}, {item.id}: state {missing[0]!r} is missing; every state needs a probability")
    total = sum(given.values())
    if abs(total - 1.0) > 0.02:
        refuse(last, f"{cause}, {item.id}: the states add to {total:.3f}; make them add to 1")
    p = tuple(given[s] / total for s in item.states)
    if cause == BACKGROUND and min(p) <= 0.0:
        refuse(last, f"{item.id}: the sound row may not hold a 0; nothing is impossible on a healthy engine")
    if cause == BACKGROUND and max(p) > p[0]:
        refuse(
            last,
            f"{item.id}: precedence: the least telling state {item.states[0]!r} must be the common one of a sound engine",
        )
    split = last["disagreement"]
    return Row(
        p, number(last, "disagreement", 0, 1) if split else None, last["source"], last["why"], last["file"]
    )


def rows(
    lines: list[dict[str, str]], causes: Mapping[str, Fault], its: Mapping[str, Item]
) -> dict[tuple[str, str], Row]:
    """Rows by (cause, item): whole, adding to 1, of a cause that may speak for the item; sound and spoiled rows stand."""
    grouped: dict[tuple[str, str], list[dict[str, str]]] = defaultdict(list)
    for row in lines:
        item = its[known(row, "item", its)]
        cause = row["cause"] if row["cause"] == SPOILED else known(row, "cause", causes)
        if item.id == HISTORY:
            refuse(row, "what happened before moves the odds: write it in moves.csv")
        if cause == SPOILED and not item.test:
            refuse(row, f"{item.id} hangs on no test, so nothing can spoil it")
        if cause == "no_engine_fault" or (
            cause not in (SPOILED, BACKGROUND) and causes[cause].scope not in SPEAKS_FOR[item.scope]
        ):
            refuse(
                row,
                f"{cause} cannot speak for {item.id}: only causes of scope {' or '.join(SPEAKS_FOR[item.scope])} can",
            )
        grouped[cause, item.id].append(row)
    out = {key: _one_row(key, some, its[key[1]]) for key, some in grouped.items()}
    for item in its.values():
        if item.id != HISTORY and (BACKGROUND, item.id) not in out:
            raise TableError(
                f"rows.csv: the sound row of {item.id!r} is missing; say what a healthy engine shows"
            )
        if item.test and (SPOILED, item.id) not in out:
            raise TableError(
                f"rows.csv: the spoiled row of {item.id!r} is missing; say what a spoiled test shows"
            )
    return out


def channels(lines: list[dict[str, str]], causes: Mapping[str, Fault]) -> dict[tuple[str, str], float]:
    """Strengths by (channel, source), 0 to below 1."""
    out: dict[tuple[str, str], float] = {}
    for row in lines:
        channel, source = known(row, "channel", causes), known(row, "source", causes)
        if (
            causes[channel].scope != "channel"
            or causes[source].scope == "channel"
            or source in (BACKGROUND, "no_engine_fault")
        ):
            refuse(
                row,
                f"{source!r} cannot feed {channel!r}: a fault, a breach or an engine state feeds a channel",
            )
        once(row, (channel, source), out)
        out[channel, source] = number(row, "strength", 0.0, 0.999)
    return out


def moves(
    lines: list[dict[str, str]], causes: Mapping[str, Fault], its: Mapping[str, Item]
) -> tuple[Move, ...]:
    """What moves the odds; 'odds' only from an engine state onto a cylinder fault or a breach."""
    events = its[HISTORY].states if HISTORY in its else ()
    out: dict[object, Move] = {}
    for row in lines:
        target = causes[known(row, "target", causes)]
        when = row["when"]
        state = when in causes and causes[when].scope == "engine" and when != "no_engine_fault"
        if not state and when not in events:
            refuse(row, f"when {when!r} is neither an engine state nor a state of {HISTORY}")
        if (
            target.scope == "channel"
            or target.id in (BACKGROUND, "no_engine_fault")
            or (state and target.scope == "engine")
        ):
            refuse(row, f"{when!r} cannot move {target.id!r}")
        kind = known(row, "kind", ("times", "odds"))
        if kind == "odds" and not state:
            refuse(row, "only an engine state may set odds outright; an event multiplies them")
        once(row, (when, target.id), out)
        out[when, target.id] = Move(when, target.id, kind, number(row, "factor", 1e-3, 1e3), row["why"])
    return tuple(out.values())


def pairs(lines: list[dict[str, str]], causes: Mapping[str, Fault]) -> dict[tuple[str, str], float]:
    """Pair factors, keyed by the two ids in sorted order."""
    out: dict[tuple[str, str], float] = {}
    for row in lines:
        two = sorted((known(row, "first", causes), known(row, "second", causes)))
        if two[0] == two[1] or any(causes[c].scope != "cylinder" or c == BACKGROUND for c in two):
            refuse(row, "a pair is two different faults of one cylinder")
        once(row, (two[0], two[1]), out)
        out[two[0], two[1]] = number(row, "factor", 1e-3, 1e3)
    return out


def masks(
    lines: list[dict[str, str]], causes: Mapping[str, Fault], its: Mapping[str, Item]
) -> frozenset[tuple[str, str, str]]:
    """(item, hider, hidden): the hidden cause's row is not used while the hider is there."""
    out: set[tuple[str, str, str]] = set()
    for row in lines:
        item, hider, hidden = (
            known(row, "item", its),
            known(row, "hider", causes),
            known(row, "hidden", causes),
        )
        if (
            its[item].scope != "cylinder"
            or hider == hidden
            or causes[hider].scope == "channel"
            or hider in (BACKGROUND, "no_engine_fault")
            or causes[hidden].scope != "cylinder"
        ):
            refuse(row, "a fault, breach or engine state hides a fault of the cylinder on a cylinder item")
        out.add((item, hider, hidden))
    both = [(i, a, b) for i, a, b in out if (i, b, a) in out]
    if both:
        raise TableError(
            f"{lines[0]['file']}: {both[0][1]} and {both[0][2]} hide each other on {both[0][0]}; keep the larger leak"
        )
    return frozenset(out)


def chances(lines: list[dict[str, str]], key: tuple[str, ...]) -> dict[tuple[str, ...], tuple[float, str]]:
    """Chances with their wording, above 0 and below 1."""
    out: dict[tuple[str, ...], tuple[float, str]] = {}
    for row in lines:
        if "variable" in row:
            known(row, "variable", tuple(t for t in TESTS if t))
        name = tuple(row[k] for k in key)
        once(row, name, out)
        out[name] = (number(row, "chance", 1e-4, 0.97), row["wording"])
    return out


def priors(lines: list[dict[str, str]]) -> dict[str, float]:
    """The figures behind the priors."""
    out = {r["name"]: number(r, "value", 1e-3, 20.0) for r in lines}
    for name in ("troubled_cylinders", "most_troubled_share"):
        if name not in out:
            raise TableError(f"priors.csv: the row {name!r} is missing; put it back")
    return out


def tests(
    lines: list[dict[str, str]], its: Mapping[str, Item], hows: Mapping[tuple[str, ...], object]
) -> dict[str, NextTest]:
    """Tests of known items of one scope, taken in a known way."""
    out: dict[str, NextTest] = {}
    for row in lines:
        once(row, row["id"], out)
        scope = known(row, "scope", ("cylinder", "engine"))
        wanted = tuple(row["items"].split())
        for item in wanted:
            if item not in its or its[item].scope != scope:
                refuse(row, f"item {item!r} is not a {scope} item")
        each = tuple(row["each"].split())
        for item in each:
            if item not in its or its[item].scope != "cylinder" or scope != "engine":
                refuse(row, f"item {item!r} is not a cylinder item of a test of the engine")
        if (row["how"],) not in hows:
            refuse(row, f"how {row['how']!r} is not in misread.csv")
        out[row["id"]] = NextTest(
            row["id"],
            scope,
            row["label"],
            number(row, "minutes", 0, 600),
            wanted,
            row["how"],
            tuple(row["needs"].split()),
            row["note"],
            each,
        )
    return out


def order(
    lines: list[dict[str, str]], known_tests: Mapping[str, NextTest], its: Mapping[str, Item]
) -> tuple[Order, ...]:
    """Rules of order over known tests; sights written item=state."""
    needs = {n for t in known_tests.values() for n in t.needs}
    out = []
    for row in lines:
        kind = known(row, "kind", ("before", "held_on", "clears"))
        if kind == "before":
            known(row, "first", known_tests)
            known(row, "then", known_tests)
        else:
            item, _, state = row["first"].partition("=")
            if item not in its or state not in its[item].states:
                refuse(row, f"{row['first']!r} is no sight; write item=state")
            if row["then"] not in needs:
                refuse(row, f"no test needs {row['then']!r}")
        out.append(Order(kind, row["first"], row["then"], row["reason"]))
    return tuple(out)


def work(
    lines: list[dict[str, str]], faults: Mapping[str, Fault], known_tests: Mapping[str, NextTest]
) -> tuple[WorkCheck, ...]:
    """What a called fault asks for before its work: known faults, known tests, at cylinders or the engine."""
    out = []
    for row in lines:
        test = known_tests[known(row, "test", known_tests)]
        where = known(row, "where", ("here", "others", "all", "engine"))
        if (where == "engine") != (test.scope == "engine"):
            refuse(row, f"{row['test']!r} is a test of the {test.scope}; where cannot be {where!r}")
        out.append(WorkCheck(known(row, "fault", faults), test.id, where, row["why"]))
    return tuple(out)
