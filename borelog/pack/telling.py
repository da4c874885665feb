"""The document in the order in which page and paper tell it: what stands beside what, without any drawing of letters."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from borelog.charts.bars import Bar, Limit, Range, bars_svg, ranges_svg
from borelog.charts.plan import PlanSpot, plan_svg
from borelog.logbook.coverage import ANSWERED, STILL_ONLY
from borelog.pack.document import (
    ConditionRow,
    CoverageRow,
    CylinderLine,
    CylinderVerdict,
    Document,
    FindingRow,
    ReadingRow,
    SeenRow,
    StillRow,
    TruthRow,
)
from borelog.pack.overlay import ShownMark
from borelog.quantity import plain_number
from borelog.readings.repeats import counted
from borelog.verdict.wording import MOST

GLYPHS = {
    "not looked": "·",
    STILL_ONLY: "□",
    "looked, nothing": "○",
    ANSWERED: "◐",
    "found": "●",
    "could not see": "≈",
    "not possible": "×",
}


def moment(text: str) -> str:
    """An ISO time as date and minute."""
    return text[:16].replace("T", " ") if text else "not noted"


def share(value: float) -> str:
    """A probability as two decimals, no surer than the words beside it.

    >>> share(0.8), share(0.998), share(0.001)
    ('0.80', '0.95 or more', '0.05 or less')
    """
    if value >= MOST:
        return f"{MOST:.2f} or more"
    return f"{value:.2f}" if value > 1 - MOST else f"{1 - MOST:.2f} or less"


def whole(value: float) -> str:
    """Money in whole units."""
    return str(round(value))


@dataclass(frozen=True, slots=True)
class Group:
    """Readings of one session of one test, with how it was done and a chart."""

    title: str
    rows: tuple[ReadingRow, ...]
    conditions: tuple[ConditionRow, ...]
    chart: str


@dataclass(frozen=True, slots=True)
class CylinderPart:
    """All that is told about one cylinder; ``stills`` are those that no finding shows."""

    number: int | None
    line: CylinderLine | None
    verdict: CylinderVerdict | None
    findings: tuple[FindingRow, ...]
    stills: tuple[StillRow, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """Coverage: one row a place with a state for each cylinder, the engine's own places, and reasons given."""

    rows: tuple[tuple[str, tuple[str, ...]], ...]
    engine: tuple[CoverageRow, ...]
    whys: tuple[CoverageRow, ...]


def label(document: Document, cylinder: int) -> str:
    """The cylinder's own name where its numbering has one."""
    names = dict(zip(document.engine.cylinders, document.engine.labels, strict=False))
    return names.get(cylinder, str(cylinder))


def which(document: Document) -> str:
    """Which engine, on one line, the same on every page."""
    facts = {f.id: f.value for f in document.engine.facts}
    parts = [document.engine.words]
    for id_, words in (
        ("make", ""), ("engine_number", "engine "), ("odometer", "odometer "), ("chassis_number", "chassis "),
        ("plate", "plate "),
    ):  # fmt: skip
        if facts.get(id_):
            parts.append(words + facts[id_])
    return ", ".join(parts)


def fault_words(row: TruthRow) -> str:
    """The faults of a result by the names of the fault table, or as they were entered where it has none."""
    from borelog.knowledge.faults import shipped

    known = shipped().faults
    named = (known.get(f.replace(" ", "_")) for f in row.faults)
    return ", ".join(k.label.lower() if k else f for k, f in zip(named, row.faults, strict=True)) or "sound"


def people(document: Document) -> list[str]:
    """Everybody who entered something that is shown."""
    rows = (
        document.readings, document.findings, document.stills, document.seen, document.codes, document.told,
        document.consent, document.notes, document.truth, document.calls,
    )  # fmt: skip
    return list(dict.fromkeys(row.by.who for group in rows for row in group if row.by.who))


