"""Pictures of every screen for the docs, and the keys page: ``python -m borelog.tui.pictures docs/screens``.

The screens are the real ones over the demo engines, driven by keys, at fixed sizes, dates and colours.
"""

from __future__ import annotations

import asyncio
import re
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

from borelog.acts.bench import open_bench
from borelog.tui.keymap import Settings, keys_in_force
from borelog.tui.views.helping import keys_page

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from borelog.tui.app import Screens
    from borelog.tui.screens.pack import PackRoom

# file name -> (columns, rows), theme, keys from the cylinders of the first demo engine
SHOTS: dict[str, tuple[tuple[int, int], str, tuple[str, ...]]] = {
    "logbook": ((120, 30), "borelog-night", ("f2",)),
    "cylinders": ((120, 40), "borelog-night", ("3",)),
    "cylinders-80x24": ((80, 24), "borelog-night", ("3",)),
    "cylinders-40x30": ((40, 30), "borelog-night", ("3",)),
    "cylinders-day": ((120, 40), "borelog-day", ("3",)),
    "cylinders-large": ((120, 40), "borelog-night", ("3", "f8")),
    "readings": ((120, 40), "borelog-night", ("3", "f4")),
    "readings-40x30": ((40, 30), "borelog-night", ("3", "f4")),
    "says": ((100, 34), "borelog-night", ("3", "f4", "ctrl+s")),
    "past-calls": ((100, 30), "borelog-night", ("f2", "p")),
    "engine": ((100, 30), "borelog-night", ("e",)),
    "stills": ((120, 40), "borelog-night", ("3", "f5", "full_stop", "full_stop")),
    "magnifier": ((100, 30), "borelog-night", ("3", "f5", "full_stop", "full_stop", "n", "plus", "g")),
    "coverage": ((100, 36), "borelog-night", ("3", "f5", "a")),
    "verdict": ((120, 44), "borelog-night", ("3", "f6")),
    "pack": ((110, 32), "borelog-night", ("f7",)),
    "help": ((110, 36), "borelog-night", ("f1",)),
    "find": ((100, 30), "borelog-night", ("ctrl+p", "c", "y", "l")),
}


async def shoot(folder: Path, out: Path, names: tuple[str, ...] = ()) -> list[Path]:
    """Write an SVG of every screen; the logbook in ``folder`` holds the demo engines.

    The picture screens are large (about a megabyte): cells are written one by one.
    """
    from borelog.tui.app import Screens

    made = []
    for name, (size, theme, keys) in SHOTS.items():
        if names and name not in names:
            continue
        bench = open_bench(folder, who="AB")
        first = min(bench.journal.summaries(), key=lambda s: s.number)
        app = Screens(bench, Settings(theme=theme), first.id)
        app.color_depth = "full"
        app.logbook_shown = "demo logbook"
        async with app.run_test(size=size) as pilot:
            await _settle(app, pilot)
            for key in keys:
                await pilot.press(key)
                await _settle(app, pilot)
            if "pack" in app.rooms:
                pack = cast("PackRoom", app.rooms["pack"])
                pack.plan = replace(pack.plan, folder="~/packs")
            app.room_now().say("")
            app.desk.saved_at = ""
            app.room_now().show()
            await pilot.pause()
            path = out / f"{name}.svg"
            path.write_text(steady(app.export_screenshot(title="borelog")), encoding="utf-8")
            made.append(path)
        bench.journal.close()
    return made


async def _settle(app: Screens, pilot: Pilot[None]) -> None:
    """Wait until nothing is being worked out."""
    for _ in range(600):
        await pilot.pause(0.02)
        idle = not app.desk.busy and all(w.is_finished for w in app.workers if w.group != "warm")
        if idle and (app.desk.verdict or not app.desk.id):
            await pilot.pause(0.05)
            return


def steady(svg: str) -> str:
    """The same bytes for the same picture: the writer's random names are replaced, and no web font is asked for."""
    svg = re.sub(r"@font-face\s*\{[^}]*\}", "", svg)
    return re.sub(r"terminal-\d+", "terminal-0", svg)


def main(arguments: list[str]) -> int:
    """Make the demo logbook in a folder of its own, then all pictures and the keys page beside them."""
    if not arguments:
        print(
            "say where the pictures go: python -m borelog.tui.pictures docs/screens [NAME...]",
            file=sys.stderr,
        )
        return 2
    out = Path(arguments[0])
    out.mkdir(parents=True, exist_ok=True)
    (out.parent / "keys.md").write_text(keys_page(keys_in_force()), encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        bench = replace(open_bench(Path(folder) / "demo-logbook", who="AB"), at="2026-03-02T09:30:00+00:00")
        from borelog.demo.engines import build_demo

        build_demo(bench)
        bench.journal.close()
        for path in asyncio.run(shoot(Path(folder) / "demo-logbook", out, tuple(arguments[1:]))):
            print(path)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
