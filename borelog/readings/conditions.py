"""Under what conditions a test was done: one table asks, one function says what the answers mean.

A reading is never refused for its conditions. It is kept, marked, and weighs less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from borelog.knowledge import tables
from borelog.quantity import NoValue, Quantity, parse
from borelog.readings.errors import ReadingError
from borelog.text import BorelogError, one_line


@dataclass(frozen=True, slots=True)
class Condition:
    """A row of the conditions table.

    Attributes
    ----------
    id, label, question : str
        Name in sheets, short words for a column, the question to a person.
    tests : tuple of str
        Ids of the tests it belongs to.
    kind : str
        'number', 'choice' or 'text'.
    unit : str
        Unit of a bare number.
    choices : tuple of str
        Allowed answers of a choice.
    good, bad : str
        Answers that meet or spoil: choices joined by '|', or a closed range 'low..high' with either end open.
    effect : tuple of str
        What a bad answer touches: 'level' all readings alike, 'drift' later readings, 'spread' single
        readings, 'common' every reading of one gauge, 'resolution', 'model' the conversion between testers,
        'side' one side of the bore.
    words, source : str
        Why it matters and who says so.
    """

    id: str
    tests: tuple[str, ...]
    label: str
    question: str
    kind: str
    unit: str
    choices: tuple[str, ...]
    good: str
    bad: str
    effect: tuple[str, ...]
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class Appraisal:
    """What one answer means: ``state`` is 'met', 'doubtful', 'not met', 'not noted' or 'noted' (nothing to
    judge).
    """

    condition: Condition
    answer: str
    state: str

    @property
    def words(self) -> str:
        """'Throttle: shut - a shut throttle starves ...', for a person."""
        answer = self.answer or "not noted"
        tail = f" - {self.condition.words}" if self.state in ("not met", "doubtful") else ""
        return f"{self.condition.label}: {answer}{tail}"


@dataclass(frozen=True, slots=True)
class Standing:
    """All conditions of a test together.

    ``spoiled_by`` names conditions that are not met, ``doubts`` those in between, ``blank`` those not noted;
    ``trust`` is 'as it should be', 'partly noted', 'doubtful' or 'spoiled'.
    """

    test: str
    appraisals: tuple[Appraisal, ...]

    def _ids(self, state: str) -> tuple[str, ...]:
        return tuple(a.condition.id for a in self.appraisals if a.state == state)

    @property
    def spoiled_by(self) -> tuple[str, ...]:
        return self._ids("not met")

    @property
    def doubts(self) -> tuple[str, ...]:
        return self._ids("doubtful")

    @property
    def blank(self) -> tuple[str, ...]:
        return self._ids("not noted")

    @property
    def trust(self) -> str:
        if self.spoiled_by:
            return "spoiled"
        if self.doubts:
            return "doubtful"
        return "partly noted" if self.blank else "as it should be"

    def touches(self, effect: str) -> bool:
        """True when a condition that is not met, or in doubt, has this effect."""
        return any(
            effect in a.condition.effect for a in self.appraisals if a.state in ("not met", "doubtful")
        )


@lru_cache(maxsize=1)
def conditions() -> dict[str, Condition]:
    """All conditions by id, in the order in which a sheet asks them."""
    columns = (
        "id",
        "tests",
        "label",
        "question",
        "kind",
        "unit",
        "choices",
        "good",
        "bad",
        "effect",
        "words",
        "source",
    )
    return {
        r["id"]: Condition(
            r["id"],
            tuple(r["tests"].split()),
            r["label"],
            r["question"],
            r["kind"],
            r["unit"],
            tuple(c for c in r["choices"].split("|") if c),
            r["good"],
            r["bad"],
            tuple(r["effect"].split()),
            r["words"],
            r["source"],
        )
        for r in tables.rows("conditions.csv", *columns)
    }


@cache
def conditions_of(test: str) -> tuple[Condition, ...]:
    """The conditions a test asks for; empty for a test that asks none."""
    return tuple(c for c in conditions().values() if test in c.tests)


def read_answer(condition: Condition, text: str) -> str | Quantity:
    """An answer as typed, checked: a `Quantity`, one of the choices (any unique beginning will do), or plain text.

    Raises
    ------
    ReadingError
        For an answer outside the choices.
    QuantityError
        For a number that cannot be read.
    """
    if condition.kind == "number":
        return parse(text, condition.unit)
    if condition.kind == "text":
        return one_line(text)
    wanted = " ".join(text.lower().split())
    yes_no = {
        "y": "yes",
        "n": "no",
        "true": "yes",
        "false": "no",
        "wide open": "open",
        "wot": "open",
        "closed": "shut",
    }
    wanted = yes_no.get(wanted, wanted)
    exact = [c for c in condition.choices if c == wanted]
    begun = exact or [c for c in condition.choices if wanted and c.startswith(wanted)]
    if len(begun) != 1:
        raise ReadingError(
            f"{condition.label}: {one_line(text, 30)!r} is not one of {', '.join(condition.choices)}"
        )
    return begun[0]


def _within(range_: str, value: float) -> bool:
    low, _, high = range_.partition("..")
    return (not low or value >= float(low)) and (not high or value <= float(high))


def appraise(test: str, answers: Mapping[str, str]) -> Standing:
    """What the answers given for a test mean; answers that cannot be read count as 'doubtful', never as an error.

    Parameters
    ----------
    test
        Id of the test.
    answers
        Condition id to text as typed. Blanks and 'not known' are 'not noted'.
    """
    return Standing(test, tuple(_appraise(c, answers.get(c.id, "")) for c in conditions_of(test)))


def _appraise(condition: Condition, text: str) -> Appraisal:
    shown = one_line(text)
    if not shown or shown.lower() in ("not known", "not noted", "unknown", "?"):
        return Appraisal(condition, "", "not noted")
    try:
        answer = read_answer(condition, text)
    except NoValue:
        return Appraisal(condition, shown, "noted")
    except BorelogError:
        return Appraisal(condition, shown, "doubtful")
    if not condition.good and not condition.bad:
        return Appraisal(condition, shown, "noted")
    if isinstance(answer, Quantity):
        value = answer.to(condition.unit)
        met = bool(condition.good) and _within(condition.good, value)
        spoiled = bool(condition.bad) and not met and _within(condition.bad, value)
        return Appraisal(condition, shown, "met" if met else "not met" if spoiled else "doubtful")
    met = answer in condition.good.split("|")
    spoiled = answer in condition.bad.split("|")
    return Appraisal(condition, answer, "met" if met else "not met" if spoiled else "doubtful")
