"""The verdict of one inspection: signs, posteriors, reasons, contradictions, next tests, money, in one pure value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import faults as fault_tables
from borelog.knowledge.faults import FaultTables
from borelog.logbook.described import engine_of, engine_problem
from borelog.logbook.entries import Looked
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.verdict.contradictions import contradictions
from borelog.verdict.judged import (
    Because,
    CylinderVerdict,
    EngineVerdict,
    Hypothesis,
    Level,
    Money,
    NextTest,
    Verdict,
)
from borelog.verdict.network.next_test import next_tests
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.reasons import reasons
from borelog.verdict.network.types import Advice, Case, NetShape, Posterior, Reasons, Value
from borelog.verdict.signs.all import signs
from borelog.verdict.signs.value import Signs
from borelog.verdict.unknowns import unknowns
from borelog.verdict.why import failure_lines
from borelog.verdict.wording import BILLS, in_so_many, likelihood, listed, short_name, sights, strength, where

ENOUGH_ODDS = 2.0
ENOUGH_GROUPS = 2


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
    """What the money room adds: the value of draws for ranking tests, the user's rate per minute, and the courses."""

    value: Value | None = None
    rate_per_minute: float = 0.0
    seed: int = 0
    least: float = 0.0
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
    advice = None
    if depth >= 3:
        advice = next_tests(
            shape, said.evidence, tables, value=priced.value, rate_per_minute=priced.rate_per_minute
        )
    cylinders = tuple(_cylinder(c, posterior, why.get(c), said, tables) for c in shape.cylinders)
    verdict = Verdict(
        call=_call(cylinders, posterior, tables, said),
        why=failure_lines(said, posterior, tables, cylinders),
        unknown=unknowns(inspection, posterior),
        cylinders=cylinders,
        engine=_engine(posterior, tables),
        contradictions=contradictions(posterior, said, tables),
        next_tests=_next(advice, tables, bool(priced.value), priced.least),
        money=priced.money,
        tables=tables.digest,
        limits=LIMITS + tables.notices,
    )
    return Judgement(said, posterior, why, advice, verdict)


LIMITS = (
    "Probabilities rest on tables of common practice, written from memory; they are no measurement of this engine.",
    "What was not looked at is not known: a blank is never a good sign.",
)


def _leaders(posterior: Posterior, cylinder: int) -> tuple[tuple[str, float], tuple[str, float]]:
    ranked = posterior.ranked(cylinder)
    return ranked[0], ranked[1]


def _because(case: Case, said: Signs, tables: FaultTables, sign: int) -> tuple[Because, ...]:
    return tuple(
        Because(
            text=sights(w, tables) + (f" (on {where(w.cylinder)})" if w.cylinder is None else ""),
            strength=strength(w.shift),
            weight=round(w.shift, 6),
            entries=said.entries_of(w.seen),
        )
        for w in case.weights
        if w.shift * sign > 0.05
    )


def _hypothesis(case: Case, said: Signs, tables: FaultTables, flip: str = "") -> Hypothesis:
    return Hypothesis(
        fault=case.fault,
        label=tables.faults[case.fault].label,
        probability=round(case.probability, 6),
        word=f"{likelihood(case.probability)}, {in_so_many(case.probability)}",
        speaks_for=_because(case, said, tables, 1),
        speaks_against=_because(case, said, tables, -1),
        flip=flip,
    )


def _bare(fault: str, probability: float, tables: FaultTables) -> Hypothesis:
    return _hypothesis(Case(fault, probability, ()), Signs((), ()), tables)


