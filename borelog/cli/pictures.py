"""Commands around pictures."""

from __future__ import annotations

import argparse
import sys
import threading
from pathlib import Path

from borelog.acts import cards, filing, filming, picturing, scales, strips, watching
from borelog.acts.filing import Added
from borelog.acts.whereabouts import Spot, be_at
from borelog.cli.opening import UsageError, bench_for, pairs
from borelog.cli.printing import out, out_json, progress, table, tell, wrapped
from borelog.marks.places import Place, parse_place, place_words


def _place(text: str) -> Place | None:
    return parse_place(text) if text.strip() else None


def _added(added: Added, as_json: bool) -> int:
    if as_json:
        out_json(added, "borelog.add/1")
        return 1 if added.refused else 0
    for f in added.filed:
        where = "engine" if f.cylinder is None else f"cylinder {f.cylinder}"
        where += f", {place_words(f.place)}" if f.place else ""
        state = f"set aside: {f.aside}" if f.aside else "there already, filed here" if f.again else "filed"
        out(f"{f.still[:8]}  {f.name}  {state}, {where}")
        for remark in f.remarks:
            out(wrapped(remark, "            "))
    for r in added.refused:
        out(wrapped(f"not taken: {_said_once(r.name, r.why)}", "  ", ""))
    aside = sum(bool(f.aside) for f in added.filed)
    out(f"{len(added.filed) - aside} filed, {aside} set aside, {len(added.refused)} not taken")
    return 1 if added.refused else 0


def _said_once(name: str, why: str) -> str:
    """The name and why, where the reason does not begin with the name already."""
    return why if why.startswith(f"{name}:") else f"{name}: {why}"


def add(args: argparse.Namespace) -> int:
    """``borelog add INSPECTION PICTURE...``."""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        if args.card:
            card = cards.propose(
                bench, id_, args.pictures, progress("looking"), cards.pull_order(args.pulled)
            )
            if args.shift:
                card = cards.shifted(card, args.shift)
            if not args.accept:
                if args.json:
                    out_json(card.rows, "borelog.card/1")
                    return 0
                out(f"in order {card.proposal.order_by}")
                out(table(card.cells, ("picture", "cylinder", "shows", "why")))
                for r in card.refused:
                    out(wrapped(f"not taken: {_said_once(r.name, r.why)}", "  ", ""))
                out(
                    "this is a proposal: --accept files it, --views with what each may show, --shift 1 moves the run"
                )
                return 0
            done = cards.accept(
                bench, id_, card, with_views=args.views, probe=args.probe, progress=progress("filing")
            )
            return _added(done, args.json)
        added = filing.add_pictures(
            bench,
            id_,
            args.pictures,
            cylinder=args.cylinder,
            place=_place(args.place),
            probe=args.probe,
            mirror=args.mirror,
            progress=progress("filing"),
        )
    return _added(added, args.json)


def film(args: argparse.Namespace) -> int:
    """``borelog film INSPECTION FILM``."""
    if args.most < 1:
        raise UsageError("--most: at least one frame is kept")
    with bench_for(args) as bench:
        added = filming.add_film(
            bench,
            bench.journal.find(args.inspection),
            Path(args.film),
            cylinder=args.cylinder,
            place=_place(args.place),
            probe=args.probe,
            most=args.most,
            progress=progress("reading"),
        )
    return _added(added, args.json)


def watch(args: argparse.Namespace) -> int:
    """``borelog watch INSPECTION DIR``: until Ctrl+C, or for so many seconds."""
    if not 0 <= args.seconds <= threading.TIMEOUT_MAX:
        raise UsageError("--seconds: a time in seconds, 0 for no end")
    stop = threading.Event()
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        place = _place(args.place)
        spot = Spot(id_, args.cylinder, place) if args.cylinder is not None or place else None
        timer = threading.Timer(args.seconds, stop.set) if args.seconds > 0 else None
        if timer:
            timer.daemon = True
            timer.start()
        if Path(args.folder).is_dir():
            tell(f"watching {Path(args.folder).name}; Ctrl+C stops")
        try:
            for found in watching.watch(bench, id_, Path(args.folder), stop, spot=spot, probe=args.probe):
                if isinstance(found, filing.Refused):
                    out(wrapped(f"not taken: {_said_once(found.name, found.why)}"))
                elif found is not None:
                    where = "engine" if found.cylinder is None else f"cylinder {found.cylinder}"
                    state = (
                        f"set aside: {found.aside}"
                        if found.aside
                        else "there already"
                        if found.again
                        else "filed"
                    )
                    out(
                        f"{found.still[:8]}  {found.name}  {state}, {where}"
                        + (f", {place_words(found.place)}" if found.place else "")
                    )
                    sys.stdout.flush()
        finally:
            if timer:
                timer.cancel()
    return 0


