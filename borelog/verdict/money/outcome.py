"""From nets to what a buyer can act on: ranges, chances, the best course, stop prices, and what moves the answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from borelog.verdict.judged import Course as CourseOut
from borelog.verdict.judged import Money
from borelog.verdict.money.model import Result, evaluate, expected_hours
from borelog.verdict.money.settings import Settings, Triple
from borelog.verdict.money.states import States
from borelog.verdict.wording import in_so_many, often

if TYPE_CHECKING:
    from numpy.typing import NDArray

SWING = 0.2
"""A price is moved by a fifth either way to see how far the answer moves."""
MATERIAL = 0.01
"""Differences under this share of the car's value are called equal, however many draws there are."""

CAUTION = "Estimates from placeholder tables and your own prices, not an appraisal."


@dataclass(frozen=True, slots=True)
class Standing:
    """Two courses compared on the same draws: mean difference, its standard error, and how often the first is ahead."""

    difference: float
    error: float
    ahead: float


def compared(first: NDArray[np.float64], second: NDArray[np.float64]) -> Standing:
    """Paired comparison of two columns of nets."""
    d = first - second
    error = float(d.std(ddof=1) / np.sqrt(len(d))) if len(d) > 1 else 0.0
    return Standing(float(d.mean()), error, float((d > 0).mean()))


def within_noise(standing: Standing, whole: float) -> bool:
    """Whether a difference is within twice its error, or too small to matter."""
    return bool(abs(standing.difference) <= max(2 * standing.error, MATERIAL * whole))


def order_of(result: Result) -> list[int]:
    """Columns from best to worst by mean net; ties by table order."""
    return list(np.argsort(-result.net.mean(axis=0), kind="stable"))


def rounded(value: float, settings: Settings) -> str:
    """Money as said: two significant digits, with the currency behind it."""
    if abs(value) < 0.5:
        return f"0 {settings.currency}".strip()
    digits = max(0, int(np.floor(np.log10(abs(value)))) - 1)
    scale = 10.0**digits
    number = round(value / scale) * scale
    return f"{number:.0f} {settings.currency}".strip()


def movers(settings: Settings, states: States, seed: int, most: int = 600) -> tuple[tuple[str, float], ...]:
    """The prices that move the lead of the best course most, with how far, on the first draws."""
    small = _first(states, most)
    base = evaluate(settings, small, seed)
    best, second = order_of(base)[:2]
    found = []
    for id_, amount in settings.prices.items():
        leads = []
        for factor in (1 - SWING, 1 + SWING):
            moved: Triple = (amount[0] * factor, amount[1] * factor, amount[2] * factor)
            net = evaluate(settings.with_price(id_, moved), small, seed).net
            leads.append(float((net[:, best] - net[:, second]).mean()))
        found.append((id_, abs(leads[1] - leads[0])))
    found.sort(key=lambda kv: -kv[1])
    return tuple(found)


def _first(states: States, n: int) -> States:
    if states.n <= n:
        return states
    return States(
        n,
        states.cylinders,
        states.head_count,
        {k: v[:n] for k, v in states.count.items()},
        {k: v[:n] for k, v in states.heads.items()},
        {k: v[:n] for k, v in states.has.items()},
    )


def money(settings: Settings, states: States, result: Result, seed: int, labels: dict[str, str]) -> Money:
    """Everything the money room says of a `Result` of ``evaluate`` on these settings, states and seed.

    Parameters
    ----------
    labels
        Price id to its name, for the words.
    """
    whole = settings.price("value_running")[1]
    order = order_of(result)
    net = result.net
    winner = net.argmax(axis=1)
    by_id = {c.id: c for c in settings.courses}
    best = order[0]
    courses = []
    for k in order:
        p10, p50, p90 = np.percentile(net[:, k], [10, 50, 90])
        loss = None if settings.purchase is None else float((net[:, k] < settings.purchase).mean())
        noise = bool(k != best) and within_noise(compared(net[:, best], net[:, k]), whole)
        chance = float((winner == k).mean())
        courses.append(
            CourseOut(
                course=result.courses[k],
                label=by_id[result.courses[k]].label,
                worse=round(float(p10), 2),
                middle=round(float(p50), 2),
                better=round(float(p90), 2),
                loss_chance=None if loss is None else round(loss, 4),
                best_chance=round(chance, 4),
                words=course_words(settings, states, result.courses[k], chance),
                within_noise=noise,
            )
        )
    ranked = movers(settings, states, seed)
    return Money(
        currency=settings.currency,
        courses=tuple(courses),
        stops=stop_lines(settings, result),
        movers=tuple(
            f"{labels.get(m, m)} (a fifth either way moves the lead by {rounded(v, settings)})"
            for m, v in ranked[:2]
            if v >= MATERIAL / 2 * whole
        ),
        placeholders=tuple(labels.get(p, p) for p in settings.placeholders),
        seed=seed,
        draws=states.n,
        sentence=sentence(settings, result),
        most=round(float(net[:, best].mean()) - settings.price("margin")[1], 2),
        profit=None
        if settings.purchase is None
        else round(float(net[:, best].mean()) - settings.purchase, 2),
        decides="" if settings.priced else decider(ranked, labels),
        caution=CAUTION,
    )


