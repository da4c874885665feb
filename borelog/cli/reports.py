"""Commands that show and judge."""

from __future__ import annotations

import argparse
import re
from dataclasses import asdict
from typing import Any

from borelog.acts import judging, learning, overview, pricing, ruled, tracing
from borelog.acts.disputes import disputes
from borelog.acts.sheet.items import questions
from borelog.acts.words import body_words
from borelog.cli.opening import UsageError, bench_for, pairs
from borelog.cli.printing import out, out_json, table, width, wrapped
from borelog.engine.plan import where_is_one
from borelog.knowledge.facts import facts
from borelog.logbook.described import engine_of, engine_problem
from borelog.logbook.entries import Codes, Conditions, Consent, Finding, Note, Reading, Seen, Told
from borelog.logbook.inspection import Inspection, Recorded
from borelog.logbook.saying.all import remarks
from borelog.text import one_line
from borelog.verdict.judge import Judgement
from borelog.verdict.judged import Because, CylinderVerdict, Hypothesis, Money, Verdict

_KINDS: tuple[tuple[str, type[Any]], ...] = (
    ("readings", Reading), ("conditions", Conditions), ("seen", Seen), ("findings", Finding), ("codes", Codes),
    ("told", Told), ("consent", Consent), ("notes", Note),
)  # fmt: skip


def _recorded(r: Recorded[Any]) -> dict[str, Any]:
    return {
        "entry": r.id,
        "who": r.version.who,
        "at": r.version.at,
        "how": r.how,
        "says": r.body,
        "earlier": [v.body for v in r.earlier],
        "rivals": [v.body for v in r.rivals],
    }


def show(args: argparse.Namespace) -> int:
    """``borelog show INSPECTION``."""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        inspection = bench.inspection(id_)
        number = bench.journal.number(id_)
        verdict = judging.verdict_of(bench, id_, depth=1).verdict
    if args.json:
        body: dict[str, Any] = {
            "inspection": id_,
            "number": number,
            "name": inspection.name,
            "facts": inspection.facts,
        }
        body |= {"cylinders": [asdict(r) for r in overview.rows(inspection, verdict)]}
        body["rules"] = ruled.rule_rows(inspection)
        body["remarks"] = [{**asdict(r), "figures": dict(r.figures)} for r in remarks(inspection)]
        body["disputes"] = [asdict(d) for d in disputes(inspection)]
        body |= {name: [_recorded(r) for r in inspection.of(kind)] for name, kind in _KINDS}
        out_json(body, "borelog.show/1")
        return 0
    show_text(inspection, number, verdict)
    return 0