def at(args: argparse.Namespace) -> int:
    """``borelog at INSPECTION -c 3 -p 'exhaust valve'``."""
    with bench_for(args) as bench:
        spot = Spot(bench.journal.find(args.inspection), args.cylinder, _place(args.place))
        be_at(bench, spot)
    where = "the engine" if spot.cylinder is None else f"cylinder {spot.cylinder}"
    out(f"at {where}" + (f", {place_words(spot.place)}" if spot.place else ""))
    return 0


def compare(args: argparse.Namespace) -> int:
    """``borelog compare A B -o OUT``."""
    done = picturing.compare_files(
        Path(args.first),
        Path(args.second),
        Path(args.out),
        thorough=args.thorough,
        pairs=args.pairs,
        gif=args.gif,
        threshold=args.threshold,
    )
    if args.json:
        out_json(done.values, "borelog.compare/1")
    else:
        for line in done.lines:
            out(wrapped(line, "  ", ""))
    return 0 if done.aligned else 1


def measure(args: argparse.Namespace) -> int:
    """``borelog measure NAME PICTURE key=value ...``."""
    if args.measure == "list":
        rows = picturing.measures()
        if args.json:
            out_json([{"name": n, "what": w, "parameters": p} for n, w, p in rows], "borelog.measure.list/1")
        else:
            out(table(rows, ("measure", "what", "parameters")))
        return 0
    if not args.picture:
        raise UsageError(
            "measure what? Name the picture after the measure; 'borelog measure list' names the measures"
        )
    result = picturing.measure_file(args.measure, Path(args.picture), pairs(args.values))
    if args.json:
        out_json(result.values, "borelog.measure/1")
    else:
        out(result.text)
    return 0


def lens(args: argparse.Namespace) -> int:
    """``borelog lens PICTURE... --inner 9x6``; with ``--into INSPECTION --probe NAME`` the lens is kept with the probe."""
    if bool(args.into) != bool(args.probe):
        raise UsageError(
            "--into INSPECTION and --probe NAME belong together: the lens is kept with that probe"
        )
    paths, missing = filing.found_under(args.pictures)
    result = picturing.calibrate(paths, args.inner, args.square)
    kept = ""
    if args.into:
        with bench_for(args) as bench:
            probe, _ = scales.note_probe(
                bench, bench.journal.find(args.into), args.probe, lens=result.values["lens"]
            )
            kept = f"kept with the probe: {scales.probe_words(probe)}"
    if args.json:
        out_json(result.values, "borelog.lens/1")
        return 0
    out(result.text)
    for r in missing:
        out(wrapped(f"not taken: {_said_once(r.name, r.why)}", "  ", ""))
    if kept:
        out(kept)
    return 0


def look(args: argparse.Namespace) -> int:
    """``borelog look PICTURE contrast=2 ...``."""
    result = picturing.shown_as(Path(args.picture), pairs(args.values), Path(args.out))
    if args.json:
        out_json(result.values, "borelog.look/1")
    else:
        out(wrapped(result.text, "  ", ""))
    return 0


def strip(args: argparse.Namespace) -> int:
    """``borelog strip INSPECTION PLACE -c 3``."""
    with bench_for(args, read_only=True) as bench:
        made = strips.strip_of(
            bench,
            bench.journal.find(args.inspection),
            parse_place(args.place),
            args.cylinder,
            lay=not args.plain,
            progress=progress("laying"),
        )
        path = strips.write_strip(made, Path(args.out))
    if args.json:
        out_json(
            {
                "file": str(path),
                "words": made.words,
                "stills": [
                    {"still": d.still, "at": d.at, "clock": d.clock, "name": d.name} for d in made.stills
                ],
                "remarks": list(made.remarks),
            },
            "borelog.strip/1",
        )
        return 0
    out(f"written: {path}")
    out(made.words)
    for remark in made.remarks:
        out(wrapped(remark, "  ", "  "))
    return 0


def forget(args: argparse.Namespace) -> int:
    """``borelog forget INSPECTION STILL --why ...``."""
    with bench_for(args) as bench:
        inspection = bench.inspection(bench.journal.find(args.inspection))
        still = filing.still_named(inspection, args.still)
        if not args.yes:
            if not sys.stdin.isatty():
                raise UsageError("this cannot be undone: say --yes to remove the bytes for good")
            tell(
                f"remove {still.body.name} ({still.body.sha256[:12]}) for good? Its digest, who and why remain. Type yes:"
            )
            if sys.stdin.readline().strip().lower() != "yes":
                out("nothing removed")
                return 1
        bench.forget(still.body.sha256, args.why)
    out(f"removed for good: {still.body.name}; its digest {still.body.sha256[:12]}, who and why remain")
    return 0
