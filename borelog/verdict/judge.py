"""The verdict of one inspection: signs, posteriors, reasons, contradictions, next tests, money, in one pure value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import msgspec

from borelog.knowledge import faults as fault_tables
from borelog.knowledge.faults import FaultTables
from borelog.logbook.described import engine_of, engine_problem
from borelog.logbook.entries import Looked
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.verdict.calls import call_line, called_faults
from borelog.verdict.contradictions import contradictions
from borelog.verdict.cylinders import cylinder_verdict
from borelog.verdict.engine_wide import engine_call, engine_verdict
from borelog.verdict.judged import Money, Verdict
from borelog.verdict.network.next_test import next_tests
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.reasons import reasons
from borelog.verdict.network.types import Advice, Draws, NetShape, Posterior, Reasons, Value
from borelog.verdict.proposing import Scope, proposals
from borelog.verdict.signs.all import signs
from borelog.verdict.signs.value import Signs
from borelog.verdict.unknowns import unknowns
from borelog.verdict.why import failure_lines, measured_lines


@dataclass(frozen=True, slots=True)
class Judgement:
    """Everything worked out for one inspection; ``verdict`` is what screens, commands and packs show of it.

    ``posterior`` is None where nothing can be judged (no layout yet, a diesel); ``verdict.call`` then says why.
    """

    signs: Signs
    posterior: Posterior | None
    reasons: Mapping[int, Reasons]
    advice: Advice | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Priced:
    """What the money room adds: the value of draws for ranking tests, the user's rate per minute, the draws themselves, what
    is no small gain, and the courses.
    """

    value: Value | None = None
    rate_per_minute: float = 0.0
    draws: Draws | None = None
    material: float = 1.0
    money: Money | None = None


def shape_of(inspection: Inspection) -> NetShape | None:
    """The engine as the network needs it; None while the layout is not known."""
    engine = engine_of(inspection)
    return NetShape(engine.cylinders, engine.chains) if engine else None


# Tests of the record to tests of the fault tables.
_TESTS = {
    "compression_dry": "compression_dry", "compression_wet": "compression_wet", "compression_warm": "compression_warm",
    "leakdown": "leak_down", "leakdown_wet": "leak_wet", "leakdown_mid": "leak_mid", "leakdown_tap": "leak_tap",
    "crank_current": "crank_current", "piston_height": "height", "vacuum": "vacuum", "oil_pressure_gauge": "oil_gauge",
}  # fmt: skip


def not_possible(inspection: Inspection) -> tuple[tuple[str, int | None], ...]:
    """Tests that the record says cannot be done here: they are not proposed."""
    return tuple(
        (_TESTS[r.body.test], r.body.cylinder)
        for r in inspection.of(Looked)
        if r.body.state == State.NOT_POSSIBLE and r.body.test in _TESTS
    )


def is_judged(inspection: Inspection) -> str:
    """'' if the engine can be judged, else why not."""
    if inspection.facts.get("fuel", "").startswith("diesel"):
        return "a diesel is recorded, not judged: the tables are for petrol engines"
    if problem := engine_problem(inspection):
        return problem
    if "layout" not in inspection.facts:
        return "which engine is it? Say the layout first, for example: borelog set last layout='inline 4'"
    return ""


def judge(
    inspection: Inspection,
    tables: FaultTables | None = None,
    priced: Priced | None = None,
    *,
    depth: int = 3,
) -> Judgement:
    """The verdict on an inspection.

    Parameters
    ----------
    inspection
        What is recorded.
    tables
        Fault tables; the shipped ones if None.
    priced
        What the money room says; without it tests are ranked by usual bills.
    depth
        1: who leads where; 2: with reasons; 3: with the next tests.

    Returns
    -------
    Judgement
        Deterministic: the same record and tables give the same verdict.
    """
    tables = tables or fault_tables.shipped()
    priced = priced or Priced()
    why_not = is_judged(inspection)
    shape = shape_of(inspection)
    if why_not or shape is None:
        verdict = Verdict(call=f"Not judged: {why_not}", tables=tables.digest, limits=LIMITS)
        return Judgement(Signs((), ()), None, {}, None, verdict)
    said = signs(inspection, tables)
    posterior = posteriors(shape, said.evidence, tables)
    looked = {c for c in shape.cylinders if posterior.groups.get(c)}
    why = {c: reasons(shape, said.evidence, tables, c) for c in looked} if depth >= 2 else {}
    done = not_possible(inspection)
    advice = None
    if depth >= 3:
        advice = next_tests(
            shape,
            said.evidence,
            tables,
            value=priced.value,
            rate_per_minute=priced.rate_per_minute,
            done=done,
            draws=priced.draws,
        )
    cylinders = tuple(cylinder_verdict(c, posterior, why.get(c), said, tables) for c in shape.cylinders)
    called = called_faults(cylinders, engine_call(posterior, tables, said))
    scope = Scope(shape.cylinders, said.evidence, done, called, inspection.facts)
    measured = measured_lines(inspection)
    proposed = proposals(
        advice,
        tables,
        scope,
        currency=priced.money.currency if priced.money else None,
        material=priced.material,
    )
    verdict = Verdict(
        call=" ".join(
            (call_line(cylinders, called, posterior, tables, said), *(line.text for line in measured))
        ),
        why=(*measured, *failure_lines(said, called, tables)),
        unknown=unknowns(inspection, posterior),
        cylinders=cylinders,
        engine=engine_verdict(posterior, tables, said),
        contradictions=contradictions(posterior, said, tables),
        next_tests=proposed,
        money=_money(priced.money, test_first=bool(proposed) and not called and not measured),
        tables=tables.digest,
        limits=LIMITS + tables.notices + said.aside,
    )
    return Judgement(said, posterior, why, advice, verdict)


def _money(money: Money | None, *, test_first: bool) -> Money | None:
    """The courses; where nothing is called yet the sentence says so before it compares what little is known."""
    if money is None or not test_first or not money.sentence:
        return money
    said = money.sentence
    return msgspec.structs.replace(
        money, sentence=f"Test first: nothing is called yet. As it stands now, {said[0].lower()}{said[1:]}"
    )


LIMITS = (
    "Probabilities rest on tables of common practice, written from memory; they are no measurement of this engine.",
    "What was not looked at is not known: a blank is never a good sign.",
)
