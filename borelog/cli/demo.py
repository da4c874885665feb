"""The demo: builds the invented engines, tours the first, lists the others, opens the screens."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from borelog.acts import judging
from borelog.acts.bench import demo_logbook, open_bench
from borelog.acts.packing import hand_over
from borelog.cli.opening import UsageError
from borelog.cli.printing import out, progress, wrapped
from borelog.cli.reports import show_text, verdict_text
from borelog.demo.engines import ENGINES, build_demo


def demo(args: argparse.Namespace) -> int:
    """``borelog demo``."""
    folder = Path(args.logbook) if args.logbook else demo_logbook()
    named = args.engine or ENGINES[0].id
    engine = next((e for e in ENGINES if named.lower() in (e.id, e.title.lower())), None)
    if engine is None:
        raise UsageError(f"the demo engines are {', '.join(e.id for e in ENGINES)}")
    bench = open_bench(folder, who=args.who or "demo")
    try:
        out("DEMO: engines, names and numbers are invented.")
        ids = build_demo(bench)
        id_ = ids[engine.id]
        judged = judging.verdict_of(bench, id_)
        show_text(bench.inspection(id_), bench.journal.number(id_), judged.verdict)
        out()
        verdict_text(judged)
        out()
        show = progress("packing")
        target = Path(args.out) if args.out != "." else folder / "packs"
        handed = hand_over(
            bench, id_, target, reader="buyer", zipped=True, progress=lambda d, n, w: show(d, n)
        )
        out(f"findings pack for a buyer: {handed.built.folder}")
        out(f"  read it: {handed.built.folder / 'report.html'}")
        out()
        out("the other demo engines:")
        for e in ENGINES:
            if e is not engine:
                out(wrapped(f"borelog demo --engine {e.id}   {e.title}: {e.story}", "    ", "  "))
        out(f"demo logbook: {folder}")
        if not args.no_screen and sys.stdin.isatty() and sys.stdout.isatty():
            from borelog.tui.app import run

            run(bench)
    finally:
        bench.journal.close()
    return 0
