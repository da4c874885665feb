"""Three invented engines, none like another: a clear case, a trap, and one where the honest answer is 'do this next'.

Everything is invented: names, numbers, stories. Each is a sheet under ``sheets/``, stills from the sample pictures, and
marks whose place comes from the truth file of those pictures.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

import msgspec

from borelog.acts import entering, filing
from borelog.acts.bench import Bench
from borelog.acts.judging import take_call
from borelog.acts.learning import record_truth
from borelog.acts.sheet.recording import record_text
from borelog.logbook.entries import Finding, Mark, Reading, StillFiled
from borelog.marks.places import parse_place
from borelog.marks.shapes import Box, Point, Polygon, Shape
from borelog.text import BorelogError


class DemoError(BorelogError):
    """The demo cannot be built."""

    exit_code = 3


@dataclass(frozen=True, slots=True)
class Still:
    """One sample picture, where it is filed, and the finding's term whose mark it carries ('' none).

    ``outline`` names the label in the truth file that the mark follows; ``caption`` stands under the picture.
    """

    picture: str
    cylinder: int | None
    place: str
    term: str = ""
    outline: str = ""
    words: str = ""
    reading: str = ""
    caption: str = ""


@dataclass(frozen=True, slots=True)
class DemoEngine:
    """One invented engine with its story in one line.

    ``call`` is the course decided on and why; ``truth`` what it really was, ``known`` how that is known.
    """

    id: str
    title: str
    story: str
    stills: tuple[Still, ...]
    call: tuple[str, str]
    truth: tuple[str, ...]
    known: str
    truth_words: str


ENGINES: tuple[DemoEngine, ...] = (
    DemoEngine(
        "heron",
        "Heron estate, yard row 4",
        "a clear case: one burnt exhaust valve, three lines of evidence agree",
        (
            Still("slate_cylinder_3", 3, ""),
            Still("exhaust_valve_burnt", 3, "exhaust valve", "ex_notch", "notch", "gutter in the rim"),
            Still("bore_hatch_clear", 3, "bore intake middle"),
            Still("bore_down_ordinary", 3, "crown"),
            Still("exhaust_valve_even", 1, "exhaust valve"),
            Still("intake_valves", 1, "intake valve"),
            Still("plug_fuel_wet", 3, "plug", caption="before: pulled wet"),
            Still("plug_tan", 3, "plug", caption="after: the new plug, 300 km after the repair"),
            Still("plug_tray_four", None, "plug tray"),
            Still("gauge_low", None, "gauge", reading="compression_dry 3"),
        ),
        ("head_off", "Head off, valve 3 and whatever else is found; stop if a bore is scored"),
        ("3=exh_valve_leak", "1,2,4=sound"),
        "opened",
        "head off: gutter in the rim of one exhaust valve, seat saved, bores as new",
    ),
    DemoEngine(
        "plover",
        "Plover coupe, towed in",
        "a trap: all six read low because of how they were tested; the bores only look alarming",
        (
            Still(
                "bore_pin_streaks", 1, "bore front middle", "bore_pinlines", "streak", "in line with the pin"
            ),
            Still("bore_hatch_faint_top", 4, "bore intake top", "bore_faint", "", ""),
            Still("bore_mid_shine", 4, "bore exhaust middle"),
            Still("crown_heavy_carbon", 4, "crown"),
            Still("crown_thin_carbon", 1, "crown", caption="before the second test"),
            Still("crown_thin_carbon_again", 1, "crown", caption="after the second test: nothing has moved"),
            Still("gauge_all_low", None, "gauge", reading="compression_dry 2"),
            Still("plug_tray_six", None, "plug tray"),
        ),
        ("test_first", "No part is bought on these figures: battery, throttle, plugs, and once more warm"),
        ("1-6=sound", "engine=no_engine_fault"),
        "ran",
        "new battery and crank sensor: it started; warm, throttle open, all plugs out it showed 168 to 174 psi",
    ),
    DemoEngine(
        "wren",
        "Wren wagon, loses water",
        "not enough evidence: coolant is suspected, and the next test settles it",
        (
            Still("crown_steam_clean", 3, "crown", "crown_steam", "steam-clean", "bright on one side"),
            Still("crown_neighbour", 4, "crown"),
            Still(
                "chamber_line",
                3,
                "chamber",
                "roof_bridgecrack",
                "casting line",
                "moves a little with the light",
                caption="before the tip was turned",
            ),
            Still(
                "chamber_line_relit",
                3,
                "chamber",
                caption="after: lit from another side, the line is not the same",
            ),
        ),
        ("test_first", "Pressure on the cooling system overnight before anybody talks of a head"),
        ("3=gasket_coolant", "1,2,4=sound"),
        "opened",
        "pressure fell with nothing outside and 3 was wet in the morning; gasket washed through to the "
        "water on 3, the line between the valves was from the casting",
    ),
)


def samples_folder() -> Path:
    """Where the sample pictures lie: beside the package in a wheel, at the top of a source tree.

    Raises
    ------
    DemoError
        If they are in neither place.
    """
    inside = Path(str(resources.files("borelog.demo"))) / "sample_images"
    beside = Path(str(resources.files("borelog"))).parent / "sample_images"
    for folder in (inside, beside):
        if (folder / "truth.json").is_file():
            return folder
    raise DemoError(
        "the sample pictures are missing; draw them with 'python -m borelog.demo.pictures sample_images'"
    )


@lru_cache(maxsize=1)
def _truth() -> dict[str, Any]:
    return dict(json.loads((samples_folder() / "truth.json").read_text(encoding="utf-8")))


def build_demo(bench: Bench) -> dict[str, str]:
    """Build what is missing of the demo engines; returns their inspection ids by demo id."""
    there = {s.name: s.id for s in bench.journal.summaries() if s.demo}
    return {e.id: there.get(e.title) or _build(bench, e) for e in ENGINES}


def _build(bench: Bench, engine: DemoEngine) -> str:
    inspection_id = entering.open_inspection(bench, engine.title, demo=True)
    sheet = (
        resources.files("borelog.demo").joinpath("sheets", f"{engine.id}.sheet").read_text(encoding="utf-8")
    )
    result = record_text(bench, inspection_id, sheet, f"{engine.id}.sheet")
    if result.troubles:
        raise DemoError(f"the demo sheet {engine.id} does not read: {result.troubles[0].words}")
    for still in engine.stills:
        _file(bench, inspection_id, still)
    for body, how in _marked(bench, inspection_id, engine):
        entering.correct(bench, inspection_id, how, body)
    take_call(bench, inspection_id, *engine.call)
    record_truth(bench, inspection_id, engine.truth, engine.known, engine.truth_words)
    return inspection_id


def _file(bench: Bench, inspection_id: str, still: Still) -> None:
    path = samples_folder() / f"{still.picture}.jpg"
    place = parse_place(still.place) if still.place else None
    reading = ""
    if still.reading:
        test, cylinder = still.reading.split()
        found = [
            r.id
            for r in bench.inspection(inspection_id).of(Reading)
            if r.body.test == test and r.body.cylinder == int(cylinder)
        ]
        reading = found[0] if found else ""
    added = filing.add_pictures(
        bench,
        inspection_id,
        [str(path)],
        cylinder=still.cylinder,
        place=place,
        reading=reading,
        sort_doubles=False,
    )
    if still.caption:
        filing.place_still(bench, inspection_id, added.filed[0].still, caption=still.caption)


def _marked(bench: Bench, inspection_id: str, engine: DemoEngine) -> Iterator[tuple[Finding, str]]:
    """The findings of the sheet with their marks: (corrected body, entry)."""
    inspection = bench.inspection(inspection_id)
    by_name = {r.body.name: r.body.sha256 for r in inspection.of(StillFiled)}
    for still in engine.stills:
        if not still.term:
            continue
        for r in inspection.of(Finding):
            if r.body.term == still.term and r.body.cylinder == still.cylinder:
                mark = Mark(still=by_name[f"{still.picture}.jpg"], shape=_shape(still), label=still.words)
                yield msgspec.structs.replace(r.body, marks=(mark,)), r.id


def _shape(still: Still) -> Shape:
    """The mark's outline from the truth file, else a box over the middle of the picture."""
    entry = _truth()["stills"].get(f"{still.picture}.jpg", {})
    for label, where in entry.get("where", {}).items():
        if still.outline and still.outline in label and where.get("outlines"):
            points = tuple((float(x), float(y)) for x, y in where["outlines"][0])
            return Polygon(points) if len(points) >= 3 else Point(*points[0])
    width, height = entry.get("width_px", 640), entry.get("height_px", 480)
    return Box(width * 0.3, height * 0.3, width * 0.4, height * 0.4)