def plan(document: Document) -> str:
    """The cylinder plan as SVG."""
    engine = document.engine
    lines = {line.cylinder: line for line in document.lines}
    spots = engine.spots or tuple((c, i, 0) for i, c in enumerate(engine.cylinders))
    drawn = [
        PlanSpot(
            c, label(document, c), row, column,
            level=lines[c].level if c in lines else "blank",
            line=lines[c].figures.split(",")[0][:14] if c in lines else "",
            first=c == min(engine.cylinders, default=1) and bool(engine.spots),
        )
        for c, row, column in spots
    ]  # fmt: skip
    notes = [n for n in (engine.numbering, engine.intake) if n and n != "not said"]
    if engine.firing_order:
        notes.append("firing order " + "-".join(label(document, c) for c in engine.firing_order))
    if not engine.spots:
        notes.append("layout not said: this is a list, not a plan")
    wrapped = [piece for note in notes for piece in _wrapped(note, 44)]
    top, bottom = engine.ends if engine.spots else ("first", "last")
    return plan_svg(
        drawn, top=top, bottom=bottom, heads=engine.heads or ("",), bridges=engine.bridges, notes=wrapped,
        title=f"Cylinder plan: {engine.words}, {engine.numbering}",
    )  # fmt: skip


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width) or [text]


def reading_groups(document: Document) -> tuple[Group, ...]:
    """Readings by test and session, in test order."""
    groups: dict[tuple[str, str, str], list[ReadingRow]] = {}
    for r in document.readings:
        groups.setdefault((r.test, r.series, r.label), []).append(r)
    out = []
    for (test, series, title), rows in groups.items():
        asked = tuple(c for c in document.conditions if c.test == test and c.series == series)
        out.append(
            Group(
                f"{title}, {series}" if series else title,
                tuple(rows),
                asked,
                _chart(document, test, title, rows),
            )
        )
    return tuple(out)


def remarks(r: ReadingRow) -> list[str]:
    """What stands beside a reading, as short sentences."""
    unit = f" {r.unit}" if r.unit else ""
    out = [{"<": "Below this.", "~": "About."}.get(r.about, "")]
    if len(r.values) > 1:
        out.append(f"{len(r.values)} repeats.")
    if r.supply is not None:
        out.append(f"Supply {plain_number(r.supply)}{unit}.")
    if r.air:
        out.append(f"Air: {', '.join(r.air)}.")
    if r.puffs:
        out.append(f"After each pulse: {', '.join(plain_number(p) for p in r.puffs)}{unit}.")
    if r.part:
        out.append(f"{r.part}.")
    if r.doubt:
        out.append(f"Doubtful: {r.doubt}")
    out += [
        f"{'Another wording' if x.rival else 'Before'}: {x.words} ({x.who}, {moment(x.at)})."
        for x in r.earlier
    ]
    return [*(w for w in out if w), *([r.note] if r.note else [])]


def answers(document: Document) -> dict[str, list[SeenRow]]:
    """Answers under the cylinder they are about, the engine's own first."""
    out: dict[str, list[SeenRow]] = {}
    for row in sorted(document.seen, key=lambda r: (r.cylinder is not None, r.cylinder or 0)):
        where = "Engine" if row.cylinder is None else f"Cylinder {label(document, row.cylinder)}"
        out.setdefault(where, []).append(row)
    return out


def place(document: Document, s: StillRow) -> str:
    """Where a still is, in words."""
    where = f"cylinder {label(document, s.cylinder)}" if s.cylinder is not None else "engine"
    return f"{where}, {s.where}" if s.where else where


def alt(document: Document, s: StillRow, marks: list[ShownMark]) -> str:
    """What a still shows, for people who cannot see it."""
    words = "; ".join(f"{m.number} {m.words or 'mark'}" for m in marks)
    return f"Still {s.id}, {place(document, s)}." + (f" Marks: {words}." if words else "")


# (fails a rule, keeps a rule) -> level: where the rules disagree a cylinder is to be watched.
_RULED = {(True, False): "bad", (True, True): "watch", (False, True): "sound", (False, False): "blank"}


def _chart(document: Document, test: str, title: str, rows: list[ReadingRow]) -> str:
    drawable = [
        r
        for r in rows
        if r.cylinder is not None and r.standard is not None and r.standard >= 0 and not r.part
    ]
    units = {r.standard_unit for r in drawable}
    if len(drawable) < 2 or len(units) != 1 or test == "codes":
        return ""
    rules = [r for r in document.rules if r.test == test and r.series in {row.series for row in rows}]
    failing = {c for r in rules for c in r.failing}
    passing = {c for r in rules for c in r.passing}
    bars = []
    for r in drawable:
        low = high = None
        figure = counted(r.values) if r.values else 0.0
        if len(r.values) > 1 and figure and r.standard:
            low, high = (r.standard * v / figure for v in (min(r.values), max(r.values)))
        level = _RULED[r.cylinder in failing, r.cylinder in passing]
        words = f"{plain_number(r.standard or 0.0)}"
        bars.append(Bar(label(document, r.cylinder or 0), r.standard or 0.0, words, level, low, high))
    unit = units.pop()
    limits: list[Limit] = []
    # The first rule that draws a line: the manual's own where there is one, else the first of the published table.
    if unit == "kPa":
        lines = [Limit(r.least_kpa, r.rule) for r in rules if r.least_kpa is not None and r.least_kpa > 0]
        limits = lines[:1]
    return bars_svg(bars, unit=unit, title=f"{title} by cylinder in {unit}", limits=limits)


