"""A real logbook on disk for the screens, and a test clock for the widget library that does not sleep long."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from borelog.acts import entering, filing
from borelog.acts.bench import Bench, open_bench
from borelog.acts.typed import typed_reading
from borelog.logbook.entries import Conditions, Finding, Looked, Mark, Seen
from borelog.marks.places import Looked as State
from borelog.marks.places import Place
from borelog.marks.shapes import Box

from .stills_walking import saved, texture


@pytest.fixture(autouse=True)
def _short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library's wait sleeps in steps of 20 ms; shorter steps keep these tests quick.

    ``SLEEP_GRANULARITY`` is a private name: where it moves, this fails, and the line may go.
    """
    import textual._wait

    assert isinstance(textual._wait.SLEEP_GRANULARITY, float)
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.setattr(textual._wait, "SLEEP_GRANULARITY", 1 / 250)
    # On a busy machine a walk's keys lie so far apart that every entry was judged, a quarter of all work, and nobody looked.
    monkeypatch.setattr("borelog.tui.app.JUDGE_AFTER", 1.5)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """An empty logbook."""
    made = open_bench(tmp_path / "logbook", who="tester")
    yield made
    made.journal.close()


@pytest.fixture
def four(bench: Bench) -> str:
    """An in-line four with a weak third cylinder: readings, conditions, a plug, a finding, coverage."""
    id_ = entering.open_inspection(
        bench, "Row 9 blue van", facts={"layout": "inline 4", "firing_order": "1-3-4-2", "spec_min": "900"}
    )
    bodies: list[object] = [
        typed_reading("compression_dry", c, t) for c, t in ((1, "178"), (2, "172 174"), (3, "62"), (4, "180"))
    ]
    bodies += [typed_reading("leakdown", 3, "62 x"), typed_reading("leakdown", 1, "8 o")]
    bodies += [Conditions("compression_dry", {"throttle": "open", "battery": "12.1"})]
    bodies += [Seen("plug_deposit", 3, "wet_fuel")]
    bodies += [Looked(State.NOTHING, 1, Place("crown"))]
    bodies += [
        Finding(
            "ex_notch",
            3,
            Place("exhaust_valve"),
            "exhaust valve",
            "",
            3,
            "seen clearly",
            "fresh",
            (Mark("0" * 64, Box(1, 2, 3, 4)),),
        )
    ]
    entering.enter_all(bench, id_, [(b, "measured") for b in bodies])  # type: ignore[misc]
    return id_


@pytest.fixture
def picture_file(tmp_path: Path) -> Path:
    """A real JPEG, 640 x 360, with a bright square whose corner lies at (400, 100)."""
    from PIL import Image

    pixels = np.full((360, 640, 3), 60, np.uint8)
    pixels[:, :, 0] = np.linspace(40, 200, 640).astype(np.uint8)[None]
    pixels[100:160, 400:460] = (250, 250, 240)
    pixels[::24, ::24] = (20, 200, 90)
    path = tmp_path / "valve.jpg"
    Image.fromarray(pixels).save(path, quality=95)
    return path


@pytest.fixture(scope="session")
def starter_current() -> Any:
    """The function that makes a starter current with known hump heights, as the trace tests use it."""
    path = Path(__file__).parents[1] / "readings" / "starter.py"
    spec = importlib.util.spec_from_file_location("starter", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.starter_current


@pytest.fixture
def pair(bench: Bench, four: str, tmp_path: Path) -> tuple[str, str]:
    """Two stills of one place, the later with a bright square and a small step of the tip."""
    before = texture(1)
    after = np.roll(before, (3, 5), (0, 1)).copy()
    after[200:240, 300:340] = 235
    one = filing.add_pictures(
        bench, four, [saved(tmp_path / "before.jpg", before)], cylinder=1, place=Place("crown")
    )
    two = filing.add_pictures(
        bench, four, [saved(tmp_path / "later.jpg", after)], cylinder=1, place=Place("crown")
    )
    return one.filed[0].still, two.filed[0].still
