"""From record to verdict: signs name what they rest on, words stay modest, doubts are named."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator

import pytest

from borelog.acts import entering, overview
from borelog.acts.bench import Bench, open_bench
from borelog.acts.money import priced
from borelog.acts.ruled import rule_rows
from borelog.acts.sheet.recording import record_text
from borelog.knowledge.faults import shipped
from borelog.logbook.entries import Content, Finding, Looked, Reading, Seen
from borelog.logbook.fold import fold
from borelog.logbook.inspection import Inspection
from borelog.marks.places import Place
from borelog.verdict.judge import judge
from borelog.verdict.signs.all import signs
from borelog.verdict.wording import in_so_many, likelihood

HEAD = "[engine]\nlayout: inline 4\nfiring order: 1-3-4-2\n"
GOOD = "[compression dry]\nthrottle: open\nplugs out: all\nengine temperature: warm\n"


@pytest.fixture
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    opened = open_bench(tmp_path_factory.mktemp("judge") / "logbook", who="MB")
    yield opened
    opened.journal.close()


def recorded(bench: Bench, text: str) -> Inspection:
    id_ = entering.open_inspection(bench, "x")
    result = record_text(bench, id_, text)
    assert not [t for t in result.troubles if t.kind == "left out"], result.troubles
    return bench.inspection(id_)


def seen(inspection: Inspection) -> dict[tuple[str, int | None], str]:
    return {(s.seen.item, s.seen.cylinder): s.seen.state for s in signs(inspection, shipped()).signs}


def test_nothing_recorded_nothing_said(bench: Bench) -> None:
    inspection = recorded(bench, HEAD + "[coverage]\n2 crown: not looked\n")
    assert signs(inspection, shipped()).signs == ()
    verdict = judge(inspection).verdict
    assert all(c.level == "blank" and not c.enough for c in verdict.cylinders)


def test_looked_nothing_is_a_sign_for_one_place_or_a_whole_cylinder(bench: Bench) -> None:
    found = seen(recorded(bench, HEAD + "[coverage]\n2 exhaust valve: looked, nothing\n3: looked, nothing\n"))
    assert found["exh_valve_face", 2] == "even_rings"
    assert found["crown_melt", 3] == "none"
    assert ("crown_melt", 2) not in found


def test_every_sign_names_its_entries(bench: Bench) -> None:
    inspection = recorded(
        bench,
        HEAD + GOOD + "1: 178\n2: 174\n3: 68\n4: 176\n[codes]\ncodes: P0303\n[leak-down]\n3: 62 % exhaust\n",
    )
    for s in signs(inspection, shipped()).signs:
        assert s.entries, s
        assert all(inspection.find(e) is not None for e in s.entries)


def test_units_do_not_matter(bench: Bench) -> None:
    """psi, kPa and bar of one engine say the same."""
    psi = recorded(bench, HEAD + GOOD + "1: 178\n2: 174\n3: 68\n4: 176\n")
    kpa = recorded(bench, HEAD + GOOD + "1: 1227.3 kPa\n2: 1199.7 kPa\n3: 468.8 kPa\n4: 1213.5 kPa\n")
    assert seen(psi) == seen(kpa)


def test_the_order_of_entry_does_not_matter(bench: Bench) -> None:
    """The same entries in any order of arrival give the same verdict."""
    inspection = recorded(
        bench,
        HEAD + GOOD + "1: 178\n2: 174\n3: 68\n4: 176\n[plugs]\n3: dry black soot\n1,2,4: tan or light grey\n",
    )
    entries = bench.journal.entries(inspection.id)
    shuffled = entries[:]
    random.Random(4).shuffle(shuffled)
    assert judge(fold(shuffled), depth=2).verdict == judge(inspection, depth=2).verdict


def test_a_doubtful_reading_waits(bench: Bench) -> None:
    """A likely unit slip neither counts nor bends the others."""
    found = seen(recorded(bench, HEAD + GOOD + "1: 178\n2: 174\n3: 1100\n4: 176\n"))
    assert ("comp_rel", 3) not in found
    assert found["comp_rel", 1] == "like_group"


def test_figures_stand_over_an_answer_to_the_same_question(bench: Bench) -> None:
    """The same numbers are never counted twice."""
    inspection = recorded(
        bench,
        HEAD
        + GOOD
        + "1: 178\n2: 174\n3: 68\n4: 176\n[compression]\n3 compression against the rest: 70 to 84 %\n",
    )
    rows = [
        s for s in signs(inspection, shipped()).signs if s.seen.item == "comp_rel" and s.seen.cylinder == 3
    ]
    assert [s.seen.state for s in rows] == ["low_35_69"]


def test_no_cylinder_is_called_sound_on_the_look_of_its_plug(bench: Bench) -> None:
    verdict = judge(
        recorded(bench, HEAD + "[plugs]\n1-4: tan or light grey, like the rest\n[story]\nsmoke: none seen\n")
    ).verdict
    assert not any(c.enough for c in verdict.cylinders)


def test_a_tired_battery_rings_the_alarm_and_names_the_repeat(bench: Bench) -> None:
    text = (
        HEAD
        + "spec min: 1000 kPa\n[compression dry]\nbattery: 8.2 V\ncranking: slow\nthrottle: shut\nplugs out: this one\n"
    )
    verdict = judge(recorded(bench, text + "1: 500 kPa\n2: 480 kPa\n3: 515 kPa\n4: 490 kPa\n")).verdict
    (x,) = verdict.contradictions
    assert "battery" in x.words.lower()
    assert "Repeat it" in x.repeat
    assert x.entries


def test_a_leak_down_off_the_top_is_contradicted_by_good_compression(bench: Bench) -> None:
    text = (
        HEAD
        + GOOD
        + "1: 178\n2: 176\n3: 177\n4: 176\n[leak-down dry]\ntop dead centre: guessed\ncrank held: no\n2: 92 % intake\n"
    )
    verdict = judge(recorded(bench, text)).verdict
    assert any("leak-down" in x.words.lower() for x in verdict.contradictions)
    assert any("top dead centre" in x.repeat for x in verdict.contradictions)


def test_missing_metal_asks_where_it_went(bench: Bench) -> None:
    verdict = judge(recorded(bench, HEAD + "[camera]\n2 rim: chipped, or a piece gone\n")).verdict
    assert any(b.text.startswith("Where did it go? Cylinder 2") and b.entries for b in verdict.why)


def test_money_never_stands_in_the_call(bench: Bench) -> None:
    """A buyer's copy holds the call and no money."""
    inspection = recorded(
        bench,
        HEAD
        + GOOD
        + "1: 178\n2: 174\n3: 68\n4: 176\n[leak-down]\n3: 62 % exhaust\n[camera]\n3 exhaust valve: notch or burnt edge\n",
    )
    judged = judge(
        inspection, shipped(), priced(inspection, shipped(), {"value_running": "4000", "currency": "crowns"})
    )
    assert judged.verdict.money is not None
    assert "crowns" not in judged.verdict.call
    assert "valve" in judged.verdict.call


