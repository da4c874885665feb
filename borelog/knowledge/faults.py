"""The fault tables: what can be wrong, what can be seen, and how likely each sight is under each cause.

All of it is data under ``data/``: a mechanic who disagrees with a number finds it in ``rows.csv`` with its reason
beside it, or lays an own table of the same columns over it. Nothing here computes a probability.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

from borelog.knowledge import tables
from borelog.knowledge.tables import TableError

BACKGROUND = "sound"  # the row of a healthy cylinder or engine
SPOILED = "spoiled"  # the row of a test that showed its own conditions
CALLS = ("run", "test_first", "repair_in_car", "head_off", "rebuild", "replace")
HISTORY = "history_event"


@dataclass(frozen=True, slots=True)
class Fault:
    """A cause: ``scope`` is cylinder, pair (a gasket bridge), engine (a state of the whole engine) or channel.

    ``weight`` is its share among suspected cylinders (cylinder, pair), among engines (engine) or as what a misreading
    looks like (channel). ``bill`` groups faults that end in the same work.
    """

    id: str
    scope: str
    label: str
    weight: float
    usual_call: str
    bill: str
    source: str


@dataclass(frozen=True, slots=True)
class Item:
    """Something that can be recorded. ``states`` run from least to most telling; ``wording`` gives their words.

    Items of one ``group`` are views of one fact. ``test`` is the validity variable they hang on, or ''.
    """

    id: str
    scope: str
    set: str
    group: str
    test: str
    minutes: float
    question: str
    states: tuple[str, ...]
    wording: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Row:
    """The states of one item under one cause: probabilities that add to 1, in the item's order of states.

    ``disagreement`` is the total variation between the two opinions merged here, None where one hand wrote it.
    """

    probabilities: tuple[float, ...]
    disagreement: float | None
    source: str
    why: str
    file: str = "rows.csv"


@dataclass(frozen=True, slots=True)
class Move:
    """What an engine state or something that happened does to the odds of a fault or engine state."""

    when: str
    target: str
    kind: str
    factor: float
    why: str


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test as a person would do it: the items it answers, minutes, how it is taken, what it needs.

    ``each`` are items that a test of the engine answers for every cylinder at once.
    """

    id: str
    scope: str
    label: str
    minutes: float
    items: tuple[str, ...]
    how: str
    needs: tuple[str, ...]
    note: str
    each: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Order:
    """A rule of order: ``kind`` before (first, then), held_on (a sight holds back what needs something), or clears."""

    kind: str
    first: str
    then: str
    reason: str


@dataclass(frozen=True, slots=True)
class WorkCheck:
    """What a called fault asks to be looked at before its work begins: it settles the extent, not the name.

    ``where`` is here, others, all (cylinders) or engine.
    """

    fault: str
    test: str
    where: str
    why: str


@dataclass(frozen=True, slots=True)
class FaultTables:
    """Every table of the fault network, checked. ``digest`` names their content, ``notices`` what was not taken."""

    faults: Mapping[str, Fault]
    items: Mapping[str, Item]
    rows: Mapping[tuple[str, str], Row]
    channels: Mapping[tuple[str, str], float]
    moves: tuple[Move, ...]
    pairs: Mapping[tuple[str, str], float]
    masks: frozenset[tuple[str, str, str]]
    misread: Mapping[str, tuple[float, str]]
    validity: Mapping[tuple[str, str], tuple[float, str]]
    priors: Mapping[str, float]
    tests: Mapping[str, NextTest]
    order: tuple[Order, ...]
    work: tuple[WorkCheck, ...] = ()
    digest: str = ""
    notices: tuple[str, ...] = field(default=())

    def of_scope(self, scope: str) -> tuple[str, ...]:
        """Ids of the causes of one scope, in table order; 'sound' is none."""
        return tuple(f.id for f in self.faults.values() if f.scope == scope and f.id != BACKGROUND)

    def items_of(self, scope: str) -> tuple[Item, ...]:
        """Items of one scope, in table order."""
        return tuple(i for i in self.items.values() if i.scope == scope)

    def bill(self, fault: str) -> str:
        """The work a fault ends in; faults of one bill may be shown as one."""
        return self.faults[fault].bill