def _cylinder(
    c: int, posterior: Posterior, why: Reasons | None, said: Signs, tables: FaultTables
) -> CylinderVerdict:
    (first, p), (second, q) = _leaders(posterior, c)
    groups = posterior.groups.get(c, ())
    if not groups:
        return CylinderVerdict(
            cylinder=c,
            level="blank",
            words="nothing recorded: not enough evidence",
            enough=False,
            leader=_bare(first, p, tables),
            runner_up=_bare(second, q, tables),
        )
    bill, other = tables.bill(first), tables.bill(second)
    together = bill == other and bill != "nothing"
    rival = next((v for f, v in posterior.ranked(c)[1:] if not (together and tables.bill(f) == bill)), 0.0)
    lead = (p + q if together else p) / max(rival if together else q, 1e-12)
    support = why.support if why else len(groups)
    enough = lead >= ENOUGH_ODDS and support >= ENOUGH_GROUPS and posterior.fits
    squeezed = first != "sound" or _squeezed(posterior, c)
    called = enough and squeezed
    label = tables.faults[first].label
    if not posterior.fits:
        words = f"these readings do not fit any known story; nearest: {label.lower()}"
    elif not squeezed:
        words = "not enough evidence: looks sound so far, but no test of its squeeze that counts"
    elif not enough:
        words = f"not enough evidence; {label.lower()} leads, {in_so_many(p)}"
    elif together and p / max(q, 1e-12) < ENOUGH_ODDS:
        words = f"{label} or {tables.faults[second].label[0].lower()}{tables.faults[second].label[1:]}: same bill, {BILLS[bill]}"
    else:
        words = f"{label}, {likelihood(p)}"
    flip = _flip_words(why, tables) if why else ""
    leader = _hypothesis(why.leader, said, tables, flip) if why else _bare(first, p, tables)
    runner = _hypothesis(why.runner_up, said, tables) if why else _bare(second, q, tables)
    return CylinderVerdict(
        cylinder=c,
        level=_level(first, p, called, tables),
        words=words,
        enough=called,
        leader=leader,
        runner_up=runner,
    )


# Groups that test how well a cylinder holds pressure, with the validity variable each hangs on ('' none).
_SQUEEZE = {"seal_dynamic": "compression_dry", "seal_static": "leak_down", "crank_trace": ""}


def _squeezed(posterior: Posterior, cylinder: int) -> bool:
    """Whether some test of the cylinder's squeeze counts: no one calls a cylinder sound on the look of its plug."""
    for group, variable in _SQUEEZE.items():
        if group in posterior.groups.get(cylinder, ()):
            where_ = cylinder if variable == "leak_down" else None
            if (
                posterior.spoiled.get((variable, where_), 0.0) <= 0.5
                and posterior.misread.get((cylinder, group), 0.0) <= 0.5
            ):
                return True
    return False


def _level(fault: str, p: float, enough: bool, tables: FaultTables) -> Level:
    if not enough:
        return "open"
    if fault == "sound":
        return "sound"
    light = tables.faults[fault].usual_call in ("repair_in_car", "test_first")
    return "watch" if light or p < 0.5 else "bad"


def _flip_words(why: Reasons, tables: FaultTables) -> str:
    flip = why.flip
    if flip is None:
        return "no single further result would put another cause in front"
    item = tables.items[flip.item]
    again = "again, " if flip.repeat else ""
    return (
        f"{again}{short_name(flip.item)}: {item.wording.get(flip.state, flip.state)} would put "
        f"{tables.faults[flip.leader].label.lower()} in front"
    )


def _engine(posterior: Posterior, tables: FaultTables) -> EngineVerdict:
    ranked = posterior.ranked_engine()
    first, p = ranked[0]
    words = f"{tables.faults[first].label}, {likelihood(p)} ({in_so_many(p)})"
    if not posterior.groups.get(None):
        words = "nothing recorded of the engine as a whole; " + words[0].lower() + words[1:]
    gaskets = tuple(
        Because(text=f"gasket between {a} and {b} breached: {likelihood(v)}, {in_so_many(v)}", weight=None)
        for (a, b), v in sorted(posterior.breaches.items())
        if v >= 0.2
    )
    return EngineVerdict(
        words=words, hypotheses=tuple(_bare(f, v, tables) for f, v in ranked[:3]), gaskets=gaskets
    )


