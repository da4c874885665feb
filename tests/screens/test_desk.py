"""The desk: what other programs write arrives as news and is never counted as work under way."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import Any

from borelog.acts import entering
from borelog.acts.bench import open_bench
from borelog.logbook.entries import Note
from borelog.tui.app import judged
from borelog.tui.desk import Desk, Outcome


def _wait_for(told: list[Outcome], count: int, desk: Desk) -> None:
    end = time.monotonic() + 30
    while len(told) < count and time.monotonic() < end:
        desk.look_again()
        time.sleep(0.01)


def test_news_from_another_program_is_not_counted_as_work(tmp_path: Path) -> None:
    here = open_bench(tmp_path / "logbook", who="AB")
    id_ = entering.open_inspection(here, "Grey van")
    told: list[Outcome] = []
    desk = Desk(here, tell=told.append)
    desk.do(lambda: id_, opens=True).result(30)
    assert desk.busy == 1
    desk.arrived(told[0])
    assert desk.busy == 0
    there = open_bench(tmp_path / "logbook", who="CD")
    entering.enter(there, id_, Note("from the other bench"))
    there.journal.close()
    _wait_for(told, 2, desk)
    assert not told[1].asked
    assert desk.busy == 0
    assert desk.arrived(told[1])
    assert desk.busy == 0
    assert desk.inspection is not None
    assert desk.inspection.of(Note)[0].body.text == "from the other bench"
    desk.close()
    here.journal.close()


def test_a_fault_in_judging_is_said_and_ends_nothing(tmp_path: Path) -> None:
    """Whatever goes wrong comes back in words: a worker that fell silent would stop all judging after it."""
    bench = open_bench(tmp_path / "logbook", who="AB")
    verdict, words = judged(bench, "no inspection at all")
    assert verdict is None
    assert words.startswith("no verdict, by a fault of the program")
    bench.journal.close()


def test_looking_for_news_waits_for_what_is_under_way_and_never_queues_up(tmp_path: Path) -> None:
    """A slow disk holds one look up; the looks of the seconds after do not pile up behind it."""
    bench = open_bench(tmp_path / "logbook", who="AB")
    desk = Desk(bench, tell=lambda outcome: None)
    gate, ran = threading.Event(), []
    held = desk.do(gate.wait)
    assert desk.busy == 1
    desk.look_again()
    desk.arrived(Outcome(asked=True))
    object.__setattr__(bench, "journal", _Counting(bench.journal, ran))
    for _ in range(5):
        desk.look_again()
    assert ran == []
    gate.set()
    held.result(30)
    desk.close()
    assert len(ran) == 2, "one after the act that was held up, and one look"
    bench.journal.close()


class _Counting:
    """The journal, and a note of every look at its version."""

    def __init__(self, journal: Any, ran: list[int]) -> None:
        self._journal, self._ran = journal, ran

    def version(self) -> int:
        self._ran.append(1)
        return int(self._journal.version())

    def __getattr__(self, name: str) -> Any:
        return getattr(self._journal, name)