def show_text(inspection: Inspection, number: int, verdict: Verdict) -> None:
    """Everything recorded, as plain text."""
    engine = engine_of(inspection)
    demo = "  [demo: invented]" if inspection.demo else ""
    out(f"{number}  {one_line(inspection.name, 70)}{demo}")
    if engine:
        order = f", firing order {'-'.join(map(str, engine.firing_order))}" if engine.firing_order else ""
        out(f"{engine.name}{order}")
        out(where_is_one(engine))
    elif problem := engine_problem(inspection):
        out(f"engine: {problem}")
    known = [
        f"{facts()[k].label} {with_unit(v, facts()[k].unit)}"
        for k, v in inspection.facts.items()
        if k in facts() and k not in ("layout", "firing_order")
    ]
    if known:
        out(wrapped("; ".join(known)))
    out()
    out(cylinder_table(inspection, verdict))
    for line in overview.compression_bars(inspection, width()):
        out(line)
    for test, series, judged in ruled.judgements(inspection):
        if test == "compression_wet":
            continue
        out()
        out(wrapped(f"{test.replace('_', ' ')}{' ' + series if series else ''}: {judged.line}"))
        for outcome in judged.outcomes:
            if outcome.result != "does not apply":
                words = outcome.words.removesuffix(" as far as the gauge goes")
                out(wrapped(f"{words} [{outcome.rule.source}]", "      ", f"  {_RESULT[outcome.result]} "))
        for words in judged.assumed:
            out(f"  assumed: {words}")
    for r in inspection.of(Codes):
        out(wrapped(body_words(r.body, 400)))
    for line in overview.other_readings(inspection):
        out(wrapped(line, "  ", ""))
    remarks_text(inspection)
    for r2 in inspection.of(Told):
        out(wrapped(f"told by {r2.body.by}{' on ' + r2.body.on if r2.body.on else ''}: {r2.body.text}"))
    whole = [r3 for r3 in inspection.of(Seen) if r3.body.cylinder is None]
    for r3 in whole:
        q = questions().get(r3.body.item)
        out(
            f"{q.label if q else r3.body.item}: {dict(q.states).get(r3.body.state, r3.body.state) if q else r3.body.state}"
        )
    for r5 in inspection.of(Consent):
        b = r5.body
        more = {
            "on": b.on,
            "put back price": b.put_back_price,
            "stop price": b.stop_price,
            "in words": b.text,
        }
        out(
            wrapped(
                f"consent to open by {b.by}" + "".join(f", {k} {v}" for k, v in more.items() if v), "  ", ""
            )
        )
    for r6 in inspection.of(Note):
        out(wrapped(body_words(r6.body, 400), "  ", ""))
    for r4 in inspection.of(Finding):
        out(wrapped(f"{body_words(r4.body)}, severity {r4.body.severity}, {r4.body.certainty}", "  ", ""))
    for dispute in disputes(inspection):
        out(wrapped(dispute.sentence, "  ", ""))
    if inspection.unknown:
        out(f"{len(inspection.unknown)} entries from a newer version of borelog are kept and not shown")


_RESULT = {"pass": "+", "fail": "!", "cannot tell": "?"}
_SIGN = {"note": "-", "watch": "!", "ask": "?"}


def remarks_text(inspection: Inspection) -> None:
    """What the readings say together; '!' tells against something, '?' asks, '-' is context."""
    said = [r for r in remarks(inspection) if r.kind != "numbering"]
    if said:
        out()
        out("what the readings say together (! tells against something, ? asks, - is context):")
    for r in said:
        source = (
            f"  [{r.source}]"
            if r.source and r.kind in ("expected", "limit", "aviation form", "bands")
            else ""
        )
        out(wrapped(f"{r.words}{source}", "    ", f"  {_SIGN[r.level]} "))


def with_unit(typed: str, unit: str) -> str:
    """A number as typed with the unit a bare one has: '81' as '81 mm', '3.4 in' as it is."""
    bare = bool(re.fullmatch(r"[~<]?\s*[\d.,]+", typed.strip()))
    return f"{typed} {unit}" if bare and unit and unit != ":1" else typed


def cylinder_table(inspection: Inspection, verdict: Verdict) -> str:
    """The cylinder table in plain text."""
    cells = [
        (str(r.cylinder), r.compression, r.wet, r.leak, r.plug, r.finding, r.looked, r.verdict)
        for r in overview.rows(inspection, verdict)
    ]
    if not cells:
        return "no cylinders yet: set the layout, for example: borelog set last layout='inline 4'"
    return table(cells, ("cyl", "dry", "wet", "leak-down", "plug", "worst finding", "looked", "verdict"))


def verdict(args: argparse.Namespace) -> int:
    """``borelog verdict INSPECTION``."""
    tried = pairs(args.what_if)
    with bench_for(args) as bench:
        inspection = bench.inspection(bench.journal.find(args.inspection))
        judged = judging.verdict_on(bench, pricing.with_prices(inspection, tried))
        before = judging.verdict_on(bench, inspection).verdict.money if tried else None
    if args.json:
        out_json(judged.verdict, "borelog.verdict/1")
    elif tried:
        _what_if(tried, before, judged.verdict.money)
    else:
        verdict_text(judged, args.cylinder)
    return 0


