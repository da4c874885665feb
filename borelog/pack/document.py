"""What `inspection.json` says: one engine, looked at once, and what was made of it, for a reader without the logbook.

Every other part of a pack (tables, annotations, page, paper) is a view of a :class:`Document`. Texts are clean and ready
to be shown; numbers stay numbers. ``entry`` and ``entries`` name journal entries, so that any sentence leads back to the
reading, finding or still it rests on; a reader without a journal still finds the same id beside the reading.

The judged part, :class:`Verdict`, is filled by whoever judges: plain strings and numbers, nothing of the network.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

import msgspec

from borelog.marks.shapes import Shape

FORMAT = "borelog inspection"
VERSION = 1
SCHEMA_ID = "urn:borelog:inspection:1"

Text: TypeAlias = Annotated[str, msgspec.Meta(max_length=20_000)]
Ref: TypeAlias = Annotated[str, msgspec.Meta(pattern="^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$")]
Digest: TypeAlias = Annotated[str, msgspec.Meta(pattern="^[0-9a-f]{64}$")]
StillPath: TypeAlias = Annotated[
    str, msgspec.Meta(pattern="^data/(stills|views)/[a-z0-9][a-z0-9._-]{0,99}$", max_length=120)
]
Share: TypeAlias = Annotated[float, msgspec.Meta(ge=0.0, le=1.0)]
Level: TypeAlias = Literal["sound", "watch", "bad", "open", "blank"]
Reader: TypeAlias = Literal["archive", "customer", "buyer", "machinist", "insurer"]


class Section(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part of the document."""


# The record


class By(Section, kw_only=True):
    """Who entered something, when (local time with offset), and how it was taken. ``taken_in``: told by another logbook."""

    entry: Ref
    who: Text
    at: Text
    how: Text = ""


class LeftOut(Section, kw_only=True):
    """Something this reader's copy does not hold, and why; ``count`` where it can be counted."""

    what: Text
    why: Text
    count: int = 0


class HandOver(Section, kw_only=True):
    """An earlier pack of the same inspection: its number, reader, day and the digest of its tag manifest."""

    number: int
    reader: Text
    at: Text
    digest: Text


class About(Section, kw_only=True):
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


class Fact(Section, kw_only=True):
    """One fact about the engine or its car, as typed."""

    id: Text
    label: Text
    value: Text
    group: Text
    entry: Text = ""


class EngineSection(Section, kw_only=True):
    """The engine. ``banks`` lists cylinder numbers in physical order from the timing-drive end, one tuple a bank."""

    words: Text
    kind: Literal["inline", "v", "flat", "not said"]
    cylinders: tuple[int, ...]
    banks: tuple[tuple[int, ...], ...]
    bank_names: tuple[Text, ...]
    firing_order: tuple[int, ...]
    numbering: Text
    facts: tuple[Fact, ...]


class CylinderLine(Section, kw_only=True):
    """The seven-second view of one cylinder: figures, the word that stands, and how bad it is."""

    cylinder: int
    level: Level
    figures: Text
    word: Text
    stills: int
    findings: int


class Earlier(Section, kw_only=True):
    """A wording that was corrected, or that another person's correction disagrees with."""

    words: Text
    who: Text
    at: Text
    rival: bool = False


class ReadingRow(Section, kw_only=True):
    """A measured value. ``values`` are the repeats in ``unit``; ``standard`` the middle one in ``standard_unit``."""

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


class ConditionRow(Section, kw_only=True):
    """How a test was done; cylinder None: the whole test. ``value`` '' means not noted."""

    test: Text
    label: Text
    cylinder: int | None
    series: Text
    condition: Text
    value: Text


class RuleRow(Section, kw_only=True):
    """One rule applied to one test: what it says of each cylinder, and where it comes from."""

    test: Text
    rule: Text
    words: Text
    source: Text
    failing: tuple[int, ...] = ()
    passing: tuple[int, ...] = ()
    level: Level = "open"


class SeenRow(Section, kw_only=True):
    """An answer to a question of the evidence table."""

    by: By
    item: Text
    label: Text
    cylinder: int | None
    state: Text
    note: Text = ""


class CoverageRow(Section, kw_only=True):
    """How far a place of a cylinder (or of the engine) was looked at; ``where`` in words, its parts beside it."""

    cylinder: int | None
    where: Text
    view: Text
    side: Text
    height: Text
    state: Text
    why: Text = ""
    entry: Text = ""


class TestRow(Section, kw_only=True):
    """How far a test has come on a cylinder: done, not done, not possible or could not see, with why."""

    test: Text
    label: Text
    cylinder: int | None
    state: Text
    why: Text = ""


class MarkRow(Section, kw_only=True):
    """A shape on a still in upright original pixels; ``number`` is the one drawn beside it."""

    still: Ref
    number: int
    shape: Shape
    words: Text = ""
    measure: Text = ""
    shown_with: Text = ""


class FindingRow(Section, kw_only=True):
    """A term at a place. ``severity`` 0 to 4 with its words; ``faked_by`` what harmless thing can look the same."""

    by: By
    term: Text
    words: Text
    component: Text
    cylinder: int | None
    where: Text
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


