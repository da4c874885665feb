"""The verdict page as sentences, each with the entries it rests on: causes, contradictions, next tests, money, truth."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from borelog.acts.prices import prices
from borelog.charts.bars import text_bar
from borelog.charts.ranges import figure
from borelog.logbook.entries import CallTaken, Prices, Truth
from borelog.logbook.inspection import Inspection
from borelog.text import one_line
from borelog.tui.actions import SHIPPED, Keys, key_of
from borelog.tui.views.standing import STANDING_OF_LEVEL
from borelog.tui.views.words import STATUS, Line, Span, cells, padded, width, wrapped
from borelog.verdict.judged import Because, Course, CylinderVerdict, Hypothesis, Verdict

PARTS = ("call", "causes", "disagree", "next", "money", "unknown", "truth")
TITLES = {
    "call": "THE CALL", "causes": "CAUSES", "disagree": "WHAT CANNOT BOTH BE TRUE", "next": "WHAT TO DO NEXT",
    "money": "MONEY", "unknown": "NOT KNOWN YET", "truth": "CALLS TAKEN, AND WHAT IT REALLY WAS",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sentence:
    """One thing said: its part, its lines, and where it leads.

    ``entries`` are the journal entries it rests on, ``test`` and ``cylinder`` the cell of the readings it speaks of,
    ``ask`` the question it leads to ('prices'). Only what is said of the method, ``aside``, leads nowhere.
    """

    part: str
    lines: tuple[Line, ...]
    entries: tuple[str, ...] = ()
    test: str = ""
    cylinder: int | None = None
    ask: str = ""
    aside: bool = False

    @property
    def leads(self) -> bool:
        """Whether one key leads on from here."""
        return bool(self.entries or self.test or self.cylinder is not None or self.ask)


def sentences(
    inspection: Inspection, verdict: Verdict, cylinder: int | None, room: int, keys: Keys = SHIPPED
) -> list[Sentence]:
    """Everything the page says, for one cylinder's causes, in reading order."""
    base = tuple(dict.fromkeys([*(e for b in verdict.why for e in b.entries), *_bad_entries(verdict)]))
    out = [_resting(x, base) for x in _call(verdict, room)]
    for one in verdict.cylinders:
        if one.cylinder == cylinder:
            out += _cylinder(one, room)
    out += [_resting(x, base) for x in _engine(verdict, room)]
    out += _disagree(verdict, room)
    out += _next(verdict, room)
    prices_noted = tuple(r.id for r in inspection.of(Prices))
    out += [_resting(x, (*prices_noted, *base)) for x in _money(verdict, room, keys)]
    out += [_unknown(u, verdict, room) for u in verdict.unknown]
    out += _truth(inspection, room, keys)
    out += [replace(_plain("truth", one_line(text), room, "quiet"), aside=True) for text in verdict.limits]
    return _titled(out)


def _entries_of(*found: Hypothesis | None) -> tuple[str, ...]:
    """Everything that speaks for or against causes, the strongest first, each once."""
    all_ = [b for h in found if h for b in (*h.speaks_for, *h.speaks_against)]
    all_.sort(key=lambda b: -abs(b.weight or 0.0))
    return tuple(dict.fromkeys(e for b in all_ for e in b.entries))


def _bad_entries(verdict: Verdict) -> tuple[str, ...]:
    """What the leaders rest on: of the cylinders that are not sound where there are any, else of all."""
    telling = [c for c in verdict.cylinders if c.level in ("bad", "watch")] or verdict.cylinders
    return _entries_of(*(c.leader for c in telling))


def _resting(s: Sentence, entries: tuple[str, ...]) -> Sentence:
    """The same sentence; where it leads nowhere by itself, it leads to what the whole rests on."""
    return s if s.leads or s.aside else replace(s, entries=entries, ask="" if entries else "blank")


def _unknown(text: str, verdict: Verdict, room: int) -> Sentence:
    """What is not known leads to the blank that would say it."""
    s = _plain("unknown", f"· {one_line(text)}", room, "blank")
    named = re.search(r"cylinders? (\d+)|\bon (\d+)", text)
    cylinder = int(next(g for g in named.groups() if g)) if named else None
    known = cylinder in {c.cylinder for c in verdict.cylinders}
    return replace(s, cylinder=cylinder) if known else replace(s, ask="blank")


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


def lead_words(s: Sentence, keys: Keys = SHIPPED) -> str:
    """Where the one key leads from a sentence, in words."""
    key = key_of(keys, "verdict", "follow")
    if s.test:
        return f"{key} goes to this test in the readings"
    if s.entries:
        count = len(s.entries)
        return f"{key} shows what this rests on · {count} entr{'y' if count == 1 else 'ies'}"
    if s.ask == "prices":
        return f"{key} asks for a price of your own"
    if s.leads:
        return f"{key} goes to the next blank in the readings"
    return "this is said of the method, not of this engine"


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


