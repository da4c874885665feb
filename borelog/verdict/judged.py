"""The judged part of `inspection.json`: plain strings and numbers, nothing of the network.

``entries`` name journal entries, so that any sentence leads back to the reading, finding or still it rests on.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

import msgspec

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


class Because(Section, frozen=True, kw_only=True):
    """One thing that speaks for or against. ``strength`` in words; ``weight`` the change in log-odds (natural log)."""

    text: Text
    strength: Text = ""
    weight: float | None = None
    entries: tuple[Text, ...] = ()


class Hypothesis(Section, frozen=True, kw_only=True):
    """A fault with its probability, in a word and a number."""

    fault: Text
    label: Text
    probability: Share
    word: Text
    speaks_for: tuple[Because, ...] = ()
    speaks_against: tuple[Because, ...] = ()
    flip: Text = ""


class CylinderVerdict(Section, frozen=True, kw_only=True):
    """What is judged of one cylinder. ``enough`` false: 'not enough evidence', with the leader shown all the same.

    ``with_it`` names a second fault that more likely than not stands beside the leader, '' if none does.
    """

    cylinder: int
    level: Level
    words: Text
    enough: bool
    leader: Hypothesis | None = None
    runner_up: Hypothesis | None = None
    with_it: Text = ""

    @property
    def second(self) -> str:
        """How the runner-up stands to the leader: 'with it', 'perhaps with it' or 'runner-up' (instead of it).

        Two faults that are likelier together than one certainty must overlap by at least the excess; where that is most
        of the runner-up, it is no rival.
        """
        if self.leader is None or self.runner_up is None:
            return "runner-up"
        if self.runner_up.fault == self.with_it:
            return "with it"
        overlap = self.leader.probability + self.runner_up.probability - 1.0
        return "perhaps with it" if overlap > self.runner_up.probability / 2 else "runner-up"


class EngineVerdict(Section, frozen=True, kw_only=True):
    """What is judged of the engine as a whole, and of the gasket bridges between neighbours."""

    words: Text
    hypotheses: tuple[Hypothesis, ...] = ()
    gaskets: tuple[Because, ...] = ()


class Contradiction(Section, frozen=True, kw_only=True):
    """Two things that cannot both stand, and the quickest repeat that settles it."""

    words: Text
    repeat: Text
    entries: tuple[Text, ...] = ()


class NextTest(Section, frozen=True, kw_only=True):
    """A test worth doing; ``worth`` in the user's currency before its minutes (None: not priced, or a check that a called
    fault asks for before its work). ``cylinder`` is None for a test of the engine or of several cylinders.

    ``words`` hold no money; ``gain`` says what the test is worth, so that a reader who is to see no money gets the words
    without it. ``line`` is both.
    """

    words: Text
    test: Text
    cylinder: int | None
    minutes: float
    worth: float | None = None
    gain: Text = ""
    cautions: tuple[Text, ...] = ()

    @property
    def line(self) -> str:
        """The whole line."""
        return f"{self.words.removesuffix('.')}; {self.gain}." if self.gain else self.words


class Course(Section, frozen=True, kw_only=True):
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


class Money(Section, frozen=True, kw_only=True):
    """The courses compared, best first. ``sentence`` is what a buyer can act on; ``stops`` one line a stage.

    ``most`` is the most that may be paid for the car as it stands, the margin wanted taken off; ``profit`` what is left
    over the purchase price, the only place where that price enters; ``decides`` says which price would decide, where
    prices are not set.
    """

    currency: Text
    courses: tuple[Course, ...]
    stops: tuple[Text, ...] = ()
    movers: tuple[Text, ...] = ()
    placeholders: tuple[Text, ...] = ()
    seed: int = 0
    draws: int = 0
    sentence: Text = ""
    most: float | None = None
    profit: float | None = None
    decides: Text = ""
    caution: Text = ""


class Verdict(Section, frozen=True, kw_only=True):
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
