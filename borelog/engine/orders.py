"""Published firing orders to choose from, and what follows from one: crank angles and the turning plan."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from borelog.engine.engine import Engine, EngineError, parse_intervals
from borelog.knowledge import tables


@dataclass(frozen=True, slots=True)
class Preset:
    """A published firing order: ``intervals`` sum to 720 degrees, ``heads`` as in `make_engine` ('' for one a
    bank).
    """

    id: str
    layout: str
    count: int
    order: tuple[int, ...]
    intervals: tuple[float, ...]
    heads: str
    note: str
    source: str
    status: str

    @property
    def words(self) -> str:
        """'1-3-4-2', with odd intervals and the note where there are any."""
        text = "-".join(map(str, self.order))
        return f"{text} ({self.note})" if self.note else text


@lru_cache(maxsize=1)
def all_presets() -> tuple[Preset, ...]:
    """Every row of the firing-order table."""
    columns = ("id", "layout", "count", "order", "intervals", "heads", "note", "source", "status")
    return tuple(
        Preset(
            r["id"],
            r["layout"],
            int(r["count"]),
            tuple(int(c) for c in r["order"].split()),
            parse_intervals(r["intervals"], int(r["count"])),
            r["heads"] or "bank",
            r["note"],
            r["source"],
            r["status"],
        )
        for r in tables.rows("firing_orders.csv", *columns)
    )


def presets(layout: str, count: int) -> tuple[Preset, ...]:
    """The published orders for a layout, usual ones first; empty where none is known."""
    return tuple(p for p in all_presets() if (p.layout, p.count) == (layout, count))


def firing_angles(engine: Engine) -> dict[int, float]:
    """Crank degrees from the first cylinder's firing top to each cylinder's, 0 to 720; in firing order.

    Raises
    ------
    EngineError
        When the firing order is not known.
    """
    if engine.firing_order is None:
        raise EngineError(
            "the firing order is not known: type it, for example 1-3-4-2, or read it off the engine"
        )
    angles, at = {}, 0.0
    for cylinder, step in zip(engine.firing_order, engine.intervals, strict=True):
        angles[cylinder] = at
        at += step
    return angles


OVERSHOT = (
    "If the top is overshot go back at least half a turn and come up to it again in the running direction."
)


@dataclass(frozen=True, slots=True)
class Turn:
    """One step of the turning plan.

    ``degrees`` is how far to turn the crank, in running direction, from the step before (0 for the first);
    ``total`` from the first; ``words`` for a person.
    """

    cylinder: int
    degrees: float
    total: float
    words: str


def turning_plan(engine: Engine, start: int | None = None, only: tuple[int, ...] = ()) -> tuple[Turn, ...]:
    """Which cylinder comes to top dead centre on compression next, and how far to turn.

    Parameters
    ----------
    engine
        With a firing order.
    start
        The cylinder that stands at its compression top now; default the first of the firing order (or of
        ``only``).
    only
        Cylinders to test; empty for all.

    Notes
    -----
    The backlash rule ('go back at least half a turn') is that of FAA AC 43.13-1B para 8-14 step (g): it
    leaves the rings on the lower land. Companions come to the top one full turn apart.
    """
    angles = firing_angles(engine)
    wanted = [c for c in angles if not only or c in only]
    for cylinder in (*only, *((start,) if start is not None else ())):
        engine.bank_of(cylinder)
    first = start if start is not None else wanted[0]
    away = {c: (angles[c] - angles[first]) % 720 for c in wanted}
    plan: list[Turn] = []
    before = 0.0
    for cylinder in sorted(wanted, key=lambda c: away[c]):
        step = away[cylinder] - before
        total = before = away[cylinder]
        label = engine.label(cylinder)
        if step == 0:
            words = f"cylinder {label}: prove its top on compression"
        else:
            turns = {180.0: " (half a turn)", 360.0: " (one turn)"}.get(step, "")
            words = f"turn {step:g} degrees{turns} in running direction: cylinder {label}; prove its top"
        plan.append(Turn(cylinder, step, total, words))
    return tuple(plan)