def _because(part: str, b: Because, room: int, sign: str, otherwise: tuple[str, ...] = ()) -> Sentence:
    role = {"+": "ink", "−": "watch", "→": "ink"}[sign]
    strength = f" ({one_line(b.strength)})" if b.strength else ""
    source = "" if not b.entries else "  ▸" if len(b.entries) == 1 else f"  ▸{len(b.entries)}"
    lines = wrapped(f"{sign} {one_line(b.text)}{strength}{source}", room - 6, "  ")
    return Sentence(part, tuple((Span(f"   {line}", role),) for line in lines), b.entries or otherwise)


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
    rests = _entries_of(h)
    out = [Sentence("causes", lines, rests, "", cylinder)]
    out += [_because("causes", b, room, "+", rests) for b in h.speaks_for]
    out += [_because("causes", b, room, "−", rests) for b in h.speaks_against]
    if h.flip:
        flip = _plain("causes", f"  would change it: {one_line(h.flip)}", room, "quiet", rests)
        out.append(replace(flip, cylinder=cylinder))
    return out


def _cylinder(one: CylinderVerdict, room: int) -> list[Sentence]:
    status = STANDING_OF_LEVEL[one.level]
    glyph, role = STATUS[status]
    head = wrapped(f"{glyph} cylinder {one.cylinder}: {one_line(one.words)}", room - 3, "  ")
    rests = _entries_of(one.leader, one.runner_up)
    out = [
        Sentence(
            "causes", tuple((Span(f" {line}", role, "strong"),) for line in head), rests, "", one.cylinder
        )
    ]
    if not one.enough and one.leader:
        words = "  not enough evidence to name one cause; shown is what leads so far"
        out.append(replace(_plain("causes", words, room, "watch", rests), cylinder=one.cylinder))
    if one.leader:
        out += _hypothesis(one.leader, "leads", room, one.cylinder)
    if one.runner_up:
        out += _hypothesis(one.runner_up, one.second, room, one.cylinder)
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
        if t.test == "price_first":
            out.append(Sentence("next", tuple(lines), ask="prices"))
        else:
            out.append(Sentence("next", tuple(lines), (), t.test, t.cylinder))
    return out


def _money(verdict: Verdict, room: int, keys: Keys) -> list[Sentence]:
    money = verdict.money
    enters = key_of(keys, "verdict", "prices")
    if money is None:
        tries = key_of(keys, "verdict", "what_if")
        words = f"No prices yet: {enters} enters them, {tries} tries one without noting it. Nothing else waits for them."
        return [replace(_plain("money", words, room, "blank"), ask="prices")]
    out = [_plain("money", one_line(money.sentence), room)] if money.sentence else []
    low = min((c.worse for c in money.courses), default=0.0)
    high = max((c.better for c in money.courses), default=1.0)
    wide = min(30, max((cells(one_line(c.label)) for c in money.courses), default=0)) + 1
    for c in money.courses:
        out.append(Sentence("money", tuple(course_lines(c, low, high, room, wide))))
    head = "1 in 10 worse ├ middle ● ┤ 1 in 10 better"
    legend = _plain("money", f"{head}, in {one_line(money.currency) or 'your currency'}", room, "quiet")
    out.append(replace(legend, aside=True))
    out += [_plain("money", f"stop: {one_line(s)}", room) for s in money.stops]
    out += [_plain("money", f"moves it most: {one_line(m)}", room, "quiet") for m in money.movers]
    if money.most is not None:
        out.append(_plain("money", f"most to pay for it as it stands: {figure(money.most)}", room))
    if money.profit is not None:
        out.append(_plain("money", f"left over the purchase price: {figure(money.profit)}", room))
    if money.decides:
        out.append(_plain("money", one_line(money.decides), room, "watch"))
    if money.placeholders:
        names = ", ".join(one_line(p) for p in money.placeholders[:6])
        words = f"placeholders, not your prices: {names}; {key_of(keys, 'verdict', 'follow')} or {enters} enters yours"
        out.append(replace(_plain("money", words, room, "watch"), ask="prices"))
    if money.caution:
        out.append(replace(_plain("money", one_line(money.caution), room, "quiet"), aside=True))
    return out


def course_lines(c: Course, low: float, high: float, room: int, label: int = 22) -> list[Line]:
    """A course of action with its range drawn: ├──●──┤."""
    wide = max(10, min(40, room - 36 - label))
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
                Span(f" {padded(one_line(c.label), label)}", "ink"),
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


def _truth(inspection: Inspection, room: int, keys: Keys) -> list[Sentence]:
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
        decide, truth = (key_of(keys, "verdict", a) for a in ("decide", "truth"))
        words = (
            f"no call taken yet: {decide} freezes the verdict as it stands; {truth} writes what it really was"
        )
        out.append(replace(_plain("truth", words, room, "quiet"), aside=True))
    return out


def price_options() -> list[tuple[str, str, str]]:
    """Every price that can be set or tried: id, label, why."""
    return [(p.id, p.label, p.why) for p in prices().values()]
