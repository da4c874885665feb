"""What `inspection.json` says: one engine, looked at once, and what was made of it, for a reader without the logbook.

Every other part of a pack (tables, annotations, page, paper) is a view of a :class:`Document`. Texts are clean and ready
to be shown; numbers stay numbers. ``entry`` and ``entries`` name journal entries, so that any sentence leads back to the
reading, finding or still it rests on; a reader without a journal still finds the same id beside the reading.

The judged part, :class:`Verdict`, stands in `borelog.verdict.judged` and is filled by whoever judges.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

import msgspec

from borelog.marks.places import Place
from borelog.marks.shapes import Shape
from borelog.verdict.judged import (
    Because,
    Contradiction,
    Course,
    CylinderVerdict,
    Digest,
    EngineVerdict,
    Hypothesis,
    Level,
    Money,
    NextTest,
    Reader,
    Ref,
    Section,
    Text,
    Verdict,
)

SCHEMA_ID = "urn:borelog:inspection:1"

MaybePath: TypeAlias = Annotated[
    str, msgspec.Meta(pattern="^(|data/(stills|views)/[a-z0-9][a-z0-9._-]{0,99})$", max_length=120)
]
MaybeDigest: TypeAlias = Annotated[str, msgspec.Meta(pattern="^(|[0-9a-f]{64})$")]


# The record


class By(Section, frozen=True, kw_only=True):
    """Who entered something, when (local time with offset), and how it was taken. ``taken_in``: told by another logbook."""

    entry: Ref
    who: Text
    at: Text
    how: Text = ""


class LeftOut(Section, frozen=True, kw_only=True):
    """Something this reader's copy does not hold, and why; ``count`` where it can be counted."""

    what: Text
    why: Text
    count: int = 0


class HandOver(Section, frozen=True, kw_only=True):
    """An earlier pack of the same inspection: its number, reader, day and the digest of its tag manifest."""

    number: int
    reader: Text
    at: Text
    digest: Text


