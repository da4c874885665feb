"""Commands that hand over and take in."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from borelog.acts.packing import hand_over
from borelog.cli.opening import UsageError, bench_for
from borelog.cli.printing import out, out_json, progress, wrapped


def pack(args: argparse.Namespace) -> int:
    """``borelog pack INSPECTION -o DIR``."""
    show = progress("packing")
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        handed = hand_over(
            bench,
            id_,
            Path(args.out),
            reader=args.reader,
            zipped=args.zip,
            paper="us-letter" if args.letter else "a4",
            also=args.also,
            cards=args.cards,
            coco=args.coco,
            key=Path(args.sign) if args.sign else None,
            progress=lambda done, of, words: show(done, of),
        )
    built = handed.built
    if args.json:
        body = {
            "folder": str(built.folder),
            "zip": str(built.zip) if built.zip else None,
            "number": built.document.about.number,
            "digest": built.digest,
            "left_out": handed.left_out,
            "remarks": handed.remarks,
        }
        out_json(body, "borelog.pack/1")
        return 0
    out(f"pack {built.document.about.number} for the {args.reader}: {built.folder}")
    if built.zip:
        out(f"zip: {built.zip}")
    for card in built.cards:
        out(f"card: {card}")
    for x in handed.left_out:
        out(wrapped(f"left out: {x}", "  "))
    for r in handed.remarks:
        out(wrapped(r, "  "))
    return 0


def check(args: argparse.Namespace) -> int:
    """``borelog check PACK``."""
    from borelog.pack.check import check as look

    if bool(args.signers) != bool(args.by):
        raise UsageError(
            "--signers and --by go together: a file of allowed signers, and whose signature it must be"
        )
    result = look(
        Path(args.pack), signers=Path(args.signers) if args.signers else None, who=args.by, views=args.views
    )
    if args.json:
        out_json(asdict(result), "borelog.check/1")
    else:
        for line in result.lines:
            out(wrapped(line, "  ", ""))
    return 0 if result.good else 1


def take(args: argparse.Namespace) -> int:
    """``borelog take PACK``."""
    from borelog.acts.taking import take_in

    show = progress("taking in")
    with bench_for(args, create=True) as bench:
        taken = take_in(bench, Path(args.pack), progress=lambda done, of, words: show(done, of))
    if args.json:
        out_json(asdict(taken), "borelog.take/1")
    else:
        for line in taken.lines:
            out(wrapped(line))
    return 0
