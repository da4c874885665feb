"""Setting and listing prices, for one inspection or for the logbook; and money in plain text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from borelog.acts.bench import Bench
from borelog.acts.money import prices_for
from borelog.acts.prices import checked_price, prices
from borelog.charts.bars import Range
from borelog.charts.ranges import figure, range_lines
from borelog.logbook.entries import Prices
from borelog.logbook.inspection import Inspection
from borelog.logbook.summaries import SHOP
from borelog.verdict.judged import Money
from borelog.verdict.money.settings import shipped
from borelog.verdict.wording import often


@dataclass(frozen=True, slots=True)
class PriceRow:
    """One price: its value as typed ('' while it is a placeholder) and where that comes from."""

    name: str
    label: str
    value: str
    source: str
    why: str


@dataclass(frozen=True, slots=True)
class LineRow:
    """One cost line: how it is named, its course, low, likely and high, and what these count."""

    name: str
    course: str
    amount: str
    unit: str


def place(bench: Bench, text: str) -> str:
    """The inspection meant, or the logbook's own prices for 'shop'."""
    if text.strip().lower() != "shop":
        return bench.journal.find(text)
    if SHOP not in bench.journal.ids():
        bench.journal.create("prices of this logbook", who=bench.who, id_=SHOP)
    return SHOP


def set_prices(bench: Bench, inspection_id: str, values: dict[str, str]) -> Prices:
    """Enter prices, each checked; an empty value takes one back."""
    body = Prices(values=dict(checked_price(k, v) for k, v in values.items()))
    bench.append(inspection_id, [(body, "")])
    return body


def listed(bench: Bench, inspection_id: str) -> list[PriceRow]:
    """Every price there is, with what is set."""
    inspection = bench.inspection(inspection_id)
    now = prices_for(bench, inspection)
    out = []
    for p in prices().values():
        here = "logbook" if inspection_id == SHOP else "this inspection"
        source = here if p.id in inspection.prices else "logbook" if p.id in now else "placeholder"
        out.append(PriceRow(p.id, p.label, now.get(p.id, ""), source, p.why))
    lines = [k for k in now if k.startswith("line_")]
    return out + [PriceRow(k, k.replace("_", " "), now[k], "own line", "own cost line") for k in lines]


def with_prices(inspection: Inspection, values: dict[str, str]) -> Inspection:
    """The inspection as it would stand with these prices: what if. Nothing is entered."""
    return replace(
        inspection, prices={**inspection.prices, **dict(checked_price(k, v) for k, v in values.items())}
    )


def cost_lines() -> list[LineRow]:
    """Every cost line as it comes, with the name by which it is overridden."""
    labels = {c.id: c.label for c in shipped().courses}
    units = {"own_hour": "own hours", "paid_hour": "paid hours", "pct": "% of the car's value"}
    return [
        LineRow(
            line.id.replace("_", " "),
            labels[line.course],
            " ".join(f"{v:g}" for v in line.amount),
            units.get(line.unit, f"times the {line.unit.replace('_', ' ')}")
            + {"head": ", a head", "cylinder": ", a cylinder"}.get(line.per, ""),
        )
        for line in shipped().lines
    ]


def money_text(money: Money, out: Callable[[str], None], wrapped: Callable[[str], str] = str) -> None:
    """Courses with their ranges, stops and cautions, line by line; ``wrapped`` folds what is no drawing."""
    out(f"courses, in {money.currency or 'your currency'}: 1 in 10 worse / middle / 1 in 10 better")
    rows = [Range(c.label, c.worse, c.middle, c.better) for c in money.courses]
    for line, c in zip(range_lines(rows), money.courses, strict=True):
        out(f"  {line}")
        loss = f"; {often(c.loss_chance, 'a loss')}" if c.loss_chance is not None else ""
        out(f"      {c.words}{loss}{'; equal to the best within what can be told' if c.within_noise else ''}")
    lines = list(money.stops)
    lines += [f"what moves it most: {m}" for m in money.movers]
    if money.most is not None:
        lines.append(
            f"most to pay for the car as it stands, the margin off: {figure(money.most)} {money.currency}"
        )
    if money.profit is not None:
        lines.append(f"left over the purchase price: {figure(money.profit)} {money.currency}")
    lines.append(money.decides)
    if money.placeholders:
        lines.append(
            f"placeholders still, not your prices: {', '.join(p.lower() for p in money.placeholders)}"
        )
    lines.append(money.caution)
    for text in lines:
        if text:
            out(wrapped(text))