COLUMNS: Mapping[str, tuple[str, ...]] = {
    "faults.csv": ("id", "scope", "label", "weight", "usual_call", "bill", "source"),
    "items.csv": ("id", "scope", "set", "group", "test", "minutes", "question"),
    "item_states.csv": ("item", "state", "wording"),
    "rows.csv": ("cause", "item", "state", "probability", "disagreement", "source", "why"),
    "channels.csv": ("channel", "source", "strength", "why"),
    "moves.csv": ("when", "target", "kind", "factor", "why"),
    "pairs.csv": ("first", "second", "factor", "why"),
    "masks.csv": ("item", "hider", "hidden", "why"),
    "misread.csv": ("how", "chance", "wording", "why"),
    "validity.csv": ("variable", "condition", "chance", "wording", "why"),
    "priors.csv": ("name", "value", "why"),
    "next_tests.csv": ("id", "scope", "label", "minutes", "items", "each", "how", "needs", "note"),
    "test_order.csv": ("kind", "first", "then", "reason"),
    "work_checks.csv": ("fault", "test", "where", "why"),
}
KEYS: Mapping[str, tuple[str, ...]] = {
    "faults.csv": ("id",),
    "items.csv": ("id",),
    "item_states.csv": ("item",),
    "rows.csv": ("cause", "item"),
    "channels.csv": ("channel", "source"),
    "moves.csv": ("when", "target"),
    "pairs.csv": ("first", "second"),
    "masks.csv": ("item", "hider", "hidden"),
    "misread.csv": ("how",),
    "validity.csv": ("variable", "condition"),
    "priors.csv": ("name",),
    "next_tests.csv": ("id",),
    "test_order.csv": ("kind", "first", "then"),
    "work_checks.csv": ("fault", "test"),
}
OWN_COLUMNS = {"rows.csv": ("cause", "item", "state", "probability", "why")}
Raw = dict[str, list[dict[str, str]]]


def _shipped() -> Raw:
    return {name: [dict(r, file=name) for r in tables.rows(name, *cols)] for name, cols in COLUMNS.items()}


def _own_files(own: Path) -> dict[str, Path]:
    """Which shipped table each own file stands over; a single file stands over ``rows.csv`` unless named otherwise."""
    if own.is_dir():
        return {p.name: p for p in sorted(own.glob("*.csv")) if p.name in COLUMNS}
    return {own.name if own.name in COLUMNS else "rows.csv": own}


def _laid_over(raw: Raw, name: str, path: Path) -> Raw:
    """``raw`` with the own rows in place of the shipped rows of the same key."""
    text = tables.user_text(path)
    own = tables.parse_rows(text, path.name, OWN_COLUMNS.get(name, COLUMNS[name]))
    if not own:
        raise TableError(
            f"{path.name}, line 1: no row under the header; delete the file to use the shipped table"
        )
    for row in own:
        row["file"] = path.name
        for column in COLUMNS[name]:
            row.setdefault(column, "own table" if column == "source" else "")
    keys = KEYS[name]
    taken = {tuple(r[k] for k in keys) for r in own}
    return {**raw, name: [r for r in raw[name] if tuple(r[k] for k in keys) not in taken] + own}


def build(raw: Raw) -> FaultTables:
    """Tables from raw rows, every reference and number checked.

    Raises
    ------
    TableError
        Naming file, line and reason.
    """
    from borelog.knowledge import fault_checks as check

    faults = check.faults(raw["faults.csv"])
    items = check.items(raw["items.csv"], raw["item_states.csv"])
    rows = check.rows(raw["rows.csv"], faults, items)
    misread = check.chances(raw["misread.csv"], ("how",))
    validity = check.chances(raw["validity.csv"], ("variable", "condition"))
    tests = check.tests(raw["next_tests.csv"], items, misread)
    text = repr([(n, [{k: v for k, v in r.items() if k != "line"} for r in raw[n]]) for n in COLUMNS])
    return FaultTables(
        faults=faults,
        items=items,
        rows=rows,
        channels=check.channels(raw["channels.csv"], faults),
        moves=check.moves(raw["moves.csv"], faults, items),
        pairs=check.pairs(raw["pairs.csv"], faults),
        masks=check.masks(raw["masks.csv"], faults, items),
        misread={k[0]: v for k, v in misread.items()},
        validity={(k[0], k[1]): v for k, v in validity.items()},
        priors=check.priors(raw["priors.csv"]),
        tests=tests,
        order=check.order(raw["test_order.csv"], tests, items),
        work=check.work(raw["work_checks.csv"], faults, tests),
        digest=hashlib.sha256(text.encode()).hexdigest()[:16],
    )


@lru_cache(maxsize=1)
def shipped() -> FaultTables:
    """The tables as they come with the program."""
    return build(_shipped())


def load(own: Path | None = None) -> FaultTables:
    """The shipped tables with the user's own laid over them.

    Parameters
    ----------
    own : Path or None
        A folder with files named like the shipped tables, or one file (taken as rows). A row of the same key takes
        the place of the shipped one; for ``rows.csv`` the key is cause and item, all states together.

    Returns
    -------
    FaultTables
        A broken own file changes nothing: ``notices`` names file, line and reason, and the shipped table stands.
    """
    if own is None or not own.exists():
        return shipped()
    stand, notices = shipped(), []
    raw = _shipped()
    for name, path in _own_files(own).items():
        try:
            tried = _laid_over(raw, name, path)
            stand, raw = build(tried), tried
        except TableError as error:
            notices.append(f"own table not used, the shipped one stands: {error}")
    return replace(stand, notices=tuple(notices))
