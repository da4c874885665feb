"""What is on the desk: the logbook, the inspection in hand, the cylinder in hand; and the one queue through which all acts go.

Acts run on one thread of their own, in order, so that a slow disk never holds up a key. The screens only ever see
values: the inspection as folded after the last act, and the verdict once it is worked out.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar

from borelog.logbook.inspection import Inspection
from borelog.text import BorelogError

if TYPE_CHECKING:
    from borelog.acts.bench import Bench
    from borelog.engine.engine import Engine

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class At:
    """The logbook and the inspection in hand when work began: by its end another may be in hand."""

    bench: Bench
    id: str


@dataclass(slots=True)
class Outcome:
    """How an act ended: what to say, whether it failed, and the inspection afterwards.

    ``asked`` is False for news that nobody waits for: another program wrote to the logbook.
    """

    words: str = ""
    failed: bool = False
    inspection: Inspection | None = None
    value: Any = None
    saved_at: str = ""
    then: Callable[[Outcome], None] | None = None
    asked: bool = True


@dataclass(slots=True)
class Desk:
    """The state all screens share. ``tell`` is called on the acts' thread with every outcome."""

    bench: Bench
    tell: Callable[[Outcome], None] = lambda outcome: None
    inspection: Inspection | None = None
    cylinder: int | None = None
    still: str = ""
    verdict: Any = None
    how: str = ""
    units: dict[str, str] = field(default_factory=dict)
    series: dict[str, str] = field(default_factory=dict)
    saved_at: str = ""
    busy: int = 0
    opening: bool = False
    seen_version: int = -1
    _looking: bool = False
    _queue: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "acts"))

    @property
    def id(self) -> str:
        """The id of the inspection in hand, '' for none."""
        return self.inspection.id if self.inspection else ""

    @property
    def at(self) -> At:
        """What work that begins now belongs to."""
        return At(self.bench, self.id)

    @property
    def engine(self) -> Engine | None:
        """The engine in hand, None while its layout is not known."""
        if self.inspection is None:
            return None
        from borelog.logbook.described import engine_of

        return engine_of(self.inspection)

    @property
    def cylinders(self) -> tuple[int, ...]:
        """Cylinder numbers of the engine in hand; of the cylinders named in the record while no layout is known."""
        if engine := self.engine:
            return engine.cylinders
        return named_cylinders(self.inspection) if self.inspection else ()

    def pick(self, cylinder: int | None) -> None:
        """Take a cylinder in hand."""
        self.cylinder = cylinder if cylinder in self.cylinders else next(iter(self.cylinders), None)

    def step(self, by: int) -> None:
        """Take the next or previous cylinder by number in hand."""
        if cylinders := self.cylinders:
            at = cylinders.index(self.cylinder) if self.cylinder in cylinders else 0
            self.cylinder = cylinders[(at + by) % len(cylinders)]

    def do(
        self,
        act: Callable[[], T],
        said: Callable[[T], str] | str = "",
        *,
        opens: bool = False,
        then: Callable[[Outcome], None] | None = None,
    ) -> Future[Outcome]:
        """Run an act on the acts' thread; the outcome carries the inspection as it stands afterwards.

        ``opens``: the act returns the id of another inspection to take in hand. ``then`` travels with the outcome and
        is called on the screens' side once it arrived there.
        """
        id_ = self.id
        self.busy += 1
        self.opening = self.opening or opens

        def run() -> Outcome:
            outcome = self._run(act, said, id_, opens)
            outcome.then = then
            self.tell(outcome)
            return outcome

        return self._queue.submit(run)

    def _run(self, act: Callable[[], T], said: Callable[[T], str] | str, id_: str, opens: bool) -> Outcome:
        try:
            value = act()
            words = said if isinstance(said, str) else said(value)
            now = self.bench.inspection(str(value) if opens else id_) if (opens or id_) else None
            self.seen_version = self.bench.journal.version()
            return Outcome(words, inspection=now, value=value, saved_at=f"{datetime.now():%H:%M:%S}")
        except BorelogError as error:
            return Outcome(str(error), failed=True)
        except Exception as error:  # noqa: BLE001 - whatever goes wrong must reach the person, not end the queue
            return Outcome(
                f"that went wrong and nothing was entered: {type(error).__name__}: {error}", failed=True
            )

    def arrived(self, outcome: Outcome) -> bool:
        """Take an outcome over on the screens' side; True when the inspection in hand changed."""
        # Counted on the screens' side alone, up in `do` and down here: two threads counting would lose one.
        if outcome.asked:
            self.busy -= 1
        if not self.busy:
            self.opening = False
        if outcome.failed or outcome.inspection is None:
            return False
        changed = outcome.inspection is not self.inspection
        other = outcome.inspection.id != self.id
        self.inspection = outcome.inspection
        if other:
            self.verdict, self.still, self.how = None, "", ""
            self.units, self.series = {}, {}
            self.cylinder = None
        if changed:
            self.saved_at = outcome.saved_at
        if self.cylinder not in self.cylinders:
            self.pick(self.cylinder)
        return changed

    def look_again(self) -> None:
        """See whether anybody else wrote to the logbook; tells only if so. Waits its turn while acts are under way."""
        id_ = self.id

        def run() -> None:
            try:
                version = self.bench.journal.version()
                if version == self.seen_version:
                    return
                first, self.seen_version = self.seen_version < 0, version
                now = self.bench.inspection(id_) if id_ else None
            except BorelogError:
                return
            finally:
                self._looking = False
            if not first:
                self.tell(Outcome(inspection=now, value="news", asked=False))

        if not self.busy and not self._looking:
            self._looking = True
            self._queue.submit(run)

    def take_over(self, who: str) -> None:
        """Another person is at the bench: what is entered from now on carries this name, what is queued the one before."""
        self.bench = replace(self.bench, who=who)

    def change(self, bench: Bench) -> None:
        """Take another logbook on the desk; no inspection is in hand then."""
        self.bench, self.inspection, self.verdict = bench, None, None
        self.cylinder, self.saved_at, self.seen_version = None, "", -1

    def close(self) -> None:
        """Finish what is queued; the logbook belongs to whoever opened it."""
        self._queue.shutdown(wait=True)


def named_cylinders(inspection: Inspection) -> tuple[int, ...]:
    """Cylinders that anything recorded speaks of, for an engine whose layout is not noted yet."""
    found = {getattr(r.body, "cylinder", None) for group in inspection.things.values() for r in group}
    return tuple(sorted(c for c in found if isinstance(c, int)))
