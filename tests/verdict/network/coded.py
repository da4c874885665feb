"""The worked cases as evidence of the repaired items: a small table from the old coding to the new one.

Only the coding is translated; gauge figures are read as ``comp_rel`` says: against the middle of the group, or against
500 kPa where the middle is lower. Conditions feed the validity of the tests and nothing else.
"""

from __future__ import annotations

import re
from statistics import median
from typing import Any

from borelog.knowledge.faults import FaultTables
from borelog.verdict.network.types import Evidence, NetShape, Seen, Spoil
from borelog.verdict.network.validity import spoil_chance

KPA = {"kPa": 1.0, "psi": 6.894757, "bar": 100.0}
LEVEL = {"all_normal": "normal", "some_low": "normal", "all_low_even": "low", "all_low_uneven": "low"}
DROPPED = {
    "throttle_and_plugs",
    "crank_speed",
    "pair_pattern",
    "comp_rel",
    "comp_engine_level",
    "swap_test",
    "retest_warm",
}


def shape_of(case: dict[str, Any]) -> NetShape:
    """In-line in one row; a V or flat engine with the first half of the numbers on the first head."""
    count = int(case["cylinders"])
    cylinders = tuple(range(1, count + 1))
    if case["layout"].startswith("inline"):
        return NetShape(cylinders, (cylinders,))
    half = count // 2
    return NetShape(cylinders, (cylinders[:half], cylinders[half:]))


def _compression(case: dict[str, Any]) -> tuple[dict[int, str], str | None]:
    figures = {
        int(c): v * KPA[case["inputs"]["unit"]] for c, v in case["inputs"].get("compression_dry", {}).items()
    }
    if not figures:
        return {}, None
    middle = median(figures.values())
    ratio = {c: v / max(middle, 500.0) for c, v in figures.items()}
    steps = ((1.15, "above_group"), (0.85, "like_group"), (0.70, "soft_70_84"), (0.35, "low_35_69"))
    states = {c: next((s for least, s in steps if r >= least), "dead_under_35") for c, r in ratio.items()}
    level = LEVEL.get(case["evidence"]["engine"].get("comp_engine_level", ""))
    return states, "very_low" if middle < 500.0 else level


def _spoils(case: dict[str, Any], tables: FaultTables) -> tuple[Spoil, ...]:
    engine = case["evidence"]["engine"]
    story = " ".join([*case["inputs"].get("engine", []), str(case["test_conditions"].get("note", ""))])
    bad = []
    if engine.get("crank_speed") == "slow":
        bad.append("cranking_slow")
    if engine.get("throttle_and_plugs") == "shut_or_plugs_in":
        bad.append("throttle_shut")
    if float(case["test_conditions"].get("battery_v", 12.6)) < 11.0:
        bad.append("battery_weak")
    if "cams do not turn" in story:
        bad.append("cams_stationary")
    good = not bad and engine.get("throttle_and_plugs") == "open_all_out"
    dry = spoil_chance(tables, "compression_dry", bad or (["noted_good"] if good else []))
    wet_known = [b for b in bad if ("compression_wet", b) in tables.validity]
    out = [Spoil("compression_dry", None, dry)]
    out.append(
        Spoil(
            "compression_wet",
            None,
            spoil_chance(tables, "compression_wet", wet_known or (["noted_good"] if good else [])),
        )
    )
    if "cams_stationary" in bad:
        out += [
            Spoil("leak_down", int(c), spoil_chance(tables, "leak_down", ["cams_stationary"]))
            for c in case["evidence"]["cylinders"]
        ]
    if re.search("crank moved", story):
        out.extend(
            Spoil("leak_down", c, spoil_chance(tables, "leak_down", ["crank_moved"]))
            for c in map(int, case["evidence"]["cylinders"])
        )
    return tuple(out)


def evidence_of(case: dict[str, Any], tables: FaultTables) -> Evidence:
    """The coded evidence of one case in the repaired items."""
    seen: list[Seen] = []
    relative, level = _compression(case)
    if level:
        seen.append(Seen("comp_level", None, level, "measured"))
    seen.extend(Seen("comp_rel", c, s, "measured") for c, s in relative.items())
    for item, state in case["evidence"]["engine"].items():
        if item not in DROPPED:
            seen.append(Seen(item, None, state, "told" if item == "history_event" else "seen"))
    for name, found in case["evidence"]["cylinders"].items():
        cylinder = int(name)
        for item, state in found.items():
            if item == "swap_test":
                seen.append(Seen("swap_coil", cylinder, state, "seen"))
            elif item == "retest_warm":
                seen.append(Seen("retest_run", cylinder, state, "measured"))
            elif item == "plug_deposit" and state == "coolant_residue":
                seen.append(Seen(item, cylinder, "coolant_crust", "seen"))
            elif item == "comp_rel" and cylinder not in relative:
                state = "like_group" if state == "within_85" else state
                seen.append(Seen(item, cylinder, state, "measured"))
            elif item not in DROPPED:
                how = "measured" if tables.items[item].set in ("compression", "leakdown") else "seen"
                seen.append(Seen(item, cylinder, state, how))
    return Evidence(tuple(seen), _spoils(case, tables))
