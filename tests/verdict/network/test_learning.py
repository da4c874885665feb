"""Closing the loop: rows that learn, on simulated shops whose true tables are known; hits, Brier score, reliability."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from borelog.knowledge.faults import BACKGROUND, FaultTables, Row, load
from borelog.verdict.network.learning import (
    Called,
    Opened,
    brier,
    counts,
    hit_rate,
    reliability,
    rows_text,
    update_rows,
)
from borelog.verdict.network.types import Seen
from tests.verdict.network.altered import with_rows

WORN_POLISHED = Opened((Seen("bore_surface", 1, "polished"),), ("worn_rings_bore",), "opened")


def test_counts_come_only_from_opened_cylinders_with_at_most_one_fault(tables: FaultTables) -> None:
    key = ("worn_rings_bore", "bore_surface")
    told = Opened(WORN_POLISHED.seen, WORN_POLISHED.truth, "told")
    two = Opened(WORN_POLISHED.seen, ("worn_rings_bore", "exh_valve_leak"), "opened")
    assert counts(tables, [told, two]) == {}
    found = counts(tables, [WORN_POLISHED] * 3)
    assert found[key][tables.items["bore_surface"].states.index("polished")] == pytest.approx(3 * 0.98)


def test_a_spoiled_test_is_not_counted(tables: FaultTables) -> None:
    one = Opened(
        (Seen("leak_pct", 1, "over_70"), Seen("bore_surface", 1, "polished")),
        ("worn_rings_bore",),
        "opened",
        ("leak_down",),
    )
    assert set(counts(tables, [one])) == {("worn_rings_bore", "bore_surface")}


def test_the_row_moves_from_the_shipped_one_by_its_strength(tables: FaultTables) -> None:
    key = ("worn_rings_bore", "bore_surface")
    shipped = tables.rows[key].probabilities
    place = tables.items["bore_surface"].states.index("rust")
    one = Opened((Seen("bore_surface", 1, "rust", "repeated"),), ("worn_rings_bore",), "opened")
    few = update_rows(tables, [one] * 10, strength=10)[key].probabilities
    n = 10 * (1 - tables.misread["repeated"][0])
    assert few[place] == pytest.approx((10 * shipped[place] + n) / (10 + n))
    assert sum(few) == pytest.approx(1.0)
    assert update_rows(tables, [one] * 10, strength=1000)[key].probabilities[place] < few[place]


def test_a_sound_row_keeps_its_common_state(tables: FaultTables) -> None:
    odd = Opened((Seen("crown_pitting", 1, "seen"),), (), "opened")
    assert (BACKGROUND, "crown_pitting") not in update_rows(tables, [odd] * 500)


def test_learned_rows_lie_over_the_shipped_table_and_come_off_again(
    tables: FaultTables, tmp_path: Path
) -> None:
    rows = update_rows(tables, [WORN_POLISHED] * 30)
    own = tmp_path / "rows.csv"
    own.write_text(rows_text(tables, rows), encoding="utf-8")
    laid = load(own)
    assert laid.notices == ()
    key = ("worn_rings_bore", "bore_surface")
    assert laid.rows[key].probabilities == pytest.approx(rows[key].probabilities, abs=1e-5)
    assert laid.digest != tables.digest
    own.unlink()
    assert load(own).digest == tables.digest


def simulated(tables: FaultTables, seed: int, engines: int) -> tuple[FaultTables, list[Opened]]:
    """A shop whose engines follow rows drawn around the shipped ones; each opened engine shows two cylinders."""
    rng = np.random.default_rng(seed)
    mine = {i.id for i in tables.items_of("cylinder")}
    truth: dict[tuple[str, str], Row] = {}
    for key, row in tables.rows.items():
        if key[1] in mine and key[0] != "spoiled":
            p = rng.dirichlet(8.0 * np.array(row.probabilities) + 0.3)
            if key[0] == BACKGROUND and p.argmax() != 0:
                p = np.array(row.probabilities)
            truth[key] = Row(tuple(p.tolist()), None, "", "")
    shop = with_rows(tables, truth)
    faults = [BACKGROUND, *tables.of_scope("cylinder")]
    weights = np.array([tables.faults[f].weight for f in faults])
    opened = []
    for _ in range(2 * engines):
        cause = faults[rng.choice(len(faults), p=weights / weights.sum())]
        seen = []
        for item in mine:
            if rng.random() < 0.6:
                row = shop.rows.get((cause, item)) or shop.rows[BACKGROUND, item]
                state = tables.items[item].states[rng.choice(len(row.probabilities), p=row.probabilities)]
                seen.append(Seen(item, 1, state, "seen"))
        opened.append(Opened(tuple(seen), () if cause == BACKGROUND else (cause,), "opened"))
    return shop, opened


def divergence(true: tuple[float, ...], other: tuple[float, ...]) -> float:
    """Kullback-Leibler divergence of ``other`` from the truth, natural log."""
    return math.fsum(t * math.log(t / max(o, 1e-9)) for t, o in zip(true, other, strict=True) if t > 0)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(5))
def test_after_200_engines_learned_rows_lie_nearer_the_truth(seed: int, tables: FaultTables) -> None:
    shop, opened = simulated(tables, seed, 200)
    learned = update_rows(tables, opened)
    seen = counts(tables, opened)
    rich = [k for k in learned if sum(seen[k]) >= 10]
    before = np.mean([divergence(shop.rows[k].probabilities, tables.rows[k].probabilities) for k in rich])
    after = np.mean([divergence(shop.rows[k].probabilities, learned[k].probabilities) for k in rich])
    assert len(rich) > 50
    assert after < before


def called(name: str, p: float, *truth: str) -> Called:
    return Called({name: p, "other": 0.0}, frozenset(truth))


def test_hits_and_brier_by_hand() -> None:
    """Brier (1950): (0.9 - 1)^2, (0.6 - 0)^2 and (0.8 - 1)^2 over three."""
    calls = [called("a", 0.9, "a"), called("a", 0.6, "b"), called("sound", 0.8)]
    assert hit_rate(calls) == pytest.approx(2 / 3)
    assert brier(calls) == pytest.approx((0.01 + 0.36 + 0.04) / 3)


def test_reliability_by_bin() -> None:
    calls = [called("a", 0.9, "a"), called("a", 0.85, "b"), called("a", 0.3, "a"), called("a", 1.0, "a")]
    bins = reliability(calls)
    assert [(b.low, b.count) for b in bins] == [(0.2, 1), (0.8, 3)]
    assert bins[1].right == pytest.approx(2 / 3)
    assert bins[1].believed == pytest.approx((0.9 + 0.85 + 1.0) / 3)


def test_no_calls_no_figure() -> None:
    assert math.isnan(hit_rate([]))
    assert math.isnan(brier([]))
    assert reliability([]) == ()