class StillRow(Section, kw_only=True):
    """A still. ``original`` is the digest of the untouched file; ``file`` (digest ``sha256``) is what the pack holds.

    ``view`` is the file a browser shows where ``file`` itself cannot be shown or must not be (masked); '' means
    ``file``. Width and height are pixels with the orientation honoured.
    """

    id: Ref
    by: By
    original: Digest
    file: StillPath | Literal[""] = ""
    sha256: Digest | Literal[""] = ""
    size: int = 0
    view: StillPath | Literal[""] = ""
    view_sha256: Digest | Literal[""] = ""
    format: Text
    width: int
    height: int
    orientation: Annotated[int, msgspec.Meta(ge=1, le=8)] = 1
    cylinder: int | None = None
    where: Text = ""
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


class CodesRow(Section, kw_only=True):
    """Trouble codes as pasted; ``explained`` one line a code where its meaning is known."""

    by: By
    text: Text
    battery_disturbed: bool | None
    frozen: Text = ""
    explained: tuple[Text, ...] = ()


class ToldRow(Section, kw_only=True):
    """Somebody's words with the date on which they were said."""

    by: By
    told_by: Text
    text: Text
    on: Text = ""


class ConsentRow(Section, kw_only=True):
    """Consent to open, the price of putting it back together, the price at which to stop."""

    by: By
    given_by: Text
    text: Text
    on: Text
    put_back_price: Text
    stop_price: Text


class NoteRow(Section, kw_only=True):
    """Own words about a cylinder or the engine."""

    by: By
    cylinder: int | None
    text: Text


class TruthRow(Section, kw_only=True):
    """What it really was, and how that is known."""

    by: By
    cylinder: int | None
    faults: tuple[Text, ...]
    known: Text
    note: Text = ""


class CallRow(Section, kw_only=True):
    """A decision as a person took it."""

    by: By
    course: Text
    words: Text
    why: Text
    tables: Text


class WithdrawnRow(Section, kw_only=True):
    """Something that no longer stands, and why."""

    entry: Ref
    words: Text
    why: Text


class Head(Section, kw_only=True):
    """The last link of one writer's hash chain."""

    writer: Ref
    entries: int
    digest: Digest


# The judgement


class Because(Section, kw_only=True):
    """One thing that speaks for or against. ``strength`` in words; ``weight`` the change in log-odds (natural log)."""

    text: Text
    strength: Text = ""
    weight: float | None = None
    entries: tuple[Text, ...] = ()


class Hypothesis(Section, kw_only=True):
    """A fault with its probability, in a word and a number."""

    fault: Text
    label: Text
    probability: Share
    word: Text
    speaks_for: tuple[Because, ...] = ()
    speaks_against: tuple[Because, ...] = ()
    flip: Text = ""


class CylinderVerdict(Section, kw_only=True):
    """What is judged of one cylinder. ``enough`` false: 'not enough evidence', with the leader shown all the same."""

    cylinder: int
    level: Level
    words: Text
    enough: bool
    leader: Hypothesis | None = None
    runner_up: Hypothesis | None = None


class EngineVerdict(Section, kw_only=True):
    """What is judged of the engine as a whole, and of the gasket bridges between neighbours."""

    words: Text
    hypotheses: tuple[Hypothesis, ...] = ()
    gaskets: tuple[Because, ...] = ()


class Contradiction(Section, kw_only=True):
    """Two things that cannot both stand, and the quickest repeat that settles it."""

    words: Text
    repeat: Text
    entries: tuple[Text, ...] = ()


class NextTest(Section, kw_only=True):
    """A test worth doing, in one line; ``worth`` in the user's currency less the minutes (None: not priced)."""

    words: Text
    test: Text
    cylinder: int | None
    minutes: float
    worth: float | None = None
    cautions: tuple[Text, ...] = ()


class Course(Section, kw_only=True):
    """A course of action with its net money: 1 in 10 worse, middle, 1 in 10 better."""

    course: Text
    label: Text
    worse: float
    middle: float
    better: float
    loss_chance: Share | None = None
    best_chance: Share | None = None
    words: Text = ""
    within_noise: bool = False


class Money(Section, kw_only=True):
    """The courses compared. ``stops`` one line a stage ('stop if over X after the head is off')."""

    currency: Text
    courses: tuple[Course, ...]
    stops: tuple[Text, ...] = ()
    movers: tuple[Text, ...] = ()
    placeholders: tuple[Text, ...] = ()
    seed: int = 0
    draws: int = 0


class Verdict(Section, kw_only=True):
    """The judgement at the moment of the pack; ``call`` is one line that a reader can quote.

    ``unknown`` lists what is still not known, most important first. ``tables`` is the digest of the tables used.
    """

    call: Text
    why: tuple[Because, ...] = ()
    unknown: tuple[Text, ...] = ()
    cylinders: tuple[CylinderVerdict, ...] = ()
    engine: EngineVerdict | None = None
    contradictions: tuple[Contradiction, ...] = ()
    next_tests: tuple[NextTest, ...] = ()
    money: Money | None = None
    tables: Text = ""
    limits: tuple[Text, ...] = ()


class Document(Section, kw_only=True):
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