@pytest.mark.parametrize(
    ("facts", "part"), [("", "layout"), ("layout: inline 4\nfuel: diesel\n", "recorded, not judged")]
)
def test_what_cannot_be_judged_says_why(bench: Bench, facts: str, part: str) -> None:
    verdict = judge(recorded(bench, f"[engine]\n{facts}")).verdict
    assert part in verdict.call
    assert verdict.cylinders == ()


def test_words_never_go_beyond_nineteen_in_twenty() -> None:
    for k in range(1001):
        p = k / 1000
        words = in_so_many(p)
        match = re.search(r"(\d+) in (\d+)", words)
        assert match
        assert int(match[1]) / int(match[2]) <= 0.95
        assert int(match[2]) <= 20
        assert likelihood(p)


def test_odds_are_those_that_people_say() -> None:
    assert [in_so_many(p) for p in (0.65, 0.35, 0.5, 0.92, 0.06)] == [
        "about 2 in 3", "about 1 in 3", "about 1 in 2", "about 9 in 10", "about 1 in 20",
    ]  # fmt: skip


def test_an_engine_is_not_cleared_on_a_squeeze_that_does_not_count(bench: Bench) -> None:
    """Flat battery, shut throttle: an even low row clears nothing."""
    head = "[engine]\nlayout: inline 4\n[fluids]\noil: normal\ncoolant: full and clean\n[compression dry]\n"
    rest = "1: 98\n2: 96\n3: 95\n4: 93\n"
    bad = "battery while cranking: 8.1 V\ncranking speed: slow\nthrottle: shut\n"
    engine = judge(recorded(bench, head + bad + rest)).verdict.engine
    assert engine is not None and "no test of the squeeze counts" in engine.words


