"""The three proposals as a person reads them: safety first, then what gains, and what a called fault asks for."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from borelog.acts import entering, judging
from borelog.acts.bench import Bench, open_bench
from borelog.acts.sheet.recording import record_text
from borelog.verdict.judged import NextTest, Verdict

GOOD = "throttle: open\nplugs out: all\nengine temperature: warm\npulses: 6\n"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """One logbook."""
    opened = open_bench(tmp_path_factory.mktemp("proposals") / "logbook", who="MB")
    yield opened
    opened.journal.close()


def verdict(bench: Bench, sheet: str) -> Verdict:
    """The verdict on a sheet of an in-line four."""
    id_ = entering.open_inspection(bench, "one")
    result = record_text(bench, id_, f"[engine]\nlayout: inline 4\nfiring order: 1-3-4-2\n{sheet}", "one")
    assert result.clean, result.troubles
    return judging.verdict_of(bench, id_).verdict


def named(proposed: tuple[NextTest, ...]) -> list[str]:
    """Ids in order."""
    return [n.test for n in proposed]


def test_after_water_the_first_thing_is_to_turn_it_by_hand(bench: Bench) -> None:
    """Trade pages on liquid lock: do not crank; plugs out and by hand."""
    found = verdict(bench, "[story]\nwhat happened: drove through water\narrives: will not turn\n").next_tests
    assert found[0].test == "by_hand"
    assert "took in water" in found[0].words


@pytest.mark.parametrize("story", ["timing drive broke", "oil light or no oil", "drove through water"])
def test_nothing_is_run_after_such_a_story(bench: Bench, story: str) -> None:
    """Common practice: marks, oil or water first."""
    found = verdict(bench, f"[story]\nwhat happened: {story}\n[plugs]\n2: wet, fuel\n").next_tests
    assert not {"running_look", "vacuum", "cut_out"} & set(named(found))


def test_an_engine_nobody_has_measured_gets_compression_on_all_with_what_comes_before(bench: Bench) -> None:
    """Codes, then by hand, then the starter: service-manual order."""
    found = verdict(bench, "[story]\narrives: cranks, does not start\n").next_tests
    assert named(found) == ["codes", "by_hand", "compression_level"]


def test_no_proposal_tells_nothing_from_something(bench: Bench) -> None:
    """A mechanic speaks for or against a fault; 'sound' and 'no engine-wide fault' are no faults to tell apart."""
    said = [
        n.words
        for sheet in (
            "[fluids]\ncoolant: low, no outside leak\n[plugs]\nall: tan or light grey\n",
            "[compression dry]\n" + GOOD + "1: 178\n2: 176\n3: 62\n4: 180\n",
        )
        for n in verdict(bench, sheet).next_tests
    ]
    assert any("speaks for or against" in words for words in said)
    assert not any("tells sound cylinder" in w or "no engine-wide fault" in w for w in said)


def test_a_called_valve_asks_for_the_other_valves_before_the_head_comes_off(bench: Bench) -> None:
    """One head job covers all: common practice."""
    sheet = (
        "[camera]\n3 exhaust valve: notch or burnt edge\n[leak-down dry]\ntop dead centre: proven\n3: 60 tailpipe\n"
        f"[compression dry]\n{GOOD}1: 175 psi\n2: 172\n3: 70\n4: 174\n"
        "[fluids]\noil: normal\ncoolant: full and clean\n[sounds]\nnoise: none\n"
    )
    found = verdict(bench, sheet).next_tests
    first = next(n for n in found if n.test == "camera_valves")
    assert first.words.startswith("Before the work: camera: both valves on 1, 2 and 4")
    assert first.worth is None


def test_without_a_call_money_says_test_first(bench: Bench) -> None:
    """'Test first' is an answer, not a course."""
    found = verdict(bench, "[plugs]\n3: wet, fuel\n")
    assert found.money is not None
    assert found.money.sentence.startswith("Test first: nothing is called yet.")


def test_one_code_for_any_cylinder_calls_no_engine_wide_fault(bench: Bench) -> None:
    """A code store read once is one fact, however many cylinders it speaks of."""
    found = verdict(bench, "[codes]\ncodes: P0300\n[story]\narrives: runs, rough or down on power\n")
    assert found.call.startswith("Not enough evidence")
    assert found.engine is not None and "blocked" not in found.engine.words.lower()


def test_no_cylinder_is_sound_over_a_reading_that_accuses_it(bench: Bench) -> None:
    """Full squeeze beside a large leak at proven top: the two are named, and the repeat."""
    sheet = (
        f"[compression dry]\n{GOOD}1: 170 psi\n2: 168\n3: 171\n4: 169\n"
        "[leak-down dry]\ntop dead centre: proven\ncrank held: yes\n2: 65 tailpipe\n"
    )
    found = verdict(bench, sheet)
    assert not next(c for c in found.cylinders if c.cylinder == 2).enough
    words = found.contradictions[0].words
    assert "leak: 40 to 70 %" in words and "compression against the rest: 85 to 115 %" in words
    assert found.next_tests[0].test == "leak_down"


def test_the_prices_of_the_logbook_are_in_no_list(bench: Bench) -> None:
    """They are kept like an inspection, and are none."""
    from borelog.acts import keeping, pricing
    from borelog.logbook.search import search

    verdict(bench, "[plugs]\n3: wet, fuel\n")
    last = bench.journal.find("last")
    pricing.set_prices(bench, pricing.place(bench, "shop"), {"value_running": "4321"})
    assert bench.journal.find("last") == last
    assert "prices of this logbook" not in {r.name for r in keeping.listed(bench)}
    assert search(bench.journal, "4321") == ()
    money = judging.verdict_of(bench, last).verdict.money
    assert money is not None and money.most is not None and money.most > 100
