"""Prices and cost lines as typed, checked against the table of what has a price."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache

from borelog.knowledge import tables
from borelog.text import BorelogError, one_line
from borelog.verdict.money.settings import money_range, shipped


class PriceError(BorelogError):
    """A price that cannot be taken; the text says what may be typed."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Price:
    """One row of the table of prices; ``kind`` is money or text."""

    id: str
    label: str
    kind: str
    why: str


@lru_cache(maxsize=1)
def prices() -> dict[str, Price]:
    """All prices by id, in the order in which they are asked."""
    return {
        r["id"]: Price(r["id"], r["label"], r["kind"], r["why"])
        for r in tables.rows("prices.csv", "id", "label", "kind", "placeholder", "why")
    }


def _key(name: str) -> str:
    return re.sub(r"[\s_-]+", "_", name.strip().lower())


def checked_price(name: str, typed: str) -> tuple[str, str]:
    """The id and the value to be kept; an empty value takes the price back.

    A price is one number, or three (low, likely, high). Cost lines are overridden by 'line COURSE LINE'.

    Raises
    ------
    PriceError
        For an unknown name, a car worth nothing when it runs, or a price that is none.
    """
    key, typed = _key(name), typed.strip()
    by_label = {_key(p.label): p for p in prices().values()}
    price = prices().get(key) or by_label.get(key)
    lines = [line.id for line in shipped().lines]
    if price is None and key not in lines:
        near = difflib.get_close_matches(key, [*prices(), *by_label, *lines], 1)
        hint = f"; did you mean {near[0].replace('_', ' ')!r}?" if near else ""
        raise PriceError(
            f"nothing called {one_line(name, 40)!r} has a price here{hint} ('borelog price last' lists them)"
        )
    id_ = price.id if price else key
    if price and price.kind == "spread" and typed.lower() not in ("", "triangular", "pert"):
        raise PriceError(f"{price.label}: type triangular or pert; {one_line(typed, 40)!r} is neither")
    if price and price.kind == "spread":
        return id_, typed.lower()
    if not typed or (price and price.kind == "text"):
        return id_, one_line(typed, 20)
    likely = money_range(typed, price.label if price else name.replace("_", " "))[1]
    if id_ == "value_running" and likely <= 0:
        raise PriceError(
            "everything is counted against the value of the car running: type more than 0, or leave it blank"
        )
    return id_, typed
