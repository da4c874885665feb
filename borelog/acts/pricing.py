"""Setting and listing prices, for one inspection or for the logbook; and money in plain text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from borelog.acts.bench import Bench
from borelog.acts.money import prices_for
from borelog.acts.prices import checked_price, prices
from borelog.charts.bars import Range
from borelog.charts.ranges import figure, range_lines
from borelog.logbook.entries import Prices
from borelog.logbook.summaries import SHOP
from borelog.verdict.judged import Money


@dataclass(frozen=True, slots=True)
class PriceRow:
    """One price: its value as typed ('' while it is a placeholder) and where that comes from."""

    name: str
    label: str
    value: str
    source: str
    why: str


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
        source = (
            "this inspection" if p.id in inspection.prices else "logbook" if p.id in now else "placeholder"
        )
        out.append(PriceRow(p.id, p.label, now.get(p.id, ""), source, p.why))
    lines = [k for k in now if k.startswith("line_")]
    return out + [PriceRow(k, k.replace("_", " "), now[k], "own line", "own cost line") for k in lines]


def money_text(money: Money, out: Callable[[str], None]) -> None:
    """Courses with their ranges, stops and cautions, line by line."""
    out(f"courses, in {money.currency or 'your currency'}:")
    rows = [Range(c.label, c.worse, c.middle, c.better) for c in money.courses]
    for line, c in zip(range_lines(rows), money.courses, strict=True):
        tail = f"  best {_tenths(c.best_chance)}" if c.best_chance is not None else ""
        loss = f", loss {_tenths(c.loss_chance)}" if c.loss_chance is not None else ""
        out(f"  {line}{tail}{loss}{'  = within noise' if c.within_noise else ''}")
    out("  each: 1 in 10 worse / middle / 1 in 10 better")
    for s in money.stops:
        out(f"  {s}")
    for m in money.movers:
        out(f"  moves it most: {m}")
    if money.most is not None:
        out(f"  most to pay for the car as it stands: {figure(money.most)} {money.currency}")
    if money.profit is not None:
        out(f"  profit over the purchase price: {figure(money.profit)} {money.currency}")
    if money.decides:
        out(f"  {money.decides}")
    if money.placeholders:
        out(f"  placeholders still: {', '.join(money.placeholders)}")
    out(f"  {money.caution}")


def _tenths(share: float | None) -> str:
    return f"{round(10 * (share or 0)):d} in 10"
