"""Commands that list what is recorded: nothing is loaded that enters or weighs it, so that they answer at once."""

from __future__ import annotations

import argparse

from borelog.acts import keeping
from borelog.cli.opening import bench_for, folder_of
from borelog.cli.printing import out, out_json, table


def list_(args: argparse.Namespace) -> int:
    """``borelog list``."""
    rows: list[keeping.Row] = []
    if folder_of(args).exists():
        with bench_for(args) as bench:
            rows = keeping.listed(bench)
    if args.json:
        out_json(rows, "borelog.list/1")
    elif not rows:
        out(
            "no inspections yet: 'borelog new NAME' opens one, 'borelog demo' shows an invented one, 'borelog take PACK' takes one in"
        )
    else:
        cells = [
            (
                str(r.number),
                r.name,
                r.engine or "-",
                r.changed_at[:10],
                r.worst or "-",
                r.taken_in or r.call or "open",
            )
            for r in rows
        ]
        out(table(cells, ("no", "name", "engine", "changed", "worst finding", "call")))
    return 0


def journal_(args: argparse.Namespace) -> int:
    """``borelog journal INSPECTION``."""
    with bench_for(args) as bench:
        rows = keeping.journal_rows(bench, bench.journal.find(args.inspection))
    if args.json:
        out_json(rows, "borelog.journal/1")
    else:
        out(
            table(
                [(r.id[:8], r.at, r.who, r.how or "-", r.words) for r in rows],
                ("entry", "when", "who", "how", "what"),
            )
        )
    return 0


def search_(args: argparse.Namespace) -> int:
    """``borelog search WORD ...``."""
    with bench_for(args) as bench:
        hits = keeping.search(bench, " ".join(args.words))
    if args.json:
        out_json(hits, "borelog.search/1")
    elif hits:
        out(
            table(
                [(str(h.number), h.name, h.entry[:8], h.state, h.words) for h in hits],
                ("no", "name", "entry", "state", "what"),
            )
        )
    else:
        out("nothing recorded holds these words")
    return 0 if hits else 1
