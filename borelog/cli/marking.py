"""Commands that file stills elsewhere, mark them, set their scale, and note the probe they came from."""

from __future__ import annotations

import argparse
from pathlib import Path

from borelog.acts import copies, filing, marking, scales
from borelog.acts.bench import Bench
from borelog.cli.opening import UsageError, bench_for, pairs
from borelog.cli.printing import out, out_json, table, wrapped
from borelog.logbook.entries import Finding, Mark, StillFiled
from borelog.logbook.inspection import Inspection
from borelog.marks.places import parse_place, place_words
from borelog.marks.shapes import Ellipse, Line, Shape
from borelog.marks.vocabulary import AGE, CERTAINTY, term
from borelog.quantity import parse
from borelog.text import counted


def place(args: argparse.Namespace) -> int:
    """``borelog place INSPECTION STILL... -c 3 -p 'exhaust valve'``; 'A..B' is a run."""
    changes: dict[str, object] = {}
    if args.cylinder is not None or args.engine:
        changes["cylinder"] = None if args.engine else args.cylinder
    for name in ("caption", "reading"):
        if getattr(args, name) is not None:
            changes[name] = getattr(args, name)
    if args.place is not None:
        changes["place"] = parse_place(args.place) if args.place.strip() else None
    if args.aside is not None:
        changes["aside"] = args.aside
    if args.back:
        changes["aside"] = ""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        stills = filing.stills_named(bench.inspection(id_), args.stills)
        if args.shift:
            moved = filing.shift_run(bench, id_, stills, args.shift)
            out(f"{moved} stills moved by {args.shift:+d} in the order of the cylinders")
            return 0
        if not changes:
            raise UsageError("place where? Say -c, -p, --engine, --aside WHY, --back, --caption or --shift")
        for still in stills:
            body = filing.place_still(bench, id_, still, **changes)
            where = "engine" if body.cylinder is None else f"cylinder {body.cylinder}"
            where += f", {place_words(body.place)}" if body.place else ""
            out(f"{still[:8]}  {where}" + (f"; set aside: {body.aside}" if body.aside else ""))
    return 0


def _typed_shapes(values: dict[str, str], args: argparse.Namespace) -> list[Shape]:
    if not values:
        raise UsageError(f"mark what? {'; '.join(usage for _, _, usage in marking.SHAPES.values())}")
    return [marking.shape_typed(kind, typed, lambda: args.pixels()) for kind, typed in values.items()]


def mark(args: argparse.Namespace) -> int:
    """``borelog mark INSPECTION STILL box=x,y x,y --finding ex_notch``."""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        inspection = bench.inspection(id_)
        still = filing.still_named(inspection, args.still).body
        args.pixels = lambda: filing.pixels_of(bench, still.sha256)
        shapes = _typed_shapes(pairs(args.values), args)
        for shape in shapes:
            marking.check_inside(shape, still)
        if args.mask is not None:
            for shape in shapes:
                marking.mask_still(bench, id_, still.sha256, shape, args.mask)
            out(f"{counted(len(shapes), 'area')} of {still.name} filled in every copy that leaves the house")
            return 0
        finding = _finding(args, inspection, still)
        entry = args.to
        rows = []
        for shape in shapes:
            made = Mark(still.sha256, shape, args.label)
            if args.measure:
                made = marking.measured(inspection, made)
            stored = marking.mark_still(bench, id_, made, None if entry else finding, entry)
            entry = entry or (stored.entry.id if finding else "")
            rows.append({"entry": stored.entry.id, "still": still.sha256, "measure": made.measure})
    if args.json:
        out_json({"marks": rows}, "borelog.mark/1")
        return 0
    for row in rows:
        out(
            wrapped(
                f"{row['entry'][:8]}  marked on {still.name}"
                + (f": {row['measure']}" if row["measure"] else "")
            )
        )
    if finding and not args.to and args.finding:
        known = term(args.finding)
        if known.classic_fake and len(shapes) < 2:
            out(
                wrapped(
                    f"could it be {known.faked_by}? Take a second still, and add it with --to {entry[:8]}"
                )
            )
    return 0


def _finding(args: argparse.Namespace, inspection: Inspection, still: StillFiled) -> Finding | None:
    if not (args.finding or args.own):
        return None
    placed = filing.placed_of(inspection, still.sha256)
    known = term(args.finding) if args.finding else None
    severity = args.severity if args.severity is not None else known.severity if known else 1
    return Finding(
        term=known.id if known else "own",
        cylinder=args.cylinder if args.cylinder is not None else placed.cylinder,
        place=parse_place(args.place) if args.place.strip() else placed.place,
        component=known.component if known else "",
        own=args.own,
        severity=severity,
        certainty=args.certainty or CERTAINTY[0],
        age=args.age or AGE[0],
        fake_checked=args.checked,
    )


