"""The verdict page as sentences, each with the entries it rests on: causes, contradictions, next tests, money, truth."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.acts.prices import prices
from borelog.charts.bars import text_bar
from borelog.logbook.entries import CallTaken, Truth
from borelog.logbook.inspection import Inspection
from borelog.text import one_line
from borelog.tui.views.standing import STANDING_OF_LEVEL
from borelog.tui.views.words import STATUS, Line, Span, padded, width, wrapped
from borelog.verdict.judged import Because, Course, CylinderVerdict, Hypothesis, Verdict

PARTS = ("call", "causes", "disagree", "next", "money", "unknown", "truth")
TITLES = {
    "call": "THE CALL", "causes": "CAUSES", "disagree": "WHAT CANNOT BOTH BE TRUE", "next": "WHAT TO DO NEXT",
    "money": "MONEY", "unknown": "NOT KNOWN YET", "truth": "CALLS TAKEN, AND WHAT IT REALLY WAS",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sentence:
    """One thing said: its part, its lines, the journal entries it rests on, the test or cylinder it leads to."""

    part: str
    lines: tuple[Line, ...]
    entries: tuple[str, ...] = ()
    test: str = ""
    cylinder: int | None = None


def sentences(inspection: Inspection, verdict: Verdict, cylinder: int | None, room: int) -> list[Sentence]:
    """Everything the page says, for one cylinder's causes, in reading order."""
    out = [*_call(verdict, room)]
    for one in verdict.cylinders:
        if one.cylinder == cylinder:
            out += _cylinder(one, room)
    out += _engine(verdict, room)
    out += _disagree(verdict, room)
    out += _next(verdict, room)
    out += _money(verdict, room)
    out += [_plain("unknown", f"· {one_line(u)}", room, "blank") for u in verdict.unknown]
    out += _truth(inspection, room)
    out += [_plain("truth", one_line(text), room, "quiet") for text in verdict.limits]
    return _titled(out)


def _titled(found: list[Sentence]) -> list[Sentence]:
    """Each part begins with its title, as lines of its first sentence."""
    out: list[Sentence] = []
    seen = ""
    for s in found:
        if s.part != seen:
            title: tuple[Line, ...] = (
                ((), (Span(f" {TITLES[s.part]}", "quiet", "bold"),))
                if seen
                else ((Span(f" {TITLES[s.part]}", "quiet", "bold"),),)
            )
            out.append(Sentence(s.part, title))
            seen = s.part
        out.append(s)
    return out


def is_title(s: Sentence) -> bool:
    """Whether it only heads a part."""
    return not s.lines[-1] or (s.lines[-1][0].weight == "bold" and s.lines[-1][0].role == "quiet")


def _plain(part: str, text: str, room: int, role: str = "ink", entries: tuple[str, ...] = ()) -> Sentence:
    return Sentence(part, tuple((Span(f" {line}", role),) for line in wrapped(text, room - 3, "  ")), entries)


def _call(verdict: Verdict, room: int) -> list[Sentence]:
    out = [
        Sentence(
            "call",
            tuple(
                (Span(f" {line}", "ink", "strong"),)
                for line in wrapped(one_line(verdict.call), room - 3, "  ")
            ),
        )
    ]
    out += [_because("call", b, room, "→") for b in verdict.why]
    return out


def _because(part: str, b: Because, room: int, sign: str) -> Sentence:
    role = {"+": "ink", "−": "watch", "→": "ink"}[sign]
    strength = f" ({one_line(b.strength)})" if b.strength else ""
    source = "" if not b.entries else "  ▸" if len(b.entries) == 1 else f"  ▸{len(b.entries)}"
    lines = wrapped(f"{sign} {one_line(b.text)}{strength}{source}", room - 6, "  ")
    return Sentence(part, tuple((Span(f"   {line}", role),) for line in lines), b.entries)


