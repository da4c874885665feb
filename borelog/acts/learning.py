"""Closing the loop: what it really was, how often the calls were right, and tables learned from opened cylinders."""

from __future__ import annotations

import re
from collections.abc import Sequence

from borelog.acts.bench import Bench
from borelog.acts.filing import check_cylinder
from borelog.acts.judging import tables_of
from borelog.knowledge.faults import FaultTables
from borelog.logbook.entries import Truth
from borelog.text import BorelogError, one_line

KNOWN = {"opened": "opened", "ran": "ran after the repair", "told": "told"}


class TruthError(BorelogError):
    """A truth that cannot be recorded as said; the text lists the names there are."""

    exit_code = 2


def fault_named(name: str, tables: FaultTables) -> str:
    """The id of a fault by id or label; '' for sound.

    Raises
    ------
    TruthError
        If none is called so.
    """
    key = re.sub(r"[\s_-]+", " ", name.strip().lower())
    if key in ("sound", "nothing", "ok"):
        return ""
    named = [f for f in tables.faults.values() if f.scope in ("cylinder", "pair", "engine")]
    exact = [f.id for f in named if key in (f.id.replace("_", " "), f.label.lower())]
    begun = exact or [f.id for f in named if key in f.label.lower() or key in f.id.replace("_", " ")]
    if len(begun) == 1:
        return begun[0]
    raise TruthError(
        f"{one_line(name, 40)!r} {'fits several faults' if begun else 'is no fault'}: "
        + ", ".join(begun or (f.id for f in named))
    )


def truths_from(said: Sequence[str], known: str, words: str, tables: FaultTables) -> tuple[Truth, ...]:
    """'3=exh_valve_leak', '2=sound', 'engine=overheated', '1,4=sound' as truths, one a cylinder."""
    found: dict[int | None, list[str]] = {}
    for part in said:
        where, sign, name = part.partition("=")
        if not sign:
            raise TruthError(
                f"{one_line(part, 40)!r}: say where, for example 3=exh_valve_leak, 2=sound or engine=overheated"
            )
        fault = fault_named(name, tables)
        places = (
            [None]
            if where.strip().lower() in ("engine", "e")
            else [int(n) for n in re.findall(r"\d+", where)]
        )
        if not places:
            raise TruthError(f"{one_line(where, 20)!r} is no cylinder; write its number, or 'engine'")
        for place in places:
            scope = tables.faults[fault].scope if fault else ""
            if fault and (place is None) != (scope == "engine"):
                raise TruthError(
                    f"{fault} is a fault of {'the engine: write engine=' + fault if scope == 'engine' else 'one cylinder: write its number'}"
                )
            faults = found.setdefault(place, [])
            if fault and fault not in faults:
                faults.append(fault)
    return tuple(Truth(cylinder=c, faults=tuple(f), known=KNOWN[known], note=words) for c, f in found.items())


def record_truth(
    bench: Bench, inspection_id: str, said: Sequence[str], known: str, words: str = ""
) -> tuple[Truth, ...]:
    """Enter what it really was and how that is known.

    Raises
    ------
    TruthError
        With the faults there are.
    """
    if not said:
        raise TruthError(
            "what was it? For example: borelog truth last 3=exh_valve_leak 1,2,4=sound --known opened"
        )
    bodies = truths_from(said, known, words, tables_of(bench))
    inspection = bench.inspection(inspection_id)
    for b in bodies:
        check_cylinder(inspection, b.cylinder)
    bench.append(
        inspection_id,
        [(b, "opened" if known == "opened" else "told" if known == "told" else "seen") for b in bodies],
    )
    return bodies