def money_chart(document: Document) -> str:
    """Courses as ranges; '' without money."""
    money = document.verdict.money
    if money is None or not money.courses:
        return ""
    ranges = [Range(c.label, c.worse, c.middle, c.better, whole(c.middle)) for c in money.courses]
    return ranges_svg(ranges, unit=money.currency, title="Courses of action with their net money")


def marks_on(document: Document) -> dict[str, list[ShownMark]]:
    """All marks of each still, those of findings first; a mark without words borrows its finding's."""
    out: dict[str, list[ShownMark]] = defaultdict(list)
    for f in document.findings:
        for m in f.marks:
            shown = ShownMark(
                m.number, m.shape, m.words or f.words, m.measure, f.severity, f.certainty, m.shown_with
            )
            out[m.still].append(shown)
    for s in document.stills:
        out[s.id] += [
            ShownMark(m.number, m.shape, m.words, m.measure, shown_with=m.shown_with) for m in s.marks
        ]
    return defaultdict(list, {k: sorted(v, key=lambda m: m.number) for k, v in out.items()})


def placed_at(document: Document) -> dict[str, list[StillRow]]:
    """Each still that a finding shows, at the worst finding that shows it, so that every still stands once."""
    stills = {s.id: s for s in document.stills}
    out: dict[str, list[StillRow]] = defaultdict(list)
    done: set[str] = set()
    for f in document.findings:
        for m in f.marks:
            if m.still in stills and m.still not in done:
                done.add(m.still)
                out[f.by.entry].append(stills[m.still])
    return out


def cylinder_parts(document: Document) -> tuple[tuple[CylinderPart, ...], CylinderPart]:
    """One part a cylinder, and the engine as a whole."""
    shown = {s.id for rows in placed_at(document).values() for s in rows}
    rest = [s for s in document.stills if s.id not in shown]
    lines = {line.cylinder: line for line in document.lines}
    verdicts = {v.cylinder: v for v in document.verdict.cylinders}
    numbers = set(document.engine.cylinders)

    def part(number: int | None) -> CylinderPart:
        def mine(cylinder: int | None) -> bool:
            return cylinder == number if number is not None else cylinder not in numbers

        return CylinderPart(
            number,
            lines.get(number) if number is not None else None,
            verdicts.get(number) if number is not None else None,
            tuple(f for f in document.findings if mine(f.cylinder)),
            tuple(s for s in rest if mine(s.cylinder)),
        )

    return tuple(part(c) for c in document.engine.cylinders), part(None)


def grid(document: Document) -> Grid:
    """The coverage grid."""
    states: dict[str, dict[int, str]] = {}
    for c in document.coverage:
        if c.cylinder is not None:
            states.setdefault(c.where, {})[c.cylinder] = c.state
    rows = tuple(
        (where, tuple(by.get(c, "not looked") for c in document.engine.cylinders))
        for where, by in states.items()
    )
    return Grid(
        rows,
        tuple(c for c in document.coverage if c.cylinder is None),
        tuple(c for c in document.coverage if c.cylinder is not None and c.why),
    )


def anchors(document: Document) -> dict[str, tuple[str, str]]:
    """For each entry that is shown: where on the page it stands, and what to call it."""
    out: dict[str, tuple[str, str]] = {}

    def add(rows: tuple[object, ...], words: str) -> None:
        for row in rows:
            entry = row.by.entry  # type: ignore[attr-defined]
            cylinder = getattr(row, "cylinder", None)
            out[entry] = (f"e-{entry}", f"{words} {cylinder}" if cylinder is not None else words)

    for rows, words in (
        (document.readings, "reading"), (document.seen, "answer"), (document.findings, "finding"), (document.codes, "codes"),
        (document.told, "said"), (document.notes, "note"), (document.consent, "consent"), (document.truth, "result"),
    ):  # fmt: skip
        add(rows, words)
    for s in document.stills:
        out[s.by.entry] = (s.id, s.id)
    return out
