"""One line anybody may quote: what is wrong where, and the heaviest work it asks for. Money stands apart."""

from __future__ import annotations

from collections.abc import Sequence

from borelog.knowledge.faults import CALLS, FaultTables
from borelog.verdict.judged import CylinderVerdict
from borelog.verdict.network.types import BREACH, SOUND, Posterior
from borelog.verdict.signs.value import Signs
from borelog.verdict.wording import listed

CALL_WORDS = {
    "run": "run it", "test_first": "test again before money is spent", "repair_in_car": "repair in the car",
    "head_off": "head off", "rebuild": "rebuild or another engine", "replace": "another engine",
    "used_engine": "fit a used engine", "reman_engine": "fit a remanufactured engine",
    "sell": "sell it as it stands", "part_out": "part it out", "scrap": "scrap it",
}  # fmt: skip
"""Every course that a person may take, with its words; a verdict by itself names one of the first six."""

LIKELY = 0.5


def called_faults(cylinders: Sequence[CylinderVerdict], state: str) -> tuple[tuple[str, int | None], ...]:
    """What is called: the engine's state ('' if none is), then each cylinder's leader and what stands with it."""
    out: list[tuple[str, int | None]] = [(state, None)] if state else []
    for c in cylinders:
        if c.enough and c.leader and c.leader.fault != SOUND:
            out += [(f, c.cylinder) for f in (c.leader.fault, c.with_it) if f]
    return tuple(out)


def call_line(
    cylinders: Sequence[CylinderVerdict],
    called: Sequence[tuple[str, int | None]],
    posterior: Posterior,
    tables: FaultTables,
    said: Signs,
) -> str:
    """The call."""
    if not said.signs:
        return "Nothing recorded yet: nothing can be said."
    open_ = [str(c.cylinder) for c in cylinders if not c.enough]
    if not called:
        if open_:
            return f"Not enough evidence yet on {_numbers(open_, cylinders)}: test first."
        return "No mechanical fault found in what was looked at."
    heaviest = max((tables.faults[f].usual_call for f, _ in called), key=CALLS.index)
    bad = {c for _, c in called if c is not None}
    rest = len(open_) > 3 and bad and len(open_) == len(cylinders) - len(bad)
    tail = f"; not enough evidence on {'the others' if rest else _numbers(open_, cylinders)}" if open_ else ""
    text = "; ".join(_placed(called, posterior, tables))
    return f"{text[0].upper()}{text[1:]}: {CALL_WORDS[heaviest]}{tail}."


def _numbers(open_: list[str], cylinders: Sequence[CylinderVerdict]) -> str:
    return "all cylinders" if len(open_) == len(cylinders) > 1 else listed(open_)


def _placed(called: Sequence[tuple[str, int | None]], posterior: Posterior, tables: FaultTables) -> list[str]:
    """Each fault once, with its cylinders; one that an engine worn or washed all round has everywhere is not said again."""
    out = []
    states = {f for f, c in called if c is None}
    said_already = {m.target for m in tables.moves if m.kind == "odds" and m.when in states}
    for fault in dict.fromkeys(f for f, _ in called if f not in said_already):
        label = tables.faults[fault].label
        label = label[0].lower() + label[1:]
        where = [c for f, c in called if f == fault and c is not None]
        pairs = [
            f"{a} and {b}" for (a, b), p in posterior.breaches.items() if p >= LIKELY and {a, b} <= set(where)
        ]
        if fault == BREACH and pairs:
            out.append(f"head gasket breached between {listed(pairs)}")
        else:
            out.append(f"{label} on {listed(map(str, where))}" if where else label)
    return out
