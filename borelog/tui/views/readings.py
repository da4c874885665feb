"""The readings grid: tests down in test order, cylinders across, conditions once per test, questions with one letter each."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from borelog.acts.sheet.items import Question, questions
from borelog.knowledge.airs import airs
from borelog.knowledge.procedures import Procedure, procedures
from borelog.logbook.entries import Conditions, Looked, Reading, Seen
from borelog.logbook.fold import conditions_of as noted_conditions
from borelog.logbook.inspection import Inspection, Recorded
from borelog.marks.places import Looked as State
from borelog.quantity import Quantity, QuantityError, plain_number
from borelog.readings.conditions import Condition, appraise, conditions_of
from borelog.readings.repeats import counted
from borelog.text import one_line
from borelog.tui.views.judging import judge_compression
from borelog.tui.views.parts import part_rows
from borelog.tui.views.rows import ENGINE, Cell, Grid, Row
from borelog.tui.views.standing import is_sound, leak_status, state_words
from borelog.verdict.signs.leaks import leaks

# id, title, questions of these sections, tests. In the order of the job: codes before the battery is touched, dry before
# wet, camera before oil.
GROUPS: tuple[tuple[str, str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("arrival", "Arrival and story", ("story",), ()),
    ("codes", "Trouble codes, what they say", ("codes seen",), ()),
    ("fluids", "Oil, coolant, filter", ("fluids",), ()),
    ("beat", "Cranking beat and noises", ("sounds",), ("crank_current",)),
    ("plugs", "Plugs", ("plugs",), ("plug_gap",)),
    ("compression_dry", "", (), ("compression_dry",)),
    ("camera", "Camera", ("camera",), ("piston_height",)),
    ("leakdown", "", (), ("leakdown",)),
    ("leakdown_mid", "", (), ("leakdown_mid",)),
    ("leakdown_tap", "", (), ("leakdown_tap",)),
    ("compression_wet", "", (), ("compression_wet",)),
    ("leakdown_wet", "", (), ("leakdown_wet",)),
    ("compression_warm", "", (), ("compression_warm",)),
    ("swap", "Swaps and spark", ("swap test",), ()),
    ("vacuum", "Vacuum and exhaust", ("vacuum",), ("vacuum",)),
    ("bottom", "Bottom end, timing, valves", ("bottom end",), ("oil_pressure_gauge",)),
    ("parts", "Measured parts, once open", (), ("bore_diameter", "ring_gap", "piston_clearance", "journal_diameter", "deck_flatness", "head_flatness", "head_height")),
)  # fmt: skip


@lru_cache(maxsize=512)
def letters_for(words: tuple[str, ...]) -> tuple[str, ...]:
    """One letter for each answer: the first of a word in it that is still free, else any that is."""
    taken: list[str] = []
    for text in words:
        low = [w for w in text.lower().replace("-", " ").split() if w[:1].isalpha() and w.isascii()]
        wanted = [w[0] for w in low] + [c for w in low for c in w if c.isalpha()]
        taken.append(next((c for c in (*wanted, *"abcdefghijklmnopqrstuvwxyz") if c not in taken), ""))
    return tuple(taken)


def build(
    inspection: Inspection, cylinders: tuple[int, ...], unfolded: frozenset[str], units: dict[str, str]
) -> Grid:
    """The grid of an inspection; ``unfolded`` tests show their conditions, ``units`` is what a bare number means."""
    rows: list[Row] = []
    table = procedures()
    placed = {test for *_, tests in GROUPS for test in tests}
    unplaced = tuple((p.id, "", (), (p.id,)) for p in table.values() if p.unit and p.id not in placed)
    for group, title, sections, tests in (*GROUPS[:-1], *unplaced, GROUPS[-1]):
        mine = [table[t] for t in tests if t in table]
        if cylinders == () and all(p.scope == "cylinder" for p in mine) and mine and not sections:
            continue
        label = title or mine[0].label
        minutes = f"{mine[0].minutes:g} min each" if mine and mine[0].scope == "cylinder" else ""
        rows.append(
            Row(
                (group,),
                "head",
                label,
                group,
                hint=" · ".join(x for x in (minutes, mine[0].why if mine else "") if x),
                test=tests[0] if tests else "",
            )
        )
        for section in sections:
            rows += [
                _question(inspection, q, group, cylinders)
                for q in questions().values()
                if q.section == section
            ]
        for procedure in mine:
            if group == "parts":
                unit = unit_of(inspection, procedure, units)
                rows += part_rows(inspection, procedure, group, cylinders, unit)
                rows += _fold_rows(inspection, procedure, group, unfolded)
            else:
                rows += _test_rows(inspection, procedure, group, cylinders, unfolded, units)
    return Grid(cylinders, tuple(rows))


def unit_of(inspection: Inspection, procedure: Procedure, units: dict[str, str]) -> str:
    """What a bare number means: the unit chosen, else that of the last reading of the test, else the usual one."""
    if procedure.id in units:
        return units[procedure.id]
    used = [r.body.unit for r in inspection.of(Reading) if r.body.test == procedure.id]
    return used[-1] if used else procedure.unit


def _test_rows(
    inspection: Inspection,
    p: Procedure,
    group: str,
    cylinders: tuple[int, ...],
    unfolded: frozenset[str],
    units: dict[str, str],
) -> Iterator[Row]:
    span = p.scope != "cylinder"
    columns = (ENGINE,) if span else cylinders
    unit = unit_of(inspection, p, units)
    sessions = list(
        dict.fromkeys([*(r.body.series for r in inspection.of(Reading) if r.body.test == p.id), ""])
    )
    sessions.sort(key=lambda s: (len(s), s))
    wanted = units.get(f"{p.id} series")
    if wanted and wanted not in sessions:
        sessions.append(wanted)
    label = p.label if group in ("plugs", "camera", "beat", "vacuum", "bottom") else "reading"
    for series in sessions:
        cells = {
            c: _reading_cell(inspection, p.id, None if c == ENGINE else c, series, unit) for c in columns
        }
        name = label if not series else f"again, {one_line(series, 6)}"
        yield Row(
            (p.id, "reading", series),
            "reading",
            name,
            group,
            unit,
            span,
            p.id,
            series,
            "",
            cells,
            hint=p.label,
        )
    yield from _fold_rows(inspection, p, group, unfolded)


def _fold_rows(inspection: Inspection, p: Procedure, group: str, unfolded: frozenset[str]) -> Iterator[Row]:
    """How the test was done: one row that opens and closes, and the conditions while it is open."""
    asked = conditions_of(p.id)
    if asked:
        noted = noted_conditions(inspection, p.id)
        standing = appraise(p.id, noted)
        done = len(asked) - len(standing.blank)
        status = {"spoiled": "bad", "doubtful": "doubt", "partly noted": "blank"}.get(standing.trust, "good")
        status = "missing" if done == 0 else status
        words = f"{done} of {len(asked)} noted" + {"spoiled": ", spoiled", "doubtful": ", doubtful"}.get(
            standing.trust, ""
        )
        open_ = p.id in unfolded
        yield Row(
            (p.id, "fold"),
            "fold",
            f"{'▾' if open_ else '▸'} how it was done",
            group,
            span=True,
            test=p.id,
            cells={ENGINE: Cell(words, status)},
        )
        if open_:
            states = {a.condition.id: a.state for a in standing.appraisals}
            yield from (
                _condition(inspection, p.id, c, noted.get(c.id, ""), states[c.id], group) for c in asked
            )


def _reading_cell(inspection: Inspection, test: str, cylinder: int | None, series: str, unit: str) -> Cell:
    found = [
        r
        for r in inspection.of(Reading)
        if r.body.test == test and r.body.cylinder == cylinder and r.body.series == series
    ]
    if not found:
        return _absent(inspection, test, cylinder) if not series else Cell("", "blank")
    r = found[-1]
    b = r.body
    return Cell(shown_in(b, unit), _status(inspection, r), b.typed, r.id)


def shown_in(b: Reading, unit: str) -> str:
    """The figure in the row's unit, its own unit added where it differs in kind."""
    if not b.values:
        return one_line(b.typed, 20)
    shown, mark = unit, ""
    try:
        value = Quantity(counted(b.values), b.unit).to(unit)
    except QuantityError:
        value, shown, mark = counted(b.values), b.unit, f" {b.unit}"
    text = plain_number(value, 3)
    if b.supply:
        supply = b.supply if shown == b.unit else Quantity(b.supply, b.unit).to(shown)
        text = f"{text}/{plain_number(supply, 3)}"
    letters = "".join(_letter(a) for a in b.air)
    repeats = f" ×{len(b.values)}" if len(b.values) > 1 else ""
    return f"{b.about}{text}{mark}{f' {letters}' if letters else ''}{repeats}"


