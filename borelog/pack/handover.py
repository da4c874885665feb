"""Hand-over cards: one page for one kind of reader, said again from the document in the order that reader needs it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from borelog.logbook.coverage import UNSEEN
from borelog.pack.document import Document, FindingRow, RuleRow
from borelog.pack.rows import test_label


@dataclass(frozen=True, slots=True)
class Item:
    """One line and the entries it rests on."""

    text: str
    entries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A heading with its lines; ``empty`` is said where there are none."""

    title: str
    items: tuple[Item, ...]
    empty: str


@dataclass(frozen=True, slots=True)
class Card:
    """A card for a kind of reader."""

    reader: str
    title: str
    parts: tuple[Part, ...]


def _where(cylinder: int | None) -> str:
    return f"cylinder {cylinder}" if cylinder is not None else "engine"


def _finding(f: FindingRow) -> Item:
    place = f", {f.where}" if f.where else ""
    stills = ", ".join(dict.fromkeys(m.still for m in f.marks))
    doubt = "" if f.certainty == "seen clearly" else f" ({f.certainty})"
    shown = f"; still {stills}" if stills else "; no still"
    return Item(
        f"{_where(f.cylinder).capitalize()}{place}: {f.words}{doubt}, {f.severity_words}{shown}",
        (f.by.entry,),
    )


def worst(document: Document, least: int = 2) -> list[FindingRow]:
    """Findings from a severity on, the worst first."""
    found = [f for f in document.findings if f.severity >= least]
    return sorted(found, key=lambda f: (-f.severity, f.cylinder or 0))


def _group(numbers: Iterable[int | None]) -> str:
    return ", ".join(str(n) for n in sorted(n for n in set(numbers) if n is not None))


def not_done(document: Document) -> list[str]:
    """Tests that were not done, or not possible: one line a test with the cylinders and why; those done nowhere together."""
    out: list[str] = []
    nowhere: list[str] = []
    everywhere = set(document.engine.cylinders)
    for test in dict.fromkeys(t.test for t in document.tests):
        rows = [t for t in document.tests if t.test == test and t.state != "done"]
        for state, why in dict.fromkeys((t.state, t.why) for t in rows):
            mine = {t.cylinder for t in rows if (t.state, t.why) == (state, why)}
            if state == "not done" and not why and mine in (everywhere, {None}):
                nowhere.append(rows[0].label)
                continue
            where = (
                "" if mine == {None} else " on any cylinder" if mine == everywhere else f" on {_group(mine)}"
            )
            out.append(f"{rows[0].label}: {state}{where}{f' ({why})' if why else ''}")
    if nowhere:
        out.append(f"Not done at all: {', '.join(nowhere).lower()}")
    return out


def unknown(document: Document) -> list[str]:
    """What is still unknown: as judged, or, where nothing was judged, the gaps in the main tests and the coverage."""
    if document.verdict.unknown:
        return list(document.verdict.unknown)
    main = ("Compression dry", "Leak-down dry", "Trouble codes")
    done = {t.label for t in document.tests if t.state == "done"}
    out = [line for line in not_done(document) if line.startswith(main)]
    out += [
        f"{label}: not done"
        for label in main
        if label not in done and not any(x.startswith(label) for x in out)
    ]
    dark = []
    for cylinder in document.engine.cylinders:
        places = [c for c in document.coverage if c.cylinder == cylinder]
        missing = sum(1 for c in places if c.state in UNSEEN)
        if missing:
            dark.append(f"{cylinder} ({missing} of {len(places)})")
    if dark:
        out.append(f"Places nobody looked at, by cylinder: {', '.join(dark)}")
    return out


def rule_words(rule: RuleRow) -> str:
    """What a rule says, without its name in front."""
    return rule.words.removeprefix(f"{rule.rule}: ")