def _what_if(tried: dict[str, str], before: Money | None, after: Money | None) -> None:
    """The courses with other prices, and what was said with those that stand; nothing is entered."""
    if before is None or after is None:
        raise UsageError(
            "this engine cannot be judged yet, so no price moves anything; record something first"
        )
    out(f"what if {', '.join(f'{k} {v}' for k, v in tried.items())} (nothing of this is entered)")
    out(wrapped(after.sentence, "  ", "  then: "))
    out(wrapped(before.sentence, "  ", "  now:  "))
    pricing.money_text(after, out, _folded)


def _folded(text: str) -> str:
    return wrapped(text, "    ", "  ")


def _because(lines: tuple[Because, ...], head: str) -> None:
    for b in lines:
        where = f"  [{', '.join(e[:8] for e in b.entries[:3])}]" if b.entries else ""
        out(wrapped(f"{b.strength}: {b.text}{where}" if b.strength else b.text, "      ", f"    {head} "))


def _hypothesis(h: Hypothesis, name: str) -> None:
    out(f"  {name}: {h.label} - {h.word}")
    _because(h.speaks_for, "+")
    _because(h.speaks_against, "-")


def _cylinder(c: CylinderVerdict) -> None:
    out(f"cylinder {c.cylinder}: {c.words}")
    if c.level == "blank":
        return
    if c.leader:
        _hypothesis(c.leader, "leader")
    if c.runner_up:
        _hypothesis(c.runner_up, c.second)
    if c.leader and c.leader.flip:
        out(wrapped(f"would flip it: {c.leader.flip}", "    ", "  "))


PLAINLY = 0.8
"""From here on a sound cylinder is said in short."""


def _in_short(c: CylinderVerdict) -> None:
    """A sound cylinder in two lines: on a long engine the sick one would be lost among the reasons of the others."""
    out(f"cylinder {c.cylinder}: {c.words}")
    if c.leader:
        why = "; ".join(b.text for b in c.leader.speaks_for[:2])
        against = "; ".join(b.text for b in c.leader.speaks_against[:1])
        said = f"{why or 'no reading against it'}{f'; against it {against}' if against else ''}"
        after = f"; next {c.runner_up.label}, {c.runner_up.word}" if c.runner_up else ""
        out(wrapped(f"{said}{after} (all reasons: -c {c.cylinder})", "    ", "  "))


def verdict_text(judged: Judgement, only: int | None = None) -> None:
    """The verdict in plain text; ``only`` one cylinder's reasons."""
    v = judged.verdict
    if only is None:
        out(wrapped(v.call))
        if v.money:
            out(wrapped(v.money.sentence))
        out()
    for c in v.cylinders:
        if only is None and c.leader and c.leader.fault == "sound" and c.leader.probability >= PLAINLY:
            _in_short(c)
        elif only in (None, c.cylinder):
            _cylinder(c)
    if only is not None:
        if only not in {c.cylinder for c in v.cylinders}:
            raise UsageError(
                f"this engine has no cylinder {only}; it has {', '.join(str(c.cylinder) for c in v.cylinders) or 'none yet'}"
            )
        return
    if v.engine:
        out(f"engine: {v.engine.words}")
        _because(v.engine.gaskets, "!")
    for b in v.why:
        out(wrapped(b.text, "  ", ""))
    for x in v.contradictions:
        out(wrapped(f"! {x.words}. Settle it: {x.repeat[0].lower()}{x.repeat[1:]}.", "  ", ""))
    if v.next_tests:
        out("next:")
        for k, n in enumerate(v.next_tests, 1):
            out(wrapped(n.line, "     ", f"  {k}. "))
        for caution in dict.fromkeys(c for n in v.next_tests for c in n.cautions):
            out(wrapped(caution, "     ", "  ! "))
    elif judged.advice is not None:
        out("next: none needed for this decision")
    if v.money:
        pricing.money_text(v.money, out, _folded)
    for u in v.unknown:
        out(wrapped(f"not known: {u}", "  ", ""))
    for words in v.limits:
        out(wrapped(words, "  ", "note: "))


