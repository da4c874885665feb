"""What goes into the fault network and what comes out of it: plain frozen values, no arithmetic, no NumPy.

The words are those of the tables in ``borelog/knowledge/data``: item, state, cause, group, channel. A cylinder is
named by its number on the engine; ``None`` stands for the engine as a whole.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

from borelog.text import BorelogError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SOUND = "sound"
BREACH = (
    "gasket_neighbour"  # the fault 'head gasket breached to the next cylinder': one per pair of neighbours
)
NO_ENGINE_FAULT = "no_engine_fault"


class NetworkError(BorelogError):
    """Evidence or a layout the network cannot use: the text names the item, state or cylinder and what to do."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class NetShape:
    """The engine as the network needs it.

    ``cylinders`` are the numbers; ``chains`` lists them along each head, so that neighbours within a chain share a
    gasket bridge. Every cylinder stands in exactly one chain. The order of chains and the end a chain starts from
    make no difference to any probability.
    """

    cylinders: tuple[int, ...]
    chains: tuple[tuple[int, ...], ...]

    def __post_init__(self) -> None:
        along = [c for chain in self.chains for c in chain]
        if (
            not self.cylinders
            or sorted(along) != sorted(set(self.cylinders))
            or len(along) != len(self.cylinders)
        ):
            raise NetworkError(
                "each cylinder must stand in exactly one row along a head; check the engine's banks"
            )

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Neighbours that share a gasket bridge, along the chains."""
        return tuple(pair for chain in self.chains for pair in pairwise(chain))


@dataclass(frozen=True, slots=True)
class Seen:
    """One recorded sight: an item, where, its state, and how it was taken (a row of ``misread.csv``).

    ``neighbour`` is only for items of scope 'pair' (air heard at the plug hole of that neighbour). Not looked is no
    ``Seen``: leave it out.
    """

    item: str
    cylinder: int | None
    state: str
    how: str = "seen"
    neighbour: int | None = None


@dataclass(frozen=True, slots=True)
class Spoil:
    """The chance (0 to 1) that a test did not show the engine but its own conditions.

    ``variable`` is one of ``compression_dry``, ``compression_wet`` (``cylinder`` None) or ``leak_down`` (one per
    cylinder). Several for one variable act independently. Make it from conditions with
    ``borelog.verdict.network.validity.spoil_chance``.
    """

    variable: str
    cylinder: int | None
    chance: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything recorded about one engine, as the network takes it. The order of entries makes no difference."""

    seen: tuple[Seen, ...] = ()
    spoils: tuple[Spoil, ...] = ()


@dataclass(frozen=True, slots=True)
class FaultSet:
    """At most two faults of one cylinder, with or without a gasket breach to a neighbour; nothing at all is sound."""

    faults: tuple[str, ...]
    breach: bool
    probability: float


@dataclass(frozen=True, slots=True)
class Posterior:
    """What the network believes, given the evidence. All probabilities 0 to 1.

    ``cylinders[c]`` maps every fault, ``sound`` and ``gasket_neighbour`` to the probability that it is present;
    faults can stand together, so a cylinder's figures may add to more than one. ``sets[c]`` holds the likeliest
    combinations, likeliest first. ``misread`` is keyed (cylinder, pair of neighbours or None, dependence group); ``doubted`` likewise: the
    chance that the group does not show the engine, being misread or its test spoiled. ``spoiled`` is keyed (validity
    variable, cylinder or None), ``breaches`` by the pair of cylinder numbers, ``channels`` by channel id.
    ``groups[c]`` counts what was recorded on cylinder c: the dependence groups, sorted.

    ``by_set[c]`` (2, S) is the distribution over all combinations without and with a breach, ``holds`` (S, F) which of the
    ``faults`` each combination holds.

    ``log_evidence`` is the natural log of the probability of everything recorded; ``fit`` the same less that of the
    story 'every reading is a misread of some engine'. ``fits`` False: these readings do not fit any known story.
    ``way`` says which of the two exact sums was used ('inclusion' or 'chain'), ``cancellation`` is sum|terms|/|sum|.
    """

    shape: NetShape
    cylinders: Mapping[int, Mapping[str, float]]
    sets: Mapping[int, tuple[FaultSet, ...]]
    engine: Mapping[str, float]
    breaches: Mapping[tuple[int, int], float]
    channels: Mapping[str, float]
    misread: Mapping[tuple[int | tuple[int, int] | None, str], float]
    doubted: Mapping[tuple[int | tuple[int, int] | None, str], float]
    spoiled: Mapping[tuple[str, int | None], float]
    groups: Mapping[int | None, tuple[str, ...]]
    log_evidence: float
    fit: float
    fits: bool
    way: str
    cancellation: float
    faults: tuple[str, ...] = field(repr=False)
    holds: NDArray[np.bool_] = field(repr=False, compare=False)
    by_set: Mapping[int, NDArray[np.float64]] = field(repr=False, compare=False)

    def instead(self, cylinder: int, of: Collection[str]) -> tuple[tuple[str, float], ...]:
        """What may be there and none of ``of`` (faults, 'sound' or a breach): each with its probability, likeliest first.

        Faults can stand together, so the rival of a leader is what would have to be there *instead* of it.
        """
        rest = self._without(cylinder, of)
        found = dict(zip(self.faults, (rest.sum(0) @ self.holds).tolist(), strict=True))
        found[SOUND], found[BREACH] = float(rest[0, 0]), float(rest[1].sum())
        kept = [(f, p) for f, p in found.items() if f not in of]
        return tuple(sorted(kept, key=lambda pair: (-pair[1], pair[0])))

    def any_of(self, cylinder: int, of: Collection[str]) -> float:
        """The probability that at least one of these is there."""
        return max(0.0, 1.0 - float(self._without(cylinder, of).sum()))

    def _without(self, cylinder: int, of: Collection[str]) -> NDArray[np.float64]:
        rest = self.by_set[cylinder].copy()
        rest[:, self.holds[:, [k for k, f in enumerate(self.faults) if f in of]].any(axis=1)] = 0.0
        if BREACH in of:
            rest[1] = 0.0
        if SOUND in of:
            rest[0, 0] = 0.0
        return rest

    def ranked(self, cylinder: int) -> tuple[tuple[str, float], ...]:
        """Faults of one cylinder with 'sound', likeliest first; ties by id so that the order is stable."""
        return tuple(sorted(self.cylinders[cylinder].items(), key=lambda pair: (-pair[1], pair[0])))

    def ranked_engine(self) -> tuple[tuple[str, float], ...]:
        """Engine states, likeliest first."""
        return tuple(sorted(self.engine.items(), key=lambda pair: (-pair[1], pair[0])))