def _letter(air: str) -> str:
    known = airs().get(air.partition(":")[0])
    return known.letter if known else one_line(air[:1])


def _status(inspection: Inspection, r: Recorded[Reading]) -> str:
    b = r.body
    if b.doubt or r.rivals:
        return "doubt"
    if b.test in ("compression_dry", "compression_wet", "compression_warm") and b.cylinder is not None:
        judged = judge_compression(inspection, b.test).get(b.cylinder)
        return judged.status if judged else "good"
    if b.test.startswith("leakdown") and b.cylinder is not None:
        leak = leaks(inspection, b.test).get(b.cylinder)
        if leak:
            return leak_status(leak.percent)
    return "good"


def _absent(inspection: Inspection, test: str, cylinder: int | None) -> Cell:
    for r in inspection.of(Looked):
        if r.body.test == test and r.body.cylinder in (cylinder, None) and not r.body.place:
            if r.body.state == State.NOT_POSSIBLE:
                return Cell(
                    one_line(f"— {r.body.why}", 20) if r.body.why else "not poss.",
                    "not possible",
                    "n/a",
                    r.id,
                )
            if r.body.state == State.NOT_LOOKED:
                return Cell("not done", "missing", "", r.id)
    return Cell("", "missing")


def _condition(inspection: Inspection, test: str, c: Condition, answer: str, state: str, group: str) -> Row:
    status = {"met": "good", "doubtful": "doubt", "not met": "bad", "noted": "good"}.get(state, "missing")
    source = next(
        (r.id for r in reversed(inspection.of(Conditions)) if r.body.test == test and c.id in r.body.values),
        "",
    )
    letters = letters_for(c.choices)
    answers = tuple(zip(letters, c.choices, c.choices, strict=True))
    hint = c.question + (
        "  " + " · ".join(f"{k} {w}" for k, w in zip(letters, c.choices, strict=True))
        if c.choices
        else f"  {c.unit}"
    )
    text = one_line(answer) if answer else ""
    return Row(
        (test, "condition", c.id),
        "condition",
        f"  {c.label}",
        group,
        c.unit,
        True,
        test,
        "",
        "",
        {ENGINE: Cell(text, status, answer, source)},
        answers,
        c.choices,
        hint,
    )