def share_words(value: float) -> str:
    """A probability in per cent, never 0 or 100 for what is not certain."""
    return "under 1 %" if value < 0.01 else "over 99 %" if value > 0.99 else f"{value:.0%}".replace("%", " %")


def _hypothesis(h: Hypothesis, rank: str, room: int, cylinder: int | None = None) -> list[Sentence]:
    bar = text_bar(h.probability, 1.0, 12)
    meter: Line = (Span(bar, "good"), Span("░" * (12 - len(bar)), "rule"))
    name: Line = (Span(f" {rank}: ", "quiet"), Span(one_line(h.label), "ink", "strong"))
    said_so = Span(f"{one_line(h.word)} ", "ink")
    lines: tuple[Line, ...] = ((*name, Span(", "), said_so, *meter),)
    if width(lines[0]) > room - 1:
        words = wrapped(f"{rank}: {one_line(h.label)}, {one_line(h.word)}", room - 3, "  ")
        lines = (*((Span(f" {text}", "ink", "strong"),) for text in words), (Span("   "), *meter))
    out = [Sentence("causes", lines, (), "", cylinder)]
    out += [_because("causes", b, room, "+") for b in h.speaks_for]
    out += [_because("causes", b, room, "−") for b in h.speaks_against]
    if h.flip:
        out.append(_plain("causes", f"  would change it: {one_line(h.flip)}", room, "quiet"))
    return out


def _cylinder(one: CylinderVerdict, room: int) -> list[Sentence]:
    status = STANDING_OF_LEVEL[one.level]
    glyph, role = STATUS[status]
    head = wrapped(f"{glyph} cylinder {one.cylinder}: {one_line(one.words)}", room - 3, "  ")
    out = [
        Sentence("causes", tuple((Span(f" {line}", role, "strong"),) for line in head), (), "", one.cylinder)
    ]
    if not one.enough and one.leader:
        out.append(
            _plain(
                "causes", "  not enough evidence to name one cause; shown is what leads so far", room, "watch"
            )
        )
    if one.leader:
        out += _hypothesis(one.leader, "leads", room, one.cylinder)
    if one.runner_up:
        out += _hypothesis(one.runner_up, "runner-up", room, one.cylinder)
    return out


def _engine(verdict: Verdict, room: int) -> list[Sentence]:
    if verdict.engine is None:
        return []
    out = [_plain("causes", f"engine as a whole: {one_line(verdict.engine.words)}", room)]
    for h in verdict.engine.hypotheses:
        out += _hypothesis(h, "engine", room)
    return out + [_because("causes", b, room, "→") for b in verdict.engine.gaskets]


def _disagree(verdict: Verdict, room: int) -> list[Sentence]:
    out = []
    for c in verdict.contradictions:
        lines = [(Span(f" {line}", "watch"),) for line in wrapped(f"! {one_line(c.words)}", room - 3, "  ")]
        lines += [
            (Span(f"   {line}", "ink"),)
            for line in wrapped(f"quickest repeat: {one_line(c.repeat)}", room - 5, "  ")
        ]
        out.append(Sentence("disagree", tuple(lines), c.entries))
    return out


def _next(verdict: Verdict, room: int) -> list[Sentence]:
    out = []
    for k, t in enumerate(verdict.next_tests):
        head = f"{k + 1}. {one_line(t.line)}"
        lines: list[Line] = [
            (Span(f" {line}", "ink", "strong" if k == 0 else ""),) for line in wrapped(head, room - 3, "   ")
        ]
        if k == 0:
            for caution in t.cautions:
                lines += [
                    (Span(f"    {line}", "watch"),)
                    for line in wrapped(f"! {one_line(caution)}", room - 6, "  ")
                ]
        out.append(Sentence("next", tuple(lines), (), t.test, t.cylinder))
    return out


