"""The demo engines: three stories that come out as told, complete, and plainly invented."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from borelog.acts.bench import Bench, open_bench
from borelog.acts.judging import verdict_of
from borelog.demo.engines import ENGINES, DemoEngine, build_demo, samples_folder
from borelog.logbook.entries import CallTaken, Finding, Reading, Seen, StillFiled, StillPlaced, Told, Truth


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Bench, dict[str, str]]]:
    bench = open_bench(tmp_path_factory.mktemp("demo") / "book", who="demo")
    yield bench, build_demo(bench)
    bench.journal.close()


@pytest.fixture(params=ENGINES, ids=lambda e: e.id)
def engine(request: pytest.FixtureRequest) -> DemoEngine:
    found: DemoEngine = request.param
    return found


def test_every_story_is_complete(built: tuple[Bench, dict[str, str]], engine: DemoEngine) -> None:
    """Stills with a before and an after, marks, the owner's words, prices, a call, and the truth."""
    bench, ids = built
    inspection = bench.inspection(ids[engine.id])
    assert inspection.demo
    assert len(inspection.of(StillFiled)) == len(engine.stills)
    captions = [r.body.caption for r in inspection.of(StillPlaced)]
    assert any(c.startswith("before") for c in captions) and any(c.startswith("after") for c in captions)
    assert any(r.body.marks for r in inspection.of(Finding))
    for kind in (Reading, Seen, Told, CallTaken, Truth):
        assert inspection.of(kind), kind
    assert {"currency", "value_running", "paid_hour", "used_engine"} <= set(inspection.prices)


def test_the_clear_case_names_the_valve_and_was_right(built: tuple[Bench, dict[str, str]]) -> None:
    bench, ids = built
    verdict = verdict_of(bench, ids["heron"]).verdict
    third = next(c for c in verdict.cylinders if c.cylinder == 3)
    assert third.leader is not None
    assert third.leader.fault == "exh_valve_leak" and third.enough
    assert "head off" in verdict.call
    truth = {r.body.cylinder: r.body.faults for r in bench.inspection(ids["heron"]).of(Truth)}
    assert truth == {3: ("exh_valve_leak",), 1: (), 2: (), 4: ()}


def test_the_trap_condemns_no_cylinder(built: tuple[Bench, dict[str, str]]) -> None:
    """Six low figures taken in a way that makes any engine read low: nothing is called, a repeat is asked for."""
    bench, ids = built
    verdict = verdict_of(bench, ids["plover"]).verdict
    assert not any(c.level == "bad" for c in verdict.cylinders)
    assert verdict.next_tests


def test_the_open_case_says_so_and_what_to_do_next(built: tuple[Bench, dict[str, str]]) -> None:
    bench, ids = built
    verdict = verdict_of(bench, ids["wren"]).verdict
    third = next(c for c in verdict.cylinders if c.cylinder == 3)
    assert not third.enough
    assert any("cool" in n.words.lower() or "press" in n.words.lower() for n in verdict.next_tests)


def test_building_again_adds_nothing(built: tuple[Bench, dict[str, str]]) -> None:
    bench, ids = built
    before = {k: bench.inspection(v).entries for k, v in ids.items()}
    assert build_demo(bench) == ids
    assert {k: bench.inspection(v).entries for k, v in ids.items()} == before


def test_no_engine_joins_a_closed_gap_with_a_broken_crown(built: tuple[Bench, dict[str, str]]) -> None:
    bench, ids = built
    for id_ in ids.values():
        inspection = bench.inspection(id_)
        closed = any(
            r.body.item == "plug_gap" and r.body.state == "closed_hammered" for r in inspection.of(Seen)
        )
        closed |= any(r.body.term == "plug_hammered" for r in inspection.of(Finding))
        broken = any(
            r.body.term.startswith(("crown_", "rim_")) and r.body.severity >= 3
            for r in inspection.of(Finding)
        )
        assert not (closed and broken)


def test_every_picture_of_the_stories_is_a_sample_with_its_truth(engine: DemoEngine) -> None:
    folder: Path = samples_folder()
    assert [s.picture for s in engine.stills if not (folder / f"{s.picture}.jpg").is_file()] == []
