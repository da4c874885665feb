"""Prices as typed: what has one, and what is refused with a plain reason."""

from contextlib import closing
from pathlib import Path

import pytest

from borelog.acts.bench import Bench, open_bench
from borelog.acts.entering import open_inspection
from borelog.acts.money import prices_for
from borelog.acts.prices import PriceError, checked_price
from borelog.acts.pricing import money_text, place, set_prices
from borelog.acts.taking import take_in
from borelog.text import BorelogError
from borelog.verdict.judged import Money


def test_a_price_goes_by_its_name_or_label() -> None:
    assert checked_price("own hour", "18") == ("own_hour", "18")
    assert checked_price("Value of the car running and repaired", "4200") == ("value_running", "4200")
    assert checked_price("line head_off machine", "40 50 60") == ("line_head_off_machine", "40 50 60")


def test_a_cost_line_that_does_not_exist_is_not_taken() -> None:
    with pytest.raises(PriceError, match="line head off machine"):
        checked_price("line head_off machin", "40")


@pytest.mark.parametrize("typed", ["0", "0 0 0", "9" * 30, "-5", "nan", "inf", "1e9", "9 5 1"])
def test_a_value_that_nothing_can_be_counted_against_is_refused(typed: str) -> None:
    with pytest.raises(BorelogError):
        checked_price("value_running", typed)


def test_an_empty_value_takes_a_price_back() -> None:
    assert checked_price("value_running", " ") == ("value_running", "")


def test_money_in_text_never_shows_a_negative_nought() -> None:
    lines: list[str] = []
    money_text(Money(currency="EUR", courses=(), most=-0.3, profit=-1234.6), lines.append)
    assert "most to pay for the car as it stands, the margin off: 0 EUR" in lines
    assert "left over the purchase price: -1,235 EUR" in lines


def test_another_logbooks_prices_stay_there(bench: Bench, tmp_path: Path) -> None:
    set_prices(bench, place(bench, "shop"), {"own_hour": "18"})
    other = open_bench(tmp_path / "other", who="CD")
    with closing(other.journal):
        theirs = open_inspection(other, "Theirs")
        set_prices(other, place(other, "shop"), {"own_hour": "95", "value_running": "1"})
    for _ in range(2):
        taken = take_in(bench, tmp_path / "other")
        assert any("prices were left there" in line for line in taken.lines)
        assert theirs in bench.journal.ids()
        assert prices_for(bench, bench.inspection(theirs)) == {"own_hour": "18"}


def test_a_logbook_without_prices_of_its_own_gets_none(bench: Bench, tmp_path: Path) -> None:
    other = open_bench(tmp_path / "other", who="CD")
    with closing(other.journal):
        set_prices(other, place(other, "shop"), {"own_hour": "95"})
    taken = take_in(bench, tmp_path / "other")
    assert (taken.entries, bench.journal.ids()) == (0, [])