def _money(verdict: Verdict, room: int) -> list[Sentence]:
    money = verdict.money
    if money is None:
        return [
            _plain(
                "money",
                "No prices yet: p enters them, w tries one without noting it. Nothing else waits for them.",
                room,
                "blank",
            )
        ]
    out = [_plain("money", one_line(money.sentence), room)] if money.sentence else []
    low = min((c.worse for c in money.courses), default=0.0)
    high = max((c.better for c in money.courses), default=1.0)
    for c in money.courses:
        out.append(Sentence("money", tuple(course_lines(c, low, high, room))))
    head = "1 in 10 worse ├ middle ● ┤ 1 in 10 better"
    out.append(_plain("money", f"{head}, in {one_line(money.currency) or 'your currency'}", room, "quiet"))
    out += [_plain("money", f"stop: {one_line(s)}", room) for s in money.stops]
    out += [_plain("money", f"moves it most: {one_line(m)}", room, "quiet") for m in money.movers]
    if money.most is not None:
        out.append(_plain("money", f"most to pay for it as it stands: {money.most:,.0f}", room))
    if money.profit is not None:
        out.append(_plain("money", f"left over the purchase price: {money.profit:,.0f}", room))
    if money.decides:
        out.append(_plain("money", one_line(money.decides), room, "watch"))
    if money.placeholders:
        names = ", ".join(one_line(p) for p in money.placeholders[:6])
        out.append(_plain("money", f"placeholders, not your prices: {names}; p enters yours", room, "watch"))
    if money.caution:
        out.append(_plain("money", one_line(money.caution), room, "quiet"))
    return out


def course_lines(c: Course, low: float, high: float, room: int) -> list[Line]:
    """A course of action with its range drawn: ├──●──┤."""
    wide = max(10, min(40, room - 58))
    span = (high - low) or 1.0
    at = [min(wide - 1, max(0, round((v - low) / span * (wide - 1)))) for v in (c.worse, c.middle, c.better)]
    text = list(" " * wide)
    for k in range(at[0], at[2] + 1):
        text[k] = "─"
    text[at[0]], text[at[2]] = "├", "┤"
    text[at[1]] = "●"
    figures = f"{c.worse:>9,.0f} {c.middle:>9,.0f} {c.better:>9,.0f}"
    if room < 70:
        lines: list[Line] = [
            (Span(f" {padded(one_line(c.label), room - 2)}", "ink"),),
            (Span(f" {figures}", "ink"),),
        ]
    else:
        lines = [
            (
                Span(f" {padded(one_line(c.label), 22)}", "ink"),
                Span(figures, "ink"),
                Span("  "),
                Span("".join(text), "good"),
            )
        ]
    more = [x for x in (one_line(c.words), "within the noise of the best" if c.within_noise else "") if x]
    if c.loss_chance is not None and c.loss_chance > 0:
        more.append(f"loses money {share_words(c.loss_chance)} of the time")
    lines += [(Span(f"   {line}", "quiet"),) for line in wrapped("; ".join(more), room - 5) if line]
    return lines


def _truth(inspection: Inspection, room: int) -> list[Sentence]:
    out = []
    for r in inspection.of(CallTaken):
        out.append(
            _plain(
                "truth",
                f"{r.version.at[:10]} {one_line(r.version.who, 20)} called: {one_line(r.body.words or r.body.course)} ({r.body.why})",
                room,
                "ink",
                (r.id,),
            )
        )
    for r2 in inspection.of(Truth):
        where = f"cylinder {r2.body.cylinder}" if r2.body.cylinder is not None else "engine"
        what = ", ".join(f.replace("_", " ") for f in r2.body.faults) or "sound"
        out.append(
            _plain(
                "truth",
                f"it was: {where} {what} ({r2.body.known}) {one_line(r2.body.note)}",
                room,
                "ink",
                (r2.id,),
            )
        )
    if not out:
        out.append(
            _plain(
                "truth",
                "no call taken yet: d freezes the verdict as it stands; t writes what it really was",
                room,
                "quiet",
            )
        )
    return out


def price_options() -> list[tuple[str, str, str]]:
    """Every price that can be set or tried: id, label, why."""
    return [(p.id, p.label, p.why) for p in prices().values()]
