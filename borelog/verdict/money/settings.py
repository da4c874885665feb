"""Tables and prices of the money room, checked, as one frozen value."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, cast

from borelog.knowledge import tables
from borelog.text import BorelogError, one_line

if TYPE_CHECKING:
    from borelog.verdict.money.spread import Shape

Triple = tuple[float, float, float]

WORDS = ("currency", "spread")
"""What stands among the prices and is no amount."""
_LONGEST = 16


class MoneyError(BorelogError):
    """A price or cost line that cannot be used; the text says what may be typed."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Course:
    """One course of action. ``stages`` are empty where nothing is decided on the way."""

    id: str
    label: str
    short: str
    stages: tuple[str, ...]
    first_time: float
    second_share: float
    selling: float
    days: Triple


@dataclass(frozen=True, slots=True)
class CostLine:
    """One three-point line: ``unit`` own_hour, paid_hour, pct (of the car's value) or an engine's price; ``per`` once,
    head or cylinder (those with the bill, or all where ``bill`` is ''); ``bill`` '' always, else only where it is due.
    """

    course: str
    line: str
    stage: str
    unit: str
    per: str
    bill: str
    amount: Triple

    @property
    def id(self) -> str:
        """How the line is overridden: 'line head_off machine'."""
        return f"line_{self.course}_{self.line}"


@dataclass(frozen=True, slots=True)
class Discovery:
    """Something found after opening. ``because`` is a bill, a fault, an engine state or 'any'; ``ends`` ends the course."""

    course: str
    because: str
    found: str
    stage: str
    chance: float
    cost: Triple
    ends: bool


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything the sum needs. Money is in ``currency``; where the value running is not set, in per cent of it."""

    courses: tuple[Course, ...]
    lines: tuple[CostLine, ...]
    cures: Mapping[tuple[str, str], float]
    leftover: Mapping[str, tuple[float, float]]
    discoveries: tuple[Discovery, ...]
    returns: Mapping[str, tuple[float, float]]
    prices: Mapping[str, Triple]
    currency: str
    placeholders: tuple[str, ...]
    purchase: float | None
    priced: bool
    spread: Shape = "triangular"

    def price(self, id_: str) -> Triple:
        """Low, likely and high of a price."""
        return self.prices[id_]

    def with_price(self, id_: str, amount: Triple) -> Settings:
        """The same with one price changed: what if."""
        return replace(self, prices={**self.prices, id_: amount})


def money_range(typed: str, what: str) -> Triple:
    """'900', '700 900 1400' or '700-1400' as low, likely and high.

    Raises
    ------
    MoneyError
        For text that holds no such numbers, a negative one, or numbers out of order.
    """
    text = typed.strip()
    if re.search(r"(?:^|\s)-\s*\d", text):
        raise MoneyError(
            f"{what}: {one_line(typed, 40)!r} is below zero; type what it costs or brings without a sign"
        )
    parts = re.findall(r"\d[\d.,']*", text)
    words = re.sub(r"[\d.,'\s/-]", "", text)
    if not parts or len(parts) > 3 or words:
        raise MoneyError(
            f"{what}: {one_line(typed, 40)!r} is no price; type one number, or low likely high, without words"
        )
    try:
        numbers = [_amount(p) for p in parts]
    except ValueError as error:
        raise MoneyError(
            f"{what}: {one_line(typed, 40)!r} is no price; type it plainly, for example 1250"
        ) from error
    if len(numbers) == 1:
        numbers = numbers * 3
    elif len(numbers) == 2:
        numbers = [numbers[0], sum(numbers) / 2, numbers[1]]
    if not numbers[0] <= numbers[1] <= numbers[2]:
        raise MoneyError(f"{what}: type low, likely and high in this order; {one_line(typed, 40)!r} is not")
    return numbers[0], numbers[1], numbers[2]


def _amount(text: str) -> float:
    plain = text.replace("'", "").rstrip(".,")
    if len(plain) > _LONGEST:
        raise ValueError("longer than any price")
    if re.fullmatch(r"\d{1,3}([.,]\d{3})+", plain):
        return float(re.sub(r"[.,]", "", plain))
    return float(plain.replace(",", "."))


def _triple(r: Mapping[str, str], *names: str) -> Triple:
    low, likely, high = (float(r[n]) for n in names)
    if not low <= likely <= high:
        raise MoneyError(f"cost table, line {r['line']}: low, likely and high are out of order; mend the row")
    return low, likely, high


@lru_cache(maxsize=1)
def _courses() -> tuple[Course, ...]:
    return tuple(
        Course(
            r["id"], r["label"], r["short"], tuple(r["stages"].split()), float(r["first_time"]), float(r["second_share"]),
            float(r["selling"]), _triple(r, "days_low", "days_likely", "days_high"),
        )
        for r in tables.rows("courses.csv", "id", "label", "short", "stages", "first_time", "second_share", "selling")
    )  # fmt: skip


@lru_cache(maxsize=1)
def _lines() -> tuple[CostLine, ...]:
    columns = ("course", "item", "stage", "unit", "per", "bill", "low", "likely", "high", "why")
    return tuple(
        CostLine(
            r["course"],
            r["item"],
            r["stage"],
            r["unit"],
            r["per"],
            r["bill"],
            _triple(r, "low", "likely", "high"),
        )
        for r in tables.rows("cost_lines.csv", *columns)
    )


@lru_cache(maxsize=1)
def shipped() -> Settings:
    """The tables as they come: placeholders, in per cent of the car's value and hours."""
    placeholder = {
        r["id"]: money_range(r["placeholder"], r["label"])
        for r in tables.rows("prices.csv", "id", "label", "kind", "placeholder", "why")
        if r["placeholder"]
    }
    return Settings(
        courses=_courses(),
        lines=_lines(),
        cures={(r["course"], r["what"]): float(r["share"]) for r in tables.rows("cures.csv", "course", "what", "share", "why")},
        leftover={r["bill"]: (float(r["first"]), float(r["each"])) for r in tables.rows("leftover.csv", "bill", "first", "each")},
        discoveries=tuple(
            Discovery(
                r["course"], r["because"], r["found"], r["stage"], (float(r["chance_low"]) + float(r["chance_high"])) / 2,
                _triple(r, "cost_low", "cost_likely", "cost_high"), r["ends"] == "yes",
            )
            for r in tables.rows("discoveries.csv", "course", "because", "found", "stage", "chance_low", "chance_high")
        ),
        returns={r["fault"]: (float(r["chance"]), float(r["share"])) for r in tables.rows("returns.csv", "fault", "chance", "share")},
        prices=placeholder,
        currency="% of the car's value",
        placeholders=tuple(placeholder),
        purchase=None,
        priced=False,
    )  # fmt: skip