def stop_lines(settings: Settings, result: Result) -> tuple[str, ...]:
    """One line for each place where one may stop, for courses among the first three that are carried through at all."""
    shown = {result.courses[k] for k in order_of(result)[:3]}
    after = {"open": "once it is open", "machine": "after the machine shop"}
    by_id = {c.id: c for c in settings.courses}
    return tuple(
        f"{by_id[s.course].label}: {after[s.name]}, stop if the rest would cost over {rounded(s.stop_price, settings)}; "
        f"then {by_id[s.alternative].short} is better ({_ending(s.stopped)})"
        for s in result.stages
        if s.course in shown and not gone_by(result, s.course)
    )


def _ending(share: float) -> str:
    return "hardly any end there" if share < 0.05 else f"{in_so_many(share)} end there"


MOSTLY = 0.5
"""A staged course that is left more often than this once the engine is open is the other course by a detour."""


def gone_by(result: Result, course: str) -> bool:
    """Whether a staged course mostly ends as another one."""
    return sum(s.stopped for s in result.stages if s.course == course) > MOSTLY


def decider(ranked: tuple[tuple[str, float], ...], labels: dict[str, str]) -> str:
    """Which price would decide most, where prices are not set."""
    name = labels.get(ranked[0][0], ranked[0][0]).lower()
    first = (
        ""
        if ranked[0][0] == "value_running"
        else f", after {labels.get('value_running', 'value running').lower()}"
    )
    return f"No prices are set: this speaks in hours and in per cent of the car's value. The price that would decide most: {name}{first}."


def sentence(settings: Settings, result: Result) -> str:
    """One sentence a buyer can act on."""
    order = order_of(result)
    by_id = {c.id: c for c in settings.courses}
    best, rest = order[0], [k for k in order[1:] if not gone_by(result, result.courses[k])]
    first, second = by_id[result.courses[best]], by_id[result.courses[rest[0]]]
    standing = compared(result.net[:, best], result.net[:, rest[0]])
    tenths = round(10 * standing.ahead)
    by = rounded(abs(standing.difference), settings)
    if within_noise(standing, settings.price("value_running")[1]):
        text = f"{first.label} and {second.short} come out equal within what can be told"
    elif tenths > MOSTLY * 10:
        text = (
            f"{first.label}: ahead of {second.short} {min(9, tenths)} times in 10, on average by about {by}"
        )
    else:
        text = (
            f"{first.label}: ahead of {second.short} only {max(1, tenths)} times in 10, but on average about {by} better, "
            f"because {second.short} costs more where it is the wrong choice"
        )
    stage = next((s for s in result.stages if s.course == first.id and s.name == "open"), None)
    if stage:
        text += f"; stop if the rest would cost over {rounded(stage.stop_price, settings)} once it is open"
    return text + "."


def course_words(settings: Settings, states: States, course: str, best_chance: float) -> str:
    """How often it is the best, and the hours it asks for; the chance of a loss, which the purchase price moves, apart."""
    said = [often(best_chance, "the best")]
    own, paid = (expected_hours(settings, states, course, unit) for unit in ("own_hour", "paid_hour"))
    hours = [f"{h:.0f} {name}" for h, name in ((own, "own"), (paid, "paid")) if h >= 0.5]
    noun = "hour" if hours and hours[-1].startswith("1 ") else "hours"
    return "; ".join([*said, f"about {' and '.join(hours)} {noun}"] if hours else said)
