"""The pack screen as lines: for whom, what goes in and what is left out, and the packs that left the house."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.logbook.entries import HandedOver, MaskDrawn
from borelog.logbook.inspection import Inspection
from borelog.pack.privacy import READERS, items, share_of
from borelog.text import counted, one_line
from borelog.tui.actions import SHIPPED, Keys, key_of
from borelog.tui.views.words import Line, Span, padded, shorter, wrapped

READER_WORDS = {
    "archive": "everything, untouched originals and journal, for yourself",
    "customer": "the owner of the car",
    "buyer": "somebody who may buy it: no prices, no claims",
    "machinist": "who is to work on it: as received, what to check",
    "insurer": "sequence, custody, corrections",
}
PAPERS = {"a4": "A4", "us-letter": "Letter"}


@dataclass(frozen=True, slots=True)
class Plan:
    """What the next pack shall be."""

    reader: str = "customer"
    also: frozenset[str] = frozenset()
    folder: str = ""
    zipped: bool = True
    paper: str = "a4"


@dataclass(frozen=True, slots=True)
class Choice:
    """One line that can be changed: its name, and its lines."""

    name: str
    lines: tuple[Line, ...]


def choices(inspection: Inspection, plan: Plan, room: int) -> list[Choice]:
    """All lines of the screen in order."""
    out = [
        Choice(
            "reader",
            (
                (
                    Span(" for         ", "quiet"),
                    Span(plan.reader, "ink", "strong"),
                    Span(f"  {READER_WORDS[plan.reader]}", "quiet"),
                ),
            ),
        )
    ]
    out.append(Choice("folder", ((Span(" to folder   ", "quiet"), Span(plan.folder, "ink")),)))
    out.append(
        Choice(
            "zipped",
            (
                (
                    Span(" as          ", "quiet"),
                    Span("folder and zip" if plan.zipped else "folder only", "ink"),
                ),
            ),
        )
    )
    out.append(
        Choice(
            "paper",
            (
                (
                    Span(" paper       ", "quiet"),
                    Span(PAPERS[plan.paper], "ink"),
                ),
            ),
        )
    )
    masks = len(inspection.of(MaskDrawn))
    out.append(
        Choice(
            "",
            (
                (),
                (
                    Span(" WHAT GOES IN, WHAT IS LEFT OUT", "quiet", "bold"),
                    Span(f"   {counted(masks, 'mask')} drawn on stills are burned in", "quiet"),
                ),
            ),
        )
    )
    held = share_of(plan.reader, plan.also).held
    usual = share_of(plan.reader).held
    for item in items().values():
        goes = item.id in held
        mark = Span(padded(" ✓ goes in ", 13), "good") if goes else Span(padded(" — left out", 13), "blank")
        why = "" if goes and item.id in usual else "added by you" if goes else one_line(item.why)
        label = Span(
            padded(one_line(item.label), 34) if room >= 76 else shorter(one_line(item.label), room - 15),
            "ink",
        )
        texts = wrapped(why, max(20, room - 50)) if room >= 76 else ()
        lines: list[Line] = [(mark, label, Span(f" {texts[0]}" if texts else "", "quiet"))]
        lines += [(Span(" " * 48), Span(text, "quiet")) for text in texts[1:]]
        if why and room < 76:
            lines += [(Span(" " * 13), Span(text, "quiet")) for text in wrapped(why, room - 15)]
        out.append(Choice(f"item {item.id}", tuple(lines)))
    return out


def changed(plan: Plan, name: str) -> Plan:
    """The plan after Enter on a line."""
    from dataclasses import replace

    if name == "reader":
        at = (READERS.index(plan.reader) + 1) % len(READERS)
        return replace(plan, reader=READERS[at], also=frozenset())
    if name == "zipped":
        return replace(plan, zipped=not plan.zipped)
    if name == "paper":
        return replace(plan, paper=next(p for p in PAPERS if p != plan.paper))
    if name.startswith("item "):
        item = name[5:]
        if item in share_of(plan.reader).held:
            return plan
        return replace(plan, also=plan.also ^ {item})
    return plan


def history(inspection: Inspection, room: int, keys: Keys = SHIPPED) -> list[Line]:
    """The packs that left the house."""
    out: list[Line] = [(), (Span(" PACKS THAT LEFT THE HOUSE", "quiet", "bold"),)]
    for r in inspection.of(HandedOver):
        b = r.body
        words = (
            f" {b.number}. {r.version.at[:16].replace('T', ' ')} for the {b.reader}, digest {b.digest[:12]}"
        )
        out += [(Span(text, "ink"),) for text in wrapped(words, room - 2, "    ")]
    if len(out) == 2:
        out.append((Span(f" none yet: {key_of(keys, 'pack', 'build')} builds the first", "quiet"),))
    return out


def outcome_lines(
    folder: str, zip_: str, left_out: tuple[str, ...], remarks: tuple[str, ...], room: int
) -> list[Line]:
    """Where it went, what it does not hold, what to know."""
    out: list[Line] = [(), (Span(" MADE", "good", "bold"),)]
    for head, text in (("folder", folder), ("zip", zip_)):
        if text:
            out += [(Span(line, "ink"),) for line in wrapped(f" {head}: {one_line(text)}", room - 2, "    ")]
    for text in left_out:
        out += [(Span(line, "quiet"),) for line in wrapped(f" left out: {one_line(text)}", room - 2, "    ")]
    for text in remarks:
        out += [(Span(line, "watch"),) for line in wrapped(f" ! {one_line(text)}", room - 2, "    ")]
    return out


def check_lines(faults: tuple[object, ...], room: int) -> list[Line]:
    """What the check found."""
    if not faults:
        return [
            (),
            (
                Span(
                    " ✓ CHECKED: every file is as listed, the journal fits, the pictures open", "good", "bold"
                ),
            ),
        ]
    out: list[Line] = [
        (),
        (Span(f" ✗ CHECKED: {counted(len(faults), 'thing')} wrong", "bad", "loud"),),
    ]
    for fault in faults[:20]:
        out += [(Span(line, "bad"),) for line in wrapped(f" {one_line(str(fault))}", room - 2, "    ")]
    return out
