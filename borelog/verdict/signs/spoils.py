"""How a test was done, as the chance that it showed its own conditions and not the engine."""

from __future__ import annotations

from collections.abc import Iterator

from borelog.knowledge import tables
from borelog.knowledge.faults import FaultTables
from borelog.logbook.entries import Conditions, Reading
from borelog.logbook.fold import conditions_of
from borelog.logbook.inspection import Inspection
from borelog.readings.conditions import Standing, appraise
from borelog.verdict.network.types import Spoil
from borelog.verdict.network.validity import spoil_chance
from borelog.verdict.signs.value import Doubt

AS_THEY_SHOULD = "conditions as they should be"

_TESTS = {
    "compression_dry": ("compression_dry",),
    "compression_wet": ("compression_wet",),
    "leak_down": ("leakdown", "leakdown_wet", "leakdown_mid", "leakdown_tap"),
}


def _spoiling(variable: str, standing: Standing) -> tuple[list[str], list[str]]:
    """Validity conditions that the answers name, with the words for a person."""
    names: list[str] = []
    words: list[str] = []
    for row in tables.rows(
        "condition_spoils.csv", "variable", "tests", "condition", "answers", "spoil", "why"
    ):
        if row["variable"] != variable:
            continue
        for a in standing.appraisals:
            if a.condition.id == row["condition"] and (
                a.state in row["answers"].split("|") or a.answer in row["answers"].split("|")
            ):
                names.append(row["spoil"])
                words.append(a.words)
    return names, words


def _core(standing: Standing, wanted: tuple[str, ...]) -> bool:
    """Whether the conditions that matter most were noted and met."""
    state = {a.condition.id: a.state for a in standing.appraisals}
    return all(state.get(c) == "met" for c in wanted)


_MATTER = {
    "compression_dry": ("throttle", "plugs_out"),
    "compression_wet": ("throttle", "plugs_out"),
    "leak_down": ("tdc",),
}


def _sources(inspection: Inspection, tests: tuple[str, ...], cylinder: int | None) -> tuple[str, ...]:
    return tuple(
        r.id
        for r in inspection.of(Conditions)
        if r.body.test in tests and (r.body.cylinder is None or r.body.cylinder == cylinder)
    )


def doubts(inspection: Inspection, faults: FaultTables) -> Iterator[Doubt]:
    """One doubt for each test that has readings: for the compression tests of the engine, for leak-down a cylinder."""
    for variable, tests in _TESTS.items():
        done = [r.body for r in inspection.of(Reading) if r.body.test in tests and r.body.values]
        where: list[int | None] = [None] if done and variable != "leak_down" else []
        if variable == "leak_down":
            where = list(dict.fromkeys(b.cylinder for b in done))
        for cylinder in where:
            names: list[str] = []
            words: list[str] = []
            good = bool(done)
            for test in dict.fromkeys(b.test for b in done if cylinder in (None, b.cylinder)):
                standing = appraise(
                    test, conditions_of(inspection, test, cylinder, _series(done, test, cylinder))
                )
                found, said = _spoiling(variable, standing)
                names += found
                words += said
                good = good and _core(standing, _MATTER[variable])
            conditions = [n for n in dict.fromkeys(names) if (variable, n) in faults.validity]
            conditions = conditions or (["noted_good"] if good else ["nothing_noted"])
            yield Doubt(
                Spoil(variable, cylinder, spoil_chance(faults, variable, conditions)),
                _sources(inspection, tests, cylinder),
                "; ".join(dict.fromkeys(words)) or (AS_THEY_SHOULD if good else "conditions not noted"),
            )


def _series(done: list[Reading], test: str, cylinder: int | None) -> str:
    """The series of the reading that counts: the latest one."""
    mine = [b.series for b in done if b.test == test and cylinder in (None, b.cylinder)]
    return mine[-1] if mine else ""