class About(Section, frozen=True, kw_only=True):
    """The pack itself. ``made`` is the time of the last entry, so that the same record gives the same bytes."""

    inspection: Ref
    name: Text
    demo: bool
    number: Annotated[int, msgspec.Meta(ge=1)]
    reader: Reader
    made: Text
    opened: Text
    entries: int
    agent: Text
    told_by: Text = ""
    changed_since: tuple[Text, ...] = ()
    earlier_packs: tuple[HandOver, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    from_newer_version: int = 0


class Fact(Section, frozen=True, kw_only=True):
    """One fact about the engine or its car, as typed."""

    id: Text
    label: Text
    value: Text
    group: Text
    entry: Text = ""


class EngineSection(Section, frozen=True, kw_only=True):
    """The engine. ``banks`` lists cylinder numbers in physical order from the timing-drive end, one tuple a bank.

    ``spots`` is the drawn plan: (cylinder, row, column), row 0 nearest the timing drive, column 0 left; ``ends`` names
    its top and bottom.
    """

    words: Text
    kind: Literal["inline", "v", "flat", "not said"]
    cylinders: tuple[int, ...]
    banks: tuple[tuple[int, ...], ...]
    bank_names: tuple[Text, ...]
    firing_order: tuple[int, ...]
    numbering: Text
    facts: tuple[Fact, ...]
    labels: tuple[Text, ...] = ()
    spots: tuple[tuple[int, int, int], ...] = ()
    heads: tuple[Text, ...] = ()
    ends: tuple[Text, Text] = ("timing-drive end", "gearbox end")
    intake: Text = ""
    bridges: tuple[tuple[int, int], ...] = ()


class CylinderLine(Section, frozen=True, kw_only=True):
    """The seven-second view of one cylinder: figures, the word that stands, and how bad it is."""

    cylinder: int
    level: Level
    figures: Text
    word: Text
    stills: int
    findings: int


class Earlier(Section, frozen=True, kw_only=True):
    """A wording that was corrected, or that another person's correction disagrees with."""

    words: Text
    who: Text
    at: Text
    rival: bool = False


class ReadingRow(Section, frozen=True, kw_only=True):
    """A measured value. ``values`` are the repeats in ``unit``; ``standard`` their mean in ``standard_unit``."""

    by: By
    test: Text
    label: Text
    cylinder: int | None
    typed: Text
    values: tuple[float, ...]
    unit: Text
    standard: float | None
    standard_unit: Text
    about: Text = ""
    puffs: tuple[float, ...] = ()
    supply: float | None = None
    air: tuple[Text, ...] = ()
    part: Text = ""
    series: Text = ""
    doubt: Text = ""
    note: Text = ""
    earlier: tuple[Earlier, ...] = ()
    stills: tuple[Ref, ...] = ()


class ConditionRow(Section, frozen=True, kw_only=True):
    """How a test was done; cylinder None: the whole test. ``value`` '' means not noted."""

    test: Text
    label: Text
    cylinder: int | None
    series: Text
    condition: Text
    value: Text


class RuleRow(Section, frozen=True, kw_only=True):
    """One rule applied to one session of a test: what it says of each cylinder, and where it comes from.

    ``least_kpa`` is the least a cylinder may read under it with the others as they are; None where it says nothing.
    """

    test: Text
    series: Text = ""
    rule: Text
    words: Text
    source: Text
    failing: tuple[int, ...] = ()
    passing: tuple[int, ...] = ()
    least_kpa: float | None = None
    level: Level = "open"


class RemarkRow(Section, frozen=True, kw_only=True):
    """What readings say together: a pattern, a trend, a part against its limit, a question. No verdict.

    ``topic`` is a test, 'engine', 'plugs' or 'opened'; ``level`` is 'watch' where it tells against something, 'open' for a
    question, 'blank' for context.
    """

    topic: Text
    kind: Text
    level: Level
    words: Text
    cylinders: tuple[int, ...] = ()
    source: Text = ""
    entries: tuple[Ref, ...] = ()


class SeenRow(Section, frozen=True, kw_only=True):
    """An answer to a question of the evidence table."""

    by: By
    item: Text
    label: Text
    cylinder: int | None
    state: Text
    note: Text = ""


class CoverageRow(Section, frozen=True, kw_only=True):
    """How far a place of a cylinder (or of the engine) was looked at; ``where`` in words, its parts beside it."""

    cylinder: int | None
    where: Text
    view: Text
    side: Text
    height: Text
    state: Text
    why: Text = ""
    entry: Text = ""


class TestRow(Section, frozen=True, kw_only=True):
    """How far a test has come on a cylinder: done, not done, not possible or could not see, with why."""

    test: Text
    label: Text
    cylinder: int | None
    state: Text
    why: Text = ""


class MarkRow(Section, frozen=True, kw_only=True):
    """A shape on a still in upright original pixels; ``number`` is the one drawn beside it."""

    still: Ref
    number: int
    shape: Shape
    words: Text = ""
    measure: Text = ""
    shown_with: Text = ""


class FindingRow(Section, frozen=True, kw_only=True):
    """A term at a place. ``severity`` 0 to 4 with its words; ``faked_by`` what harmless thing can look the same."""

    by: By
    term: Text
    words: Text
    component: Text
    cylinder: int | None
    where: Text
    place: Place | None = None
    severity: Annotated[int, msgspec.Meta(ge=0, le=4)]
    severity_words: Text
    certainty: Text
    age: Text
    means: Text = ""
    faked_by: Text = ""
    fake_checked: Text = ""
    method: Text = ""
    note: Text = ""
    marks: tuple[MarkRow, ...] = ()
    earlier: tuple[Earlier, ...] = ()


class StillRow(Section, frozen=True, kw_only=True):
    """A still. ``original`` is the digest of the untouched file; ``file`` (digest ``sha256``) is what the pack holds.

    ``view`` is the file a browser shows where ``file`` itself cannot be shown or must not be (masked); '' means
    ``file``. Width and height are pixels with the orientation honoured.
    """

    id: Ref
    by: By
    original: Digest
    file: MaybePath = ""
    sha256: MaybeDigest = ""
    size: int = 0
    view: MaybePath = ""
    view_sha256: MaybeDigest = ""
    format: Text
    width: int
    height: int
    orientation: Annotated[int, msgspec.Meta(ge=1, le=8)] = 1
    cylinder: int | None = None
    where: Text = ""
    place: Place | None = None
    caption: Text = ""
    mirror: bool = False
    roll: float = 0.0
    probe: Text = ""
    taken: Text = ""
    camera: Text = ""
    name: Text = ""
    scale: Text = ""
    aside: Text = ""
    reading: Text = ""
    masked: tuple[Text, ...] = ()
    changed: Text = ""
    missing: Text = ""
    marks: tuple[MarkRow, ...] = ()


class CodesRow(Section, frozen=True, kw_only=True):
    """Trouble codes as pasted; ``explained`` one line a code where its meaning is known."""

    by: By
    text: Text
    battery_disturbed: bool | None
    frozen: Text = ""
    explained: tuple[Text, ...] = ()


class ToldRow(Section, frozen=True, kw_only=True):
    """Somebody's words with the date on which they were said."""

    by: By
    told_by: Text
    text: Text
    on: Text = ""


class ConsentRow(Section, frozen=True, kw_only=True):
    """Consent to open, the price of putting it back together, the price at which to stop."""

    by: By
    given_by: Text
    text: Text
    on: Text
    put_back_price: Text
    stop_price: Text


class NoteRow(Section, frozen=True, kw_only=True):
    """Own words about a cylinder or the engine."""

    by: By
    cylinder: int | None
    text: Text


class TruthRow(Section, frozen=True, kw_only=True):
    """What it really was, and how that is known."""

    by: By
    cylinder: int | None
    faults: tuple[Text, ...]
    known: Text
    note: Text = ""


class CallRow(Section, frozen=True, kw_only=True):
    """A decision as a person took it."""

    by: By
    course: Text
    words: Text
    why: Text
    tables: Text


class WithdrawnRow(Section, frozen=True, kw_only=True):
    """Something that no longer stands, and why."""

    entry: Ref
    words: Text
    why: Text


class Head(Section, frozen=True, kw_only=True):
    """The last link of one writer's hash chain."""

    writer: Ref
    entries: int
    digest: Digest


class Document(Section, frozen=True, kw_only=True):
    """The whole of `inspection.json`."""

    format: Literal["borelog inspection"] = "borelog inspection"
    version: Literal[1] = 1
    about: About
    engine: EngineSection
    lines: tuple[CylinderLine, ...]
    verdict: Verdict
    readings: tuple[ReadingRow, ...] = ()
    conditions: tuple[ConditionRow, ...] = ()
    rules: tuple[RuleRow, ...] = ()
    remarks: tuple[RemarkRow, ...] = ()
    seen: tuple[SeenRow, ...] = ()
    coverage: tuple[CoverageRow, ...] = ()
    tests: tuple[TestRow, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    stills: tuple[StillRow, ...] = ()
    codes: tuple[CodesRow, ...] = ()
    told: tuple[ToldRow, ...] = ()
    consent: tuple[ConsentRow, ...] = ()
    notes: tuple[NoteRow, ...] = ()
    truth: tuple[TruthRow, ...] = ()
    calls: tuple[CallRow, ...] = ()
    prices: tuple[Fact, ...] = ()
    withdrawn: tuple[WithdrawnRow, ...] = ()
    cautions: tuple[Text, ...] = ()
    journal: tuple[Head, ...] = ()


__all__ = [
    "Because",
    "Contradiction",
    "Course",
    "CylinderVerdict",
    "Document",
    "EngineVerdict",
    "Hypothesis",
    "Money",
    "NextTest",
    "Verdict",
]
