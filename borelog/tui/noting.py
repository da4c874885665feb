"""From what was typed in a cell to the act that enters it; no terminal in here, so that it is tested alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from borelog.acts import entering
from borelog.acts.bench import Bench
from borelog.acts.facts import possible_facts
from borelog.acts.sheet.items import questions, state_for
from borelog.acts.typed import typed_reading
from borelog.acts.words import body_words
from borelog.logbook.entries import Conditions, Content, Looked, Reading, Seen
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Looked as State
from borelog.quantity import NoValue
from borelog.readings.conditions import conditions, read_answer
from borelog.text import one_line
from borelog.tui.views.rows import ENGINE, Cell, Row


@dataclass(frozen=True, slots=True)
class Noting:
    """An act ready to be run, and what to say when it is done; ``doubt`` is the question a likely slip deserves."""

    run: Callable[[], object]
    said: str
    doubt: str = ""


def typed(bench: Bench, inspection: Inspection, row: Row, column: int, text: str, how: str = "") -> Noting:
    """The act for a typed cell: a first entry, a correction of the one that stands there, or an absence.

    Raises
    ------
    BorelogError
        If it cannot be read; the text says how it may be typed.
    """
    if row.kind == "condition":
        return _condition(bench, inspection, row, text, how)
    if row.kind == "fact":
        # A fact that contradicts the others is better mended now than found out at the end.
        body = possible_facts(inspection.facts, {row.test: text.strip()})
        return Noting(lambda: entering.enter(bench, inspection.id, body, how), body_words(body))
    if row.kind == "question":
        return answered(bench, inspection, row, column, _question_state(row, text), how)
    return _reading(bench, inspection, row, column, text, how)


def _question_state(row: Row, text: str) -> str:
    return state_for(questions()[row.test], text)


def _cylinder(column: int) -> int | None:
    return None if column == ENGINE else column


def _reading(bench: Bench, inspection: Inspection, row: Row, column: int, text: str, how: str) -> Noting:
    cell = row.cells.get(column, Cell())
    standing = inspection.find(cell.entry) if cell.entry else None
    if not text.strip():
        return withdrawn(bench, inspection, cell, "the field was emptied")
    body = typed_reading(
        row.test, _cylinder(column), text, default_unit=row.unit or None, series=row.series, part=row.part
    )
    id_ = inspection.id
    words = body_words(body)
    if isinstance(body, Reading):
        if standing is not None and isinstance(standing.body, Reading):
            target = standing.version.entry
            return Noting(
                lambda: entering.correct(bench, id_, target, body, how), f"corrected: {words}", body.doubt
            )
        return Noting(lambda: entering.enter(bench, id_, body, how or "measured"), words, body.doubt)

    def absent() -> None:
        if standing is not None and isinstance(standing.body, Reading):
            entering.withdraw(bench, id_, standing.id, "entered as not taken")
        entering.enter(bench, id_, body, how)

    return Noting(absent, words)


def _condition(bench: Bench, inspection: Inspection, row: Row, text: str, how: str) -> Noting:
    condition = conditions()[row.key[2]]
    value = text.strip()
    if value:
        try:
            answer = read_answer(condition, value)
            value = answer if isinstance(answer, str) else value
        except NoValue:
            value = one_line(value)
    body = Conditions(row.test, {condition.id: value})
    return Noting(
        lambda: entering.enter(bench, inspection.id, body, how), f"{condition.label}: {value or 'taken back'}"
    )


def answered(
    bench: Bench, inspection: Inspection, row: Row, column: int, answer: str, how: str = ""
) -> Noting:
    """The act for a chosen answer: of a question, a condition or a fact."""
    if row.kind == "condition":
        body: Content = Conditions(row.test, {row.key[2]: answer})
        words = f"{row.label.strip()}: {answer}"
    elif row.kind == "fact":
        body = possible_facts(inspection.facts, {row.test: answer})
        words = body_words(body)
    else:
        body = Seen(row.test, _cylinder(column), answer)
        words = next((w for _, id_, w in row.answers if id_ == answer), answer)
        words = f"{row.label}{f', cylinder {column}' if column != ENGINE else ''}: {words}"
    taken = how or ("seen clearly" if row.kind == "question" else "")
    return Noting(lambda: entering.enter(bench, inspection.id, body, taken), words)


def absent(
    bench: Bench, inspection: Inspection, row: Row, column: int, state: State, why: str = ""
) -> Noting:
    """The act for 'not done' or 'not possible' in a cell; a reading that stands there is withdrawn, not erased."""
    cell = row.cells.get(column, Cell())
    standing = inspection.find(cell.entry) if cell.entry else None
    body = Looked(state, _cylinder(column), None, row.test, why)

    def run() -> None:
        if standing is not None and isinstance(standing.body, Reading | Seen):
            entering.withdraw(bench, inspection.id, standing.id, f"noted as {state}")
        entering.enter(bench, inspection.id, body)

    return Noting(run, body_words(body))


def withdrawn(bench: Bench, inspection: Inspection, cell: Cell, why: str) -> Noting:
    """The act that withdraws what a cell shows."""
    if not cell.entry:
        raise entering.ActError("nothing is entered here that could be withdrawn")
    thing = inspection.find(cell.entry)
    words = body_words(thing.body) if thing else ""
    return Noting(lambda: entering.withdraw(bench, inspection.id, cell.entry, why), f"withdrawn: {words}")


def rest_same(
    bench: Bench, inspection: Inspection, row: Row, columns: tuple[int, ...], column: int, how: str = ""
) -> Noting:
    """The answer of one cell for every cylinder of its row in which nothing is noted."""
    source = row.cells.get(column, Cell())
    thing = inspection.find(source.entry) if source.entry else None
    if thing is None or not isinstance(thing.body, Seen | Reading):
        raise entering.ActError("enter this cell first; then the rest of the row can be the same")
    blank = [c for c in columns if row.cells.get(c, Cell()).status == "missing"]
    if not blank:
        raise entering.ActError("nothing in this row is left blank")
    if isinstance(thing.body, Seen):
        bodies: list[tuple[Content, str]] = [
            (Seen(thing.body.item, c, thing.body.state), how or thing.how) for c in blank
        ]
    else:
        b = thing.body
        bodies = [
            (
                typed_reading(row.test, c, b.typed, default_unit=b.unit, series=row.series, part=row.part),
                how or thing.how,
            )
            for c in blank
        ]
    words = f"{row.label}: {len(blank)} more the same: {source.text}"
    return Noting(lambda: entering.enter_all(bench, inspection.id, bodies), words)