def scale(args: argparse.Namespace) -> int:
    """``borelog scale INSPECTION STILL line=x,y x,y length='14 mm'``."""
    values = pairs(args.values)
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        inspection = bench.inspection(id_)
        filed = filing.still_named(inspection, args.still).body
        still = filed.sha256
        known = {"line", "circle", "thread", "length", "diameter", "pitch", "distance", "nearer", "what"}
        if strange := sorted(set(values) - known):
            raise UsageError(f"a scale has no {strange[0]!r}; it takes {', '.join(sorted(known))}")
        what = values.pop("what", "")

        def shape(kind: str, typed: str) -> Shape:
            made = marking.shape_typed(kind, typed, lambda: filing.pixels_of(bench, still))
            marking.check_inside(made, filed)
            return made

        if "line" in values:
            line = shape("line", values["line"])
            assert isinstance(line, Line)
            found = scales.from_known_length(inspection, still, line, _mm(values, "length"))
            at = scales.middle_of(line)
        elif "circle" in values:
            rim = shape("ellipse", values["circle"]) if values["circle"] != "rim" else _rim(bench, still)
            assert isinstance(rim, Ellipse)
            found = scales.from_known_round(
                inspection, still, rim, _mm(values, "diameter"), values.get("nearer", "")
            )
            at = scales.middle_of(rim)
        elif "thread" in values:
            from borelog.stills.typed import points

            ends = points(values["thread"], "thread", 4)
            lines = [Line(*ends[0], *ends[1]), Line(*ends[2], *ends[3])]
            pitch = _mm(values, "pitch") if values.get("pitch") else 1.25
            away = _mm(values, "distance") if values.get("distance") else None
            found = scales.from_known_thread(filing.pixels_of(bench, still), lines, pitch, away)
            at = scales.middle_of(lines[0])
        else:
            raise UsageError(
                "by what? line=x,y x,y length=14 mm; circle=rim or x,y x,y diameter=81 mm [nearer=left]; "
                "thread=x,y x,y x,y x,y [pitch=1.25] [distance=170]"
            )
        body = scales.set_scale(bench, id_, still, found, at, what)
    if args.json:
        out_json(body, "borelog.scale/1")
    else:
        out(wrapped(f"{body.mm_per_px:.4g} mm per px, standard uncertainty {found.u_rel:.1%}, {body.plane}"))
        out(wrapped(f"rests on {body.rests_on}", "  ", "  "))
    return 0


def _mm(values: dict[str, str], name: str) -> float:
    if not values.get(name):
        raise UsageError(f"how long is it? {name}=14.2 mm")
    return parse(values[name], "mm").to("mm")


def _rim(bench: Bench, still: str) -> Ellipse:
    from borelog.stills.rim import find_rim

    image = filing.pixels_of(bench, still)
    height, width = image.shape[:2]
    return find_rim(image, width / 2, height / 2).shape


def probe(args: argparse.Namespace) -> int:
    """``borelog probe INSPECTION [NAME] [--mirror yes] [--roll DEGREES]``."""
    with bench_for(args) as bench:
        id_ = bench.journal.find(args.inspection)
        if args.name:
            roll = parse(args.roll, "deg").to("deg") if args.roll else None
            mirror = args.mirror == "yes" if args.mirror else None
            noted, turned = scales.note_probe(bench, id_, args.name, mirror=mirror, roll=roll)
            if not args.json:
                out(scales.probe_words(noted) + (f"; {turned} stills turned with it" if turned else ""))
                return 0
        all_of = scales.probes(bench.inspection(id_))
    if args.json:
        out_json(list(all_of), "borelog.probe/1")
    elif all_of:
        rows = [
            (p.name, "yes" if p.mirror else "no", f"{p.roll:g}°", "yes" if p.lens else "no") for p in all_of
        ]
        out(table(rows, ("probe", "mirror", "roll", "lens")))
    else:
        out("no probe is noted; 'borelog probe INSPECTION NAME --mirror yes --roll 90' notes one")
    return 0


def copy(args: argparse.Namespace) -> int:
    """``borelog copy INSPECTION STILL -o FILE.png``."""
    with bench_for(args, create=False) as bench:
        id_ = bench.journal.find(args.inspection)
        still = filing.still_named(bench.inspection(id_), args.still).body
        path = Path(args.out)
        if path.is_dir():
            path = path / f"{Path(still.name).stem}-marked.png"
        done = copies.write_copy(
            bench, id_, still.sha256, path, words=not args.numbers, masked=not args.unmasked
        )
    if args.json:
        plain = {
            "file": str(done.file),
            "marks": done.marks,
            "masks": done.masks,
            "legend": list(done.legend),
        }
        out_json(plain, "borelog.copy/1")
        return 0
    filled = f", {counted(done.masks, 'area')} filled" if done.masks else ""
    out(f"written: {done.file}, {counted(done.marks, 'mark')}{filled}")
    for line in done.legend:
        out(wrapped(line, "     ", "  "))
    return 0
