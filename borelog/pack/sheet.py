"""The document as a sheet of paper tells it: the texts, tables and figures that the typesetter puts in place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from borelog.charts.svg import LEVELS
from borelog.pack import handover, telling
from borelog.pack.document import By, Document, FindingRow, StillRow
from borelog.quantity import plain_number
from borelog.verdict.judged import Because, Hypothesis, Money


def _who(by: By) -> str:
    return ", ".join(p for p in (by.who or "not noted", telling.moment(by.at), by.how) if p)


def _hypothesis(h: Hypothesis, title: str, most: int = 5) -> dict[str, Any]:
    def lines(items: Sequence[Because]) -> list[str]:
        out = [f"{b.text} ({b.strength})" if b.strength else b.text for b in items[:most]]
        rest = len(items) - most
        return [*out, f"and {rest} weaker; report.html lists them"] if rest > 0 else out

    return {
        "title": f"{title}: {h.label} ({h.word}{', ' if h.word else ''}{telling.share(h.probability)})",
        "for": lines(h.speaks_for),
        "against": lines(h.speaks_against),
        "flip": h.flip,
    }


_TURNS = {
    1: (0, False),
    2: (0, True),
    3: (180, False),
    4: (180, True),
    5: (270, True),
    6: (90, False),
    7: (90, True),
    8: (270, False),
}
"""Stored turn (Exif) to clockwise degrees after a mirror left to right, where so."""


def sheet(document: Document, files: Mapping[str, str], turns: Mapping[str, int]) -> dict[str, Any]:
    """The document as paper tells it: plain texts and lists, nothing left to decide.

    Parameters
    ----------
    document
        What to tell.
    files
        File name of each still that is printed, by still id.
    turns
        Stored turn (Exif 1 to 8) of those files that are not upright as stored.
    """
    d, marks, placed = document, telling.marks_on(document), telling.placed_at(document)
    grid = telling.grid(document)
    parts, whole = telling.cylinder_parts(document)
    shown = {s.id: f.by.entry for f in d.findings for s in placed[f.by.entry]}

    def figure(s: StillRow) -> dict[str, Any] | None:
        if s.id not in files:
            return None
        numbered = [
            f"{m.number} {m.words or 'mark'}{f' ({m.measure})' if m.measure else ''}." for m in marks[s.id]
        ]
        extra = ["Taken in a mirror."] if s.mirror else []
        extra += [f"Masked: {', '.join(s.masked)}."] if s.masked else []
        extra += [f"Scale: {s.scale}."] if s.scale else []
        caption = f" {s.caption}" if s.caption else ""
        return {
            "file": files[s.id],
            "width": s.width,
            "height": s.height,
            "turn": _TURNS[turns.get(s.id, 1)][0],
            "mirrored": _TURNS[turns.get(s.id, 1)][1],
            "marks": f"{s.id}.svg" if marks[s.id] else "",
            "alt": telling.alt(d, s, marks[s.id]),
            "name": s.id,
            "caption": f"{telling.place(d, s)}.{caption} {' '.join(numbered + extra)}".strip(),
        }

    def figures(rows: Iterable[StillRow]) -> list[dict[str, Any]]:
        return [f for s in rows if (f := figure(s))]

    def finding(f: FindingRow) -> dict[str, Any]:
        lines = [f"Severity {f.severity} of 4: {f.severity_words}. {f.certainty.capitalize()}."]
        lines[0] += f" {f.age.capitalize()}." if f.age != "not said" else ""
        if f.means:
            lines.append(f"Usually means: {f.means}.")
        if f.faked_by:
            lines.append(f"Can be faked by: {f.faked_by}. Checked: {f.fake_checked or 'no'}.")
        lines += [f.note] if f.note else []
        other = [f"{m.still} mark {m.number}" for m in f.marks if shown.get(m.still) != f.by.entry]
        if other:
            lines.append(f"Shown on: {', '.join(other)}.")
        return {
            "title": f"{f.words}{f', {f.where}' if f.where else ''}",
            "severity": f.severity,
            "lines": lines,
            "who": _who(f.by),
            "figures": figures(placed[f.by.entry]),
        }

    def part(p: telling.CylinderPart, title: str) -> dict[str, Any]:
        v = p.verdict
        guesses = []
        if v and v.leader:
            guesses.append(_hypothesis(v.leader, "Most likely"))
        if v and v.runner_up:
            guesses.append(_hypothesis(v.runner_up, v.second.capitalize(), 2))
        return {
            "title": title,
            "sign": LEVELS[p.line.level][0] if p.line else "",
            "level": p.line.level if p.line else "blank",
            "figures_line": p.line.figures if p.line else "",
            "words": v.words if v and p.line and v.words != p.line.word else "",
            "guesses": guesses,
            "findings": [finding(f) for f in p.findings],
            "figures": figures(p.stills),
        }

    engine_wide = d.verdict.engine
    return {
        "kicker": f"Findings pack {d.about.number} for the {d.about.reader}, {telling.moment(d.about.made)}",
        "title": d.about.name,
        "which": telling.which(d),
        "made": d.about.made[:10],
        "banner": "Invented demo engine. Nothing here was measured."
        if d.about.demo
        else f"Taken in from another logbook: all of it counts as told by {d.about.told_by}."
        if d.about.told_by
        else "",
        "lines": [
            [telling.label(d, x.cylinder), x.level, LEVELS[x.level][0], x.word, x.figures] for x in d.lines
        ],
        "call": d.verdict.call,
        "why": [b.text for b in d.verdict.why],
        "unknown": handover.unknown(d),
        "plan_alt": f"Cylinder plan: {d.engine.words}. {d.engine.numbering}.",
        "facts": [[f.label, f.value] for f in d.engine.facts],
        "groups": _groups(d),
        "rules": [
            f"{LEVELS[r.level][0]} {r.rule}: {handover.rule_words(r)}{f' [{r.source}]' if r.source else ''}"
            for r in d.rules
        ],
        "remarks": [
            f"{LEVELS[r.level][0]} {r.words}{f' [{r.source}]' if r.source else ''}" for r in d.remarks
        ],
        "codes": [
            f"{c.text}{f' Frozen data: {c.frozen}' if c.frozen else ''} ({_who(c.by)})"
            + "".join(f" {x}." for x in c.explained)
            for c in d.codes
        ],
        "answers": [
            [
                telling.label(d, s.cylinder) if s.cylinder is not None else "engine",
                s.label,
                f"{s.state} {s.note}".strip(),
                _who(s.by),
            ]
            for s in d.seen
        ],
        "legend": [f"{glyph} {state}" for state, glyph in telling.GLYPHS.items()],
        "grid_heads": [telling.label(d, c) for c in d.engine.cylinders],
        "grid": [[where, *(telling.GLYPHS.get(c, "·") for c in cells)] for where, cells in grid.rows],
        "whole_places": [f"{c.where}: {c.state}{f' ({c.why})' if c.why else ''}" for c in grid.engine],
        "whys": [f"Cylinder {c.cylinder}, {c.where}: {c.state}, {c.why}" for c in grid.whys],
        "cylinders": [
            part(p, f"Cylinder {telling.label(d, p.number or 0)}: {p.line.word if p.line else ''}")
            for p in parts
        ],
        "whole": part(whole, "The engine as a whole"),
        "engine_words": engine_wide.words if engine_wide else "",
        "engine_guesses": [_hypothesis(h, "Engine-wide") for h in engine_wide.hypotheses]
        if engine_wide
        else [],
        "gaskets": [b.text for b in engine_wide.gaskets] if engine_wide else [],
        "contradictions": [f"{c.words} {c.repeat}" for c in d.verdict.contradictions],
        "next": [f"{t.line}{''.join(f' Caution: {c}' for c in t.cautions)}" for t in d.verdict.next_tests],
        "money": _money(d.verdict.money),
        "calls": [f"{c.course}: {c.words} ({c.why}; {_who(c.by)})" for c in d.calls],
        "prices": [f"{f.label}: {f.value}" for f in d.prices],
        "truth": [
            f"{'Engine' if t.cylinder is None else f'Cylinder {t.cylinder}'}: {telling.fault_words(t)} ({t.known})"
            for t in d.truth
        ],
        "not_done": handover.not_done(d) or ["Every test of the list was done."],
        "said": [
            f'"{t.text}" - {t.told_by}{f", {t.on}" if t.on else ""}. Noted by {_who(t.by)}' for t in d.told
        ]
        + [
            f"Consent to open by {c.given_by or 'not noted'}{f', {c.on}' if c.on else ''}. Putting it back: "
            f"{c.put_back_price or 'not noted'}. Stop price: {c.stop_price or 'not noted'}. {c.text}"
            for c in d.consent
        ]
        + [
            f"{f'Cylinder {n.cylinder}. ' if n.cylinder is not None else ''}{n.text} ({_who(n.by)})"
            for n in d.notes
        ],
        "worst": _worst(d, figure),
        "cards": [asdict(c) for c in handover.cards(d)],
        "cautions": list(d.cautions),
        "record": [
            ["Inspection", d.about.inspection],
            ["Begun", telling.moment(d.about.opened)],
            ["Last entry", telling.moment(d.about.made)],
            ["Entries", str(d.about.entries)],
            ["Recorded by", ", ".join(telling.people(d)) or "not noted"],
            ["Made with", d.about.agent],
            ["Tables", d.verdict.tables],
        ],
        "changed": list(d.about.changed_since),
        "left_out": [f"{x.what}: {x.why}" for x in d.about.left_out] or ["Nothing."],
        "withdrawn": [f"{w.words} - {w.why}" for w in d.withdrawn],
        "digests": [[s.id, s.original] for s in d.stills],
        "limits": list(d.verdict.limits),
    }


def _groups(d: Document) -> list[dict[str, Any]]:
    groups = []
    for i, g in enumerate(telling.reading_groups(d)):
        noted = [f"{c.condition}: {c.value}" for c in g.conditions if c.value]
        blank = [c.condition.lower() for c in g.conditions if not c.value]
        groups.append(
            {
                "title": g.title,
                "chart": f"chart{i}.svg" if g.chart else "",
                "rows": [
                    [
                        telling.label(d, r.cylinder) if r.cylinder is not None else "engine",
                        r.typed,
                        f"{plain_number(r.standard)} {r.standard_unit}" if r.standard is not None else "",
                        " ".join([*telling.remarks(r), _who(r.by) + "."]),
                    ]
                    for r in g.rows
                ],
                "how": "; ".join(noted),
                "blank": ", ".join(blank),
            }
        )
    return groups


def _money(money: Money | None) -> dict[str, Any] | None:
    if money is None:
        return None
    lines = [*([money.sentence] if money.sentence else []), *money.stops]
    if money.most is not None:
        lines.append(f"Most to pay for the car as it stands: {telling.whole(money.most)} {money.currency}.")
    if money.profit is not None:
        lines.append(f"Left over the purchase price: {telling.whole(money.profit)} {money.currency}.")
    lines += [money.decides] if money.decides else []
    if money.movers:
        lines.append(f"What moves it most: {'; '.join(money.movers)}.")
    if money.placeholders:
        lines.append(f"Placeholders, not yet set by a person: {'; '.join(money.placeholders)}.")
    lines += [money.caution] if money.caution else []
    rows = [
        [c.label, telling.whole(c.worse), telling.whole(c.middle), telling.whole(c.better), c.words]
        for c in money.courses
    ]
    return {"currency": money.currency, "rows": rows, "lines": lines}


def _worst(d: Document, figure: Callable[[StillRow], dict[str, Any] | None]) -> list[dict[str, Any]]:
    """The worst findings that a still shows, each still once, at most four: for the cards of a chat."""
    stills = {s.id: s for s in d.stills}
    out: list[dict[str, Any]] = []
    used: set[str] = set()
    for f in handover.worst(d, 1):
        for m in f.marks:
            shown = figure(stills[m.still]) if m.still in stills and m.still not in used else None
            if shown is None:
                continue
            used.add(m.still)
            where = f"Cylinder {telling.label(d, f.cylinder)}: " if f.cylinder is not None else ""
            doubt = "" if f.certainty == "seen clearly" else f", {f.certainty}"
            out.append({"title": f"{where}{f.words}", "words": f"{f.severity_words}{doubt}", "figure": shown})
            break
    return out[:4]