def _failed(document: Document) -> tuple[Item, ...]:
    """Rules that speak against cylinders: one line a test and group of cylinders, with the first rule as the example."""
    groups: dict[tuple[str, tuple[int, ...]], list[RuleRow]] = {}
    for r in document.rules:
        if r.level in ("bad", "watch"):
            groups.setdefault((r.test, r.failing), []).append(r)
    out = []
    for (test, failing), rules in groups.items():
        asked = sum(1 for r in document.rules if r.test == test)
        who = f"cylinder {_group(failing)} against" if failing else "against"
        first = f"{rules[0].rule}: {rule_words(rules[0])}"
        more = f"; {len(rules)} of {asked} rules say so" if len(rules) > 1 else ""
        out.append(Item(f"{test_label(test)}, {who} {first}{more}"))
    return tuple(out)


def _unseen(document: Document) -> tuple[Item, ...]:
    return tuple(
        Item(f"{_where(c.cylinder).capitalize()}, {c.where}: {c.state}{f', {c.why}' if c.why else ''}")
        for c in document.coverage
        if c.state in ("could not see", "not possible")
    )


def _leaders(document: Document) -> tuple[Item, ...]:
    out = []
    for v in document.verdict.cylinders:
        if v.leader and v.leader.fault != "sound" and v.level in ("bad", "watch", "open"):
            beside = "or" if v.second == "runner-up" else v.second
            rival = f"; {beside} {v.runner_up.label}" if v.runner_up else ""
            flip = f". Would flip: {v.leader.flip}" if v.leader.flip else ""
            out.append(Item(f"Cylinder {v.cylinder}: {v.leader.label} ({v.leader.word}){rival}{flip}"))
    return tuple(out)


_PARTS = ("bore_diameter", "ring_gap", "piston_clearance", "deck_flatness", "head_flatness", "head_height",
          "journal_diameter", "piston_height")  # fmt: skip


def _asked(document: Document) -> tuple[Item, ...]:
    """What the machinist is asked to measure: parts of the list not measured yet, with the cylinders."""
    wanted: dict[str, list[int | None]] = {}
    for t in document.tests:
        if t.test in _PARTS and t.state != "done":
            wanted.setdefault(t.label, []).append(t.cylinder)
    whole = set(document.engine.cylinders)
    lines = [
        label + (", every cylinder" if whole <= set(c) else f", cylinders {_group(c)}" if _group(c) else "")
        for label, c in wanted.items()
    ]
    return tuple(
        Item(x)
        for x in [*lines, "Beside each figure: where it was taken, with what, and the limit held against it."]
    )


def _measured(document: Document) -> tuple[Item, ...]:
    return tuple(
        Item(
            f"{_where(r.cylinder).capitalize()}, {r.label.lower()}{f', {r.part}' if r.part else ''}: {r.typed}",
            (r.by.entry,),
        )
        for r in document.readings
        if r.test in _PARTS
    )


def _machinist(document: Document) -> Card:
    return Card(
        "machinist",
        "For the machinist: what to check",
        (
            Part(
                "What it is taken to be, to be confirmed on the bench",
                _leaders(document),
                "Nothing is judged.",
            ),
            Part(
                "As received: worst first",
                tuple(_finding(f) for f in worst(document, 1)),
                "No findings recorded.",
            ),
            Part("Could not be seen through the plug hole", _unseen(document), "Nothing noted."),
            Part("Asked: measure, write down, send back", _asked(document), ""),
            Part("Measured so far", _measured(document), "No part was measured."),
            Part(
                "Before any cleaning",
                (
                    Item("Photograph both sides as received; residue is evidence."),
                    Item("Keep parts by cylinder and in order; list what is missing."),
                    Item("The service manual's limits come first."),
                ),
                "",
            ),
        ),
    )