def _question(inspection: Inspection, q: Question, group: str, cylinders: tuple[int, ...]) -> Row:
    span = q.scope == "engine"
    columns = (ENGINE,) if span else cylinders
    letters = letters_for(tuple(words for _, words in q.states))
    answers = tuple((k, id_, words) for k, (id_, words) in zip(letters, q.states, strict=True))
    cells: dict[int, Cell] = {c: Cell("", "missing") for c in columns}
    for r in inspection.of(Seen):
        column = r.body.cylinder if r.body.cylinder is not None else ENGINE
        if r.body.item == q.id and column in cells:
            words = state_words(q.id, r.body.state)
            status = "good" if is_sound(q.id, r.body.state) else "watch"
            cells[column] = Cell(one_line(words), status, words, r.id)
    for looked in inspection.of(Looked):
        column = looked.body.cylinder if looked.body.cylinder is not None else ENGINE
        if looked.body.test == q.id and column in cells and not cells[column].text:
            cells[column] = Cell(
                str(looked.body.state),
                "not possible" if looked.body.state == State.NOT_POSSIBLE else "missing",
                "",
                looked.id,
            )
    hint = q.question + "  " + " · ".join(f"{k} {words}" for k, _, words in answers)
    return Row(
        (q.id, "question"), "question", q.label, group, "", span, q.id, "", "", cells, answers, (), hint
    )


def cell_words(row: Row, column: int, cell: Cell) -> str:
    """The cell alone, in words that make sense without the grid around it."""
    where = "" if row.span else f", cylinder {column}"
    what = row.hint.split("  ")[0] if row.kind in ("condition", "question") else row.hint or row.label
    again = f" (session {one_line(row.series, 8)})" if row.series else ""
    state = cell.text or "not noted"
    unit = f" {row.unit}" if row.kind == "reading" and cell.text and cell.status != "not possible" else ""
    if unit and row.test.startswith("leakdown") and " " in state:
        # '62 x' is '62 %, air: exhaust' where it stands alone.
        figure, _, letters = state.partition(" ")
        heard = ", ".join(a.wording for a in airs().values() if a.letter in letters)
        state, unit = f"{figure}{unit}, air: {heard or letters}", ""
    typed = (
        f", typed {one_line(cell.edit, 30)!r}"
        if cell.edit and row.kind == "reading" and cell.edit.strip() != cell.text
        else ""
    )
    return f"{what}{again}{where}: {state}{unit}{typed}"
