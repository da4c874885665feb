"""The lines above and below the grid: the step with its cautions, the turning plan, and the cell in hand in words."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from borelog.engine.engine import Engine
from borelog.engine.orders import turning_plan
from borelog.knowledge import tables
from borelog.knowledge.airs import air_words
from borelog.knowledge.procedures import cautions_of, procedures
from borelog.logbook.entries import Reading
from borelog.logbook.inspection import Inspection
from borelog.quantity import NoValue, QuantityError, parse_repeats, plain_number
from borelog.readings.repeats import counted
from borelog.text import BorelogError, one_line
from borelog.tui.actions import SHIPPED, Keys, key_of, way_to_engine
from borelog.tui.views.readings import cell_words
from borelog.tui.views.rows import Cell, Row
from borelog.tui.views.words import Line, Span, cut, pieces, wrapped


def step_lines(
    test: str,
    begun: bool,
    room: int,
    most: int,
    facts: Mapping[str, str] | None = None,
    keys: Keys = SHIPPED,
) -> list[Line]:
    """The step's cautions on an engine with these facts: all before its first figure, one line of reminder after that."""
    cautions = cautions_of(test, facts)
    if not cautions:
        return []
    label, more = procedures()[test].label, key_of(keys, "readings", "help")
    if begun:
        first = cautions[0].split(":")[0].rstrip(".")
        words = f"! {more} shows all {len(cautions)} cautions · {first} ... ({label})"
        return [(Span(pieces(words, room), "watch"),)]
    lines: list[Line] = [(Span(f"BEFORE {label.upper()}", "watch", "bold"),)]
    whole = [text for c in cautions for text in wrapped(f"! {c}", room, "  ")]
    if len(whole) > most - 1:
        return [
            *lines,
            *((Span(text, "watch"),) for text in whole[: most - 2]),
            (Span(f"  {more} shows the rest of the cautions", "watch", "bold"),),
        ]
    return [*lines, *((Span(text, "watch"),) for text in whole)]


def turning_lines(engine: Engine, inspection: Inspection, room: int) -> list[Line]:
    """Where to turn the crank for the leak-down of each cylinder; done ones are ticked."""
    done = {r.body.cylinder for r in inspection.of(Reading) if r.body.test == "leakdown"}
    lines: list[Line] = [
        (Span("TURNING PLAN", "ink", "bold"), Span("  by hand, plugs out, in running direction", "quiet"))
    ]
    for turn in turning_plan(engine):
        tick = Span("✓ ", "good") if turn.cylinder in done else Span("· ", "blank")
        lines.append((tick, Span(cut(turn.words, room - 2), "quiet" if turn.cylinder in done else "ink")))
    return lines


def turn_lines(
    engine: Engine, inspection: Inspection, test: str, cylinder: int, room: int, keys: Keys = SHIPPED
) -> list[Line]:
    """For the leak-down in hand: how far to turn from the cylinder done last, and which blank one would come first."""
    if engine.firing_order is None:
        words = (
            f"Where to turn the crank is said here once the firing order is noted ({way_to_engine(keys)})."
        )
        return [(Span(text, "quiet"),) for text in wrapped(words, room, "  ")]
    done = [
        r.body.cylinder
        for r in inspection.of(Reading)
        if r.body.test == test and r.body.cylinder in engine.cylinders
    ]
    last = done[-1] if done else None
    plan = {t.cylinder: t for t in turning_plan(engine, last)}
    here = plan.get(cylinder)
    if here is None:
        return []
    if last is None or last == cylinder:
        words = f"TURN  cylinder {engine.label(cylinder)}: prove its top on compression"
    else:
        words = (
            f"TURN  {here.total:g}° on from cylinder {engine.label(last)}, in running direction: "
            f"cylinder {engine.label(cylinder)}; prove its top"
        )
        first = next((t for t in plan.values() if t.total and t.cylinder not in done), None)
        if first is not None and first.total < here.total:
            words += f" (cylinder {engine.label(first.cylinder)} comes first, after {first.total:g}°)"
    return [
        (Span(text, "ink"),)
        for text in wrapped(
            f"{words} · {key_of(keys, 'readings', 'turning')} shows the whole plan", room, "      "
        )
    ]


