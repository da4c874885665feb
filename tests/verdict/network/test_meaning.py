"""What the model page promises, each with its named test: priors, masking, misread readings, validity, impossibility."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from borelog.knowledge.faults import FaultTables, Row
from borelog.verdict.network.groups import as_group
from borelog.verdict.network.posterior import posteriors
from borelog.verdict.network.priors import expected_troubled, scale_for
from borelog.verdict.network.tables import compiled
from borelog.verdict.network.types import BREACH, SOUND, Evidence, NetShape, NetworkError, Seen, Spoil
from borelog.verdict.network.validity import spoil_chance
from tests.verdict.network.altered import with_rows
from tests.verdict.network.conftest import engine

BURNT = (
    Seen("comp_rel", 3, "low_35_69", "measured"),
    Seen("comp_build", 3, "low_no_build", "measured"),
    Seen("leak_pct", 3, "p40_70", "measured"),
    Seen("air_exhaust", 3, "strong"),
    Seen("exh_valve_face", 3, "notch_or_burnt"),
)


# priors


@pytest.mark.parametrize(("count", "banks"), [(2, 1), (3, 1), (4, 1), (6, 1), (6, 2), (8, 2), (12, 2)])
def test_priors_expect_as_many_troubled_cylinders_whatever_the_size(
    count: int, banks: int, tables: FaultTables
) -> None:
    net, shape = compiled(tables), engine(count, banks)
    assert expected_troubled(net, shape, scale_for(net, shape)) == pytest.approx(
        tables.priors["troubled_cylinders"], abs=1e-9
    )


def test_priors_of_a_single_cylinder_stop_at_the_share_of_the_table(tables: FaultTables) -> None:
    net, shape = compiled(tables), engine(1)
    assert expected_troubled(net, shape, scale_for(net, shape)) == pytest.approx(
        tables.priors["most_troubled_share"]
    )


@pytest.mark.parametrize(
    "seen",
    [
        BURNT,
        (Seen("swap_coil", 3, "moves"),),
        (Seen("comp_rel", 3, "like_group", "measured"), Seen("leak_pct", 3, "under_10", "measured")),
    ],
    ids=["burnt valve", "dead coil", "sound"],
)
def test_priors_a_v8_with_one_cylinder_examined_expects_little_in_the_other_seven(
    seen: tuple[Seen, ...], tables: FaultTables
) -> None:
    posterior = posteriors(engine(8, 2), Evidence(seen), tables)
    own = sum(
        p
        for c, by in posterior.cylinders.items()
        if c != 3
        for f, p in by.items()
        if f not in (SOUND, BREACH)
    )
    elsewhere = own + sum(p for pair, p in posterior.breaches.items() if 3 not in pair)
    assert elsewhere < 1.5


def test_priors_what_happened_moves_them(tables: FaultTables) -> None:
    told = posteriors(engine(4), Evidence((Seen("history_event", None, "belt_chain_event", "told"),)), tables)
    nothing = posteriors(engine(4), Evidence(), tables)
    assert told.engine["timing_off"] > 8 * nothing.engine["timing_off"]
    assert told.cylinders[2]["bent_valves"] > 4 * nothing.cylinders[2]["bent_valves"]


def test_priors_a_story_told_moves_less_than_one_seen(tables: FaultTables) -> None:
    def timing(how: str) -> float:
        return posteriors(
            engine(4), Evidence((Seen("history_event", None, "belt_chain_event", how),)), tables
        ).engine["timing_off"]

    assert timing("told") < timing("seen")


def test_priors_several_stories_hold_together_and_one_told_twice_counts_once(tables: FaultTables) -> None:
    both = (
        Seen("history_event", None, "overheat", "told"),
        Seen("history_event", None, "oil_starved", "told"),
    )
    posterior = posteriors(engine(4), Evidence(both), tables)
    nothing = posteriors(engine(4), Evidence(), tables)
    assert posterior.engine["overheated"] > 2 * nothing.engine["overheated"]
    assert posterior.engine["bottom_end"] > 2 * nothing.engine["bottom_end"]
    assert posteriors(engine(4), Evidence((*both, both[0])), tables).engine == posterior.engine


# masking


def test_masking_oil_cannot_speak_for_rings_behind_a_burnt_valve(tables: FaultTables) -> None:
    """No gain with oil says nothing about the rings while a valve leaks; without the valve it speaks against them."""
    net = compiled(tables)
    none = net.sights["wet_gain"].by_state[0]
    worn, exhaust = net.faults.index("worn_rings_bore"), net.faults.index("exh_valve_leak")
    both = net.sets.index(tuple(f for f in net.faults if f in ("worn_rings_bore", "exh_valve_leak")))
    assert none[..., both] == pytest.approx(none[..., 1 + exhaust])
    assert (none[:, 0, 1 + worn] < 0.2 * none[:, 0, 1 + exhaust]).all()


def test_masking_by_a_breach_to_the_neighbour(tables: FaultTables) -> None:
    net = compiled(tables)
    worn = 1 + net.faults.index("worn_rings_bore")
    big = net.sights["wet_gain"].by_state[2]
    assert (big[:, 0, worn] > 10 * big[:, 1, worn]).all()


def test_masking_leaves_other_items_alone(tables: FaultTables) -> None:
    net = compiled(tables)
    both = net.sets.index(tuple(f for f in net.faults if f in ("worn_rings_bore", "exh_valve_leak")))
    polished = net.sights["bore_surface"].by_state[2]
    exhaust = 1 + net.faults.index("exh_valve_leak")
    assert (polished[..., both] > 3 * polished[..., exhaust]).all()


# misread


def test_misread_no_group_can_give_a_cause_more_than_the_bound(tables: FaultTables) -> None:
    """At most 1 + (1 - eps) / (eps * share of the cause), however many items the group holds."""
    net = compiled(tables)
    for name in {i.group for i in tables.items_of("cylinder")}:
        items = [i for i in tables.items_of("cylinder") if i.group == name]
        for state in range(max(len(i.states) for i in items)):
            some = [
                Seen(i.id, 1, i.states[min(state, len(i.states) - 1)], "seen")
                for i in items
                for _ in range(3)
            ]
            group = as_group(net, name, 1, some)
            causes = net.sights[items[0].id].causes
            total = sum(net.weights[c] for c in causes)
            eps = tables.misread["seen"][0]
            valid = group.like.valid
            for cause in causes:
                if cause in net.faults or cause == SOUND:
                    here = 0 if cause == SOUND else 1 + net.faults.index(cause)
                    bound = 1 + (1 - eps) / (eps * net.weights[cause] / total)
                    chance = valid[0, 0, here if valid.shape[2] > 1 else 0]
                    assert chance / valid.min() <= bound * (1 + 1e-12)


def test_misread_comes_from_how_it_was_taken_only(tables: FaultTables) -> None:
    def leader(how: str) -> float:
        return posteriors(
            engine(4), Evidence((Seen("exh_valve_face", 3, "notch_or_burnt", how),)), tables
        ).cylinders[3]["exh_valve_leak"]

    assert leader("repeated") > leader("seen") > leader("part") > leader("told")


def test_misread_a_weaker_reading_beside_a_strong_one_does_not_weaken_it(tables: FaultTables) -> None:
    strong = (Seen("leak_pct", 3, "p40_70", "measured"), Seen("air_exhaust", 3, "strong", "measured"))
    alone = posteriors(engine(4), Evidence(strong), tables).cylinders[3]["exh_valve_leak"]
    more = posteriors(
        engine(4), Evidence((*strong, Seen("air_intake", 3, "none", "told"))), tables
    ).cylinders[3]["exh_valve_leak"]
    assert more > alone - 0.01


def test_misread_contradiction_raises_the_alarm_on_the_weaker_reading(tables: FaultTables) -> None:
    """Told of a burnt edge on a valve that seals three ways, each measured twice: the story is the misreading."""
    seen = (
        *(Seen("comp_rel", 3, "like_group", "repeated"), Seen("comp_build", 3, "quick_even", "repeated")),
        *(Seen("crank_current", 3, "like_rest", "repeated"), Seen("leak_pct", 3, "under_10", "repeated")),
        Seen("air_exhaust", 3, "none", "repeated"),
        Seen("exh_valve_face", 3, "notch_or_burnt", "told"),
    )
    posterior = posteriors(engine(4), Evidence(seen), tables)
    assert posterior.misread[3, "exh"] > 0.5
    assert max(p for key, p in posterior.misread.items() if key != (3, "exh")) < 0.1


# validity


@pytest.mark.parametrize("variable", ["compression_dry", "compression_wet", "leak_down"])
def test_validity_a_spoiled_test_says_nothing_about_the_cylinder(variable: str, tables: FaultTables) -> None:
    item, state = {
        "compression_dry": ("comp_rel", "low_35_69"),
        "compression_wet": ("wet_gain", "big_over_25"),
        "leak_down": ("leak_pct", "over_70"),
    }[variable]
    nothing = posteriors(engine(4), Evidence(), tables)

    def troubled(chance: float) -> float:
        place = 2 if variable == "leak_down" else None
        evidence = Evidence((Seen(item, 2, state, "measured"),), (Spoil(variable, place, chance),))
        return 1.0 - posteriors(engine(4), evidence, tables).cylinders[2][SOUND]

    assert troubled(0.01) > troubled(0.5) > troubled(0.99) > 1 - nothing.cylinders[2][SOUND] - 1e-3
    assert troubled(1.0) == pytest.approx(1.0 - nothing.cylinders[2][SOUND], abs=1e-12)


def test_validity_leak_down_belongs_to_its_cylinder(tables: FaultTables) -> None:
    seen = (Seen("leak_pct", 2, "over_70", "measured"), Seen("leak_pct", 3, "over_70", "measured"))
    posterior = posteriors(engine(4), Evidence(seen, (Spoil("leak_down", 2, 0.8),)), tables)
    assert posterior.spoiled["leak_down", 2] > 0.5 > posterior.spoiled["leak_down", 3]
    assert posterior.cylinders[2][SOUND] > posterior.cylinders[3][SOUND]


def test_validity_conditions_add_up_and_silence_is_a_middling_doubt(tables: FaultTables) -> None:
    good = spoil_chance(tables, "compression_dry", ["noted_good"])
    nothing = spoil_chance(tables, "compression_dry", [])
    one = spoil_chance(tables, "compression_dry", ["battery_weak"])
    two = spoil_chance(tables, "compression_dry", ["battery_weak", "throttle_shut"])
    assert good < nothing < one < two < 1
    with pytest.raises(NetworkError, match="no condition 'phase of the moon'"):
        spoil_chance(tables, "compression_dry", ["phase of the moon"])


def test_validity_conditions_are_punished_once(tables: FaultTables) -> None:
    """A tired battery moves the validity of the test and nothing besides: readings that hang on no test stay as they are."""
    seen = (Seen("exh_valve_face", 2, "notch_or_burnt"),)
    with_ = posteriors(engine(4), Evidence(seen, (Spoil("compression_dry", None, 0.9),)), tables)
    without = posteriors(engine(4), Evidence(seen), tables)
    assert with_.cylinders == without.cylinders


def test_validity_tests_that_do_not_repeat_cast_doubt_on_all(tables: FaultTables) -> None:
    states = {1: "low_35_69", 2: "like_group", 3: "low_35_69", 4: "like_group"}
    low = tuple(Seen("comp_rel", c, s, "measured") for c, s in states.items())
    differs = tuple(Seen("comp_repeat", c, "differs", "measured") for c in (1, 2, 3, 4))
    calm = posteriors(engine(4), Evidence(low), tables)
    shaken = posteriors(engine(4), Evidence((*low, *differs)), tables)
    assert shaken.spoiled["compression_dry", None] > 0.6 > 0.3 > calm.spoiled["compression_dry", None]


def test_validity_and_misread_together_are_the_doubt_of_a_reading(tables: FaultTables) -> None:
    """A reading falls when it is misread or its test spoiled; for a look that hangs on no test only the first counts."""
    seen = (
        Seen("comp_rel", 2, "dead_under_35", "about"),
        Seen("exh_valve_face", 2, "notch_or_burnt", "told"),
    )
    posterior = posteriors(engine(4), Evidence(seen, (Spoil("compression_dry", None, 0.3),)), tables)
    reading, test = posterior.misread[2, "seal_dynamic"], posterior.spoiled["compression_dry", None]
    assert max(reading, test) <= posterior.doubted[2, "seal_dynamic"] <= reading + test
    assert posterior.doubted[2, "exh"] == posterior.misread[2, "exh"]


def test_masking_what_compares_with_the_rest_is_hidden_where_all_are_worn(tables: FaultTables) -> None:
    """All worn alike look alike against their own middle: that is no sign of a spoiled test, nor of sound cylinders."""
    alike = tuple(Seen("comp_rel", c, "like_group", "measured") for c in (1, 2, 3, 4))
    worn = tuple(
        Seen(i, c, s, "measured")
        for c in (1, 2, 3, 4)
        for i, s in (("leak_pct", "p20_40"), ("air_crankcase", "strong"), ("wet_gain", "big_over_25"))
    )
    posterior = posteriors(engine(4), Evidence((*alike, *worn)), tables)
    assert posterior.engine["worn_all"] + posterior.engine["washed_all"] > 0.8
    assert posterior.spoiled["compression_dry", None] < 0.2
    assert min(by["sound"] for by in posterior.cylinders.values()) < 0.05


# gasket between neighbours


def test_two_low_neighbours_are_a_breach_and_two_low_strangers_are_not(tables: FaultTables) -> None:
    def breach(low: tuple[int, int]) -> float:
        seen = tuple(
            Seen(i, c, s, "measured")
            for c in low
            for i, s in (
                ("comp_rel", "low_35_69"),
                ("comp_build", "low_no_build"),
                ("wet_gain", "none_under_10"),
            )
        )
        fine = tuple(Seen("comp_rel", c, "like_group", "measured") for c in range(1, 5) if c not in low)
        return max(posteriors(engine(4), Evidence((*seen, *fine)), tables).breaches.values())

    assert breach((2, 3)) > 0.4
    assert breach((1, 3)) < 0.1


def test_no_breach_across_heads(tables: FaultTables) -> None:
    shape = engine(6, 2)
    assert set(posteriors(shape, Evidence(), tables).breaches) == {(1, 2), (2, 3), (4, 5), (5, 6)}
    with pytest.raises(NetworkError, match="no neighbours"):
        posteriors(shape, Evidence((Seen("air_to_neighbour", 3, "hiss", "seen", 4),)), tables)


def test_air_at_a_named_neighbour_names_the_bridge(tables: FaultTables) -> None:
    seen = (Seen("comp_rel", 2, "low_35_69", "measured"), Seen("air_to_neighbour", 2, "hiss", "seen", 3))
    posterior = posteriors(engine(4), Evidence(seen), tables)
    assert posterior.breaches[2, 3] > 0.5 > 0.1 > posterior.breaches[1, 2]


# bad input


def test_impossible_evidence_gives_the_priors_and_says_so(tables: FaultTables) -> None:
    """An own table full of zeros can make a sight impossible; nothing is divided by it."""
    lines = {
        key: replace(row, probabilities=(1.0 - 1e-300, 1e-300))
        for key, row in tables.rows.items()
        if key[1] == "crown_pitting"
    }
    broken = with_rows(
        tables, {k: Row((1.0, 0.0), None, "", "") if k[0] != SOUND else r for k, r in lines.items()}
    )
    posterior = posteriors(
        engine(4), Evidence(tuple(Seen("crown_pitting", c, "seen", "seen") for c in (1, 2, 3))), broken
    )
    assert not posterior.fits
    assert math.isfinite(sum(posterior.engine.values()))
    nothing = posteriors(engine(4), Evidence(), broken)
    assert posterior.cylinders[1][SOUND] == pytest.approx(nothing.cylinders[1][SOUND], abs=0.2)


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        (Seen("no_such_item", 1, "x"), "'no_such_item' is no item"),
        (Seen("comp_rel", 1, "purple"), "comp_rel has no state 'purple'"),
        (Seen("comp_rel", 9, "like_group"), "needs a cylinder of this engine"),
        (Seen("comp_rel", None, "like_group"), "needs a cylinder of this engine"),
        (Seen("oil_state", 1, "normal"), "speaks of the whole engine"),
        (Seen("comp_rel", 1, "like_group", "by ear"), "is no way of taking a reading"),
    ],
)
def test_evidence_that_cannot_be_is_named(seen: Seen, words: str, tables: FaultTables) -> None:
    with pytest.raises(NetworkError, match=words):
        posteriors(engine(4), Evidence((seen,)), tables)


def test_a_cylinder_in_two_rows_is_refused() -> None:
    with pytest.raises(NetworkError, match="exactly one row"):
        NetShape((1, 2, 3), ((1, 2), (2, 3)))


def test_readings_at_random_fit_no_known_story_and_a_real_engine_does(tables: FaultTables) -> None:
    """Fifty looks at one cylinder with states drawn at random, against the same looks at a sound one."""
    rnd = random.Random(4)
    items = rnd.sample(tables.items_of("cylinder"), 50)
    nonsense = posteriors(
        engine(4), Evidence(tuple(Seen(i.id, 2, rnd.choice(i.states)) for i in items)), tables
    )
    sound = posteriors(engine(4), Evidence(tuple(Seen(i.id, 2, i.states[0]) for i in items)), tables)
    assert not nonsense.fits
    assert sound.fits
