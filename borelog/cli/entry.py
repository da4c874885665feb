"""Commands that open, enter and correct."""

from __future__ import annotations

import argparse
import sys
from dataclasses import asdict
from pathlib import Path

from borelog.acts import entering, keeping
from borelog.acts.facts import set_facts
from borelog.acts.sheet.printing import sheet_text
from borelog.acts.sheet.recording import SheetResult, record_lines, record_text
from borelog.acts.words import body_words
from borelog.cli.opening import UsageError, bench_for, pairs
from borelog.cli.printing import out, out_json, table, tell
from borelog.knowledge.facts import facts
from borelog.text import one_line


def new(args: argparse.Namespace) -> int:
    """``borelog new NAME [fact=value ...]``."""
    values = pairs(args.values)
    with bench_for(args, create=True) as bench:
        earlier = bench.journal.find(args.earlier) if args.earlier else ""
        inspection = entering.open_inspection(bench, args.name, facts=values)
        if earlier:
            entering.link_earlier(bench, inspection, earlier)
        number = bench.journal.number(inspection)
        alike = [r.number for r in bench.journal.summaries() if r.name == args.name and r.number != number]
    if alike:
        tell(f"note: {', '.join(map(str, alike))} has this name too; use the number to tell them apart")
    if args.json:
        out_json({"inspection": inspection, "number": number, "name": args.name}, "borelog.new/1")
    else:
        out(f"inspection {number} opened: {one_line(args.name, 60)}")
    return 0


def set_(args: argparse.Namespace) -> int:
    """``borelog set INSPECTION fact=value ...``."""
    values = pairs(args.values)
    if not values:
        raise UsageError(
            "set what? For example: borelog set last layout='inline 4' bore=81; 'borelog facts' lists the names"
        )
    with bench_for(args) as bench:
        inspection = bench.journal.find(args.inspection)
        body = set_facts(bench, inspection, values)
    out(f"saved: {body_words(body, 300)}")
    return 0


def facts_(args: argparse.Namespace) -> int:
    """``borelog facts``."""
    if args.json:
        out_json(list(facts().values()), "borelog.facts/1")
        return 0
    rows = [(f.id, f.label, " | ".join(f.choices) or f.unit or f.kind) for f in facts().values()]
    out(table(rows, ("name", "what", "how it may be typed")))
    return 0


def _faults(words: list[str]) -> list[dict[str, str]]:
    from borelog.knowledge.faults import shipped

    return [
        {"id": f.id, "label": f.label, "bill": f.bill}
        for f in shipped().faults.values()
        if f.scope in ("cylinder", "pair", "engine")
        and all(w.lower() in f"{f.id} {f.label}".lower() for w in words)
    ]


def terms_(args: argparse.Namespace) -> int:
    """``borelog terms [WORD ...]``."""
    if args.faults:
        head: tuple[str, ...] = ("id", "label", "bill")
        found = _faults(args.words)
    else:
        from borelog.marks.vocabulary import search, terms

        head = ("id", "term", "component", "looks_like")
        found = [asdict(t) for t in search(" ".join(args.words), len(terms()))]
    if args.json:
        out_json(found, "borelog.terms/1")
    elif found:
        out(
            table(
                [tuple(str(row[name]) for name in head) for row in found], [h.replace("_", " ") for h in head]
            )
        )
    else:
        out("no term holds these words; own words may be used: 'own words here @ crown'")
    return 0 if found else 1


def sheet(args: argparse.Namespace) -> int:
    """``borelog sheet INSPECTION``."""
    with bench_for(args) as bench:
        inspection = bench.inspection(bench.journal.find(args.inspection))
        out(sheet_text(inspection, blank=args.blank, sections=args.sections).rstrip("\n"))
    return 0


def _source(name: str) -> tuple[str, str]:
    if name == "-":
        return sys.stdin.read(), "standard input"
    path = Path(name)
    try:
        return path.read_text(encoding="utf-8"), path.name
    except UnicodeDecodeError as error:
        raise UsageError(f"{one_line(path.name, 60)} is not UTF-8 text; save the sheet as UTF-8") from error


def _report(result: SheetResult, args: argparse.Namespace, dry_run: bool, source: str = "") -> int:
    """Say what changed; ``source`` is the sheet's name, '' for one line typed as a command."""
    if args.json:
        out_json(result, "borelog.record/1")
        return 0 if result.clean else 1
    verb = "would be " if dry_run else ""
    for c in result.changes:
        was = f"   (was: {c.before})" if c.before else ""
        at = f"line {c.line}: " if source else ""
        out(f"{'~' if c.before else '+'} {at}{verb}{c.kind}: {c.words}{was}")
    for t in result.troubles:
        at = f"line {t.line}, " if source else ""
        out(f"? {at}{t.kind}: {t.words}")
    left_out = sum(t.kind == "left out" for t in result.troubles)
    doubtful = len(result.troubles) - left_out
    out(
        f"{len(result.changes)} {'would be ' if dry_run else ''}saved, {result.same} said already, "
        f"{doubtful} doubtful (kept as typed), {left_out} left out"
    )
    if left_out and source:
        tell(f"mend the lines left out and record {source} again: only the differences go in")
    return 0 if result.clean else 1


def record(args: argparse.Namespace) -> int:
    """``borelog record INSPECTION SHEET``."""
    text, source = _source(args.sheet)
    with bench_for(args) as bench:
        result = record_text(bench, bench.journal.find(args.inspection), text, source, dry_run=args.dry_run)
    return _report(result, args, args.dry_run, source)


def note(args: argparse.Namespace) -> int:
    """``borelog note INSPECTION SECTION key=value ...``."""
    args.json = False
    with bench_for(args) as bench:
        result = record_lines(bench, bench.journal.find(args.inspection), args.section, pairs(args.values))
    return _report(result, args, False)


def undo_(args: argparse.Namespace) -> int:
    """``borelog undo INSPECTION``."""
    with bench_for(args) as bench:
        out(f"undone: {entering.undo(bench, bench.journal.find(args.inspection))}")
    return 0


def redo_(args: argparse.Namespace) -> int:
    """``borelog redo INSPECTION``."""
    with bench_for(args) as bench:
        out(f"brought back: {entering.redo(bench, bench.journal.find(args.inspection))}")
    return 0


def withdraw_(args: argparse.Namespace) -> int:
    """``borelog withdraw INSPECTION ENTRY``."""
    with bench_for(args) as bench:
        inspection = bench.journal.find(args.inspection)
        target = keeping.entry_named(bench.inspection(inspection), args.entry)
        entering.withdraw(bench, inspection, target.id, args.why)
    out(f"withdrawn: {body_words(target.body)}")
    return 0