@dataclass(frozen=True, slots=True)
class Weight:
    """How one dependence group speaks for (> 0) or against (< 0) a fault.

    ``shift`` is the natural-log odds with everything less the same without this group, from exact re-inference: small
    for each of several groups that say the same. ``alone`` is the natural log of how many times likelier its sights are
    under this fault alone than on a healthy engine: what the group says by itself.
    ``cylinder`` is None for an engine-wide group. ``seen`` are the entries the group holds.
    """

    group: str
    cylinder: int | None
    shift: float
    alone: float
    seen: tuple[Seen, ...]


@dataclass(frozen=True, slots=True)
class Flip:
    """The likeliest single result that would put another fault in front: what it would show, and who would lead then."""

    item: str
    cylinder: int | None
    state: str
    chance: float
    leader: str
    repeat: bool


@dataclass(frozen=True, slots=True)
class Case:
    """One fault of one cylinder with what speaks for and against it, strongest first."""

    fault: str
    probability: float
    weights: tuple[Weight, ...]


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why a cylinder is called as it is.

    ``support`` counts the independent groups that by themselves speak for the leader; under two is not enough evidence.
    ``flip`` is None when no single result would change the leader.
    """

    cylinder: int
    leader: Case
    runner_up: Case
    support: int
    flip: Flip | None


@dataclass(frozen=True, slots=True)
class Draws:
    """Joint states of the engine drawn exactly from the posterior; row i of every array is one engine.

    Attributes
    ----------
    cylinders : tuple of int, length k
        The columns of ``sets``.
    pairs : tuple of (int, int), length p
        The columns of ``breaches``.
    fault_sets : tuple of tuple of str, length m
        What a value in ``sets`` means; index 0 is the empty set (no fault).
    states : tuple of str, length e
        What a value in ``engine`` means.
    sets : int array (n, k); engine : int array (n,); breaches : bool array (n, p)
    channels : bool array (n, c)
        Which channels speak, in the order of the tables.
    has : bool array (m, f), ``faults`` : tuple of str, length f
        Membership: ``has[sets[:, j]][:, i]`` says whether cylinder j holds fault i.
    """

    cylinders: tuple[int, ...]
    pairs: tuple[tuple[int, int], ...]
    faults: tuple[str, ...]
    fault_sets: tuple[tuple[str, ...], ...]
    states: tuple[str, ...]
    sets: NDArray[np.int64]
    engine: NDArray[np.int64]
    breaches: NDArray[np.bool_]
    channels: NDArray[np.bool_]
    has: NDArray[np.bool_] = field(repr=False)

    def __len__(self) -> int:
        return len(self.engine)


class Value(Protocol):
    """What the courses of action are worth; the money room supplies it.

    ``nets(draws)`` is (n, courses): the net worth of each course on each draw, in the user's currency. Called with
    ``weights`` (m, n), each row adding to 1 over the n draws, it returns ``(values, courses)``: (m,) expected worth of the
    best course under each row, and (m,) its column.
    """

    def nets(self, draws: Draws) -> NDArray[np.float64]: ...

    def __call__(
        self, draws: Draws, weights: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]]: ...


@dataclass(frozen=True, slots=True)
class Before:
    """Something that has to be done first (or cleared), with the reason in plain words."""

    test: str
    reason: str


@dataclass(frozen=True, slots=True)
class Next:
    """One test worth doing next.

    ``worth`` is the expected gain in the money decision in the user's currency, ``error`` its standard error, ``net`` the
    gain less the minutes at the user's rate; ``splits`` the faults or engine states it would tell apart, most moved first; ``changes`` the
    chance (0 to 1) that its result changes the course of action. ``before`` names what must come first; a test that
    is itself such a first step carries the reason in ``reason``. ``again`` marks a repeat of a doubtful test.
    """

    test: str
    cylinder: int | None
    minutes: float
    worth: float
    net: float
    splits: tuple[str, ...]
    changes: float
    before: tuple[Before, ...] = ()
    reason: str = ""
    again: bool = False
    error: float = 0.0


@dataclass(frozen=True, slots=True)
class Advice:
    """The tests worth doing, best first. ``none_needed`` True: no test is worth its minutes for this decision.

    ``held`` are tests that must not be done now, with the reason (no cranking with liquid in a cylinder, ...).
    ``idle`` are tests that would tell faults apart without changing what is done: the same bill either way.
    """

    tests: tuple[Next, ...]
    none_needed: bool
    held: tuple[Before, ...]
    idle: tuple[Next, ...]
