"""Facts about the engine, checked when entered; and the engine they describe."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from borelog.acts.bench import Bench
from borelog.engine.engine import EngineError, parse_layout
from borelog.engine.orders import all_presets, presets
from borelog.knowledge.facts import Fact, facts
from borelog.logbook.described import engine_from_facts
from borelog.logbook.entries import Facts
from borelog.quantity import parse
from borelog.text import BorelogError, one_line


class FactError(BorelogError):
    """A fact that cannot be taken as typed."""

    exit_code = 2


def fact_named(name: str) -> Fact:
    """The fact with this id or label, in any case, blanks or underscores alike.

    Raises
    ------
    FactError
        If none is called so; names the nearest.
    """
    key = name.strip().lower().replace(" ", "_").replace("-", "_")
    table = facts()
    by_label = {f.label.lower().replace(" ", "_").replace("-", "_"): f for f in table.values()}
    if fact := table.get(key) or by_label.get(key):
        return fact
    near = difflib.get_close_matches(key, [*table, *by_label], 1)
    hint = f"; did you mean {near[0].replace('_', ' ')!r}?" if near else ""
    raise FactError(f"no fact is called {one_line(name, 40)!r}{hint} ('borelog facts' lists them)")


def checked_fact(fact: Fact, typed: str) -> str:
    """The value as it will be kept, or an error that says what is possible. Empty takes the fact back."""
    typed = typed.strip()
    if not typed:
        return ""
    if fact.kind == "choice":
        hits = [c for c in fact.choices if c.startswith(typed.lower())]
        exact = [c for c in hits if c == typed.lower()]
        if len(exact or hits) != 1:
            raise FactError(f"{fact.label}: {one_line(typed, 40)!r} is none of {', '.join(fact.choices)}")
        return (exact or hits)[0]
    if fact.kind == "number":
        quantity = parse(typed.removesuffix(":1").strip() if fact.unit == ":1" else typed, fact.unit)
        if quantity.value < 0 and fact.id != "altitude":
            raise FactError(
                f"{fact.label}: {one_line(typed, 40)!r} is below zero; type the size without a sign"
            )
        if fact.least is not None and fact.most is not None:
            value = quantity.to(fact.unit)
            if not fact.least <= value <= fact.most:
                raise FactError(
                    f"{fact.label}: {one_line(typed, 40)!r} cannot be; such a figure lies between {fact.least:g} and "
                    f"{fact.most:g} {fact.unit}"
                )
    return typed


def fact_values(fact: Fact, typed: str) -> dict[str, str]:
    """What one typed fact comes to: itself, or for a published firing order by name ('v6-odd') all that belongs to it."""
    preset = next((p for p in all_presets() if p.id == typed.strip().lower()), None)
    if fact.id != "firing_order" or preset is None:
        return {fact.id: checked_fact(fact, typed)}
    even = max(preset.intervals) - min(preset.intervals) < 0.5
    return {
        "firing_order": "-".join(map(str, preset.order)),
        "intervals": "" if even else " ".join(f"{d:g}" for d in preset.intervals),
        **({"heads": preset.heads} if preset.heads != "bank" else {}),
    }


def published_orders(layout: str) -> tuple[str, ...]:
    """Published firing orders for a layout as typed, each with the name it may be entered by; empty where none is known."""
    try:
        kind, count = parse_layout(layout)
    except EngineError:
        return ()
    return tuple(f"{p.id} {p.words}" for p in presets(kind, count))


def facts_body(values: dict[str, str]) -> Facts:
    """An entry body from names and typed values, each checked; layout and firing order are checked together."""
    checked: dict[str, str] = {}
    for name, typed in values.items():
        fact = fact_named(name)
        checked |= fact_values(fact, typed)
    return Facts(values=checked)


def possible_facts(known: Mapping[str, str], values: dict[str, str]) -> Facts:
    """An entry body for facts that an engine can have together with those known already.

    Raises
    ------
    BorelogError
        With the plain reason.
    """
    body = facts_body(values)
    if kept := {k: v for k, v in body.values.items() if v or k in known}:
        body = Facts(values=kept)
    engine_from_facts({k: v for k, v in {**known, **body.values}.items() if v})
    return body


def set_facts(bench: Bench, inspection_id: str, values: dict[str, str]) -> Facts:
    """Enter facts, after a look whether an engine can be like that together with what is known already.

    Raises
    ------
    BorelogError
        With the plain reason; nothing is entered then.
    """
    body = possible_facts(bench.inspection(inspection_id).facts, values)
    bench.append(inspection_id, [(body, "")])
    return body
