"""Where one state of a figure ends and the next begins: each edge from both sides, on a recorded engine."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from borelog.acts import entering
from borelog.acts.bench import Bench, open_bench
from borelog.acts.sheet.recording import record_text
from borelog.knowledge.faults import shipped
from borelog.verdict.signs.all import signs

HEAD = "[engine]\nlayout: inline 4\n[compression dry]\nthrottle: open\nplugs out: all\n"


@pytest.fixture
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    opened = open_bench(tmp_path_factory.mktemp("signs") / "logbook", who="MB")
    yield opened
    opened.journal.close()


def seen(bench: Bench, text: str) -> dict[tuple[str, int | None], str]:
    id_ = entering.open_inspection(bench, "x")
    record_text(bench, id_, HEAD + text)
    return {
        (s.seen.item, s.seen.cylinder): s.seen.state for s in signs(bench.inspection(id_), shipped()).signs
    }


@pytest.mark.parametrize(
    ("figure", "state"),
    [
        (34, "dead_under_35"),
        (36, "low_35_69"),
        (69, "low_35_69"),
        (71, "soft_70_84"),
        (84, "soft_70_84"),
        (86, "like_group"),
        (114, "like_group"),
        (116, "above_group"),
    ],
)
def test_a_cylinder_against_the_middle_of_the_rest(bench: Bench, figure: int, state: str) -> None:
    """Per cent of the median of all; 100 psi stands for the others (units: psi, so the floor of 500 kPa is under it)."""
    assert seen(bench, f"1: 100\n2: 100\n3: {figure}\n4: 100\n")["comp_rel", 3] == state


@pytest.mark.parametrize(
    ("wet", "state"),
    [
        (104, "none_under_10"),
        (109, "none_under_10"),
        (111, "some_10_25"),
        (124, "some_10_25"),
        (127, "big_over_25"),
    ],
)
def test_gain_with_oil_is_over_the_dry_figure(bench: Bench, wet: int, state: str) -> None:
    """Gain = (with oil - dry) / dry, a percentage of the smaller figure."""
    text = f"1: 180\n2: 180\n3: 100\n4: 180\n[compression wet]\n3: {wet}\n"
    assert seen(bench, text)["wet_gain", 3] == state