def test_a_dead_even_engine_has_no_spread_but_a_level(bench: Bench) -> None:
    """All at nothing is no pass."""
    found = seen(recorded(bench, HEAD + GOOD + "1: 0\n2: 0\n3: 0\n4: 0\n"))
    assert found["comp_level", None] == "very_low"
    assert found["comp_rel", 2] == "dead_under_35"


def test_what_this_engine_cannot_have_is_set_aside_and_said(bench: Bench) -> None:
    """Figures taken before the layout was known, or heard at a hole without a common bridge, never stop the verdict."""
    inspection = recorded(
        bench, "[compression dry]\n1: 178\n2: 174\n3: 176\n6: 170\n[engine]\nlayout: inline 4\n"
    )
    verdict = judge(inspection).verdict
    assert {c.cylinder for c in verdict.cylinders if c.level != "blank"} == {1, 2, 3}
    assert any("cylinder 6" in words and "layout" in words for words in verdict.limits)


@pytest.mark.parametrize(("hole", "judged"), [(2, True), (4, False), (99, False)])
def test_air_at_a_hole_that_shares_no_bridge_points_at_no_gasket(
    bench: Bench, hole: int, judged: bool
) -> None:
    inspection = recorded(bench, HEAD + f"[leak-down dry]\n1: 62 % next plug hole {hole}\n")
    found = {s.seen.neighbour for s in signs(inspection, shipped()).signs if s.seen.neighbour is not None}
    assert found == ({hole} if judged else set())
    assert any(f"hole of {hole}" in words for words in judge(inspection).verdict.limits) != judged


@pytest.mark.parametrize(
    "body",
    [
        Reading("compression_dry", 1, "150", (150.0,), "furlong"),
        Reading("compression_dry", 1, "150", (150.0,), "%"),
        Reading("leakdown", 1, "12", (12.0,), "mm"),
        Reading("crank_current", 1, "80", (80.0,), "kPa"),
        Looked("looked, nothing", 1, Place("no such view", "left", "top")),
        Looked("looked, nothing", 1, Place("", "", "top")),
        Seen("no_such_item", 1, "odd"),
        Finding("no_such_term", 1, Place("no such view")),
    ],
)  # fmt: skip
def test_an_entry_from_elsewhere_that_fits_no_table_never_stops_the_verdict(
    bench: Bench, body: Content
) -> None:
    """A pack or another laptop may hold what this version's tables do not."""
    inspection = recorded(bench, HEAD + GOOD + "1: 178\n2: 174\n3: 176\n4: 177\n")
    entering.enter(bench, inspection.id, body)
    now = bench.inspection(inspection.id)
    assert judge(now).verdict.cylinders
    assert overview.rows(now)
    assert rule_rows(now)


CRANKED = ("cranking_beat", "crank_current", "compression_dry", "compression_level", "compression_wet")
RUN = ("running_look", "vacuum", "vacuum_held", "cut_out", "back_pressure", "gas_test", "oil_use_run")


@pytest.mark.parametrize(
    "why", ["seized", "Engine seized.", "locked solid", "the crank is stuck", "it won't turn"]
)
def test_on_an_engine_that_does_not_turn_nothing_that_turns_it_is_proposed(bench: Bench, why: str) -> None:
    inspection = recorded(bench, HEAD + f"[compression dry]\nall: not possible: {why}\n")
    assert seen(inspection)["turns_by_hand", None] == "locked"
    advice = judge(inspection).advice
    assert advice is not None
    assert not {n.test for n in advice.tests} & {*CRANKED, *RUN}


@pytest.mark.parametrize(
    "why", ["no adapter", "plug seized in its thread", "blocked by the manifold", "plug stuck", ""]
)
def test_another_reason_says_nothing_of_the_crank_and_still_asks_to_turn_it_by_hand(
    bench: Bench, why: str
) -> None:
    """A test that was not possible proves nothing: the hand still comes before the starter."""
    inspection = recorded(bench, HEAD + f"[compression dry]\nall: not possible: {why}\n")
    assert ("turns_by_hand", None) not in seen(inspection)
    advice = judge(inspection).advice
    assert advice is not None
    order = [n.test for n in advice.tests]
    turned = [order.index(t) for t in CRANKED if t in order]
    assert not turned or order.index("by_hand") < min(turned)
