"""How long the screens take, beside a bare app or a floor in the same run; targets are noted, never asserted."""

from __future__ import annotations

import asyncio
import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from borelog.acts import entering
from borelog.acts.bench import open_bench
from borelog.acts.typed import typed_reading
from borelog.logbook.entries import Content
from borelog.marks.shapes import Ellipse
from borelog.tui.views import readings as view

pytestmark = pytest.mark.bench
Speed = Callable[..., None]

BARE = """
from textual.app import App
from textual.widgets import Header, Footer, Label, ListView, Input
class Bare(App):
    def compose(self):
        yield Header(); yield Label('LOGBOOK'); yield Input(); yield ListView(); yield Footer()
Bare().run()
"""
OURS = """
from pathlib import Path
from borelog.acts.bench import open_bench
from borelog.tui.app import run
import sys
bench = open_bench(Path({folder!r}), who='t')
run(bench, {open_id!r})
"""


class OnTerminal:
    """A program on a pseudo-terminal of 120 x 40, read as it writes."""

    def __init__(self, code: str, home: Path) -> None:
        self.leader, follower = pty.openpty()
        import fcntl
        import struct
        import termios

        fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
        env = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")} | {
            "TERM": "xterm-256color",
            "COLORTERM": "truecolor",
            "HOME": str(home),
            "XDG_CONFIG_HOME": str(home),
        }
        self.began = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, "-c", code],
            stdin=follower,
            stdout=follower,
            stderr=follower,
            env=env,
            close_fds=True,
        )
        os.close(follower)
        self.seen = b""

    def read(self, seconds: float) -> bytes:
        ready, _, _ = select.select([self.leader], [], [], seconds)
        chunk = os.read(self.leader, 1 << 20) if ready else b""
        self.seen += chunk
        return chunk

    def until(self, words: bytes, seconds: float = 30.0) -> float:
        """Seconds from the start until words were written."""
        end = time.perf_counter() + seconds
        while words not in self.seen and time.perf_counter() < end:
            self.read(0.05)
        assert words in self.seen, self.seen[-2000:]
        return time.perf_counter() - self.began

    def quiet(self, seconds: float = 0.4) -> None:
        while self.read(seconds):
            pass

    def key(self, keys: bytes) -> float:
        """Seconds from a key to the first byte it brings to the screen."""
        began = time.perf_counter()
        os.write(self.leader, keys)
        while not self.read(5.0):
            pass
        return time.perf_counter() - began

    def cpu(self) -> float:
        """CPU seconds used so far."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def close(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        os.close(self.leader)


def engine(folder: Path, layout: str, count: int) -> str:
    """A logbook with one engine, every cylinder with its compression."""
    bench = open_bench(folder, who="t")
    id_ = entering.open_inspection(bench, "Bench", facts={"layout": layout})
    bodies: list[tuple[Content, str]] = [
        (typed_reading("compression_dry", c, f"{150 + c}"), "measured") for c in range(1, count + 1)
    ]
    entering.enter_all(bench, id_, bodies)
    bench.journal.close()
    return id_


def best(times: int, work: Callable[[], float]) -> float:
    return min(work() for _ in range(times))


def test_first_paint(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """From the start of Python to the first screen; target 500 ms and 1.8 times a bare app."""
    folder = tmp_path / "logbook"
    engine(folder, "inline 4", 4)

    def once(code: str) -> float:
        program = OnTerminal(code, tmp_path)
        spent = program.until(b"LOGBOOK")
        program.close()
        return spent

    bare = best(3, lambda: once(BARE))
    benchmark.pedantic(lambda: once(OURS.format(folder=str(folder), open_id="")), rounds=3)
    speed("paint", floor=bare)
    speed("paint_ratio", value=benchmark.stats.stats.min / bare, floor=bare)


def test_key_to_echo(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """From a key in the grid's editor to the changed screen; target 5 ms; beside the same key in a stock field."""
    folder = tmp_path / "logbook"
    id_ = engine(folder, "V12", 12)
    bare = OnTerminal(BARE, tmp_path)
    bare.until(b"LOGBOOK")
    bare.quiet()
    floor = best(15, lambda: bare.key(b"7"))
    bare.close()
    ours = OnTerminal(OURS.format(folder=str(folder), open_id=id_), tmp_path)
    ours.until(b"CYLINDERS")
    ours.quiet(1.5)
    ours.key(b"\x1bOS")
    ours.quiet(1.5)
    ours.key(b"7")
    ours.quiet()
    times = []

    def once() -> None:
        times.append(ours.key(b"7"))
        ours.quiet(0.05)

    benchmark.pedantic(once, rounds=20)
    ours.close()
    speed("echo", value=1e3 * min(times), floor=floor)