def _buyer(document: Document) -> Card:
    sound = tuple(
        Item(f"Cylinder {line.cylinder}: {line.word}, {line.figures}")
        for line in document.lines
        if line.level in ("sound", "watch", "bad")
    )
    gaps = dict.fromkeys(c.condition for c in document.conditions if not c.value and c.cylinder is None)
    blank = (Item(f"Conditions not noted: {', '.join(gaps).lower()}"),) if gaps else ()
    return Card(
        "buyer",
        "For a buyer: what to know",
        (
            Part("Known", sound, "No cylinder is judged."),
            Part(
                "Seen and serious",
                tuple(_finding(f) for f in worst(document, 2)),
                "No serious finding is recorded.",
            ),
            Part(
                "Not known",
                tuple(Item(u) for u in unknown(document)) + blank,
                "Nothing is listed as unknown.",
            ),
            Part(
                "Not done", tuple(Item(n) for n in not_done(document)[:8]), "Every test of the list was done."
            ),
            Part(
                "Check for yourself",
                (
                    Item("Compare engine number and chassis number with those at the top."),
                    Item("Ask for one reading to be repeated while you watch."),
                    Item("Ask for the whole set with the untouched pictures and their digests."),
                ),
                "",
            ),
        ),
    )


def _against(document: Document) -> Card:
    told = tuple(
        Item(f'"{t.text[:400]}" - {t.told_by}{f", {t.on}" if t.on else ""}', (t.by.entry,))
        for t in document.told
    )
    facts = {f.id: f for f in document.engine.facts}
    identity = tuple(
        Item(f"{facts[k].label}: {facts[k].value}")
        for k in ("odometer", "engine_number", "original", "cranked_by")
        if k in facts
    )
    return Card(
        "customer",
        "What was said, and what the record says",
        (
            Part("Said", told, "No statement is recorded."),
            Part(
                "The record, worst first",
                tuple(_finding(f) for f in worst(document, 2)) + _failed(document),
                "Nothing serious is recorded.",
            ),
            Part("Identity and story", identity, "Not noted."),
            Part(
                "Trouble codes", tuple(Item(c.text[:300], (c.by.entry,)) for c in document.codes), "Not read."
            ),
        ),
    )


def _insurer(document: Document) -> Card:
    days: dict[str, list[str]] = {}
    rows = (document.readings, document.findings, document.stills, document.codes, document.told)
    for by in (row.by for group in rows for row in group):
        days.setdefault(by.at[:10], []).append(by.who)
    sequence = tuple(
        Item(f"{day}: {len(who)} entries by {', '.join(dict.fromkeys(w or 'not noted' for w in who))}")
        for day, who in sorted(days.items())
    )
    ages = tuple(
        Item(f"{f.age.capitalize()}: {_finding(f).text}", (f.by.entry,))
        for f in document.findings
        if f.age != "not said"
    )
    held = len([s for s in document.stills if s.file])
    custody = (
        Item(
            f"{held} stills in this pack, {len(document.stills)} originals named by SHA-256 on the last page."
        ),
        *(Item(f"Pack {h.number} went to the {h.reader}, {h.at[:10]}") for h in document.about.earlier_packs),
        *(
            Item(f"Consent to open by {c.given_by}, {c.on or 'no date'}", (c.by.entry,))
            for c in document.consent
        ),
    )
    return Card(
        "insurer",
        "For the insurer: event or wear, in order",
        (
            Part("Order of events as recorded", sequence, "No dated entries."),
            Part("Old or fresh", ages, "Age is not said of any finding."),
            Part("Judged", _leaders(document), "Nothing is judged."),
            Part("Custody", custody, ""),
        ),
    )


_CARDS: dict[str, tuple[Callable[[Document], Card], ...]] = {
    "archive": (_machinist, _buyer, _against, _insurer),
    "customer": (_against,),
    "buyer": (_buyer,),
    "machinist": (_machinist,),
    "insurer": (_insurer, _against),
}


def cards(document: Document) -> tuple[Card, ...]:
    """The cards that belong into this reader's pack."""
    return tuple(make(document) for make in _CARDS[document.about.reader])
