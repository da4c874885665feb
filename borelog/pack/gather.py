"""From an inspection, its engine and a verdict to the document of one reader. Pure: no disk, no clock."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

import msgspec

import borelog
from borelog.knowledge.facts import facts as fact_table
from borelog.knowledge.procedures import cautions, procedures
from borelog.logbook import entries as e
from borelog.logbook.chain import head_digest
from borelog.logbook.inspection import Inspection
from borelog.logbook.pictures import DIGEST
from borelog.marks.places import place_words
from borelog.pack import rows
from borelog.pack.coding import canonical
from borelog.pack.document import (
    About,
    CylinderLine,
    Document,
    EngineSection,
    Fact,
    FindingRow,
    HandOver,
    Head,
    ReadingRow,
    RuleRow,
    StillRow,
    Verdict,
)
from borelog.pack.privacy import Share, share_of, shortened
from borelog.quantity import plain_number
from borelog.readings.repeats import counted
from borelog.text import one_line
from borelog.verdict.judged import Level

if TYPE_CHECKING:
    from borelog.engine.engine import Engine

_KINDS = {"inline": "inline", "vee": "v", "flat": "flat", "staggered": "inline"}
_FIGURES = ("compression_dry", "leakdown", "compression_wet", "compression_warm")
_SHORT = {"compression_dry": "", "leakdown": "leak ", "compression_wet": "wet ", "compression_warm": "warm "}


def still_ids(inspection: Inspection) -> dict[str, str]:
    """Digest of each original to its id in the pack: s001, s002 ... in the order of filing.

    What carries no digest came from elsewhere and can be no file of ours.
    """
    filed = dict.fromkeys(
        r.body.sha256 for r in inspection.of(e.StillFiled) if DIGEST.fullmatch(r.body.sha256)
    )
    return {sha256: f"s{i:03d}" for i, sha256 in enumerate(filed, 1)}


def pack_number(inspection: Inspection) -> int:
    """The number of the next pack: one more than the highest handed over."""
    return 1 + max((r.body.number for r in inspection.of(e.HandedOver)), default=0)


def gather(
    inspection: Inspection,
    engine: Engine | None,
    verdict: Verdict,
    *,
    reader: str = "archive",
    also: Collection[str] = (),
    rules: Sequence[RuleRow] = (),
    entries: Sequence[e.Stored] = (),
) -> Document:
    """The document, with stills as they were filed; the builder adds which file each became.

    Parameters
    ----------
    inspection, engine, verdict
        The record, its engine (None: layout not said) and what was made of it.
    reader
        One of ``privacy.READERS``.
    also
        Items of the readers table this reader gets in addition.
    rules
        Rules applied to the readings.
    entries
        The journal's entries, from which 'changed since the last pack' is told.

    Raises
    ------
    PackError
        For a reader or item that does not exist.
    """
    share = share_of(reader, also)
    cylinders = engine.cylinders if engine else _mentioned(inspection)
    ids = still_ids(inspection)
    counts: dict[str, int] = {}
    keep = "withdrawn" in share
    found = rows.findings(inspection, ids, counts, keep)
    stills = _stills(inspection, share, ids, counts)
    readings = rows.readings(inspection, ids, keep)
    told = rows.told(inspection)
    consents, notes, calls = rows.consents(inspection), rows.notes(inspection), rows.calls(inspection)
    prices = _facts_of(inspection, "prices")
    gone = rows.withdrawn(inspection)
    judged = _with_money_for(share, verdict)
    present = {
        "originals": sum(1 for s in stills if s.missing == ""),
        "journal": inspection.entries,
        "films": sum(1 for s in stills if not _is_picture(s.format)),
        "chassis_full": int(len(inspection.facts.get("chassis_number", "").strip()) > 6),
        "plate": int(bool(inspection.facts.get("plate"))),
        "told": len(told),
        "consent": len(consents),
        "notes": len(notes),
        "courses": len(verdict.money.courses) if verdict.money else 0,
        "own_prices": len(prices),
        "purchase": int(_hangs_on_purchase(verdict)),
        "calls": len(calls),
        "file_names": sum(1 for r in inspection.of(e.StillFiled) if r.body.name or r.body.camera),
        "withdrawn": len(gone) + sum(len(r.earlier) for g in inspection.things.values() for r in g),
        "hand_overs": len(inspection.of(e.HandedOver)),
    }
    document = Document(
        about=_about(inspection, share, present, entries),
        engine=_engine(inspection, engine, share, cylinders),
        lines=_lines(cylinders, verdict, readings, found, stills),
        verdict=judged,
        readings=readings,
        conditions=rows.conditions(inspection),
        rules=tuple(rules),
        remarks=rows.remarks(inspection),
        seen=rows.seen(inspection),
        coverage=rows.coverage(inspection, cylinders),
        tests=rows.tests(inspection, cylinders),
        findings=found,
        stills=stills,
        codes=rows.codes(inspection, engine),
        told=told if "told" in share else (),
        consent=consents if "consent" in share else (),
        notes=notes if "notes" in share else (),
        truth=rows.truths(inspection),
        calls=calls if "calls" in share else (),
        prices=prices if "own_prices" in share else (),
        withdrawn=gone if keep else (),
        cautions=_cautions(inspection, verdict),
        journal=_heads(inspection) if "journal" in share else (),
    )
    return canonical(document)


def _hangs_on_purchase(verdict: Verdict) -> bool:
    money = verdict.money
    return money is not None and not (
        money.profit is None and money.most is None and all(c.loss_chance is None for c in money.courses)
    )


def _with_money_for(share: Share, verdict: Verdict) -> Verdict:
    """The verdict with as much money as a reader gets. Money stands apart from the words, so nothing is cut out of them.

    From a course's chance of a loss and its range the purchase price could be worked out, so it goes with the profit.
    """
    if "courses" not in share or verdict.money is None:
        tests = tuple(msgspec.structs.replace(t, worth=None, gain="") for t in verdict.next_tests)
        return msgspec.structs.replace(verdict, money=None, next_tests=tests)
    if "purchase" in share:
        return verdict
    courses = tuple(msgspec.structs.replace(c, loss_chance=None) for c in verdict.money.courses)
    money = msgspec.structs.replace(verdict.money, profit=None, most=None, courses=courses)
    return msgspec.structs.replace(verdict, money=money)


def _mentioned(inspection: Inspection) -> tuple[int, ...]:
    kinds = (e.Reading, e.Finding, e.Seen, e.StillPlaced, e.Looked)
    said = (getattr(r.body, "cylinder", None) for kind in kinds for r in inspection.things.get(kind, ()))
    numbers = {c for c in said if c is not None}
    return tuple(sorted(numbers))


def _is_picture(format_: str) -> bool:
    from borelog.stills.kinds import PICTURES

    return format_ in PICTURES


def _about(
    inspection: Inspection, share: Share, present: dict[str, int], entries: Sequence[e.Stored]
) -> About:
    overs = sorted(inspection.of(e.HandedOver), key=lambda r: r.body.number)
    taken = inspection.of(e.TakenIn)
    return About(
        inspection=inspection.id,
        name=one_line(inspection.name, 200),
        demo=inspection.demo,
        number=pack_number(inspection),
        reader=share.reader,  # type: ignore[arg-type]
        made=one_line(inspection.changed_at, 40),
        opened=one_line(inspection.opened_at, 40),
        entries=inspection.entries,
        agent=f"borelog {borelog.__version__}",
        told_by=one_line(taken[-1].body.by, 160) if taken else "",
        changed_since=changed_since(entries),
        earlier_packs=tuple(
            HandOver(
                number=r.body.number, reader=one_line(r.body.reader, 40), at=r.version.at, digest=one_line(r.body.digest, 80)
            )
            for r in overs
        )
        if "hand_overs" in share
        else (),
        left_out=share.left_out(present),
        from_newer_version=len(inspection.unknown),
    )  # fmt: skip


def changed_since(entries: Sequence[e.Stored]) -> tuple[str, ...]:
    """What came in after the last pack was handed over, counted by kind, in words; empty where none was."""
    overs = [s for s in entries if isinstance(s.body, e.HandedOver)]
    if not overs:
        return ()
    last = max(overs, key=lambda s: s.order)
    known: dict[str, int] = {last.entry.writer: last.entry.number}
    for s in entries:
        if s.entry.writer == last.entry.writer and s.entry.number <= last.entry.number:
            for writer, count in s.entry.seen.items():
                known[writer] = max(count, known.get(writer, 0))
    fresh = [s for s in entries if s.entry.number > known.get(s.entry.writer, 0)]
    counts: dict[str, int] = {}
    for s in fresh:
        body = s.body.body if isinstance(s.body, e.Correct) else s.body
        kind = _WORDS.get(type(body).__name__, "other entry")
        if isinstance(s.body, e.Correct):
            kind = f"correction of a {kind}"
        counts[kind] = counts.get(kind, 0) + 1
    number = last.body.number if isinstance(last.body, e.HandedOver) else 0
    if not counts:
        return (f"nothing since pack {number}",)
    return tuple(f"{n} x {kind} since pack {number}" for kind, n in sorted(counts.items()))


_WORDS = {
    "Facts": "fact", "Conditions": "condition", "Reading": "reading", "Seen": "answer", "Looked": "coverage",
    "Codes": "trouble code list", "Told": "statement", "Consent": "consent", "Note": "note", "StillFiled": "still",
    "StillPlaced": "placing of a still", "Marked": "mark", "Finding": "finding", "Scaled": "scale",
    "MaskDrawn": "mask", "Prices": "price", "CallTaken": "decision", "Truth": "result after opening",
    "HandedOver": "hand-over", "Withdraw": "withdrawal", "Undo": "undo", "Redo": "redo",
}  # fmt: skip


def _heads(inspection: Inspection) -> tuple[Head, ...]:
    return tuple(Head(writer=w, entries=n, digest=d) for w, (n, d) in sorted(inspection.heads.items()) if d)


def journal_state(inspection: Inspection) -> str:
    """The digest of the journal at this moment, as a hand-over entry keeps it."""
    return head_digest(inspection.heads)


def _facts_of(inspection: Inspection, what: str) -> tuple[Fact, ...]:
    values = inspection.prices if what == "prices" else inspection.facts
    return tuple(
        Fact(
            id=one_line(k, 60), label=one_line(k.replace("_", " "), 80), value=one_line(v, 200), group=what,
            entry=inspection.sources.get((what, k), ""),
        )
        for k, v in values.items()
    )  # fmt: skip


def _engine(
    inspection: Inspection, engine: Engine | None, share: Share, cylinders: tuple[int, ...]
) -> EngineSection:
    shown = []
    known = fact_table()
    for fact in _facts_of(inspection, "facts"):
        row = known.get(fact.id)
        value = fact.value
        if fact.id == "plate" and "plate" not in share:
            continue
        if fact.id == "chassis_number" and "chassis_full" not in share:
            value = shortened(value)
        if row:
            unit = (
                f" {row.unit}"
                if row.unit and row.kind == "number" and not any(c.isalpha() for c in value)
                else ""
            )
            fact = msgspec.structs.replace(fact, label=row.label, group=row.group)
            value += unit
        shown.append(msgspec.structs.replace(fact, value=value))
    order = {f: i for i, f in enumerate(known)}
    facts = tuple(sorted(shown, key=lambda f: (order.get(f.id, 99), f.id)))
    if engine is None:
        return EngineSection(
            words="layout not said", kind="not said", cylinders=cylinders, banks=(cylinders,) if cylinders else (),
            bank_names=(), firing_order=(), numbering="not said", facts=facts,
        )  # fmt: skip
    from borelog.engine.plan import plan_grid

    grid = plan_grid(engine)
    return EngineSection(
        words=engine.name,
        kind=_KINDS[engine.layout],  # type: ignore[arg-type]
        cylinders=engine.cylinders,
        banks=engine.banks,
        bank_names=tuple(f"bank {i}, {side}" if side else "" for i, side in enumerate(engine.sides, 1)),
        firing_order=engine.firing_order or (),
        numbering=grid.note,
        facts=facts,
        labels=tuple(engine.label(c) for c in engine.cylinders),
        spots=tuple((c.cylinder, c.row, c.column) for c in grid.cells),
        heads=grid.heads,
        ends=(grid.top, grid.bottom),
        intake=grid.intake,
        bridges=grid.bridges,
    )


def _stills(
    inspection: Inspection, share: Share, ids: dict[str, str], counts: dict[str, int]
) -> tuple[StillRow, ...]:
    placed = {r.body.still: r.body for r in inspection.of(e.StillPlaced)}
    scales = {r.body.still: r.body for r in inspection.of(e.Scaled)}
    free: dict[str, list[e.Mark]] = {}
    for marked in inspection.of(e.Marked):
        free.setdefault(marked.body.mark.still, []).append(marked.body.mark)
    masks: dict[str, list[str]] = {}
    for mask in inspection.of(e.MaskDrawn):
        masks.setdefault(mask.body.still, []).append(one_line(mask.body.what, 60) or "area")
    names = "file_names" in share
    out: list[StillRow] = []
    for r in inspection.of(e.StillFiled):
        b, p = r.body, placed.get(r.body.sha256)
        if b.sha256 not in ids or ids[b.sha256] in {s.id for s in out}:
            continue
        scale = scales.get(b.sha256)
        out.append(
            StillRow(
                id=ids[b.sha256], by=rows.by(r), original=b.sha256, format=one_line(b.format, 40), width=b.width,
                height=b.height, orientation=b.orientation if 1 <= b.orientation <= 8 else 1,
                cylinder=p.cylinder if p else None, where=place_words(p.place) if p and p.place else "",
                place=rows.clean_place(p.place) if p else None,
                caption=rows.long(p.caption) if p else "", mirror=bool(p and p.mirror), roll=p.roll if p else 0.0,
                probe=one_line(p.probe, 60) if p else "", taken=one_line(b.taken, 40),
                camera=one_line(b.camera, 80) if names else "", name=one_line(b.name, 120) if names else "",
                scale=_scale(scale) if scale else "", aside=one_line(p.aside, 120) if p else "",
                reading=p.reading if p else "", masked=tuple(masks.get(b.sha256, ())),
                missing=f"removed for good: {one_line(inspection.forgotten[b.sha256], 120)}"
                if b.sha256 in inspection.forgotten
                else "",
                marks=tuple(
                    rows.clean_shape(m) for m in rows.mark_rows(free.get(b.sha256, ()), ids, counts)
                ),
            )
        )  # fmt: skip
    return tuple(out)


def _scale(scaled: e.Scaled) -> str:
    return (
        f"{plain_number(scaled.mm_per_px)} mm a pixel, standard uncertainty {plain_number(scaled.u_mm_per_px)}, "
        f"rests on {one_line(scaled.rests_on, 100)}"
    )


def _lines(
    cylinders: tuple[int, ...],
    verdict: Verdict,
    readings: Sequence[ReadingRow],
    found: Sequence[FindingRow],
    stills: Sequence[StillRow],
) -> tuple[CylinderLine, ...]:
    judged = {v.cylinder: v for v in verdict.cylinders}
    out = []
    for c in cylinders:
        mine = [r for r in readings if r.cylinder == c]
        figures = []
        for test in _FIGURES:
            last = [r for r in mine if r.test == test]
            if last:
                r = last[-1]
                figure = counted(r.values) if r.values else None
                told = f"{plain_number(figure)} {r.unit}" if figure is not None else r.typed
                if r.supply is not None and figure is not None:
                    told = f"{plain_number(figure)}/{plain_number(r.supply)} {r.unit}"
                figures.append(f"{_SHORT[test]}{r.about}{told}")
        findings_here = [f for f in found if f.cylinder == c]
        stills_here = sum(1 for s in stills if s.cylinder == c)
        level: Level = "open" if mine or findings_here or stills_here else "blank"
        word = "not judged" if level == "open" else "nothing recorded"
        if v := judged.get(c):
            level, word = v.level, _first_clause(v.words)
        out.append(
            CylinderLine(
                cylinder=c, level=level, figures=", ".join(figures[:3]) or "no figures", word=word,
                stills=stills_here, findings=len(findings_here),
            )
        )  # fmt: skip
    return tuple(out)


def _first_clause(words: str) -> str:
    """What a line of the first screen has room for; the whole stands with the cylinder."""
    return re.split(r"[:;] ", words, maxsplit=1)[0]


def _cautions(inspection: Inspection, verdict: Verdict) -> tuple[str, ...]:
    """The cautions of the tests done and of those proposed, each once, the general one first."""
    texts = cautions()
    wanted = ["manual"]
    for test in [r.body.test for r in inspection.of(e.Reading)] + [t.test for t in verdict.next_tests]:
        if known := procedures().get(test):
            wanted += known.cautions
    if inspection.facts.get("hybrid", "").startswith("yes"):
        wanted.append("hv")
    own = [c for t in verdict.next_tests for c in t.cautions]
    return tuple(dict.fromkeys([texts[c] for c in wanted if c in texts] + own))