async def test_opening_the_grid_of_a_v12(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """From F4 to a painted grid; target 30 ms. The benchmark times view and rows; extra info the whole switch, as processor
    time of the loop's thread and by the clock (the clock counts whatever else the machine does)."""
    from borelog.tui.app import Screens
    from borelog.tui.grid import GridView
    from borelog.tui.keymap import Settings

    folder = tmp_path / "logbook"
    id_ = engine(folder, "V12", 12)
    bench = open_bench(folder, who="t")
    app = Screens(bench, Settings(), id_)
    async with app.run_test(size=(120, 40)) as pilot:
        for _ in range(200):
            await pilot.pause(0.02)
            if (
                not app.desk.busy
                and app.room_now().where == "plan"
                and all(w.is_finished for w in app.workers)
            ):
                break
        await pilot.pause(2.5)  # the other screens are made while nobody presses a key
        switches = []
        for _ in range(4):
            painted = 0
            plain = GridView.render_line

            def counted(self: GridView, y: int, plain: Any = plain) -> Any:
                nonlocal painted
                painted += bool(self.grid.rows)
                return plain(self, y)

            GridView.render_line = counted  # type: ignore[method-assign]
            wall, began = time.perf_counter(), time.thread_time()
            app.go("readings")
            while painted < 30:
                await asyncio.sleep(0)
            switches.append((time.thread_time() - began, time.perf_counter() - wall))
            GridView.render_line = plain  # type: ignore[method-assign]
            await pilot.pause(0.2)
            app.go("plan")
            await pilot.pause(0.2)
        grid = app.rooms["readings"].query_one(GridView)
        inspection, cylinders = app.desk.inspection, app.desk.cylinders
        assert inspection is not None

        def paint() -> None:
            grid.set_grid(view.build(inspection, cylinders, frozenset(), {}))
            for y in range(33):
                grid.render_line(y)

        benchmark(paint)
        speed("grid")
        switch = "from F4 to the grid of a V12, everything else that the key brings included"
        speed(what=f"{switch}, first time", room="screens", value=1e3 * switches[0][0])
        speed(what=f"{switch}, later", room="screens", value=1e3 * min(s[0] for s in switches[1:]))
    bench.journal.close()


@pytest.mark.parametrize(("size", "id_"), [((120, 40), "redraw_small"), ((200, 60), "redraw_large")])
def test_picture_redraw_with_24_marks(benchmark: Any, size: tuple[int, int], id_: str, speed: Speed) -> None:
    """A pan: samples, marks, cells, terminal text; beside the sampling alone."""
    from borelog.tui.frames import frame
    from borelog.tui.overlay import Drawn
    from borelog.tui.picture import Look
    from borelog.tui.sampling import sample, source_of
    from borelog.tui.themes import NIGHT
    from borelog.tui.viewport import fit

    pixels = np.random.default_rng(1).integers(0, 255, (720, 1280, 3), dtype=np.uint8)
    source, view_ = source_of(pixels), fit((1280, 720), size)
    marks = tuple(Drawn(Ellipse(120 + 45 * k, 100 + 20 * k, 60, 35, 10 * k), str(k)) for k in range(24))
    shift = iter(range(10**9))
    benchmark(lambda: frame(source, view_.panned(next(shift) % 7, 0), size, Look(), marks, (640, 360), NIGHT))
    began = time.perf_counter()
    for _ in range(20):
        sample(source, view_, size, (2, 2))
    speed(id_, floor=(time.perf_counter() - began) / 20)


def test_next_still(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """A still of 1280 x 720 from disk to a frame, when it was not fetched ahead; target 60 ms."""
    from PIL import Image

    from borelog.tui.frames import frame
    from borelog.tui.loading import Loader
    from borelog.tui.picture import Look
    from borelog.tui.themes import NIGHT
    from borelog.tui.viewport import fit

    rng = np.random.default_rng(2)
    pixels = rng.integers(0, 255, (90, 160, 3), dtype=np.uint8).repeat(8, 0).repeat(8, 1)
    path = tmp_path / "still.jpg"
    Image.fromarray(pixels).save(path, quality=90)

    def once() -> None:
        source = Loader().load(path, "0" * 64, 0)
        frame(source, fit(source.size, (120, 40)), (120, 40), Look(), (), (640, 360), NIGHT)

    once()
    benchmark(once)
    began = time.perf_counter()
    for _ in range(5):
        Image.open(path).load()
    speed("next_still", floor=(time.perf_counter() - began) / 5)


def test_idle_cpu(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """CPU used while nothing is touched, as a share of one core; target 0.3 per cent."""
    folder = tmp_path / "logbook"
    id_ = engine(folder, "V8", 8)
    program = OnTerminal(OURS.format(folder=str(folder), open_id=id_), tmp_path)
    program.until(b"CYLINDERS")
    program.quiet(4.0)
    seconds = 20.0
    before = program.cpu()
    benchmark.pedantic(lambda: time.sleep(seconds), rounds=1)
    speed("idle", value=100 * (program.cpu() - before) / seconds)
    program.close()


async def test_longest_turn_of_the_event_loop(benchmark: Any, tmp_path: Path, speed: Speed) -> None:
    """Every callback of a walk through all screens, as processor time of the loop's own thread; target 50 ms."""
    import asyncio.events as events

    from borelog.tui.app import Screens
    from borelog.tui.keymap import Settings
    from borelog.tui.warming import spare_the_collector

    folder = tmp_path / "logbook"
    id_ = engine(folder, "V8", 8)
    bench = open_bench(folder, who="t")
    app = Screens(bench, Settings(), id_)
    turns: list[float] = []
    plain = events.Handle._run

    def watched(self: Any) -> None:
        began = time.thread_time()
        plain(self)
        turns.append(time.thread_time() - began)

    walk = "f2 f3 right l f8 f8 e pagedown escape f4 1 5 1 enter pagedown ctrl+s escape f6 tab pagedown f7 down f5 a escape f1 escape ctrl+p c y l escape ctrl+z"
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause(4.0)
        spare_the_collector()
        events.Handle._run = watched  # type: ignore[method-assign]
        try:
            for key in walk.split():
                await pilot.press(key)
                await pilot.pause(0.6 if key.startswith("f") or key in ("enter", "l") else 0.1)
        finally:
            events.Handle._run = plain  # type: ignore[method-assign]
    bench.journal.close()
    benchmark.pedantic(lambda: None, rounds=1)
    speed("turn", value=1e3 * max(turns))