def hint_lines(
    row: Row,
    column: int,
    cell: Cell,
    typed: str | None,
    draft: str,
    how: str,
    room: int,
    keys: Keys = SHIPPED,
) -> tuple[Line, Line]:
    """The cell in hand in words, alone; then what may be typed, or what is being typed means."""
    taken = f"   entered as: {one_line(how, 24)}" if how else ""
    accept, drop = (key_of(keys, "readings", a) for a in ("accept", "take_back"))
    first: Line = (
        Span(" "),
        Span(cut(cell_words(row, column, cell), room - len(taken) - 2), "ink"),
        Span(taken, "watch"),
    )
    if typed is not None and row.kind == "reading":
        return first, (Span(" "), meaning(typed, row.unit, row.test, room - 2))
    if draft:
        return first, (
            Span(
                pieces(
                    f" not entered yet: {one_line(draft, 30)} · {accept} opens it · {drop} drops it", room
                ),
                "watch",
            ),
        )
    if row.kind == "fold":
        return first, (
            Span(
                pieces(
                    f" {accept} opens and closes the conditions · none is obligatory, a blank shows as a blank",
                    room,
                ),
                "quiet",
            ),
        )
    hint = row.hint.partition("  ")[2] if row.kind in ("question", "condition") else row.hint
    if row.kind == "reading" and not (row.group == "parts" and ": " in row.hint):
        hint = _GRAMMAR["leakdown" if row.test.startswith("leakdown") else "number"]
    return first, (Span(pieces(f" {hint}", room), "quiet"),)


_GRAMMAR = {
    "number": "digits, Enter · 12,5 · 150 psi · ~150 · repeats 150 148 · 150 first 60 · n/a · words after ;",
    "leakdown": "62 x · 60/80 psi xo · letters: i intake x exhaust o oil filler c coolant n next hole t thread - none",
}


def meaning(text: str, unit: str, test: str, room: int) -> Span:
    """What the text being typed would be entered as, or what is still wrong with it."""
    if not text.strip():
        return Span("nothing typed: Enter goes on", "quiet")
    if test.startswith("leakdown"):
        from borelog.acts.typed import typed_reading

        try:
            body = typed_reading(test, None, text, default_unit=unit)
        except BorelogError as error:
            return Span(cut(str(error), room), "watch")
        if not isinstance(body, Reading):
            return Span(f"= {body.state}", "ink")
        supply = f" of {plain_number(body.supply)}" if body.supply else ""
        air = f", air: {one_line(', '.join(map(air_words, body.air)), 60)}" if body.air else ""
        return Span(
            cut(f"= {' '.join(plain_number(v) for v in body.values)}{supply} {body.unit}{air}", room), "ink"
        )
    head = text.partition(";")[0].partition("first")[0].removeprefix("puffs")
    try:
        found = parse_repeats(head, unit)
    except NoValue as error:
        return Span(f"= {error.state}", "ink")
    except QuantityError as error:
        return Span(cut(str(error), room), "watch")
    shown = " ".join(str(q) for q in found)
    also = ""
    if found[0].unit != unit:
        try:
            also = f" → {plain_number(found[0].to(unit))} {unit}"
        except QuantityError:
            also = ""
    mean = f", mean {plain_number(counted([q.to(found[0].unit) for q in found]))}" if len(found) > 1 else ""
    return Span(cut(f"= {shown}{mean}{also}", room), "ink")


_ROWS = {
    "leak_down": "leakdown", "leak_wet": "leakdown_wet", "leak_mid": "leakdown_mid", "leak_tap": "leakdown_tap",
    "camera_crown": "crown_deposit", "camera_bore": "bore_surface", "camera_valves": "exh_valve_face", "coil_swap": "swap_coil",
    "plug_swap": "swap_plug", "injector_swap": "swap_injector", "by_hand": "turns_by_hand", "plugs_look": "plug_deposit",
    "cranking_beat": "crank_rhythm", "compression_level": "compression_dry", "compression_run": "compression_warm",
    "heat_or_clean": "compression_warm", "air_outside": "leakdown", "leak_turns": "leakdown", "leak_aligned": "leakdown",
    "oil_use_run": "oil_use", "cap_off": "oil_pressure_gauge",
}  # fmt: skip


@lru_cache(maxsize=1)
def _observed() -> dict[str, tuple[str, ...]]:
    return {r["id"]: tuple(r["items"].split()) for r in tables.rows("next_tests.csv", "id", "items")}


def test_rows(test: str) -> tuple[str, ...]:
    """The rows of the grid that a next test may be entered in, the likeliest first."""
    return (_ROWS.get(test, test), *_observed().get(test, ()))