def settings_for(prices: Mapping[str, str]) -> Settings:
    """The shipped tables with a person's prices and cost lines laid over them.

    Placeholders in per cent are turned into money with the value running, where that is set.

    Raises
    ------
    MoneyError
        For a price that is none; the text names it.
    """
    base = shipped()
    labels = {r["id"]: r["label"] for r in tables.rows("prices.csv", "id", "label")}
    own = {k: money_range(v, labels.get(k, k.replace("_", " "))) for k, v in prices.items() if k not in WORDS}
    purchase = own.pop("purchase_price", None)
    worth = own.get("value_running")
    whole = worth if worth and worth[1] > 0 else None  # nothing can be counted against a car worth nothing
    scale = whole[1] / 100 if whole else 1.0
    known = {k: v for k, v in own.items() if k in base.prices} if whole else {}
    prices_now = {k: known.get(k) or _scaled(v, scale) for k, v in base.prices.items()}
    lines = tuple(_overridden(line, own, scale) for line in base.lines)
    return replace(
        base,
        lines=lines,
        prices=prices_now,
        currency=prices.get("currency", "") if whole else base.currency,
        placeholders=tuple(k for k in base.prices if k not in known),
        purchase=purchase[1] if purchase and whole else None,
        priced=bool(whole),
        spread=cast("Shape", prices.get("spread") or "triangular"),
    )


def _scaled(amount: Triple, scale: float) -> Triple:
    return amount[0] * scale, amount[1] * scale, amount[2] * scale


def _overridden(line: CostLine, own: Mapping[str, Triple], scale: float) -> CostLine:
    """The person's own line: hours stay hours; a line in per cent of the car's value is then typed as money."""
    amount = own.get(line.id)
    if amount is None:
        return line
    return replace(line, amount=_scaled(amount, 1 / scale) if line.unit == "pct" else amount)