def _call(
    cylinders: tuple[CylinderVerdict, ...], posterior: Posterior, tables: FaultTables, said: Signs
) -> str:
    """One line anybody may quote: what is wrong where, and the heaviest work it asks for. Money stands apart."""
    if not said.signs:
        return "Nothing recorded yet: nothing can be said."
    bad = [c for c in cylinders if c.enough and c.leader and c.leader.fault != "sound"]
    state, p = posterior.ranked_engine()[0]
    parts = [f"{c.leader.label.lower()} on {c.cylinder}" for c in bad if c.leader]
    if state != "no_engine_fault" and p >= 0.5:
        parts.insert(0, tables.faults[state].label.lower())
    open_ = [c.cylinder for c in cylinders if not c.enough]
    if not parts:
        if open_:
            return f"Not enough evidence yet on {listed(map(str, open_))}: test first."
        return "No mechanical fault found in what was looked at."
    calls = [tables.faults[c.leader.fault].usual_call for c in bad if c.leader]
    if state != "no_engine_fault" and p >= 0.5:
        calls.append(tables.faults[state].usual_call)
    heaviest = max(calls, key=fault_tables.CALLS.index)
    tail = f"; not enough evidence on {listed(map(str, open_))}" if open_ else ""
    text = listed(parts)
    text = f"{text[0].upper()}{text[1:]}"
    return f"{text}: {CALL_WORDS[heaviest]}{tail}."


CALL_WORDS = {
    "run": "run it", "test_first": "test again before money is spent", "repair_in_car": "repair in the car",
    "head_off": "head off", "rebuild": "rebuild or another engine", "replace": "another engine",
}  # fmt: skip


def _next(advice: Advice | None, tables: FaultTables, priced: bool, least: float) -> tuple[NextTest, ...]:
    """The first three; a test that gains next to nothing is left out, so that 'none needed' stays an answer."""
    if advice is None:
        return ()
    worth_it = [n for n in advice.tests if n.again or n.worth >= least]
    out = []
    for n in worth_it[:3]:
        test = tables.tests[n.test]
        on = f" on {n.cylinder}" if n.cylinder is not None else ""
        again = " again" if n.again else ""
        split = listed((_lower(tables, f) for f in n.splits[:2]), "from")
        words = f"{test.label}{on}{again}, {n.minutes:g} minutes"
        words += f": splits {split}" if len(n.splits) > 1 else f": {n.reason}" if n.reason else ""
        if priced and n.worth >= 1:
            words += f"; worth about {_round(n.worth)}"
        for before in n.before:
            words += f"; first {tables.tests[before.test].label.lower()} ({before.reason})"
        out.append(
            NextTest(
                words=f"{words}.",
                test=n.test,
                cylinder=n.cylinder,
                minutes=n.minutes,
                worth=round(n.worth, 2) if priced else None,
                cautions=cautions_for(tables, n.test),
            )
        )
    return tuple(out)


def _lower(tables: FaultTables, fault: str) -> str:
    label = tables.faults[fault].label if fault in tables.faults else fault.replace("_", " ")
    return label[0].lower() + label[1:]


def _round(value: float) -> str:
    digits = 1 if value < 100 else 2
    scale = 10 ** max(0, len(str(int(value))) - digits)
    return f"{round(value / scale) * scale:g}"


@lru_cache(maxsize=256)
def _cautions(needs: tuple[str, ...], items: tuple[str, ...]) -> tuple[str, ...]:
    from borelog.knowledge.procedures import cautions

    wanted = []
    if "cranking" in needs:
        wanted += ["hand_first", "crank", "fuel"]
    if "running" in needs:
        wanted += ["moving", "hot", "start_gas"]
    if any(i.startswith(("leak", "air")) for i in items):
        wanted += ["air", "propeller_arc"]
    if any(i.startswith("coolant") for i in items):
        wanted += ["hot", "coolant_pressure", "coolant_poison"]
    if any(i in ("filter_debris", "sump_camera") for i in items):
        wanted += ["hot", "lift", "filter"]
    if any(i.startswith("swap") or i in ("spark_test", "injector_flow") for i in items):
        wanted += ["fuel", "hot"]
    return tuple(cautions()[c] for c in dict.fromkeys([*wanted, "manual"]))


def cautions_for(tables: FaultTables, test: str) -> tuple[str, ...]:
    """The cautions to show with a proposed test."""
    row = tables.tests[test]
    return _cautions(row.needs, row.items)