def price(args: argparse.Namespace) -> int:
    """``borelog price INSPECTION|shop NAME=VALUE ...``."""
    values = pairs(args.values)
    if args.lines:
        lines = pricing.cost_lines()
        if args.json:
            out_json(lines, "borelog.price.lines/1")
        else:
            out(
                table(
                    [(r.name, r.course, r.amount, r.unit) for r in lines],
                    ("line", "course", "amount", "unit"),
                )
            )
        return 0
    with bench_for(args, create=args.inspection.strip().lower() == "shop") as bench:
        where = pricing.place(bench, args.inspection)
        saved = pricing.set_prices(bench, where, values) if values else None
        rows = pricing.listed(bench, where)
    if args.json:
        out_json(rows, "borelog.price/1")
        return 0
    if saved:
        out(f"saved: {body_words(saved, 300)}")
    out(
        table(
            [(r.name, r.value or "placeholder", r.source, r.why) for r in rows],
            ("price", "value", "from", "what"),
        )
    )
    return 0


def call(args: argparse.Namespace) -> int:
    """``borelog call INSPECTION COURSE``."""
    with bench_for(args) as bench:
        stored = judging.take_call(bench, bench.journal.find(args.inspection), args.course, args.words)
    out(f"saved: {body_words(stored.body)}, frozen with its tables")
    return 0


def truth(args: argparse.Namespace) -> int:
    """``borelog truth INSPECTION [CYL=]FAULT ...``."""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        bodies = learning.record_truth(bench, id_, args.faults, args.known, args.words)
    if args.json:
        out_json(list(bodies), "borelog.truth/1")
    else:
        for b in bodies:
            out(f"saved: {body_words(b)}")
            if "measured beyond" in b.note:
                asked = ", and yet called sound?" if not b.faults else ""
                out(wrapped(f"beside it: {b.note}{asked}", "  ", "  "))
    return 0


def score(args: argparse.Namespace) -> int:
    """``borelog score``."""
    with bench_for(args) as bench:
        scored = learning.score(bench)
    if args.json:
        out_json(scored, "borelog.score/1")
    else:
        for line in learning.score_lines(scored):
            out(wrapped(line))
    return 0


def learn(args: argparse.Namespace) -> int:
    """``borelog learn``."""
    with bench_for(args) as bench:
        lines = (
            learning.back_to_shipped(bench) if args.shipped else learning.learn(bench, dry_run=args.dry_run)
        )
    if args.json:
        out_json(lines, "borelog.learn/1")
    else:
        for line in lines:
            out(wrapped(line))
    return 0


def calc(args: argparse.Namespace) -> int:
    """``borelog calc NAME key=value ...``."""
    from borelog.readings.calc import calculators, run

    if args.calculation == "list":
        rows = [(c.name, c.summary, ", ".join(p.usage for p in c.parameters)) for c in calculators().values()]
        if args.json:
            out_json([{"name": n, "what": w, "parameters": p} for n, w, p in rows], "borelog.calc.list/1")
        else:
            out(table(rows, ("calculation", "what", "parameters")))
        return 0
    result = run(args.calculation, pairs(args.values))
    if args.json:
        out_json(result.values, "borelog.calc/1")
    else:
        out(result.text)
    return 0


def trace(args: argparse.Namespace) -> int:
    """``borelog trace INSPECTION CSV``."""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        result = tracing.read_trace(
            bench, id_, args.csv, pairs(args.values), svg=args.svg, dry_run=args.dry_run
        )
    if args.json:
        out_json(result.values, "borelog.trace/1")
    else:
        out(result.text)
    return 0
