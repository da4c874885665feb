"""What takes long never runs on the thread that hears the keys: a walk over all screens, every heavy function watched."""

from __future__ import annotations

import importlib
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from borelog.acts.bench import Bench
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings

from .walking import press, settled

# What takes from some milliseconds to minutes, by the name under which the screens reach it: disk, causes, money, search,
# pictures, packs, traces.
HEAVY = (
    "borelog.verdict.judge:judge",
    "borelog.acts.judging:verdict_on",
    "borelog.acts.judging:take_call",
    "borelog.acts.money:priced_for",
    "borelog.acts.keeping:search",
    "borelog.acts.keeping:listed",
    "borelog.acts.keeping:listed_at_once",
    "borelog.acts.entering:enter",
    "borelog.acts.entering:enter_all",
    "borelog.acts.entering:undo",
    "borelog.acts.entering:redo",
    "borelog.acts.learning:score",
    "borelog.acts.learning:record_truth",
    "borelog.acts.packing:hand_over",
    "borelog.pack.check:check",
    "borelog.acts.pricing:set_prices",
    "borelog.acts.tracing:read_trace",
    "borelog.readings.crank_trace:analyse",
    "borelog.stills.intake:decode_file",
)


class Watch:
    """Wraps functions in themselves plus a note of the thread they ran on; nothing is replaced or left out."""

    def __init__(self) -> None:
        self.ran: Counter[str] = Counter()
        self.on_the_loop: list[str] = []
        self.loop_thread = threading.get_ident()

    def __call__(self, name: str, plain: Callable[..., Any]) -> Callable[..., Any]:
        def watched(*args: Any, **kwargs: Any) -> Any:
            self.ran[name] += 1
            if threading.get_ident() == self.loop_thread:
                self.on_the_loop.append(name)
            return plain(*args, **kwargs)

        return watched


@pytest.fixture
def watch(monkeypatch: pytest.MonkeyPatch) -> Watch:
    made = Watch()
    for name in HEAVY:
        module, _, function = name.partition(":")
        room = importlib.import_module(module)
        plain = getattr(room, function)
        for other in (
            "borelog.acts.judging",
            "borelog.acts.packing",
            "borelog.acts.tracing",
            "borelog.tui.loading",
            module,
        ):
            place = importlib.import_module(other)
            if getattr(place, function, None) is plain:
                monkeypatch.setattr(place, function, made(name, plain))
    return made


WALK: tuple[tuple[str, ...], ...] = (
    ("f2",), ("s", "type:notch"), ("escape",), ("f3",), ("right",), ("f4",), ("type:171", "enter"), ("ctrl+z",), ("ctrl+y",),
    ("f6",), ("w", "type:running and repaired", "enter", "type:4000", "enter"), ("escape",),
    ("p", "type:running and repaired", "enter", "type:4100", "enter"), ("d", "1", "enter"),
    ("t", "3", "type:exhaust valve", "enter", "1"), ("f2",), ("f3",), ("w", "1", "type:smell", "ctrl+s"), ("3",), ("f5",),
)  # fmt: skip
PACKING: tuple[tuple[str, ...], ...] = (("f7",), ("b",), ("c",))


@pytest.mark.parametrize(
    "walk", [WALK, pytest.param((*WALK, *PACKING), marks=pytest.mark.long)], ids=["entering", "packing"]
)
async def test_nothing_heavy_runs_where_keys_are_heard(
    bench: Bench,
    four: str,
    watch: Watch,
    picture_file: Path,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    walk: tuple[tuple[str, ...], ...],
) -> None:
    from borelog.acts import filing
    from borelog.marks.places import Place

    filing.add_pictures(bench, four, [str(picture_file)], cylinder=3, place=Place("crown"))
    monkeypatch.chdir(tmp_path)
    watch.on_the_loop.clear()
    app = Screens(bench, Settings(), four)
    async with app.run_test(size=(110, 36)) as pilot:
        await settled(app, pilot)
        for keys in walk:
            if keys == ("b",):
                from dataclasses import replace

                pack: Any = app.room_now()
                pack.plan = replace(pack.plan, folder=str(tmp_path / "out"))
            await press(app, pilot, *keys)
            await settled(app, pilot, verdict=True)
    assert not watch.on_the_loop
    assert {n.partition(":")[2] for n in watch.ran} >= {
        "judge", "verdict_on", "search", "listed", "enter", "undo", "redo", "set_prices", "take_call", "record_truth",
        "decode_file",
    } | ({"hand_over", "check"} if walk != WALK else set())  # fmt: skip


_FRESH = """
import asyncio, sys, threading
from pathlib import Path
from borelog.acts import entering
from borelog.acts.bench import open_bench
from borelog.tui import warming
from borelog.tui.app import Screens
from borelog.tui.keymap import Settings

class Seen:
    found = []
    @classmethod
    def find_spec(cls, name, path=None, target=None):
        cls.found.append((name, threading.get_ident() == threading.main_thread().ident))

async def walk(folder):
    bench = open_bench(Path(folder), who="tester")
    id_ = entering.open_inspection(bench, "Van", facts={"layout": "inline 4"})
    warming.WARM_AFTER = 3600
    app = Screens(bench, Settings())
    sys.meta_path.insert(0, Seen)
    async with app.run_test(size=(110, 36)) as pilot:
        await pilot.pause()
        app.open_inspection(id_)
        for where, key in (("plan", ""), ("stills", "f5"), ("readings", "f4")):
            if key:
                await pilot.press(key)
            while app.room_now().where != where:
                await asyncio.sleep(0.01)
            await pilot.pause()
    bench.journal.close()
    screens = [s for s in Seen.found if s[0].startswith("borelog.tui.screens.")]
    heavy = [s for s in Seen.found if s[0] in ("numpy", "cv2", "borelog.tui.frames", "borelog.acts.filing")]
    print(sorted({n for n, _ in (*screens, *heavy)}))
    print(sorted({n for n, main in (*screens, *heavy) if main and n != "borelog.tui.screens.logbook"}))

asyncio.run(walk(sys.argv[1]))
"""


def test_a_screen_asked_for_before_it_is_imported_is_imported_off_the_loop(tmp_path: Path) -> None:
    """In an interpreter of its own, in which nothing was loaded ahead; keys are heard while the import runs."""
    run = subprocess.run(
        [sys.executable, "-c", _FRESH, str(tmp_path / "logbook")], capture_output=True, text=True, timeout=120
    )
    assert run.returncode == 0, run.stderr[-800:]
    loaded, on_the_loop = run.stdout.splitlines()[-2:]
    assert all(
        n in loaded
        for n in ("screens.stills", "screens.readings", "screens.plan", "numpy", "cv2", "acts.filing")
    )
    assert on_the_loop == "[]"
